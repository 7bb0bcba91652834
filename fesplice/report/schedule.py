"""A specimen in words and numbers: short rows for the drawing, full tables of inputs for the page.

Every quantity appears in both unit systems, with where it came from: written in the specimen
file, set by default, or estimated by a formula that is named.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fesplice.specimen.keys import kinds_of
from fesplice.units import both, show

if TYPE_CHECKING:
    from fesplice.specimen import BarRow, Specimen

_NOTHING = "–"


def schedule(s: Specimen) -> list[tuple[str, str]]:
    """Label and text of the specimen's parts, for the drawing; a text may hold line breaks."""
    rows = []
    if s.bars.splice == "continuous":
        rows.append(("Main bars", _row(s.bars.left) + "\ncontinuous"))
    else:
        left, right = _row(s.bars.left), _row(s.bars.right or s.bars.left)
        rows.append(("Bars A, B" if left == right else "Bars A", left))
        if left != right:
            rows.append(("Bars B", right))
        ratio = s.bars.lap / s.bars.left.diameter
        rows.append(("Lap", f"{both(s.bars.lap, 'length')}, {ratio:.1f} bar diameters"))
        rows.append(("Pair spacing", both(s.bars.spacing, "length")))
    c = s.confinement
    if not c.there:
        rows.append(("Confinement", "none"))
    else:
        count = f"{c.number} {c.label} {c.size}"
        rows.append(("Confinement", count + (f"\n@ {both(c.spacing, 'length')}" if c.spacing > 0.0 else "")))
    if s.stirrups is not None:
        rows.append(("Stirrups", f"{s.stirrups.size}, {s.stirrups.legs} legs\n@ {both(s.stirrups.spacing, 'length')}"))
    if s.compression_bars is not None:
        rows.append(("Top bars", f"{s.compression_bars.number} × {s.compression_bars.size}"))
    if s.concrete.closure is not None:
        rows.append(("Closure", f"{both(s.concrete.closure.strength, 'stress')}"))
    rows.append(("Precast" if s.concrete.closure else "Concrete", f"{both(s.concrete.precast.strength, 'stress')}"))
    steel = s.steel[s.bars.left.steel]
    rows.append(("Main steel", f"{both(steel.yield_strength, 'stress')}"))
    rows.append(("Span", both(s.body.span, "length")))
    return rows


def _row(row: BarRow) -> str:
    text = f"{row.number} × {row.size}, ⌀ {show(row.diameter, 'length')}"
    if row.hook is not None:
        text += f"\n{row.hook.angle:.0f}° hook, tail {both(row.hook.tail, 'length')}"
    return text


# ------------------------------------------------------------------ inputs
@dataclass(frozen=True)
class Input:
    """One input: key path, value in both systems, meaning, and its origin (``given``, ``default``, ``estimated``)."""

    path: str
    value: str
    meaning: str
    origin: str
    formula: str = ""


def inputs(s: Specimen) -> list[Input]:
    """Every quantity of a specimen in the order of its file, flattened.

    Left out: what has no value, confinement where there is none, and right bars that mirror the left.
    """
    left, right = s.bars.left, s.bars.right
    mirrored = right is not None and right.model_copy(update={"positions": left.positions}) == left

    def shown(item: Input) -> bool:
        if item.path.startswith("confinement.") and not s.confinement.there:
            return item.path == "confinement.kind"
        if item.path.startswith("bars.right.") and mirrored:
            return item.path == "bars.right.positions"
        return item.value != _NOTHING

    return [item for item in _walk("", s) if shown(item)]


def _walk(path: str, part: Any) -> Iterator[Input]:
    estimated = getattr(part, "estimated", None) or {}
    for name, field in type(part).model_fields.items():
        value = getattr(part, name)
        at = f"{path}.{name}" if path else name
        if value is None or (path == "" and name in ("name", "note")):
            continue
        if isinstance(value, dict):
            for key, child in value.items():
                yield from _walk(f"{at}.{key}", child)
        elif hasattr(type(value), "model_fields"):
            yield from _walk(at, value)
        else:
            given = name in part.model_fields_set and name not in estimated
            origin = "estimated" if name in estimated else "given" if given else "default"
            kinds = kinds_of(field.annotation, tuple(field.metadata))
            yield Input(at, _shown(value, kinds), field.description or "", origin, estimated.get(name, ""))


def _shown(value: Any, kinds: tuple[str, ...]) -> str:
    """A value in words and both systems; ``kinds`` of its numbers as the schema tells them."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return both(value, kinds[0]) if math.isfinite(value) else _NOTHING
    if isinstance(value, tuple):
        return ", ".join(_pair(v) if isinstance(v, tuple) else _shown(v, kinds) for v in value) or _NOTHING
    return str(value) if value != "" else _NOTHING


def _pair(point: tuple[float, ...]) -> str:
    strain, stress = point
    return f"{show(strain, 'strain')} at {show(stress, 'stress')}"
