"""Transverse steel in the closure: what the file says of it, and what each kind of it does.

A file names a kind; ``fill.py`` takes the class for it from ``KINDS`` once, and from there on nobody asks for the kind:
the object says where its sets stand, which legs cross which plane, how far it holds a row of bars. A further kind is
a subclass here, a word in ``Confinement.kind`` and its bent pieces in ``sizing/cage``. Lengths mm, areas mm2.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, Literal

import numpy as np
from pydantic import Field

from fesplice.contracts import Floats
from fesplice.formulas import bond
from fesplice.formulas.laps import leg_positions
from fesplice.specimen.values import UNSET, Count, Distance, Length, Sized, Text

#: Rectangles round the bars in a section across the beam: z0, z1 from the centre line, y0, y1 from the tension face.
Loops = tuple[tuple[float, float, float, float], ...]


class Confinement(Sized):
    """Transverse steel in the closure: sets spread evenly about the middle of the lap.

    ``ties`` enclose one lapped pair, ``stirrups`` the whole section; a ``hooked_transverse_bar``
    lies inside the bends across the beam (``number`` counts all of them; spacing then unused).
    As it stands here there is none; the kinds below answer for themselves.
    """

    kind: Literal["none", "ties", "stirrups", "hooked_transverse_bar"] = Field(
        default="none", description="closed ties about each pair, stirrups round the section, bars inside the bends"
    )
    spacing: Length = Field(default=UNSET, description="centre to centre of the sets")
    legs: Count = Field(default=2, description="legs of one tie or stirrup")
    number: Count = Field(default=0, description="number of sets along the lap")
    steel: Text = Field(default="", description="key of a [steel.*] table")
    cover: Distance = Field(default=UNSET, description="clear cover; left out: touching the main bars from outside")

    #: In words, for schedules.
    label: ClassVar[str] = "none"
    #: There is steel; it stands in sets at a spacing, which formulas count; its legs cross the plane of the bars
    #: upright; it closes about lapped pairs in that plane; it lies inside the bends of hooks.
    there: ClassVar[bool] = False
    in_sets: ClassVar[bool] = False
    upright: ClassVar[bool] = False
    about_pairs: ClassVar[bool] = False
    in_bends: ClassVar[bool] = False

    def chosen(self) -> Confinement:
        """The same values as an object of its kind."""
        return KINDS[self.kind].model_construct(_fields_set=set(self.model_fields_set), **dict(self))

    def positions(self, middle: float) -> tuple[float, ...]:
        """x of the sets [mm], ascending, spread about ``middle``; none of what is not set out by spacing."""
        return ()

    def legs_across(self, width: float) -> Floats:
        """z of the upright legs of one set in a beam ``width`` wide; none of what lies in the plane of the bars."""
        return np.array([])

    def loops(
        self, pairs: Sequence[tuple[float, float]], level: float, thick: float, section: tuple[float, float], out: float
    ) -> Loops:
        """Closed shapes of one set in the section, drawn at ``out`` of their bar: 0 inside, 0.5 axis, 1 outside.

        ``pairs`` of bars ``thick`` with their axis at ``level``; ``section`` width and depth of the beam.
        """
        return ()

    @property
    def beside(self) -> int:
        """Bars of one loop that lie across the beam at the level of the main bars."""
        return 0

    def held(self, row: int, other: int) -> tuple[int, int]:
        """What one set encloses of a row of ``row`` bars lapped with ``other``: bars or pairs anchored, bars in all."""
        return 1, 1

    def k_m(self, places: Sequence[float], diameter: float, width: float) -> float:
        """k_m of MC2010 for the bar of a row that the legs hold worst."""
        return 0.0

    def km_ktr(self, places: Sequence[float], diameter: float, width: float) -> float:
        """k_m K_tr of MC2010 for a row of bars at ``places`` where the sets hold it."""
        return 0.0

    def in_row(self, row: str) -> int:
        """Bars inside the bends of the hooks of row "A" (from the left) or "B"."""
        return 0


class _Sets(Confinement):
    """Sets at a spacing."""

    there: ClassVar[bool] = True
    in_sets: ClassVar[bool] = True

    def positions(self, middle: float) -> tuple[float, ...]:
        return tuple(float(x) for x in middle + (np.arange(self.number) - 0.5 * (self.number - 1)) * self.spacing)

    def km_ktr(self, places: Sequence[float], diameter: float, width: float) -> float:
        units, _ = self.held(len(places), 0)
        index = bond.limited(bond.k_tr(self.legs, self.area, units, diameter, self.spacing))
        return self.k_m(places, diameter, width) * index


class TieSets(_Sets):
    """Closed ties, one round each lapped pair, in the plane of the bars; each holds its pair in its corners."""

    label: ClassVar[str] = "ties"
    about_pairs: ClassVar[bool] = True

    def loops(
        self, pairs: Sequence[tuple[float, float]], level: float, thick: float, section: tuple[float, float], out: float
    ) -> Loops:
        reach = 0.5 * thick + out * self.diameter
        return tuple((low - reach, high + reach, level - reach, level + reach) for low, high in pairs)

    @property
    def beside(self) -> int:
        return self.legs

    def held(self, row: int, other: int) -> tuple[int, int]:
        return 1, 2

    def k_m(self, places: Sequence[float], diameter: float, width: float) -> float:
        return bond.KM_NEAR


class StirrupSets(_Sets):
    """Closed stirrups round the whole section, with upright legs between."""

    label: ClassVar[str] = "stirrups"
    upright: ClassVar[bool] = True

    def legs_across(self, width: float) -> Floats:
        return leg_positions(width, self.cover, self.diameter, self.legs)

    def loops(
        self, pairs: Sequence[tuple[float, float]], level: float, thick: float, section: tuple[float, float], out: float
    ) -> Loops:
        width, depth = section
        edge, inset = 0.5 * width - self.cover - (1.0 - out) * self.diameter, self.cover + (1.0 - out) * self.diameter
        return ((-edge, edge, inset, depth - inset),)

    @property
    def beside(self) -> int:
        return 1

    def held(self, row: int, other: int) -> tuple[int, int]:
        return row, row + other

    def k_m(self, places: Sequence[float], diameter: float, width: float) -> float:
        return bond.least_k_m(places, diameter, self.legs_across(width))


class TransverseBars(Confinement):
    """Bars across the beam inside the bends of the hooks: half of them in each row, an odd one with A."""

    label: ClassVar[str] = "hooked transverse bars"
    there: ClassVar[bool] = True
    in_bends: ClassVar[bool] = True

    def in_row(self, row: str) -> int:
        return self.number // 2 + (self.number % 2 if row == "A" else 0)


#: The class of each kind that a file may name.
KINDS: dict[str, type[Confinement]] = {
    "none": Confinement, "ties": TieSets, "stirrups": StirrupSets, "hooked_transverse_bar": TransverseBars,
}  # fmt: skip
