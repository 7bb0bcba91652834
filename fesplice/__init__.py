"""fesplice: anchorage failure of hooked-bar splices in cast closures, computed in plane stress.

The public names are loaded when first asked for, so that ``import fesplice`` is quick
and loads no mesher, no plotting library and no file format:

``read(path)``            specimen file -> Specimen, or one report of all its faults
``vary(specimen, ...)``   a specimen with one value changed
``check(specimen)``       hand checks, before any mesh
``analyse(...)``          Specimen -> computed run of one view on disk
``predict(...)``          Specimen -> both views, coupled and read together; ``Prediction.read(folder)`` later
``Run(folder)``           a run on disk, finished or not, for reading; ``findings(run)`` what it found
``report(run)``           figures and page of a run; ``export(run)`` files for general viewers
``viewer(folder)``        the page one can play, of a run or of both views of a prediction
``run_study(...)``        study file -> many runs and one table
``InputFault``, ``FolderFault``, ``NotConverged``   what may be raised
``reduce(...)``           logs of a test -> loads, bar stress, bond, events in a folder
``compare(...)``          reduced tests laid over the prediction of their specimen
``learn(...)``            tests -> a model of the errors of views and formulas, for ``predict(learned=...)``
``Test``                  a reduced test; ``Test.read(folder)``
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from fesplice.contracts import FolderFault as FolderFault
    from fesplice.contracts import InputFault as InputFault
    from fesplice.contracts import NotConverged as NotConverged
    from fesplice.measured import Test as Test
    from fesplice.measured import reduce as reduce
    from fesplice.measured.comparison import Comparison as Comparison
    from fesplice.pipeline import analyse as analyse
    from fesplice.pipeline import predict as predict
    from fesplice.pipeline.compare import compare as compare
    from fesplice.pipeline.learn import learn as learn
    from fesplice.post.prediction import Prediction as Prediction
    from fesplice.post.record import findings as findings
    from fesplice.report import report as report
    from fesplice.report.viewer import viewer as viewer
    from fesplice.sizing import check as check
    from fesplice.specimen.read import read as read
    from fesplice.specimen.read import vary as vary
    from fesplice.store.export import export as export
    from fesplice.store.run import Run as Run
    from fesplice.study import run_study as run_study

_HOME = {
    "Comparison": "fesplice.measured.comparison",
    "learn": "fesplice.pipeline.learn",
    "FolderFault": "fesplice.contracts",
    "InputFault": "fesplice.contracts",
    "NotConverged": "fesplice.contracts",
    "Prediction": "fesplice.post.prediction",
    "Run": "fesplice.store.run",
    "Test": "fesplice.measured",
    "analyse": "fesplice.pipeline",
    "check": "fesplice.sizing",
    "compare": "fesplice.pipeline.compare",
    "export": "fesplice.store.export",
    "findings": "fesplice.post.record",
    "predict": "fesplice.pipeline",
    "read": "fesplice.specimen.read",
    "reduce": "fesplice.measured",
    "report": "fesplice.report",
    "run_study": "fesplice.study",
    "vary": "fesplice.specimen.read",
    "viewer": "fesplice.report.viewer",
}

__all__ = [
    "Comparison", "FolderFault", "InputFault", "NotConverged", "Prediction", "Run", "Test", "__version__", "analyse",
    "check", "compare", "export", "findings", "learn", "predict", "read", "reduce", "report", "run_study", "vary",
    "viewer",
]  # fmt: skip


class _Front(ModuleType):
    """This module, in which a room never takes the place of the public name that it shares (``report``)."""

    def __setattr__(self, name: str, value: Any) -> None:
        if not (name in _HOME and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Front


def __getattr__(name: str) -> Any:
    """Load a public name from its home and keep it."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_HOME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
