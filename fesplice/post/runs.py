"""What every reading needs of a run beside its steps: the specimen it is of, and the bar stresses of its curve."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats

if TYPE_CHECKING:
    from fesplice.specimen.schema import Specimen
    from fesplice.store.run import Run


def specimen_of(run: Run) -> Specimen:
    """The specimen of a run, from the text the run keeps."""
    from fesplice.specimen import read_text

    return read_text(run.specimen_text, str(run.folder))


def bar_columns(curve: Mapping[str, np.ndarray]) -> dict[str, Floats]:
    """Bar stresses of the curve [MPa] by row ("A") and bar ("A1")."""
    head, tail = "bar_stress_", "_MPa"
    return {n[len(head) : -len(tail)]: np.asarray(v, float) for n, v in curve.items() if n.startswith(head)}
