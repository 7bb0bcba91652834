"""The cage as a bender reads it: marks, shapes, out-to-out dimensions, cut lengths, masses.

Cut length is the length of the centre line with its true arcs; no bend allowance of a shop is taken
off. Stirrups and ties are closed with two 135 degree hooks, crossties have one of 135 and one of 90
(ACI 318-19 25.3.2, from memory). Mass by the nominal diameter, 7850 kg/m3.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import singledispatch
from typing import TYPE_CHECKING

from fesplice.geometry import bars
from fesplice.provisions.aci318_19_detailing import tie_bend_diameter, tie_extension
from fesplice.specimen.confinement import Confinement, StirrupSets, TieSets, TransverseBars
from fesplice.specimen.transverse import transverse_reach

if TYPE_CHECKING:
    from fesplice.specimen import BarRow, Specimen

#: Density of bar steel [kg/mm3].
STEEL = 7850e-9


@dataclass(frozen=True)
class Piece:
    """Bars of one mark; ``dimensions`` letter, meaning and out-to-out length [mm] in the order of the shape.

    ``bend`` inside diameter [mm] (0 of a straight bar), ``cut`` length and ``mass`` [kg] of one bar.
    """

    mark: str
    part: str
    size: str
    diameter: float
    steel: str
    shape: str
    number: int
    dimensions: tuple[tuple[str, str, float], ...]
    bend: float
    cut: float
    notes: tuple[str, ...] = ()

    @property
    def mass(self) -> float:
        """Mass of one bar [kg]."""
        return 0.25 * math.pi * self.diameter**2 * self.cut * STEEL

    @property
    def total(self) -> float:
        """Mass of all bars of the mark [kg]."""
        return self.number * self.mass


def cage(s: Specimen) -> tuple[Piece, ...]:
    """Every mark of the specimen: main bars A and B, compression bars C, stirrups S, confinement T."""
    return (*_main(s), *_compression(s), *_stirrups(s), *_confinement(s.confinement, s))


def arc(angle: float, bend: float, diameter: float) -> float:
    """Centre-line length [mm] of a bend of ``angle`` [degree] with the inside diameter ``bend``."""
    return math.radians(angle) * 0.5 * (bend + diameter)


# ------------------------------------------------------------------ main bars
def _main(s: Specimen) -> Iterator[Piece]:
    rows = {"A": s.bars.left} | ({"B": s.bars.right} if s.bars.right is not None else {})
    for shape in bars.main_shapes(s):
        row = rows[shape.name]
        part = {"A": "main bars, left half", "B": "main bars, right half"}[shape.name]
        if s.bars.splice == "continuous":
            part = "main bars, through the beam"
        x0, x1, y0, y1 = shape.outside
        overall = x1 - x0
        if row.hook is None:
            yield Piece(shape.name, part, row.size, row.diameter, row.steel, "straight", row.number,
                        (("a", "length", overall),), 0.0, overall)  # fmt: skip
            continue
        yield _hooked(shape.name, part, row, overall, y1 - y0)


def _hooked(mark: str, part: str, row: BarRow, overall: float, height: float) -> Piece:
    assert row.hook is not None
    h, d = row.hook, row.diameter
    lead = overall - 0.5 * h.bend_diameter - d
    cut = lead + arc(h.angle, h.bend_diameter, d) + h.tail
    leg = "leg of the hook" if h.angle == 90.0 else "height of the hook"
    dimensions = (("a", "overall length", overall), ("b", leg, height), ("c", "tail after the bend", h.tail))
    shape = f"one {h.angle:.0f} degree hook"
    notes = () if h.orientation == "compression" else ("hook turned to the tension face",)
    return Piece(mark, part, row.size, d, row.steel, shape, row.number, dimensions, h.bend_diameter, cut, notes)


def _compression(s: Specimen) -> Iterator[Piece]:
    c = s.compression_bars
    if c is None:
        return
    spans = bars.compression_spans(s)
    lengths = [x1 - x0 for x0, x1 in spans.values()]
    where = "through the closure" if "C" in spans else "one in each half"
    yield Piece("C", f"compression bars, {where}", c.size, c.diameter, c.steel, "straight", c.number * len(spans),
                (("a", "length", lengths[0]),), 0.0, lengths[0])  # fmt: skip


# ------------------------------------------------------------------ stirrups and confinement
def _closed(
    mark: str, part: str, bar: _Bar, number: int, width: float, height: float, notes: tuple[str, ...] = ()
) -> Piece:
    """A closed stirrup of ``width`` x ``height`` out to out [mm] with two 135 degree hooks at one corner."""
    d = bar.diameter
    bend, tail = tie_bend_diameter(d).value, tie_extension(d, 135.0).value
    corner = 0.5 * bend + d
    straight = 2.0 * (width + height - 4.0 * corner)
    # three corners of a quarter turn and two hooks of 135 degrees
    cut = straight + arc(3 * 90.0 + 2 * 135.0, bend, d) + 2.0 * tail
    dimensions = (("a", "width", width), ("b", "height", height), ("c", "hook extension", tail))
    shape = "closed, two 135 degree hooks"
    return Piece(mark, part, bar.size, d, bar.steel, shape, number, dimensions, bend, cut, notes)


@dataclass(frozen=True)
class _Bar:
    size: str
    diameter: float
    steel: str


def _crosstie(mark: str, part: str, bar: _Bar, number: int, height: float) -> Piece:
    d = bar.diameter
    bend = tie_bend_diameter(d).value
    tails = tie_extension(d, 135.0).value, tie_extension(d, 90.0).value
    straight = height - 2.0 * (0.5 * bend + d)
    cut = straight + arc(135.0 + 90.0, bend, d) + sum(tails)
    ends = (("b", "135 degree extension", tails[0]), ("c", "90 degree extension", tails[1]))
    shape = "crosstie, 135 and 90 degree hooks"
    return Piece(mark, part, bar.size, d, bar.steel, shape, number, (("a", "height", height), *ends), bend, cut)


def _stirrups(s: Specimen) -> Iterator[Piece]:
    v = s.stirrups
    if v is None:
        return
    yield from _sets(s, "S", "stirrups", v, len(bars.stirrup_positions(s)), v.legs)


def _sets(s: Specimen, mark: str, part: str, v, number: int, legs: int) -> Iterator[Piece]:
    bar = _Bar(v.size, v.diameter, v.steel)
    width, height = s.body.width - 2.0 * v.cover, s.body.depth - 2.0 * v.cover
    if legs == 1:
        yield _crosstie(mark, f"{part}, single leg", bar, number, height)
        return
    yield _closed(mark, part, bar, number, width, height)
    if legs > 2:
        yield _crosstie(f"{mark}x", f"{part}, inner legs", bar, number * (legs - 2), height)


@singledispatch
def _confinement(c: Confinement, s: Specimen) -> Iterator[Piece]:
    """Pieces of the confinement, by its class; none where there is none."""
    yield from ()


@_confinement.register(StirrupSets)
def _closure_stirrups(c: StirrupSets, s: Specimen) -> Iterator[Piece]:
    yield from _sets(s, "T", "stirrups along the lap", c, c.number, c.legs)


@_confinement.register(TieSets)
def _ties(c: TieSets, s: Specimen) -> Iterator[Piece]:
    left, right = s.bars.left, s.bars.right
    if right is None:
        return
    thick = max(left.diameter, right.diameter)
    width = s.bars.spacing + 0.5 * (left.diameter + right.diameter) + 2.0 * c.diameter
    bend = tie_bend_diameter(c.diameter).value
    # a tie cannot be bent tighter than its mandrel: it stands off a thin bar
    height = max(thick, bend) + 2.0 * c.diameter
    notes = (f"stands off the bars: its bend of {bend:.0f} mm is wider than they are thick",) if bend > thick else ()
    pairs = min(left.number, right.number)
    bar = _Bar(c.size, c.diameter, c.steel)
    yield _closed("T", "ties, one round each lapped pair", bar, c.number * pairs, width, height, notes)
    if c.legs > 2:
        yield _crosstie("Tx", "ties, inner legs", bar, c.number * pairs * (c.legs - 2), height)


@_confinement.register(TransverseBars)
def _transverse_bar(c: TransverseBars, s: Specimen) -> Iterator[Piece]:
    length = 2.0 * transverse_reach(s)
    bend, tail = tie_bend_diameter(c.diameter).value, tie_extension(c.diameter, 180.0).value
    straight = length - 2.0 * (0.5 * bend + c.diameter)
    cut = straight + arc(360.0, bend, c.diameter) + 2.0 * tail
    dimensions = (("a", "overall length", length), ("c", "hook extension", tail))
    yield Piece("T", "transverse bars inside the bends", c.size, c.diameter, c.steel, "two 180 degree hooks", c.number,
                dimensions, bend, cut, ("hooks round the edge bars",))  # fmt: skip
