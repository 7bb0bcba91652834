"""What a watcher of a run is told after every step, and how long the rest is likely to take."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Step

#: Share of the computing time over the share of the movement. Of an elevation most is spent where joints open and bond
#: is lost, in the first fifth (medians over the ten demonstration specimens); a plan takes it evenly.
EFFORT: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "elevation": ((0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 0.7, 0.9, 1.0),
                  (0.0, 0.08, 0.15, 0.41, 0.63, 0.72, 0.80, 0.89, 0.93, 0.98, 1.0)),
    "plan": ((0.0, 1.0), (0.0, 1.0)),
}  # fmt: skip
#: Below this share of the movement nothing is said.
SOON = 0.02


@dataclass(frozen=True)
class Progress:
    """After an accepted step: ``load`` [N] counted ``per`` ram or side, ``deflection`` (or lengthening) [mm],
    ``bar_stress`` [MPa], seconds ``elapsed``, and ``left`` [s] at most: a run that fails before its end is done
    sooner. ``left`` is None as long as nothing can be said.
    """

    step: Step
    load: float
    deflection: float
    bar_stress: float
    elapsed: float
    left: float | None
    per: str


def seconds_left(view: str, elapsed: float, first: float, reached: float, end: float) -> float | None:
    """Time until ``end`` [mm] of the movement from ``elapsed`` [s] for the way from ``first`` to ``reached``."""
    if not first < reached < end or not math.isfinite(end):
        return None
    shares = [float(np.interp(at / end, *EFFORT[view])) for at in (first, reached)]
    spent = shares[1] - shares[0]
    if reached < SOON * end or spent <= 0.0:
        return None
    return elapsed * (1.0 - shares[1]) / spent
