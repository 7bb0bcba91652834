"""What every reading needs of a run beside its steps: the specimen it is of, and what its curve tells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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


def load_at(bar_stress: float, stress: Sequence[float] | Floats, load: Sequence[float] | Floats) -> float:
    """Load [N] of the elevation when its bars first carry ``bar_stress`` [MPa]; its largest if they never do."""
    highest = np.maximum.accumulate(np.asarray(stress, float))
    rows = np.concatenate([[0], np.flatnonzero(np.diff(highest) > 0.0) + 1])
    return float(np.interp(bar_stress, highest[rows], np.asarray(load, float)[rows]))
