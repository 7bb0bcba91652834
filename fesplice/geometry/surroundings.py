"""What holds a bar in the concrete: covers, spacing and ties along it, for the splitting strength.

Covers, K_tr and k_m are those of fib Model Code 2010 (:mod:`fesplice.formulas.bond`), lap partners and clear
gaps those of :mod:`fesplice.formulas.laps`; here they are read off the bars of a specimen, stretch by stretch.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.formulas import bond, laps
from fesplice.geometry import bars

if TYPE_CHECKING:
    from fesplice.geometry.bars import Shape
    from fesplice.specimen.schema import Specimen


@dataclass(frozen=True)
class Stretch:
    """Between ``x0`` and ``x1`` [mm]: c_min, c_max [mm], k_m K_tr [-], bonded straight length [mm]."""

    x0: float
    x1: float
    cmin: float
    cmax: float
    ktr: float
    bond_length: float


def row_covers(s: Specimen, own: Shape, lapped: bool) -> tuple[float, float]:
    """c_min, c_max [mm] of the bar of a row that splits first; ``lapped`` where the other row lies beside it.

    The gap to the lap partner is none that a splitting crack runs to.
    """
    other = next((m for m in bars.main_shapes(s) if m.name != own.name), None) if lapped else None
    across, thick = (other.positions, other.diameter) if other is not None else ((), 0.0)
    gaps = laps.clear_gaps(own.positions, own.diameter, across, thick)
    sides = laps.side_covers(own.positions, own.diameter, s.body.width)
    cover = float(own.points[0, 1]) - 0.5 * own.diameter
    return bond.worst(
        [bond.covers(0.5 * float(g), float(c), cover, own.diameter) for g, c in zip(gaps, sides)], own.diameter
    )


def _stirrup_ktr(s: Specimen, own: Shape) -> float:
    v = s.stirrups
    if v is None:
        return 0.0
    legs = bars.leg_positions(s.body.width, v.cover, v.diameter, v.legs)
    index = bond.limited(bond.k_tr(v.legs, v.area, len(own.positions), own.diameter, v.spacing))
    return bond.least_k_m(own.positions, own.diameter, legs) * index


def along(s: Specimen, own: Shape) -> tuple[Stretch, ...]:
    """Surroundings of one main row from end to end of the beam, as stretches that touch."""
    lap = bars.bar_ends(s)
    held = _held(s, own.diameter)
    legs = bars.stirrup_positions(s)
    pitch = s.stirrups.spacing if s.stirrups is not None else 0.0
    stirred = tuple(_reach(tuple(x for x in legs if side * x > 0.0), pitch) for side in (-1.0, 1.0))
    spans = [span for span in (lap, *held, *stirred) if span[1] > span[0]]
    edges = sorted({-np.inf, np.inf, *bars.joint_positions(s), *(x for span in spans for x in span)})

    def inside(x: float, *spans: tuple[float, float]) -> bool:
        return any(a < x < b for a, b in spans)

    found = []
    for x0, x1 in zip(edges[:-1], edges[1:]):
        x = 0.5 * (max(x0, -1e6) + min(x1, 1e6))
        cmin, cmax = row_covers(s, own, inside(x, lap))
        ties = max(
            s.confinement.km_ktr(own.positions, own.diameter, s.body.width) if inside(x, *held) else 0.0,
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
    reach = min(0.5 * c.spacing, bond.NEAR_LEG * diameter)
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
