"""CSV tables that grow by one line at a time and can be read while they grow.

Numbers are written as the shortest text that reads back to the same float, with a full stop
whatever the locale. A text never holds a line break, so a line is a row and a file cut
anywhere loses at most its last row.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Callable, Iterable, Mapping
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FolderFault
from fesplice.store.cells import harmless
from fesplice.store.folder import Absent, reason, write_all


def cell(value: Any) -> str:
    """One value as text: float by its shortest exact form, Enum by its name, None as nothing."""
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, np.generic) or (isinstance(value, np.ndarray) and value.ndim == 0):
        value = value.item()
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, (float, int)):
        return repr(value)
    if value is None or isinstance(value, str):
        return harmless(" ".join((value or "").replace("\0", " ").split()))
    raise TypeError(f"a table cannot hold {value!r}")


def line(values: Iterable[Any]) -> bytes:
    """``values`` as one line of a table."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow([cell(v) for v in values])
    return text.getvalue().encode("utf-8")


class Table:
    """A CSV file under construction. The first row appended settles the columns.

    ``size`` is the number of bytes that count: whatever lies behind is cut off before the next
    row is written. The caller moves ``size`` forward when the row has become part of the record.
    """

    def __init__(self, path: Path):
        self._path = path
        self._fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
        self.size = os.fstat(self._fd).st_size

    def append(self, row: Mapping[str, Any], *, sync: bool) -> int:
        """Write ``row`` behind the bytes that count and answer their new number; raises OSError.

        ValueError when the row names other columns than the first row did.
        """
        columns = self.columns() or list(row)
        if set(columns) != set(row):
            odd = ", ".join(sorted(set(columns) ^ set(row)))
            raise ValueError(f"{self._path.name}: columns missing or not expected: {odd}")
        data = (b"" if self.size else line(columns)) + line(row[key] for key in columns)
        self.cut()
        os.lseek(self._fd, self.size, os.SEEK_SET)
        write_all(self._fd, data)
        if sync:
            os.fsync(self._fd)
        return self.size + len(data)

    def digest(self, size: int) -> str:
        """SHA-256 of the first ``size`` bytes."""
        return hashlib.sha256(os.pread(self._fd, size, 0)).hexdigest()

    def cut(self) -> None:
        """Drop the bytes behind ``size``."""
        if os.fstat(self._fd).st_size > self.size:
            os.ftruncate(self._fd, self.size)

    def columns(self) -> list[str]:
        """Names in the header; empty before the first row."""
        head = os.pread(self._fd, min(self.size, 65536), 0).partition(b"\n")[0].decode("utf-8", "replace")
        return _cells(head)

    def keep_while(self, wanted: Callable[[dict[str, str]], bool]) -> None:
        """Cut the table before the first row that is incomplete or not ``wanted`` (given as texts)."""
        columns, kept = self.columns(), 0
        for k, raw in enumerate(os.pread(self._fd, self.size, 0).splitlines(keepends=True)):
            values = _cells(raw.decode("utf-8", "replace").rstrip("\n"))
            whole = raw.endswith(b"\n") and len(values) == len(columns)
            if not whole or (k and not wanted(dict(zip(columns, values, strict=True)))):
                break
            kept += len(raw)
        self.size = kept
        self.cut()

    def close(self) -> None:
        """Close the file; further calls do nothing."""
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1


def _cells(text: str) -> list[str]:
    """Cells of one line; none of a line that is no line of a table."""
    try:
        return next(csv.reader([text]), [])
    except csv.Error:
        return []


class Columns(dict[str, np.ndarray]):
    """Columns of a table by name; one that is asked for and not there is a fault of the file."""

    def __init__(self, path: Path, columns: Mapping[str, np.ndarray]):
        super().__init__(columns)
        self._path = path

    def __missing__(self, name: str) -> np.ndarray:
        raise Absent(str(self._path), f"is damaged: no column {name}")


def read_table(path: Path) -> dict[str, np.ndarray]:
    """Columns of a table as arrays: int64, float64 (nothing reads as NaN), or text.

    Empty when the file is absent; a half-written last line is passed over.
    :class:`FolderFault` when an earlier line is damaged.
    """
    try:
        data = path.read_bytes()
        text = data[: data.rfind(b"\n") + 1].decode("utf-8")
        rows = list(csv.reader(text.split("\n")[:-1], strict=True))
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise FolderFault(str(path), f"cannot be read: {reason(error)}") from error
    except (ValueError, csv.Error) as error:
        raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
    if not rows:
        return {}
    columns = rows[0]
    for k, row in enumerate(rows[1:], 2):
        if len(row) != len(columns):
            raise FolderFault(str(path), f"is damaged: line {k} has {len(row)} values for {len(columns)} columns")
    return Columns(path, {name: _column([row[j] for row in rows[1:]]) for j, name in enumerate(columns)})


def _column(texts: list[str]) -> np.ndarray:
    try:
        return np.array([int(t) for t in texts], np.int64)
    except (ValueError, OverflowError):
        pass
    try:
        return np.array([float(t or "nan") for t in texts], np.float64)
    except ValueError:
        return np.array(texts, dtype=str)
