"""Steel across the bars: bends of its ends; hooked transverse bars, how many in a row of hooks, how far they reach."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fesplice.specimen.schema import Specimen

#: Inside diameter of the bends of ties and stirrups [bar diameters] (ACI 318-19, 25.3.2, up to 16 mm; from memory).
TIE_BEND = 4.0
#: Cover of a transverse bar's ends at least [mm].
END_COVER = 10.0


def transverse_bars(s: Specimen, row: str) -> int:
    """How many lie in the bends of row "A" (from the left) or "B": half of them, an odd one with A; 0 for none."""
    hooks = s.bars.left if row == "A" else s.bars.right
    return s.confinement.in_row(row) if hooks is not None and hooks.hook is not None else 0


def transverse_reach(s: Specimen) -> float:
    """Half length [mm] of a transverse bar: round the outer main bars of both rows, but never out of the beam."""
    rows = (s.bars.left, s.bars.right)
    outer = max(abs(z) + 0.5 * row.diameter for row in rows if row is not None for z in row.positions)
    return min(outer + s.confinement.diameter, 0.5 * s.body.width - END_COVER)
