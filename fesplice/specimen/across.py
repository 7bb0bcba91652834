"""Where the main bars lie across the beam, and how wide the beam is: from layout, spacing, gap and side cover.

Test beams widen with the spacing at one side cover, or keep their width: both are asked for by what is left out.
Without a gap the pairs share the width evenly; with one they stand at that distance, and either the side cover or
the width follows.
"""

from __future__ import annotations

from typing import Any

from fesplice.specimen.schema import BarRow, Bars, Body
from fesplice.specimen.values import TOLERANCE, UNSET, TellFault
from fesplice.units import show

Places = tuple[float, ...]


def across(bars: Bars, body: Body, report: TellFault) -> tuple[Bars, Body]:
    """Bars with their places and the body with its width; contradictions go to ``report``."""
    left, right = bars.left, bars.right
    wide = "width" in body.model_fields_set
    _alone(bars, wide, report)
    side = bars.side_cover if "side_cover" in bars.model_fields_set else left.cover if left.cover > 0 else UNSET
    half = body.width / 2 - side if wide else UNSET
    if right is None:
        if not (wide or left.positions or left.number == 1):
            report("body.width", "missing; continuous bars without positions share the width evenly")
        z = tuple(sorted(left.positions)) or _even(left.number, half - left.diameter / 2)
        return _placed(bars, body, side, z, None, 0.0)
    spacing = bars.spacing if bars.spacing != 0.0 else (left.diameter + right.diameter) / 2
    given = [bool(left.positions), bool(right.positions)]
    if "spacing" not in bars.model_fields_set and not all(given):
        report("bars.spacing", 'missing; centre to centre of a lapped pair, e.g. "100 mm" or "contact"')
    if all(given):
        return _both_given(bars, body, side, spacing, report)
    if given[1]:
        report("bars.left.positions", "missing; give the positions of both rows, or of the left row alone")
    elif left.number != right.number:
        report("bars.right.positions", "missing; with unequal numbers of bars give the positions of both rows")
    elif given[0]:
        a = tuple(sorted(left.positions))
        b = tuple(sorted(_partner(p, spacing, bars.layout) for p in a))
        return _placed(bars, body, side, a, b, spacing)
    else:
        centres = _centres(bars, left, half, spacing, wide, report)
        a, b = _pairs(centres, spacing, bars.layout)
        return _placed(bars, body, side, a, b, spacing)
    return bars, body


def _alone(bars: Bars, wide: bool, report: TellFault) -> None:
    """What must not be given together."""
    rows = [("bars.left", bars.left)] + ([("bars.right", bars.right)] if bars.right else [])
    placed = any(row.positions for _, row in rows)
    for path, row in rows:
        if row.positions and len(row.positions) != row.number:
            report(f"{path}.positions", f"{len(row.positions)} positions for {row.number} bars: give one for each")
    if placed and wide and "side_cover" in bars.model_fields_set:
        report("bars.side_cover", "give side_cover or positions, not both")
    if "gap" in bars.model_fields_set:
        if placed:
            report("bars.gap", "give gap or positions, not both")
        elif bars.right is None:
            report("bars.gap", "continuous bars have no pairs: leave it out")
        elif wide and "side_cover" in bars.model_fields_set:
            report("bars.gap", "with the width of the body give gap or side_cover: the other follows")
    if "layout" in bars.model_fields_set and (bars.right is None or all(row.positions for _, row in rows)):
        report("bars.layout", "says how lapped pairs lie; it has no meaning for continuous bars or given positions")


def _centres(bars: Bars, row: BarRow, half: float, spacing: float, wide: bool, report: TellFault) -> Places:
    """Middles of the pairs: ``gap`` between facing bars, or evenly over the ``half`` width inside the side cover."""
    n = row.number
    if "gap" in bars.model_fields_set:
        pitch = spacing + bars.gap
        return tuple(pitch * (i - (n - 1) / 2) for i in range(n))
    if not wide and n > 1:
        report("body.width", 'missing; or give bars.gap between the pairs, e.g. "150 mm": the width then follows')
    return _even(n, half - row.diameter / 2 - spacing / 2)


def _pairs(centres: Places, spacing: float, layout: str) -> tuple[Places, Places]:
    """Mirrored pairs A B | B A: left bars outside, no net eccentricity (an odd number leaves one pair in the middle,
    which cannot be mirrored). Alternating ones A B A B: the edge bars are one of each side.
    """
    n = len(centres)
    outward = [-1.0 if layout == "alternating" or 2 * i < n else 1.0 for i in range(n)]
    a = tuple(c + o * spacing / 2 for c, o in zip(centres, outward))
    b = tuple(c - o * spacing / 2 for c, o in zip(centres, outward))
    return a, b


def _partner(place: float, spacing: float, layout: str) -> float:
    """Where the right bar of a pair lies whose left bar is given."""
    return place - spacing if layout == "mirrored" and place > 0 else place + spacing


def _even(number: int, reach: float) -> Places:
    """``number`` places evenly from -reach to reach; a single one in the middle."""
    if number == 1:
        return (0.0,)
    return tuple(reach * (2 * i / (number - 1) - 1) for i in range(number))


def _gap(a: Places, b: Places | None) -> float:
    """Least distance between facing bars of two pairs; 0 where there are no two pairs."""
    pairs = sorted((min(pair), max(pair)) for pair in zip(a, b or ()))
    return min((low - high for (_, high), (low, _) in zip(pairs, pairs[1:])), default=0.0)


def _both_given(bars: Bars, body: Body, side: float, spacing: float, report: TellFault) -> tuple[Bars, Body]:
    assert bars.right is not None
    a, b = tuple(sorted(bars.left.positions)), tuple(sorted(bars.right.positions))
    gaps = [abs(p - q) for p, q in zip(a, b)] if len(a) == len(b) else []
    if "spacing" not in bars.model_fields_set:
        if gaps and max(gaps) - min(gaps) > TOLERANCE:
            report("bars.spacing", "missing; the positions give pairs of unequal spacing")
        spacing = gaps[0] if gaps else UNSET
    elif any(abs(gap - spacing) > TOLERANCE for gap in gaps):
        found = ", ".join(show(gap, "length") for gap in gaps)
        report("bars.spacing", f"disagrees with the positions, whose pairs lie {found} apart")
    return _placed(bars, body, side, a, b, spacing)


def _placed(bars: Bars, body: Body, side: float, a: Places, b: Places | None, spacing: float) -> tuple[Bars, Body]:
    """The places entered; the width that was left out is what they and the side cover need."""
    left, right = bars.left, bars.right
    outer = [abs(z) + left.diameter / 2 for z in a]
    update: dict[str, Any] = {"spacing": spacing, "gap": _gap(a, b), "left": left.filled(positions=a)}
    if right is not None and b is not None:
        outer += [abs(z) + right.diameter / 2 for z in b]
        update["right"] = right.filled(positions=b)
    if "width" not in body.model_fields_set:
        body = body.filled(width=2 * (max(outer) + side))
    return bars.filled(**update, side_cover=body.width / 2 - max(outer)), body
