"""Where a curve bends, and what a load-deflection curve says: peak, drop, energy, stiffness.

A knee is the place at which two straight lines that meet fit the rise best (least squares over all places, common
practice, no source). It counts as found when the second line is clearly flatter or steeper and the pair fits clearly
better than one line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats

#: Places on the rise at which the curve is read, means of the readings between them.
PLACES = 160
#: Part of the rise in which a knee is sought, as shares of the largest load (judgement).
SOUGHT = (0.02, 0.7)
#: The second slope over the first (or one over it) of a knee, and the least part of the misfit that it removes.
BENT, BETTER = 1.35, 0.6
#: Openings between which a joint's first opening is a line [mm] (common practice reads the first at 0.01 to 0.02 mm).
OPEN = (0.02, 0.12)
#: Failure: the load has fallen by this share of the peak (domain practice: 15 to 20 %).
FALLEN = 0.15
#: Stiffness is that of the rise between these shares of the peak.
STIFF = (0.2, 0.6)


@dataclass(frozen=True)
class Knee:
    """A bend of a curve y(load): load [N], reading there, slopes before and after [per N], misfit removed (0..1)."""

    load: float
    reading: float
    before: float
    after: float
    better: float


def binned(load: Floats, y: Floats, low: float, high: float, places: int = PLACES) -> tuple[Floats, Floats]:
    """Means of ``y`` over equal bins of ``load``, and the mean loads; bins without readings are left out."""
    good = np.isfinite(load) & np.isfinite(y) & (load >= low) & (load <= high)
    if good.sum() < 12 or high <= low:
        return np.zeros(0), np.zeros(0)
    x, v = load[good], y[good]
    at = np.minimum((places * (x - low) / (high - low)).astype(int), places - 1)
    count = np.bincount(at, minlength=places)
    full = count > 0
    return (
        np.bincount(at, x, places)[full] / count[full],
        np.bincount(at, v, places)[full] / count[full],
    )


def knee(load: Floats, y: Floats, largest: float, sought: tuple[float, float] = SOUGHT) -> Knee | None:
    """The knee of the rise y(load), arrays (n,) up to the largest load; None where the curve has none."""
    x, v = binned(load, y, sought[0] * largest, sought[1] * largest)
    if len(x) < 12:
        return None
    single = _misfit(np.column_stack([np.ones(len(x)), x]), v)
    best: tuple[float, float, Floats] | None = None
    for at in np.linspace(x[3], x[-4], 4 * PLACES):
        base = np.column_stack([np.ones(len(x)), x, np.maximum(x - at, 0.0)])
        c, *_ = np.linalg.lstsq(base, v, rcond=None)
        misfit = float(((v - base @ c) ** 2).sum())
        if best is None or misfit < best[0]:
            best = (misfit, float(at), np.asarray(c, float))
    assert best is not None
    misfit, at, c = best
    first, second = float(c[1]), float(c[1] + c[2])
    better = 1.0 - misfit / single if single > 0.0 else 0.0
    scale = max(abs(first), abs(second))
    bent = scale > 0.0 and abs(second - first) > (1.0 - 1.0 / BENT) * scale and abs(second) > abs(first)
    if not bent or better < BETTER:
        return None
    return Knee(at, float(c[0] + c[1] * at), first, second, better)


def opening(load: Floats, y: Floats, largest: float) -> float | None:
    """Load [N] at which a joint begins to open: its first opening on a straight line, taken back to nothing.

    The line goes through the means between the openings ``OPEN`` [mm]; None where the joint does not pass the first.
    """
    x, v = binned(load, y, 0.0, largest, 4 * PLACES)
    past = np.flatnonzero(v > OPEN[0])
    if not len(past) or len(x) < 12:
        return None
    first = int(past[0])
    part = np.arange(first, len(x))
    part = part[v[part] <= OPEN[1]]
    part = part if len(part) >= 2 else np.arange(first, min(first + 3, len(x)))
    if len(part) < 2 or np.ptp(v[part]) <= 0.0:
        return float(x[first])
    # load on opening: the line is steep the other way round
    slope, cut = np.polyfit(v[part], x[part], 1)
    return float(np.clip(cut, 0.0, x[first])) if slope > 0.0 else float(x[first])


def _misfit(base: Floats, v: Floats) -> float:
    c, *_ = np.linalg.lstsq(base, v, rcond=None)
    return float(((v - base @ c) ** 2).sum())


def peak_row(load: Floats) -> int:
    """Row of the largest raw load."""
    return int(np.nanargmax(load))


def failure_row(load: Floats, peak: int, fallen: float = FALLEN) -> int | None:
    """First row after the peak at which the load has fallen by the share; None if it never does."""
    with np.errstate(invalid="ignore"):
        after = np.flatnonzero(load[peak:] <= (1.0 - fallen) * load[peak])
    return peak + int(after[0]) if len(after) else None


def drop(load: Floats, deflection: Floats, peak: int) -> float:
    """Share of the peak lost while the deflection is not taken back; NaN without readings after the peak."""
    after, place = load[peak + 1 :], deflection[peak + 1 :]
    with np.errstate(invalid="ignore"):
        held = np.isfinite(after) & (place >= 0.98 * deflection[peak])
    return 1.0 - float(after[held].min()) / float(load[peak]) if held.any() else math.nan


def area(load: Floats, deflection: Floats, last: int) -> float:
    """Area under load-deflection up to a row [N mm], trapezoids."""
    p, d = load[: last + 1], deflection[: last + 1]
    good = np.isfinite(p) & np.isfinite(d)
    return float(np.trapezoid(p[good], d[good])) if good.sum() > 1 else math.nan


def stiffness(load: Floats, deflection: Floats, peak: int, part: tuple[float, float] = STIFF) -> float:
    """Slope of the rise [N/mm] between two shares of the peak, least squares; NaN without readings there."""
    p, d = load[: peak + 1], deflection[: peak + 1]
    with np.errstate(invalid="ignore"):
        good = np.isfinite(d) & (p >= part[0] * load[peak]) & (p <= part[1] * load[peak])
    if good.sum() < 3 or np.ptp(d[good]) == 0.0:
        return math.nan
    x, y = d[good] - d[good].mean(), p[good] - p[good].mean()
    return float((x * y).sum() / (x * x).sum())
