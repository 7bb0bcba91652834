"""Small tables of a test with words in them: CSV with units in the headings, every bad cell told with its place."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path

from fesplice.contracts import Fault, InputFault
from fesplice.measured.dialect import bare, encoding_of
from fesplice.measured.units import unit_factor
from fesplice.store.folder import reason
from fesplice.units import UnitFault

#: A table larger than this is no tracing of cracks and no frame [bytes].
LARGEST = 200_000_000


def read_rows(path: Path, needed: Mapping[str, str], optional: Mapping[str, str]) -> list[dict[str, str | float]]:
    """Rows of a table: numbers in inner units, words as they stand.

    ``needed`` and ``optional`` columns with the kind of their value, "" for words; a column left out is NaN or "".
    :class:`InputFault` with file, line and column.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise InputFault(str(path), f"too large for a table of this kind (limit {LARGEST / 1e6:.0f} MB)")
        text = path.read_text(encoding=encoding_of(path), errors="replace").lstrip("\ufeff")
    except OSError as error:
        raise InputFault(str(path), f"cannot be read: {reason(error)}") from None
    head = text.split("\n", 1)[0]
    mark = max(";\t,", key=head.count)
    lines = list(csv.reader(io.StringIO(text), delimiter=mark))
    kinds = {**needed, **optional}
    names = [bare(cell.strip()) for cell in lines[0]]
    places = {name.lower(): k for k, (name, _) in enumerate(names)}
    faults = []
    for name in needed:
        if name not in places:
            near = get_close_matches(name, places, n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            faults.append(Fault(name, None, f"no such column; {hint}columns: {', '.join(n for n, _ in names)}"))
    factors: dict[str, float] = {}
    for name, kind in kinds.items():
        if kind and name in places:
            try:
                factors[name] = unit_factor(names[places[name]][1], kind)
            except UnitFault as fault:
                faults.append(Fault(names[places[name]][0], names[places[name]][1] or None, str(fault)))
    if faults:
        raise InputFault(f"{path}, line 1", faults)
    out: list[dict[str, str | float]] = []
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        row: dict[str, str | float] = {}
        for name, kind in kinds.items():
            at = places.get(name)
            cell = cells[at].strip() if at is not None and at < len(cells) else ""
            row[name] = cell if not kind else _number(path, number, at, name, cell, factors, name in needed, mark)
        out.append(row)
    return out


def _number(
    path: Path, line: int, at: int | None, name: str, cell: str, factors: Mapping[str, float], needed: bool, mark: str
) -> float:
    if not cell and not needed:
        return math.nan
    plain = cell.replace(",", ".") if mark != "," else cell
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", plain):
        raise InputFault(f"{path}, line {line}, column {(at or 0) + 1}", [Fault(name, cell or None, "a number")])
    return float(plain) * factors[name]
