"""Does a study say what its runs say? Every row of the table against the run folders, every run against its steps."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from fesplice.contracts import FespliceError, FolderFault
from fesplice.pipeline.verify import Look, looked, verify_folder, verify_run
from fesplice.post.prediction import RECORD, Prediction
from fesplice.specimen import read_text
from fesplice.store import Run
from fesplice.study.record import record
from fesplice.study.runner import RUNS
from fesplice.study.table import CSV, FILE, Table, csv_text


def is_study(folder: str | Path) -> bool:
    """True for a folder that holds a study."""
    return (Path(folder) / FILE).is_file()


def verify_study(folder: str | Path) -> Iterator[Look]:
    """Each case as it is looked at, then the table that was exported."""
    home = Path(folder)
    with Table(home) as table:
        rows, views, names = table.rows(specimens=True), table.views, [n for n in table.names if n != "specimen"]
    for row in rows:
        for view in views:
            if row.get(f"{view}_state") in ("done", "stopped"):
                yield from _case(home / RUNS / str(row["id"]), row, view)
    if (home / CSV).is_file():
        yield looked(str(home / CSV), lambda: _export(home / CSV, names, rows))


def _case(place: Path, row: dict[str, Any], view: str) -> Iterator[Look]:
    what = f"case {row['number']}, {view}"
    if view == "prediction":
        yield looked(what, lambda: _prediction(place, row))
        return
    run = place / view
    if not (run / "manifest.json").is_file() and (passes := sorted(place.glob("plan-pass-*"))):
        run = passes[-1]
    for look in verify_run(run):
        if look.held is not True:
            yield look
    yield looked(what, lambda: _row(run, row, view))


def _row(place: Path, row: dict[str, Any], view: str) -> str:
    try:
        told = record(Run(place), read_text(str(row["specimen"]), str(place)))
    except FolderFault:
        raise
    except FespliceError as fault:
        raise FolderFault(FILE, f"its specimen cannot be read: {fault}") from fault
    # the time of a coupled plan counts all its passes
    _same({name: value for name, value in told.items() if name != "seconds"}, row, view)
    return "the row is what the run says"


def _prediction(place: Path, row: dict[str, Any]) -> str:
    if not (place / RECORD).is_file():
        raise FolderFault(str(place), "holds no prediction, the table says it does")
    found = Prediction.read(place)
    told = {"kN": found.load / 1e3, "MPa": found.bar_stress, "mode": found.mode.value, "exact": int(found.exact)}
    _same(told, row, "prediction")
    return "the row is what the prediction says"


def _same(told: dict[str, Any], row: dict[str, Any], view: str) -> None:
    for name, value in told.items():
        kept = row.get(f"{view}_{name}")
        if isinstance(value, float | int) and isinstance(kept, float | int):
            same = math.isclose(value, kept, rel_tol=1e-9)
        else:
            same = value == kept
        if not same:
            raise FolderFault(FILE, f"{view}_{name} is {kept!r}, the run says {value!r}")


def _export(path: Path, names: list[str], rows: list[dict[str, Any]]) -> str:
    with suppress(OSError):
        if path.read_bytes() == csv_text(names, rows).encode("utf-8"):
            return f"{len(rows)} rows"
    raise FolderFault(str(path), f"is not the table of {FILE}")


def verify(folder: str | Path) -> tuple[Look, ...]:
    """Hold a run, a prediction or a study against its digests, and make again what follows from its steps.

    Raises :class:`FolderFault` where there is none of them.
    """
    return tuple(looks(folder))


def looks(folder: str | Path) -> Iterator[Look]:
    """The same, one thing after another as it is looked at."""
    return verify_study(folder) if is_study(folder) else verify_folder(folder)
