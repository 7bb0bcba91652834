"""Bond numbers of fib Model Code 2010: pull-out and splitting strength, covers, K_tr, k_m.

6.1.1 and 6.1.3, with the notation of the code: c_min = min(c_s/2, c_x, c_y) and c_max = max(c_s/2, c_x) with the
side cover c_x, the cover to the tension face c_y and the clear spacing c_s between bars, or between *pairs* of lapped
bars. A pair that does not touch counts as one pair, like one in contact: its inner gap is no spacing between
anchored units. Functions take floats or arrays that fit each other; lengths mm, stresses MPa.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TypeVar, cast

import numpy as np

from fesplice.contracts import Floats

#: A number, or one per point.
Value = TypeVar("Value", float, Floats)

#: Share of the good bond that other casting positions have, eq. 6.1-5.
ETA_2 = {"good": 1.0, "other": 0.7}
#: tau_bmax / sqrt(f_cm), Table 6.1-1 [MPa^0.5].
PULL_OUT = {"good": 2.5, "other": 1.25}
#: K_tr counts no further, 6.1.1.
KTR_LIMIT = 0.05
#: k_m of bars near a leg and further off, 6.1.1; within how many bar diameters is near (all from memory).
KM_NEAR, KM_FAR = 12.0, 6.0
NEAR_LEG = 5.0
#: Exponents of c_min/d_b in the local strength (6.1-5) and in the mean stress of a lap (6.1-19).
LOCAL, MEAN = 0.33, 0.25


# ------------------------------------------------------------------ strengths
def tau_max(f_cm: float, condition: str) -> float:
    """Pull-out bond strength 2.5 sqrt(f_cm) (good) or 1.25 sqrt(f_cm) (other) [MPa]; Table 6.1-1."""
    return PULL_OUT[condition] * math.sqrt(f_cm)


def cover_term(c_min: Value, c_max: Value, diameter: Value, power: float = LOCAL) -> Value:
    """(c_min/d_b)^power (c_max/c_min)^0.1, what the covers are worth in 6.1-5 and, with ``MEAN``, in 6.1-19 [-]."""
    return cast(Value, (c_min / diameter) ** power * (c_max / c_min) ** 0.1)


def tau_split(f_cm: float, diameter: Value, c_min: Value, c_max: Value, km_ktr: Value, condition: str) -> Value:
    """Local bond strength when concrete splits [MPa]; eq. 6.1-5.

    eta2 6.5 (f_cm/25)^0.25 (25/d_b)^0.2 [(c_min/d_b)^0.33 (c_max/c_min)^0.1 + k_m K_tr];
    eta2 = 1.0 good, 0.7 other. ``km_ktr`` is the product k_m K_tr.
    """
    cover = cover_term(c_min, c_max, diameter)
    return ETA_2[condition] * 6.5 * (f_cm / 25.0) ** 0.25 * (25.0 / diameter) ** 0.2 * (cover + km_ktr)


# ------------------------------------------------------------------ transverse steel
def k_tr(legs: float, area: float, units: float, diameter: float, spacing: float) -> float:
    """K_tr = n_t A_st / (n_b d_b s_t) [-], not yet limited to ``KTR_LIMIT``; eq. 6.1-6.

    ``legs`` of ``area`` [mm2] each cross the splitting surface at a section, ``units`` bars or pairs lie in it.
    """
    return legs * area / (units * diameter * spacing)


def limited(k: float) -> float:
    """K_tr as it counts, at most 0.05."""
    return min(KTR_LIMIT, k)


def k_m(z: float, diameter: float, legs: Floats) -> float:
    """k_m of a bar at ``z`` [mm] with ``legs`` (n,) [mm]: 12 near one, 6 further off, 0 without (from memory)."""
    if len(legs) == 0:
        return 0.0
    return KM_NEAR if np.abs(legs - z).min() <= NEAR_LEG * diameter else KM_FAR


def least_k_m(places: Iterable[float], diameter: float, legs: Floats) -> float:
    """k_m of the bar of a row that its legs hold worst."""
    return min(k_m(z, diameter, legs) for z in places)


# ------------------------------------------------------------------ covers
def covers(half_gap: float, side: float, cover: float, diameter: float) -> tuple[float, float]:
    """c_min, c_max [mm] from half the clear spacing, side cover and cover to the tension face.

    A lone bar (infinite ``half_gap``) has no neighbour to split towards: its side cover stands for half a spacing.
    """
    half = half_gap if math.isfinite(half_gap) else side
    half = max(half, 1e-3 * diameter)
    return min(half, side, cover), max(half, side)


def worst(pairs: Iterable[tuple[float, float]], diameter: float) -> tuple[float, float]:
    """The (c_min, c_max) whose cover term of eq. 6.1-5 is least: those of the bar of a row that splits first."""
    return min(pairs, key=lambda c: cover_term(c[0], c[1], diameter))


def side_splitting(
    f_cm: float, diameter: float, half_gaps: Floats, sides: Floats, length: float, condition: str
) -> float:
    """Force per bar [N] that splits the cover beside hooks: tau_split pi d_b l over the whole embedment ``length``.

    ``half_gaps``, ``sides`` (n,) [mm]: half the clear spacing in the row of hooks (infinite for a lone bar) and the
    side cover of each bar; the bar worst placed counts, steel across does not. The splitting plane is that of the
    hook, which no plane of this package shows. A rule of this project, after eq. 6.1-5; how well it does on hooked
    bars in joints stands in models/validation.
    """
    half = np.where(np.isfinite(half_gaps), half_gaps, sides)
    d = np.array([diameter])
    tau = tau_split(f_cm, d, np.minimum(half, sides), np.maximum(half, sides), np.zeros(len(half)), condition)
    return float(tau.min()) * np.pi * diameter * length
