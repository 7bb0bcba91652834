"""What holds a bar in the concrete: covers, spacing and ties along it, for the splitting strength.

fib Model Code 2010, 6.1.1: c_min = min(c_s/2, c_x, c_y), c_max = max(c_s/2, c_x) with c_x the
side cover, c_y the cover to the tension face and c_s the clear spacing between bars or between
*pairs* of lapped bars; K_tr = n_t A_st / (n_b d_b s_t) <= 0.05 with n_b bars or pairs; k_m = 12
for a bar within 5 d_b of a leg, 6 further off, 0 where no leg crosses the splitting plane
(values of k_m from memory). A noncontact pair counts as one pair, like one in contact:
its inner gap is not a spacing between anchored units.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.geometry import bars

if TYPE_CHECKING:
    from fesplice.geometry.bars import Shape
    from fesplice.specimen.schema import Specimen

KTR_LIMIT = 0.05
KM_NEAR, KM_FAR = 12.0, 6.0
NEAR_LEG = 5.0


@dataclass(frozen=True)
class Stretch:
    """Between ``x0`` and ``x1`` [mm]: c_min, c_max [mm], k_m K_tr [-], bonded straight length [mm]."""

    x0: float
    x1: float
    cmin: float
    cmax: float
    ktr: float
    bond_length: float


def ktr(legs: float, area: float, units: float, diameter: float, spacing: float) -> float:
    """K_tr = n_t A_st / (n_b d_b s_t), at most 0.05; MC2010 6.1.1. ``area`` of one leg [mm2], lengths [mm]."""
    return min(KTR_LIMIT, legs * area / (units * diameter * spacing))


def km(z: float, diameter: float, legs: Floats) -> float:
    """k_m of a bar at ``z`` [mm] with vertical legs at ``legs`` (n,) [mm]."""
    if len(legs) == 0:
        return 0.0
    return KM_NEAR if np.abs(legs - z).min() <= NEAR_LEG * diameter else KM_FAR


def covers(z: float, others: Floats, diameter: float, width: float, cover: float) -> tuple[float, float]:
    """c_min, c_max [mm] of a bar at ``z`` beside the ``others`` (centre positions (n,) [mm]) in its layer."""
    side = 0.5 * width - abs(z) - 0.5 * diameter
    # a lone bar has no neighbour to split towards: its side cover stands for half a spacing
    half = 0.5 * (float(np.abs(others - z).min()) - diameter) if len(others) else side
    half = max(half, 1e-3 * diameter)
    return min(half, side, cover), max(half, side)


def _others(s: Specimen, own: Shape, z: float, lapped: bool) -> Floats:
    """Bars a splitting crack can run to from the bar at ``z``: not itself, and not its lap partner."""
    row = np.array([p for p in own.positions if abs(p - z) > 1e-9])
    if not lapped:
        return row
    opposite = next((m for m in bars.main_shapes(s) if m.name != own.name), None)
    if opposite is None:
        return row
    across = np.array(opposite.positions)
    return np.concatenate([row, np.delete(across, np.abs(across - z).argmin())])


def _worst(pairs: list[tuple[float, float]], diameter: float) -> tuple[float, float]:
    """The bar with the least (c_min/d_b)^0.33 (c_max/c_min)^0.1, the cover term of MC2010 eq. 6.1-5."""
    return min(pairs, key=lambda c: (c[0] / diameter) ** 0.33 * (c[1] / c[0]) ** 0.1)


def _stirrup_ktr(s: Specimen, own: Shape) -> float:
    v = s.stirrups
    if v is None:
        return 0.0
    legs = bars.leg_positions(s.body.width, v.cover, v.diameter, v.legs)
    worst = min(km(z, own.diameter, legs) for z in own.positions)
    return worst * ktr(v.legs, v.area, len(own.positions), own.diameter, v.spacing)


def _confinement_ktr(s: Specimen, own: Shape) -> float:
    """Closed ties each hold one pair in their corners; stirrups hold the whole section."""
    c = s.confinement
    if c.kind == "ties":
        return KM_NEAR * ktr(c.legs, c.area, 1.0, own.diameter, c.spacing)
    if c.kind == "stirrups":
        legs = bars.leg_positions(s.body.width, c.cover, c.diameter, c.legs)
        worst = min(km(z, own.diameter, legs) for z in own.positions)
        return worst * ktr(c.legs, c.area, len(own.positions), own.diameter, c.spacing)
    return 0.0


def along(s: Specimen, own: Shape) -> tuple[Stretch, ...]:
    """Surroundings of one main row from end to end of the beam, as stretches that touch."""
    lap = bars.bar_ends(s)
    held = _held(s, own.diameter)
    legs = bars.stirrup_positions(s)
    pitch = s.stirrups.spacing if s.stirrups is not None else 0.0
    stirred = tuple(_reach(tuple(x for x in legs if side * x > 0.0), pitch) for side in (-1.0, 1.0))
    spans = [span for span in (lap, *held, *stirred) if span[1] > span[0]]
    edges = sorted({-np.inf, np.inf, *bars.joint_positions(s), *(x for span in spans for x in span)})
    cover = float(own.points[0, 1]) - 0.5 * own.diameter

    def inside(x: float, *spans: tuple[float, float]) -> bool:
        return any(a < x < b for a, b in spans)

    found = []
    for x0, x1 in zip(edges[:-1], edges[1:]):
        x = 0.5 * (max(x0, -1e6) + min(x1, 1e6))
        lapped = inside(x, lap)
        pairs = [covers(z, _others(s, own, z, lapped), own.diameter, s.body.width, cover) for z in own.positions]
        cmin, cmax = _worst(pairs, own.diameter)
        ties = max(
            _confinement_ktr(s, own) if inside(x, *held) else 0.0,
            _stirrup_ktr(s, own) if inside(x, *stirred) else 0.0,
        )
        found.append(Stretch(x0, x1, cmin, cmax, ties, _bond_length(s, own, x)))
    return tuple(found)


def _reach(xs: tuple[float, ...], pitch: float) -> tuple[float, float]:
    """From half a pitch before the first set to half a pitch after the last [mm]; nothing without sets."""
    return (xs[0] - 0.5 * pitch, xs[-1] + 0.5 * pitch) if xs else (0.0, 0.0)


def _held(s: Specimen, diameter: float) -> tuple[tuple[float, float], ...]:
    """Stretches that the confinement holds: half a spacing either side of each set, but 5 bar diameters at most.

    Further off no set crosses the crack that splits the bar off (judgement, after the same distance across for
    k_m); a set outside the lap holds none of it.
    """
    c, (low, high) = s.confinement, bars.bar_ends(s)
    reach = min(0.5 * c.spacing, NEAR_LEG * diameter)
    found: list[tuple[float, float]] = []
    for x in bars.confinement_positions(s):
        if low < high and not low - 1e-6 <= x <= high + 1e-6:
            continue
        if found and x - reach <= found[-1][1] + 1e-6:
            found[-1] = (found[-1][0], x + reach)
        else:
            found.append((x - reach, x + reach))
    return tuple(found)


def _bond_length(s: Specimen, own: Shape, x: float) -> float:
    """Straight length over which the bar is anchored at ``x``: up to the joints (or lap start) around it."""
    ends = sorted([float(own.points[0, 0]), own.tangent_x])
    inner = bars.joint_positions(s) if s.bars.splice == "continuous" else (bars.embedment_start(s, own.side),)
    cuts = [ends[0], *inner, ends[1]]
    # bend and tail lie beyond the tangent point and share the embedment's length
    k = min(int(np.searchsorted(cuts, np.clip(x, ends[0] + 1e-6, ends[1]))), len(cuts) - 1)
    return cuts[k] - cuts[k - 1]


def secondary(diameter: float, cover: float, length: float) -> tuple[Stretch, ...]:
    """A bar of its own (leg, compression bar): its cover on every side, no ties."""
    return (Stretch(-np.inf, np.inf, cover, max(cover, diameter), 0.0, length),)
