"""One row of lapped bars as the formulas see it: spacings, covers, ties, the length that counts.

Each formula has its own idea of cover and of transverse steel; both are read here from one placing
of the bars. The spacing of hooks in a lap is ambiguous and kept apart: ``row`` is the nearest hook
of the same row, ``partner`` the bar of the other side it laps with.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.formulas import bond, laps

if TYPE_CHECKING:
    from fesplice.specimen import BarRow, Specimen

#: ACI 318-19 25.4.3.3: ties at most this many bar diameters apart count as A_th.
TIE_PITCH = 8.0
#: ACI 318-14 and AASHTO LRFD: ties at most this many bar diameters apart allow their factor 0.8.
CLOSE_TIES = 3.0


@dataclass(frozen=True)
class Lapped:
    """A row of bars in its lap; lengths [mm], areas [mm2].

    ``lap`` hook outside to hook outside or end to end, ``embedment`` from the joint face; ``s_row`` is
    infinite for a single bar. ``cover`` to the tension face, ``side`` to the side face, ``edge`` that of the
    layer's outermost bar, ``half_gap`` half the clear spacing to the nearest bar that is not the lap partner
    (infinite where there is none).
    ``kind`` of splice; ``core_steel``: area [mm2] that runs across inside the bends or between
    the heads, and its yield strength [MPa].
    ``tail_cover`` to the face the tail points to (NaN without a hook). ``pair_gap`` clear gap of a lapped pair.
    ``c_model_code``: c_min, c_max of fib Model Code 2010 Figure 6.1-2, those of the bar that splits first.
    """

    line: str
    key: str
    row: BarRow
    lap: float
    embedment: float
    s_row: float
    s_partner: float
    pair_gap: float
    cover: float
    side: float
    edge: float
    half_gap: float
    tail_cover: float
    kind: str
    core_steel: tuple[float, float]
    c_model_code: tuple[float, float]
    ties: Ties

    @property
    def diameter(self) -> float:
        return self.row.diameter

    @property
    def hooked(self) -> bool:
        return self.kind == "hooked"

    @property
    def outer_bend(self) -> float:
        """Outer radius of the bend [mm]; 0 of a straight bar."""
        return 0.5 * self.row.hook.bend_diameter + self.diameter if self.row.hook is not None else 0.0

    @property
    def straight(self) -> float:
        """Clear length between the bends of the lap, l_s - 2 r [mm]."""
        return self.lap - 2.0 * self.outer_bend

    @property
    def spacing(self) -> dict[str, float]:
        """Centre spacing by reading [mm], large but finite where a row has one bar."""
        return {"row": min(self.s_row, 100.0 * self.diameter), "partner": self.s_partner}

    @property
    def c_408(self) -> tuple[float, float]:
        """c_min, c_max of ACI 408R-03 [mm]: c_s = min(c_so, c_si + 6.35 mm) against the cover c_b."""
        c_s = min(self.side, self.half_gap + 6.35)
        return min(c_s, self.cover), max(c_s, self.cover)

    @property
    def c_b(self) -> float:
        """c_b of ACI 318 and AASHTO [mm]: bar centre to the nearest surface, or half the centre spacing."""
        return min(self.cover, self.side, self.half_gap) + 0.5 * self.diameter

    @property
    def c_least(self) -> float:
        """Least of clear covers and half the clear spacing [mm]."""
        return min(self.cover, self.side, self.half_gap)


@dataclass(frozen=True)
class Ties:
    """Transverse steel along a lap: ``sets`` of ``legs`` of ``area`` [mm2] at ``spacing`` [mm], f_y [MPa].

    ``units`` bars or pairs enclosed by one set, ``bars`` hooked bars enclosed, ``k_m`` of MC2010 by the place
    of the legs. Empty where no formula counts the steel.
    """

    sets: int = 0
    legs: int = 0
    area: float = 0.0
    spacing: float = math.inf
    diameter: float = 0.0
    yield_strength: float = 0.0
    units: int = 1
    bars: int = 1
    k_m: float = 0.0

    @property
    def there(self) -> bool:
        """True where formulas have transverse steel to count."""
        return self.sets > 0

    @property
    def total(self) -> float:
        """All legs along the lap [mm2]."""
        return self.sets * self.legs * self.area

    @property
    def one_set(self) -> float:
        return self.legs * self.area

    @property
    def capacity(self) -> float:
        """Force of all legs along the lap at yield [N]."""
        return self.total * self.yield_strength

    def close(self, diameter: float, limit: float) -> bool:
        """At least two sets not farther apart than ``limit`` bar diameters."""
        return self.sets >= 2 and self.spacing <= limit * diameter * 1.001


def lapped(s: Specimen) -> tuple[Lapped, ...]:
    """The rows of a lap, left then right; empty for continuous bars."""
    left, right = s.bars.left, s.bars.right
    if right is None or s.bars.splice == "continuous":
        return ()
    return (_row(s, "A", "bars.left", left, right), _row(s, "B", "bars.right", right, left))


def _row(s: Specimen, line: str, key: str, row: BarRow, other: BarRow) -> Lapped:
    places = row.positions
    half_gaps = 0.5 * laps.clear_gaps(places, row.diameter, other.positions, other.diameter)
    sides = laps.side_covers(places, row.diameter, s.body.width)
    own = np.array(places)
    same = np.abs(own[:, None] - own[None, :])
    np.fill_diagonal(same, math.inf)
    partner = min(abs(a - b) for a, b in laps.pairs(places, other.positions))
    tail = math.nan
    if row.hook is not None:
        outer = 0.5 * row.hook.bend_diameter + row.diameter
        height = outer + row.hook.tail if row.hook.angle == 90.0 else 2.0 * outer
        room = row.depth if row.hook.orientation == "compression" else s.body.depth - row.depth
        tail = room + 0.5 * row.diameter - height
    return Lapped(
        line=line, key=key, row=row, lap=s.bars.lap, embedment=row.embedment,
        s_row=float(same.min()), s_partner=partner, pair_gap=partner - 0.5 * (row.diameter + other.diameter),
        cover=row.cover, side=float(sides.min()), edge=s.bars.side_cover,
        half_gap=max(float(half_gaps.min()), 1e-3 * row.diameter), tail_cover=tail,
        kind=s.bars.splice,
        core_steel=_in_core(s),
        c_model_code=bond.worst(
            [bond.covers(float(h), float(c), row.cover, row.diameter) for h, c in zip(half_gaps, sides)], row.diameter
        ),
        ties=_ties(s, row, other),
    )  # fmt: skip


def _in_core(s: Specimen) -> tuple[float, float]:
    """Steel across inside the lapped ends: bars in the bends; one leg of each set. Area [mm2], strength [MPa]."""
    c = s.confinement
    if not c.there:
        return 0.0, 0.0
    return c.number * c.area, s.steel[c.steel].yield_strength


def _ties(s: Specimen, row: BarRow, other: BarRow) -> Ties:
    c = s.confinement
    if not c.in_sets:
        return Ties()
    units, held = c.held(row.number, other.number)
    return Ties(
        sets=c.number, legs=c.legs, area=c.area, spacing=c.spacing, diameter=c.diameter,
        yield_strength=s.steel[c.steel].yield_strength, units=units,
        bars=held, k_m=c.k_m(row.positions, row.diameter, s.body.width),
    )  # fmt: skip
