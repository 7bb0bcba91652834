"""What a watcher of a run is told after every step, and how long the rest is likely to take."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from fesplice.contracts import Step

#: Share of the movement, and share of the computing time it takes.
Effort = tuple[tuple[float, ...], tuple[float, ...]]
#: Of a beam most is spent where joints open and bond is lost, in the first fifth (medians over the ten demonstration
#: specimens); a slab takes it evenly.
BEAM_EFFORT: Effort = (
    (0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 0.7, 0.9, 1.0),
    (0.0, 0.08, 0.15, 0.41, 0.63, 0.72, 0.80, 0.89, 0.93, 0.98, 1.0),
)
SLAB_EFFORT: Effort = ((0.0, 1.0), (0.0, 1.0))
#: Below this share of the movement nothing is said.
SOON = 0.02


class Hears(Protocol):
    """Whoever wants to know how far a computation is: called with what happened, and of which run or case.

    ``now`` is a :class:`Progress` after every step of :func:`fesplice.analyse` and :func:`fesplice.predict` (None
    where a run only goes on), a progress of cases from :func:`fesplice.run_study`, and the title of what is drawn next
    as text; all but None tell themselves by ``line(name)``, or are text. :class:`fesplice.Watcher` draws it.
    """

    def __call__(self, now: Any, name: str = "", /) -> None: ...


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

    @property
    def share(self) -> float | None:
        """Share of the time that is over, at least; None as long as nothing can be said."""
        return None if self.left is None else self.elapsed / max(self.elapsed + self.left, 1e-9)

    def line(self, name: str = "") -> str:
        """All of it in one line."""
        return full_line(self, name)


def seconds_left(effort: Effort, elapsed: float, first: float, reached: float, end: float) -> float | None:
    """Time until ``end`` [mm] of the movement from ``elapsed`` [s] for the way from ``first`` to ``reached``."""
    if not first < reached < end or not math.isfinite(end):
        return None
    shares = [float(np.interp(at / end, *effort)) for at in (first, reached)]
    spent = shares[1] - shares[0]
    if reached < SOON * end or spent <= 0.0:
        return None
    return elapsed * (1.0 - shares[1]) / spent


# ------------------------------------------------------------------ in words
def live_line(now: Progress, run: str = "") -> str:
    """What matters while one waits, in at most 70 columns: load, bar stress, movement, time left."""
    left = "" if now.left is None else f"  at most {said(now.left)} left"
    head = f"{run:<11} " if run else ""
    seen = f"{now.load / 1e3:7.1f} kN {now.bar_stress:4.0f} MPa {now.deflection:6.2f} mm"
    return f"{head}step {now.step.index:3d} {seen}{left}"


def full_line(now: Progress, run: str = "") -> str:
    """The same with what its load is counted per, and how the step was found."""
    left = "" if now.left is None else f"  at most {said(now.left)} left"
    head = f"{run:<12} " if run else ""
    return (
        f"{head}step {now.step.index:3d}  {now.load / 1e3:8.2f} kN {now.per}  {now.deflection:7.2f} mm  "
        f"bar {now.bar_stress:5.0f} MPa  {now.step.iterations:2d} iterations  residual {now.step.residual:.0e}{left}"
    )


def said(seconds: float) -> str:
    """A length of time as one says it: ``40 s``, ``3 min``, ``2 h``."""
    if seconds < 100.0:
        return f"{max(round(seconds, -1), 10):.0f} s" if seconds > 20.0 else f"{max(seconds, 1.0):.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"
