"""One SQLite table with a row per case: inputs, hand values, test values, and the record of each view.

The table is an index and no more: every record can be made again from the run folders, so it is written
without waiting for the disk at every row.
"""

from __future__ import annotations

import csv
import io
import math
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from fesplice.answers import Chart, Drawable, Line, Tabular
from fesplice.contracts import FolderFault, InputFault
from fesplice.store.cells import harmless, meant
from fesplice.store.folder import write_whole
from fesplice.study.cases import Case
from fesplice.study.columns import HEAD, TAIL
from fesplice.study.record import FINAL, Record, fields

FILE, CSV = "results.sqlite", "results.csv"
#: What may differ between two computations of the same study.
TIMES = ("seconds",)


class Table(Drawable, Tabular):
    """The results of a study on disk. Every fault of the disk is a :class:`FolderFault`."""

    def __init__(self, folder: str | Path, views: Sequence[str] = (), *, create: bool = False):
        self.folder, self.path = Path(folder), Path(folder) / FILE
        self._asked = tuple(views)
        if not create and not self.path.is_file():
            raise FolderFault(str(folder), f"holds no study: no {FILE} in it")
        try:
            if create:
                self.folder.mkdir(parents=True, exist_ok=True)
            self._base = sqlite3.connect(self.path, timeout=60.0)
            self._base.execute("PRAGMA synchronous = NORMAL")
            if create:
                self._columns(HEAD | TAIL | {f"{p}_{name}": sql for p in views for name, sql in fields(p).items()})
        except (sqlite3.Error, OSError) as fault:
            raise self._fault(fault) from fault

    def __enter__(self) -> Table:
        return self

    def __exit__(self, *_: object) -> None:
        self._base.close()

    def _fault(self, fault: Exception) -> FolderFault:
        return FolderFault(str(self.path), f"cannot be used: {getattr(fault, 'strerror', None) or fault}")

    def __repr__(self) -> str:
        states = [row["state"] for row in self.rows()]
        counts = ", ".join(f"{states.count(s)} {s}" for s in dict.fromkeys(states))
        return f"Table({str(self.folder)!r}: {counts})"

    # -------------------------------------------------------------- to be drawn
    def chart(self, x: str = "", y: str = "", by: str = "") -> Chart:
        """Column ``y`` over column ``x``, a line for every value of ``by``.

        Left out: the first strength that is known over the first number that was varied. Raises :class:`InputFault`
        for a column that is not there.
        """
        rows = self.rows()
        numbers = [n for n in self.names if n not in HEAD and any(_is_number(row.get(n)) for row in rows)]
        varied = [n for n in numbers if len({row[n] for row in rows}) > 1]
        y = y or next((n for n in _STRENGTHS if n in numbers), "")
        x = x or next((n for n in varied if n not in TAIL and not n.startswith(tuple(self.views))), "")
        for key, name, there in (("x", x, numbers), ("y", y, numbers), ("by", by, ["", *self.names])):
            if name not in there:
                raise InputFault("plot", f"{key} = {name!r}; columns: {', '.join(filter(None, there))}")
        groups: dict[Any, list[tuple[float, float]]] = {}
        for row in rows:
            if _is_number(row[x]) and _is_number(row[y]):
                groups.setdefault(row[by] if by else "", []).append((row[x], row[y]))
        lines = tuple(
            Line(f"{_axis(by)} {value}" if by else "", *zip(*sorted(points)), marks=len(points) == 1)
            for value, points in groups.items()
        )
        return Chart(self.folder.name, _axis(x), _axis(y), lines)

    # -------------------------------------------------------------- columns
    @property
    def names(self) -> list[str]:
        """Names of all columns: what the case is, what was varied, hand values, the test, the views."""
        names = [row[1] for row in self._base.execute("PRAGMA table_info(cases)")]
        views = [n for n in names if n.startswith(tuple(f"{p}_" for p in _views(names)))]
        rest = [n for n in names if n not in views and n not in HEAD and n not in TAIL]
        return [*(n for n in HEAD if n in names), *rest, *(n for n in TAIL if n in names), *views]

    @property
    def views(self) -> tuple[str, ...]:
        """Views of the study, or else those that have columns."""
        return self._asked or _views(self.names)

    def _columns(self, wanted: Mapping[str, str]) -> None:
        with self._base:
            listed = ", ".join(f"{_quoted(name)} {sql}" for name, sql in HEAD.items())
            self._base.execute(f"CREATE TABLE IF NOT EXISTS cases ({listed})")
            for name in [name for name in wanted if name not in self.names]:
                sql = wanted[name]
                self._base.execute(f"ALTER TABLE cases ADD COLUMN {_quoted(name)} {sql}")

    # -------------------------------------------------------------- writing
    def enter(self, cases: Iterable[Case]) -> None:
        """Rows for all cases of the study; a row that stands keeps its results, one no longer asked for its number."""
        cases = list(cases)
        rows = [_row(case) for case in cases]
        try:
            self._columns({name: _sql(value) for row in rows for name, value in row.items()})
            with self._base:
                self._base.execute("UPDATE cases SET number = NULL")
                self._base.execute("DELETE FROM cases WHERE state = 'dropped'")
                for row in rows:
                    self._put(row)
                for case in cases:
                    if not case.dropped:
                        self._settle(case.id)
        except sqlite3.Error as fault:
            raise self._fault(fault) from fault

    def write(self, records: Iterable[tuple[str, str, Record]]) -> None:
        """Records as (case id, view, record): all of them or none."""
        try:
            with self._base:
                for case_id, view, record in records:
                    known = {f"{view}_{name}": record.get(name) for name in fields(view)}
                    self._put({"id": case_id} | known)
                    self._settle(case_id)
        except sqlite3.Error as fault:
            raise self._fault(fault) from fault

    def _put(self, row: Mapping[str, Any]) -> None:
        names = list(row)
        places = ", ".join("?" * len(names))
        changes = ", ".join(f"{_quoted(n)} = excluded.{_quoted(n)}" for n in names if n != "id")
        self._base.execute(
            f"INSERT INTO cases ({', '.join(map(_quoted, names))}) VALUES ({places})"
            f" ON CONFLICT (id) DO UPDATE SET {changes}",
            [_plain(row[n]) for n in names],
        )

    def _settle(self, case_id: str) -> None:
        """State and reason of the case from those of its views: the worst counts."""
        views = self.views
        names = [f"{p}_{part}" for p in views for part in ("state", "reason")]
        found = self._base.execute(
            f"SELECT {', '.join(map(_quoted, names))} FROM cases WHERE id = ?", [case_id]
        ).fetchone()
        states, reasons = found[0::2], found[1::2]
        order = ("lost", "failed", "stopped", "waiting", "done")
        state = next(s for s in order if s in [x or "waiting" for x in states])
        reason = "; ".join(f"{p}: {text}" for p, text in zip(views, reasons) if text)
        self._base.execute("UPDATE cases SET state = ?, reason = ? WHERE id = ?", [state, reason, case_id])

    # -------------------------------------------------------------- reading
    def open_work(self) -> dict[str, tuple[str, list[str]]]:
        """What is to be computed: case id -> specimen text and open views."""
        out = {}
        for row in self.rows(specimens=True):
            views = [p for p in self.views if row[f"{p}_state"] not in FINAL]
            if views and "prediction" in self.views:
                # all three hang together: a plan alone would be one that is not coupled; what has ended is only read
                views = list(self.views)
            if views and row["state"] != "dropped":
                out[row["id"]] = (row["specimen"], views)
        return out

    def rows(self, *, specimens: bool = False) -> list[dict[str, Any]]:
        """Rows of the present study in order; column -> value, None where nothing is known."""
        names = [n for n in self.names if specimens or n != "specimen"]
        query = f"SELECT {', '.join(map(_quoted, names))} FROM cases WHERE number IS NOT NULL ORDER BY number"
        try:
            return [dict(zip(names, row)) for row in self._base.execute(query)]
        except sqlite3.Error as fault:
            raise self._fault(fault) from fault

    def columns(self) -> dict[str, list[Any]]:
        """One list per column, a place per case; None where nothing is known."""
        rows = self.rows()
        return {name: [row[name] for row in rows] for name in self.names if name != "specimen"}

    def export(self) -> list[Path]:
        """Write results.csv and results.parquet beside the table; answer their paths."""
        names, rows = [n for n in self.names if n != "specimen"], self.rows()
        paths = [self.folder / CSV, self.folder / "results.parquet"]
        try:
            write_csv(paths[0], names, rows)
            _write_parquet(paths[1], names, rows)
        except OSError as fault:
            raise self._fault(fault) from fault
        return paths


#: Strengths that a chart shows when none is named, the first that is known.
_STRENGTHS = ("prediction_MPa", "elevation_drop_MPa", "elevation_peak_MPa", "plan_drop_MPa", "plan_peak_MPa")


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _axis(column: str) -> str:
    """A column as an axis says it: "bars.spacing_mm" -> "bars.spacing (mm)"."""
    name, _, unit = column.rpartition("_")
    return f"{name.replace('_', ' ')} ({unit})" if unit in ("mm", "MPa", "kN", "N") else column.replace("_", " ")


def _row(case: Case) -> dict[str, Any]:
    m = case.measured
    head = {"id": case.id or f"dropped {case.number}", "number": case.number, "label": case.label, "source": "analysis"}
    if case.dropped:
        head |= {"state": "dropped", "reason": case.reason}
    tail = {"specimen": case.text}
    if m is not None:
        load = None if m.load is None else m.load / 1e3
        tail |= {"measured_kN": load, "measured_MPa": m.bar_stress, "measured_mode": m.mode}
    return head | {"sample": case.sample} | case.levels | case.quantities | case.hand | tail


def _views(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(name.removesuffix("_mode_words") for name in names if name.endswith("_mode_words"))


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _sql(value: Any) -> str:
    return "TEXT" if isinstance(value, str) else "INTEGER" if isinstance(value, int) else "REAL"


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def csv_text(names: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """Rows as CSV, numbers to seven significant digits, empty where nothing is known."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(map(harmless, names))
    for row in rows:
        writer.writerow([_cell(row.get(name)) for name in names])
    return text.getvalue()


def write_csv(path: Path, names: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> None:
    """The CSV at once in place of ``path``; raises OSError."""
    write_whole(path, csv_text(names, rows).encode("utf-8"))


def _cell(value: Any) -> str:
    return "" if value is None else f"{value:.7g}" if isinstance(value, float) else harmless(str(value))


def read_csv(path: str | Path) -> list[dict[str, Any]]:
    """Rows of a CSV table with a header: numbers where they are numbers, None where a cell is empty."""
    file = Path(path)
    try:
        with file.open(newline="", encoding="utf-8-sig") as stream:
            lines = list(csv.reader(line for line in stream if not line.startswith("#")))
    except (OSError, ValueError, csv.Error) as fault:
        raise InputFault(str(file), f"cannot be read: {getattr(fault, 'strerror', None) or fault}") from None
    if not lines or any(len(line) != len(lines[0]) for line in lines):
        raise InputFault(str(file), "is no table: a header and rows of the same number of cells are needed")
    return [dict(zip(map(meant, lines[0]), map(_number, line))) for line in lines[1:]]


def _number(cell: str) -> Any:
    try:
        return float(cell) if cell else None
    except ValueError:
        return meant(cell)


def _write_parquet(path: Path, names: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as parquet

    image = pa.BufferOutputStream()
    parquet.write_table(pa.table({name: [row.get(name) for row in rows] for name in names}), image)
    write_whole(path, image.getvalue().to_pybytes())
