"""fesplice: anchorage failure of hooked-bar splices in cast closures, computed in plane stress.

The public names are loaded when first asked for, so that ``import fesplice`` is quick
and loads no mesher, no plotting library and no file format:

``read(path)``            specimen file -> Specimen, or one report of all its faults
``analyse(...)``          Specimen -> computed run of one plane on disk
``predict(...)``          Specimen -> both planes, coupled and read together
``Run(folder)``           a run on disk, finished or not, for reading
``run_study(...)``        study file -> many runs and one table
``reduce(...)``           logs of a test -> loads, bar stress, bond, events in a folder
``Test``                  a reduced test; ``Test.read(folder)``
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from fesplice.measured import Test as Test
    from fesplice.measured import reduce as reduce
    from fesplice.pipeline import analyse as analyse
    from fesplice.pipeline import predict as predict
    from fesplice.specimen.read import read as read
    from fesplice.store.run import Run as Run
    from fesplice.study import run_study as run_study

_HOME = {
    "read": "fesplice.specimen.read",
    "analyse": "fesplice.pipeline",
    "predict": "fesplice.pipeline",
    "Run": "fesplice.store.run",
    "run_study": "fesplice.study",
    "reduce": "fesplice.measured",
    "Test": "fesplice.measured",
}

__all__ = ["Run", "Test", "__version__", "analyse", "predict", "read", "reduce", "run_study"]


def __getattr__(name: str) -> Any:
    """Load a public name from its home and keep it."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_HOME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
