"""A log read in blocks: time stamps and the wanted columns as numbers, whatever the logger wrote between them.

Lines that are no readings (a header repeated after a restart, remarks, a line cut short) are passed over and
counted; a cell that is neither a number nor a word for no reading is a fault with file, line and column.
"""

from __future__ import annotations

import codecs
import hashlib
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import csv as pa_csv

from fesplice.contracts import Fault, Floats, InputFault
from fesplice.measured.dialect import NO_READING, Dialect
from fesplice.store.folder import reason

#: Bytes read at once.
BLOCK = 1 << 23
#: First bytes of lines of readings; a line that begins otherwise is looked at by hand.
_BEGIN = np.isin(np.arange(256), np.frombuffer(b"0123456789+-.,;|\t \"'", np.uint8))


@dataclass
class Passed:
    """Lines passed over: how many of each kind, and the first line number of each."""

    count: Counter[str] = field(default_factory=Counter)
    first: dict[str, int] = field(default_factory=dict)

    def __call__(self, line: int, why: str) -> None:
        """Note that ``line`` was passed over."""
        self.count[why] += 1
        self.first.setdefault(why, line)


@dataclass(frozen=True)
class Batch:
    """Readings of one block: line numbers (n,), cells of the stamp columns, values (n,) per column."""

    lines: np.ndarray
    stamps: tuple[pa.Array, ...]
    values: dict[str, Floats]


def blocks(path: Path, encoding: str, size: int = BLOCK) -> Iterator[bytes]:
    """The file in pieces of whole lines, in UTF-8 with plain line ends."""
    plain = encoding in ("utf-8", "utf-8-sig")
    decoder = codecs.getincrementaldecoder(encoding)("replace")
    rest = b""
    with path.open("rb") as stream:
        while piece := stream.read(size):
            data = rest + (piece if plain else decoder.decode(piece).encode("utf-8"))
            cut = data.rfind(b"\n") + 1
            rest = data[cut:]
            if cut:
                yield data[:cut]
    if rest:
        # a logger that still writes, or was cut off, leaves a line without its end
        yield rest


def digest(path: Path) -> str:
    """SHA-256 of a file; :class:`InputFault` where it cannot be read."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise InputFault(str(path), f"cannot be read: {reason(error)}") from None


def batches(
    path: Path, dialect: Dialect, stamps: Sequence[str], columns: Sequence[str], passed: Passed
) -> Iterator[Batch]:
    """The readings of a log, block by block; what is no reading goes to ``passed``.

    :class:`InputFault` at the first cell of a wanted column that cannot be read.
    """
    line = 1
    for block in blocks(path, dialect.encoding):
        number = block.count(b"\n") + (not block.endswith(b"\n"))
        lines = np.arange(line, line + number)
        whole = block.endswith(b"\n")
        if line < dialect.first:
            skip = min(dialect.first - line, number)
            block = block.split(b"\n", skip)[-1] if skip < number else b""
            lines = lines[skip:]
        line += number
        if not block.strip():
            continue
        kept, lines = _without_odd(block, lines, dialect, passed)
        if len(lines):
            data = _single(kept) if dialect.delimiter == " " else kept
            found = _fast(data, lines, dialect, stamps, columns)
            if found is None and b" " in data and dialect.delimiter != " ":
                # blanks that pad a word for no reading hide it
                found = _fast(_unpadded(data, dialect.delimiter), lines, dialect, stamps, columns)
            yield found or _slow(path, kept, lines, dialect, stamps, columns, passed, whole)


def _single(block: bytes) -> bytes:
    """Runs of blanks between cells as one tab."""
    return re.sub(rb"[ \t]+", b"\t", re.sub(rb"^[ \t]+|[ \t]+(?=\r?$)", b"", block, flags=re.M))


def _unpadded(block: bytes, delimiter: str) -> bytes:
    """Cells without the blanks round them."""
    mark = delimiter.encode()
    return re.sub(rb"^ +| +(?=\r?$)", b"", re.sub(rb" *" + re.escape(mark) + rb" *", mark, block), flags=re.M)


def _without_odd(block: bytes, lines: np.ndarray, dialect: Dialect, passed: Passed) -> tuple[bytes, np.ndarray]:
    """The block without lines that do not begin as readings do."""
    data = np.frombuffer(block, np.uint8)
    begin = np.concatenate([[0], np.flatnonzero(data == 10) + 1])
    begin = begin[begin < len(block)]
    pieces, gone, at = [], [], 0
    for row in np.flatnonzero(~_BEGIN[data[begin]]):
        start = int(begin[row])
        end = int(begin[row + 1]) if row + 1 < len(begin) else len(block)
        cells = dialect.split(block[start:end].decode("utf-8", "replace"))
        if dialect.is_reading(cells):
            continue
        if any(cells):
            known = {cell for head in dialect.rows for cell in head if cell}
            passed(int(lines[row]), "header repeated" if known & set(cells) else "no readings")
        pieces.append(block[at:start])
        at = end
        gone.append(row)
    if not gone:
        return block, lines
    return b"".join((*pieces, block[at:])), np.delete(lines, gone)


def _fast(
    data: bytes, lines: np.ndarray, dialect: Dialect, stamps: Sequence[str], columns: Sequence[str]
) -> Batch | None:
    """The block by the library's reader; None where it meets anything but readings."""
    try:
        table = pa_csv.read_csv(
            pa.py_buffer(data),
            pa_csv.ReadOptions(use_threads=False, column_names=list(dialect.names), block_size=2 * len(data) + 1024),
            pa_csv.ParseOptions(delimiter="\t" if dialect.delimiter == " " else dialect.delimiter),
            pa_csv.ConvertOptions(
                include_columns=list(dict.fromkeys((*stamps, *columns))),
                column_types={**dict.fromkeys(columns, pa.float64()), **dict.fromkeys(stamps, pa.string())},
                null_values=list(NO_READING),
                strings_can_be_null=False,
                decimal_point=dialect.decimal,
            ),
        )
    except pa.ArrowInvalid:
        return None
    if table.num_rows != len(lines):
        return None
    values = {name: _numbers(table.column(name)) for name in columns}
    return Batch(lines, tuple(table.column(name).combine_chunks() for name in stamps), values)


def _numbers(column: pa.ChunkedArray) -> Floats:
    out = column.to_numpy()
    return np.asarray(out, float)


def _slow(
    path: Path, block: bytes, lines: np.ndarray, dialect: Dialect, stamps: Sequence[str], columns: Sequence[str],
    passed: Passed, whole: bool,
) -> Batch:  # fmt: skip
    """The block line by line: odd lines are passed over, the first cell that cannot be read is told."""
    at = {name: k for k, name in enumerate(dialect.names)}
    kept: list[int] = []
    times: list[list[str]] = [[] for _ in stamps]
    rows: list[list[float]] = []
    texts = block.decode("utf-8", "replace").removesuffix("\n").split("\n")
    for k, (number, text) in enumerate(zip(lines.tolist(), texts, strict=False)):
        cells = dialect.split(text)
        if not any(cells):
            continue
        if len(cells) == len(dialect.names) + 1 and cells[-1] == "":
            cells = cells[:-1]
        if len(cells) != len(dialect.names):
            last = k == len(texts) - 1 and not whole
            short = "cut short" if len(cells) < len(dialect.names) else "too many values"
            passed(number, "last line half written" if last else f"line {short}")
            continue
        if any(cells == list(row) for row in dialect.rows):
            passed(number, "header repeated")
            continue
        row = []
        for name in columns:
            value = dialect.number(cells[at[name]])
            if value is None:
                raise _cell(path, number, at[name], name, cells[at[name]], dialect)
            row.append(value)
        kept.append(number)
        rows.append(row)
        for k_stamp, name in enumerate(stamps):
            times[k_stamp].append(cells[at[name]])
    table = np.array(rows, float).reshape(len(rows), len(columns))
    values = {name: table[:, k] for k, name in enumerate(columns)}
    return Batch(np.array(kept, int), tuple(pa.array(t, pa.string()) for t in times), values)


def _cell(path: Path, line: int, column: int, name: str, text: str, dialect: Dialect) -> InputFault:
    mark = {".": "point", ",": "comma"}[dialect.decimal]
    return InputFault(
        f"{path}, line {line}, column {column + 1}",
        [Fault(name, text[:40], f"a number with decimal {mark}, or a word for no reading such as OVER or nothing")],
    )
