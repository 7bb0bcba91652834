"""Which bars of two rows lap with each other, and how much concrete lies beside each bar of a row.

Places are lateral centre positions [mm] from the beam's centre line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fesplice.contracts import Floats


def partners(left: Sequence[float], right: Sequence[float]) -> tuple[tuple[int, int], ...]:
    """Lapped pairs as (index in ``left``, index in ``right``), from the smallest place up; no bar in two of them.

    In rows of the same number the k-th bar across the beam laps with the k-th of the other row: of all ways to
    pair them it is the one with the least sum of squared spacings, and it is how ``bars.spacing`` of a specimen is
    understood. Taking for each bar the nearest of the other row pairs wrongly as soon as the pairs stand closer than
    two spacings: two bars then share a partner. Unequal rows: the least sum of squares, longer rows keep bars alone.
    """
    a, b = np.argsort(left, kind="stable"), np.argsort(right, kind="stable")
    if len(a) == len(b):
        return tuple((int(i), int(j)) for i, j in zip(a, b))
    from scipy.optimize import linear_sum_assignment  # rarely needed, and slow to load

    apart = np.subtract.outer(np.asarray(left, float)[a], np.asarray(right, float)[b]) ** 2
    return tuple((int(a[i]), int(b[j])) for i, j in zip(*linear_sum_assignment(apart)))


def pairs(left: Sequence[float], right: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """Lapped pairs as (place of the left bar, place of the right bar) [mm]; see :func:`partners`."""
    return tuple((left[i], right[j]) for i, j in partners(left, right))


def clear_gaps(
    own: Sequence[float], diameter: float, others: Sequence[float] = (), other_diameter: float = 0.0
) -> Floats:
    """Clear distance (n,) [mm] from each bar of a row to the nearest bar that is not its lap partner.

    Neighbours are the other bars of the row ``own`` (n,) and, where it laps, bars of the row ``others``, each with its
    own diameter. A bar that the other row leaves without a partner laps with the nearest. Infinite for a lone bar.
    """
    mate = dict(partners(own, others)) if len(others) else {}
    found = []
    for i, z in enumerate(own):
        gaps = [abs(p - z) - diameter for j, p in enumerate(own) if j != i]
        if len(others):
            away = [abs(p - z) for p in others]
            skip = mate.get(i, int(np.argmin(away)))
            gaps += [far - 0.5 * (diameter + other_diameter) for j, far in enumerate(away) if j != skip]
        found.append(min(gaps, default=math.inf))
    return np.array(found)


def side_covers(places: Sequence[float], diameter: float, width: float) -> Floats:
    """Clear cover (n,) [mm] of each bar to the nearer side face of a beam ``width`` [mm] wide."""
    return 0.5 * width - np.abs(np.asarray(places, float)) - 0.5 * diameter


def leg_positions(width: float, cover: float, diameter: float, legs: int) -> Floats:
    """z of vertical legs [mm]: the outer two at their cover, the rest evenly between."""
    edge = 0.5 * width - cover - 0.5 * diameter
    return np.linspace(-edge, edge, legs) if legs > 1 else np.zeros(1)
