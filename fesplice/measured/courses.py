"""Computed curves with what was measured laid over them, and how well the two agree.

A course is a computed curve y(x) with its band; what was seen is another curve over the same axis, with bounds where
it is the envelope of several. Nothing is shifted or scaled to fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from fesplice.contracts import Floats

#: Most points of a measured curve that a figure shows; each is the middle of the readings it stands for.
POINTS = 400
NONE: Floats = np.zeros(0)


@dataclass(frozen=True)
class Seen:
    """A measured curve (k,) named ``name``; ``low`` and ``high`` (k,) bounds of an envelope, else empty.

    ``doubt`` says why its channel cannot be believed; empty where it can.
    """

    name: str
    x: Floats
    y: Floats
    low: Floats = field(default_factory=lambda: NONE)
    high: Floats = field(default_factory=lambda: NONE)
    doubt: str = ""


@dataclass(frozen=True)
class Course:
    """A computed curve y(x) (n,) with its band and what was ``seen``; axes as people read them.

    ``turned``: figures put y to the right and x upwards, as load over deflection is drawn.
    """

    name: str
    kind: str
    x_axis: str
    y_axis: str
    x: Floats
    y: Floats
    low: Floats
    high: Floats
    seen: tuple[Seen, ...]
    turned: bool = False


@dataclass(frozen=True)
class Agreement:
    """A measured curve against a computed one over the abscissas both have, those of the measured points.

    ``inside`` share of the measured points within the computed band (nan without one), ``within`` share of the computed
    curve within the measured envelope widened by ``WIDENED`` (nan without one); ``ratio`` measured over computed area
    below the curves (nan where the computed one nearly cancels); ``over_upper`` largest computed over
    the upper bound, ``over_lower`` least over the lower one.
    """

    name: str
    doubt: str
    points: int
    inside: float
    within: float
    ratio: float
    over_upper: float
    over_lower: float


#: An envelope of repeats is widened by this share of its bounds (readings off a printed figure, judgement).
WIDENED = 0.05
#: Net share of the area below a computed curve under which its parts of either sign cancel: a ratio to the rest of a
#: difference says nothing (judgement).
CANCELS = 0.2


def agreement(course: Course, seen: Seen) -> Agreement:
    """How a measured curve agrees with the computed one; nan where they have no abscissa in common."""
    order = np.argsort(course.x, kind="stable")
    x = course.x[order]
    shared = (seen.x >= x[0]) & (seen.x <= x[-1]) & np.isfinite(seen.y) if len(x) else np.zeros(len(seen.x), bool)
    if not shared.any():
        return Agreement(seen.name, seen.doubt, 0, *([math.nan] * 5))
    at, value = seen.x[shared], seen.y[shared]
    computed, low, high = (np.interp(at, x, v[order]) for v in (course.y, course.low, course.high))
    banded = np.isfinite(low) & np.isfinite(high)
    inside = float(((value >= low) & (value <= high))[banded].mean()) if banded.any() else math.nan
    within = over_upper = over_lower = math.nan
    if len(seen.low):
        lower, upper = seen.low[shared], seen.high[shared]
        within = float(((computed >= (1.0 - WIDENED) * lower) & (computed <= (1.0 + WIDENED) * upper)).mean())
        over_upper, over_lower = float((computed / upper).max()), float((computed / lower).min())
    area = float(np.trapezoid(computed, at)) if len(at) > 1 else 0.0
    whole = float(np.trapezoid(np.abs(computed), at)) if len(at) > 1 else 0.0
    ratio = float(np.trapezoid(value, at)) / area if abs(area) > CANCELS * whole else math.nan
    return Agreement(seen.name, seen.doubt, int(shared.sum()), inside, within, ratio, over_upper, over_lower)


def thinned(x: Floats, y: Floats, places: int = POINTS) -> tuple[Floats, Floats]:
    """A measured curve in the order of its readings with at most ``places`` points: middles of blocks of readings."""
    good = np.isfinite(x) & np.isfinite(y)
    x, y = x[good], y[good]
    if len(x) <= places:
        return x, y
    whole, rest = divmod(len(x), places)
    blocks = np.repeat(np.arange(places), np.where(np.arange(places) < rest, whole + 1, whole))
    return _middles(blocks, x), _middles(blocks, y)


def over_load(load: Floats, y: Floats, last: int, places: int = POINTS) -> tuple[Floats, Floats]:
    """Measured y over the rising load up to row ``last``: middles of equal bins of the load."""
    x, v = load[: last + 1], y[: last + 1]
    good = np.isfinite(x) & np.isfinite(v)
    x, v = x[good], v[good]
    if not len(x) or float(x.max()) <= 0.0:
        return NONE, NONE
    at = np.clip((places * x / float(x.max())).astype(int), 0, places - 1)
    return _middles(at, x), _middles(at, v)


def _middles(groups: np.ndarray, values: Floats) -> Floats:
    """Median of the values of every group that has some, in the order of the groups; all of them at once."""
    order = np.lexsort((values, groups))
    first = np.flatnonzero(np.diff(groups[order], prepend=-1))
    count = np.diff(first, append=len(order))
    held = values[order]
    return 0.5 * (held[first + (count - 1) // 2] + held[first + count // 2])


def widest(courses: Sequence[Course]) -> float:
    """Largest measured or computed value of some courses."""
    tops = [float(np.nanmax(np.abs(v))) for c in courses for v in (c.y, *(s.y for s in c.seen)) if len(v)]
    return max(tops, default=0.0)
