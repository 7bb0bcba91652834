"""How a logger wrote its file: encoding, delimiter, decimal mark, header rows, names and units, all found out.

A reading line is one whose cells are numbers, time stamps or the words loggers write for no reading; the delimiter
and decimal mark under which most lines are such lines are those of the file. What stands right above the first of
them with as many cells is the header, what stands above that the preamble (common practice, no source).
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from fesplice.contracts import InputFault
from fesplice.measured.units import is_unit
from fesplice.store.folder import reason

#: What loggers write where there is no reading, besides numbers such as 9999 (common practice, no source).
NO_READING = (
    "", "OVER", "-OVER", "+OVER", "OVERFLOW", "OVERLOAD", "OVLD", "OVRNG", "OL", "O.L", "-OL", "+OL", "NaN", "nan",
    "NAN", "-nan", "NA", "N/A", "#N/A", "#VALUE!", "null", "NULL", "None", "none", "inf", "-inf", "+inf", "Inf",
    "INF", "-INF", "Err", "ERR", "Error", "ERROR", "FAULT", "OPEN", "open",
    "---", "--", "-", "*", "***", "****", "over", "Over",
)  # fmt: skip
#: Delimiter and decimal mark, in the order of preference where a file fits several; " " is any run of blanks.
PAIRS = ((";", "."), (";", ","), ("\t", "."), ("\t", ","), (",", "."), ("|", "."), ("|", ","), (" ", "."), (" ", ","))
#: Bytes looked at in the beginning, in the middle and at the end of a file.
HEAD, ELSEWHERE = 400_000, 60_000
#: Most header rows that are looked for above the readings.
MOST_ROWS = 6

_MISSING = frozenset(NO_READING)
_NUMBER = {
    mark: re.compile(rf"[+-]?(?:\d+{re.escape(mark)}?\d*|{re.escape(mark)}\d+)(?:[eE][+-]?\d+)?") for mark in ".,"
}
_DATE = r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}"
_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,:]\d+)?)?(?:\s?[AaPp]\.?[Mm]\.?)?"
STAMP = re.compile(rf"(?:{_DATE}(?:[ T]+{_CLOCK})?|{_CLOCK})(?:Z|[+-]\d\d:?\d\d)?")
_NAMED_UNIT = re.compile(r"(.*\S)\s*(?:\[([^\]]*)\]|\(([^)]*)\))\s*")


@dataclass(frozen=True)
class Dialect:
    """How a file is written: ``names`` and ``units`` of its columns, ``first`` line of readings (from 1).

    ``rows`` are the header lines above it as texts, ``told`` what had to be decided.
    """

    encoding: str
    delimiter: str
    decimal: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    first: int
    rows: tuple[tuple[str, ...], ...] = ()
    preamble: int = 0
    told: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """One sentence for people."""
        delimiter = {"\t": "tab", " ": "blanks", ";": "semicolon", ",": "comma", "|": "bar"}[self.delimiter]
        mark = {".": "point", ",": "comma"}[self.decimal]
        return (
            f"encoding {self.encoding}, delimiter {delimiter}, decimal {mark}, {self.preamble} lines of preamble, "
            f"{len(self.rows)} header rows, {len(self.names)} columns, readings from line {self.first}"
        )

    def split(self, text: str) -> list[str]:
        """Cells of one line."""
        return split(text, self.delimiter)

    def number(self, text: str) -> float | None:
        """A cell as a number, not-a-number for no reading, None if it is neither."""
        if text in _MISSING:
            return float("nan")
        return float(text.replace(self.decimal, ".")) if _NUMBER[self.decimal].fullmatch(text) else None

    def is_reading(self, cells: Sequence[str]) -> bool:
        """Whether a line of readings is made of such ``cells``."""
        return len(cells) == len(self.names) and _is_reading(cells, self.decimal)


def split(text: str, delimiter: str) -> list[str]:
    """Cells of one line, without blanks round them and quotes."""
    if delimiter == " ":
        return text.split()
    text = text.strip("\r\n")
    if '"' not in text:
        return [cell.strip() for cell in text.split(delimiter)] if text.strip() else []
    try:
        return [cell.strip() for cell in next(csv.reader([text.replace("\r", " ")], delimiter=delimiter), [])]
    except csv.Error:
        # a cell longer than any reading
        return [text]


def _is_reading(cells: Sequence[str], decimal: str) -> bool:
    number = _NUMBER[decimal]
    numbers = 0
    for cell in cells:
        if number.fullmatch(cell):
            numbers += 1
        elif cell not in _MISSING and not STAMP.fullmatch(cell):
            return False
    return numbers > 0 and len(cells) >= 2


def encoding_of(path: Path) -> str:
    """ "utf-8", "utf-8-sig", "utf-16-le", "utf-16-be" or "cp1252"; :class:`InputFault` for what is no text."""
    try:
        with path.open("rb") as stream:
            head = stream.read(HEAD)
    except OSError as error:
        raise InputFault(str(path), f"cannot be read: {reason(error)}") from None
    if not head.strip():
        raise InputFault(str(path), "the file is empty; a log holds lines of readings")
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")
    ):  # fmt: skip
        if head.startswith(mark):
            return name
    if b"\0" in head:
        raise InputFault(str(path), "a binary file; a log is text, as CSV or columns")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _sample(path: Path, encoding: str) -> tuple[list[str], list[str]]:
    """Lines at the beginning, and whole lines from the middle and the end."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        begin = stream.read(HEAD).decode(encoding, "replace").lstrip("\ufeff")
        more: list[str] = []
        for place in (size // 2, size - ELSEWHERE):
            if place > HEAD:
                stream.seek(place - place % 2)
                more += stream.read(ELSEWHERE).decode(encoding, "replace").split("\n")[1:-1]
    lines = begin.split("\n")
    return (lines[:-1] if size > HEAD else lines), more


def find_dialect(
    path: Path, wanted: Iterable[str] = (), *, delimiter: str = "", decimal: str = "", encoding: str = ""
) -> Dialect:
    """The dialect of a log; ``wanted`` column names choose among several header rows.

    ``delimiter``, ``decimal`` and ``encoding`` are taken as given where the rig file says them.
    :class:`InputFault` where no line reads as readings.
    """
    code = encoding or encoding_of(path)
    head, more = _sample(path, code)
    best: tuple[int, int, str, str] | None = None
    for cut, mark in PAIRS:
        if (delimiter and cut != delimiter) or (decimal and mark != decimal):
            continue
        counts = Counter(
            len(cells) for text in (*head, *more) if text.strip() and _is_reading(cells := split(text, cut), mark)
        )
        if counts:
            columns, rows = max(counts.items(), key=lambda item: (item[1], item[0]))
            if best is None or rows > best[0]:
                best = (rows, columns, cut, mark)
    if best is None:
        raise InputFault(
            str(path),
            "no line of readings found: cells must be numbers, time stamps or words for no reading, separated by "
            "semicolon, tab, comma, bar or blanks; [log] of the rig file may name delimiter and decimal",
        )
    _, columns, cut, mark = best
    first = next(
        (k for k, text in enumerate(head) if len(c := split(text, cut)) == columns and _is_reading(c, mark)), None
    )
    if first is None:
        raise InputFault(str(path), f"the first readings stand beyond the first {HEAD} bytes; shorten the preamble")
    return _with_header(path, Dialect(code, cut, mark, ("",) * columns, (), first + 1), head[:first], set(wanted))


# ------------------------------------------------------------------ names and units
def _with_header(path: Path, found: Dialect, above: list[str], wanted: set[str]) -> Dialect:
    columns, block, told = len(found.names), [], []
    for text in reversed(above):
        cells = found.split(text)
        # some loggers end every line, or only the header, with a delimiter
        if cells and cells[-1] == "" and len(cells) == columns + 1:
            cells = cells[:-1]
        if len(cells) + 1 == columns:
            cells = [*cells, ""]
        if len(cells) != columns or len(block) == MOST_ROWS:
            break
        block.insert(0, tuple(cells))
    preamble = len(above) - len(block)
    if not block:
        told.append("no row of names: columns are called by their numbers")
        return _replace(found, tuple(str(k + 1) for k in range(columns)), ("",) * columns, (), preamble, told)
    scores = [sum(1 for cell in row if {cell, bare(cell)[0]} & wanted) for row in block]
    of_units = [_share_of_units(row) for row in block]
    if max(scores) > 0:
        at = scores.index(max(scores))
    else:
        at = next((k for k, row in enumerate(block) if of_units[k] < 0.6 and _distinct(row)), 0)
    units = [""] * columns
    rest = [k for k in range(len(block)) if k != at]
    if rest and (best := max(rest, key=lambda k: of_units[k])) is not None and of_units[best] >= 0.5:
        units = [cell.strip("[]() ") for cell in block[best]]
    names: list[str] = []
    for k, cell in enumerate(block[at]):
        name, unit = bare(cell)
        units[k] = units[k] or (unit if cell not in wanted else "")
        names.append((cell if cell in wanted else name) or str(k + 1))
    for name, number in Counter(names).items():
        if number > 1:
            told.append(f"{number} columns are called {name!r}: the later ones are called {name!r} (2), ...")
            seen = 0
            for k, other in enumerate(names):
                if other == name:
                    seen += 1
                    names[k] = name if seen == 1 else f"{name} ({seen})"
    return _replace(found, tuple(names), tuple(units), tuple(block), preamble, told)


def _replace(found: Dialect, names, units, rows, preamble: int, told: list[str]) -> Dialect:
    return Dialect(
        found.encoding, found.delimiter, found.decimal, names, units, found.first, rows, preamble, tuple(told)
    )


def bare(cell: str) -> tuple[str, str]:
    """Name and unit of a heading such as "load [kN]" or "load (kN)"."""
    match = _NAMED_UNIT.fullmatch(cell)
    if match is None:
        return cell, ""
    unit = (match[2] if match[2] is not None else match[3] or "").strip()
    return (match[1], unit) if is_unit(unit) or match[2] is not None else (cell, "")


def _share_of_units(row: Sequence[str]) -> float:
    """Share of the filled cells of a row that are units."""
    filled = [cell.strip("[]() ") for cell in row if cell.strip("[]() ")]
    return sum(map(is_unit, filled)) / len(filled) if filled else 0.0


def _distinct(row: Sequence[str]) -> bool:
    filled = sorted(cell for cell in row if cell)
    return len(filled) >= 0.6 * len(row) and all(a != b for a, b in pairwise(filled))
