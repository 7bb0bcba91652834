"""Bar schedule and clash list as text and CSV; both unit systems in every row."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fesplice.contracts import Fault
from fesplice.report.style import write_table
from fesplice.sizing.cage import Piece
from fesplice.units import both, told

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

_LB = 1.0 / 0.45359237
_INCH = 25.4
_LETTERS = ("a", "b", "c")


def columns(pieces: tuple[Piece, ...]) -> dict[str, list[str | float | int]]:
    """Columns of the schedule with the unit in each name."""
    table: dict[str, list[str | float | int]] = {
        "mark": [p.mark for p in pieces],
        "part": [p.part for p in pieces],
        "size": [p.size for p in pieces],
        "steel": [p.steel for p in pieces],
        "number": [p.number for p in pieces],
        "shape": [p.shape for p in pieces],
    }
    for letter in _LETTERS:
        values = [{key: length for key, _, length in p.dimensions}.get(letter) for p in pieces]
        table[f"{letter}_mm"] = ["" if v is None else round(v, 1) for v in values]
        table[f"{letter}_in"] = ["" if v is None else round(v / _INCH, 2) for v in values]
    table["dimensions_out_to_out"] = ["; ".join(f"{k} {name}" for k, name, _ in p.dimensions) for p in pieces]
    table["bend_inside_mm"] = ["" if p.bend == 0.0 else round(p.bend, 1) for p in pieces]
    table["bend_inside_in"] = ["" if p.bend == 0.0 else round(p.bend / _INCH, 2) for p in pieces]
    table["cut_length_mm"] = [round(p.cut) for p in pieces]
    table["cut_length_in"] = [round(p.cut / _INCH, 1) for p in pieces]
    table["mass_each_kg"] = [round(p.mass, 3) for p in pieces]
    table["mass_kg"] = [round(p.total, 2) for p in pieces]
    table["weight_lb"] = [round(p.total * _LB, 1) for p in pieces]
    table["remarks"] = ["; ".join(p.notes) for p in pieces]
    return table


def write_barlist(s: Specimen, pieces: tuple[Piece, ...], faults: list[Fault], folder: Path, name: str) -> list[Path]:
    """``name``-schedule.csv and ``name``-clashes.csv in ``folder``; :class:`FolderFault` when the disk refuses."""
    schedule, clash = folder / f"{name}-schedule.csv", folder / f"{name}-clashes.csv"
    clashes = {"key": [f.path for f in faults], "what": [f.allowed for f in faults]}
    return [write_table(schedule, columns(pieces)), write_table(clash, clashes)]


def barlist_text(s: Specimen, pieces: tuple[Piece, ...], faults: list[Fault]) -> str:
    """The schedule for a terminal, and what clashes."""
    rows = [("mark", "number", "size", "shape", "out to out", "cut length", "mass")]
    for p in pieces:
        sides = ", ".join(f"{k} {both(length, 'length')}" for k, _, length in p.dimensions)
        mass = f"{p.total:.1f} kg ({p.total * _LB:.0f} lb)"
        rows.append((p.mark, str(p.number), p.size, p.shape, sides, both(p.cut, "length"), mass))
    rows = [tuple(map(told, row)) for row in rows]
    wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = ["  ".join(f"{cell:<{w}}" for cell, w in zip(row, wide)).rstrip() for row in rows]
    total = sum(p.total for p in pieces)
    lines.append(f"all bars {total:.0f} kg ({total * _LB:.0f} lb); cut lengths along the centre line")
    lines += [f"{p.mark}: {note}" for p in pieces for note in p.notes]
    lines += [f"clash: {f}" for f in faults] or ["clashes: none"]
    return f"{s.name}\n" + "\n".join(lines)
