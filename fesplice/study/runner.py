"""Carry out a study: cases into the table, open work to the workers, records back, whatever dies on the way.

    STUDY/results.sqlite           one row per case
    STUDY/study.json               what was varied, and the study file as it was last started
    STUDY/runs/<case>/<view>/     run folders

Nothing but the run folders holds results: a table that is lost is filled again from them without computing.
"""

from __future__ import annotations

import itertools
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fesplice.contracts import Fault, FolderFault, InputFault
from fesplice.pipeline.progress import Hears, said
from fesplice.store.extras import need
from fesplice.store.folder import Lock, claim, write_whole
from fesplice.study.cases import Case, cases
from fesplice.study.description import Resources, Study
from fesplice.study.file import read_study
from fesplice.study.record import Record, compute
from fesplice.study.schedule import Task, carry_out
from fesplice.study.table import Table

#: Libraries of the extra ``study``, which workers need.
WORKERS = ("dask", "distributed", "cryptography")
STUDY, RUNS, EARLIER = "study.json", "runs", ".earlier-"
#: Rows that come quicker than this are written together [s]; a kill between costs reading their run folders again.
PATIENCE = 0.25


@dataclass(frozen=True)
class StudyProgress:
    """How far a study is: ``done`` of ``total`` open cases, ``states`` by view of the last one, and seconds
    ``elapsed`` and ``left`` (a guess)."""

    done: int
    total: int
    label: str
    states: dict[str, str]
    elapsed: float
    left: float

    @property
    def share(self) -> float:
        """Share of the open cases that are done."""
        return self.done / max(self.total, 1)

    def line(self, name: str = "") -> str:
        """All of it in one line."""
        left = f", about {said(self.left)} left" if self.done < self.total else ""
        states = ", ".join(f"{view} {state}" for view, state in self.states.items())
        return f"{self.done:5d} of {self.total}  {name or self.label}: {states}{left}"


def run_study(
    study: Study | str | Path,
    folder: str | Path,
    *,
    resources: Resources | None = None,
    progress: Hears | None = None,
    again: bool = False,
    task: Task = compute,
    planning: Callable[[int, int], None] | None = None,
    notice: Callable[[str], None] | None = None,
) -> Path:
    """Compute what is open of a study into ``folder`` and answer the path of its table.

    ``resources`` instead of those of the file (a scheduler that only the file names is not connected to);
    ``again`` computes failed and stopped cases from their beginning, as after a new version; their run folders
    are kept beside the new ones as ``*.earlier-1`` and so on. ``task(specimen text, folder, views)`` answers the
    records of one case by view. ``planning`` hears how many cases are read, ``notice`` of a scheduler without
    workers. Raises :class:`InputFault` for a faulty study, :class:`FolderFault` when the
    folder is in use or the disk refuses; what has been computed by then is kept.
    """
    study = study if isinstance(study, Study) else read_study(study)
    if resources is None and (foreign := study.resources.scheduler):
        said = "whoever runs it is given this study and computes in your name: say so on the command line as well"
        raise InputFault(study.source, [Fault("resources.scheduler", foreign, f"{said}, --scheduler {foreign}")])
    if not (resources or study.resources).alone:
        need(study.source, WORKERS)
    place = Path(folder)
    listed = cases(study, planning)
    if all(case.dropped for case in listed):
        raise InputFault(study.source, f"no case can be built; case 1: {listed[0].reason}")
    claim(place, "study")
    lock = Lock(place)
    try:
        with Table(place, study.views, create=True) as table:
            table.enter(listed)
            _keep(place / STUDY, study)
            _carry_out(table, study, listed, resources or study.resources, progress, again, task, notice)
            return table.path
    finally:
        lock.release()


def _keep(path: Path, study: Study) -> None:
    about = {
        "name": study.name,
        "note": study.note,
        "views": study.views,
        "factors": [f.name for f in study.factors if len(f.levels) > 1],
        "sampled": [key.column for key in study.sample.keys] if study.sample else [],
        "text": study.text,
    }
    try:
        write_whole(path, (json.dumps(about, indent=1, ensure_ascii=False) + "\n").encode("utf-8"))
    except OSError as fault:
        raise FolderFault(str(path), f"cannot be written: {fault.strerror or fault}") from fault


def _carry_out(
    table: Table,
    study: Study,
    listed: list[Case],
    resources: Resources,
    progress: Hears | None,
    again: bool,
    task: Task,
    notice: Callable[[str], None] | None,
) -> None:
    labels = {case.id: case.label for case in listed}
    if again:
        _begin_anew(table)
    open_work = table.open_work()
    work = {i: (text, str((table.folder / RUNS / i).resolve()), views) for i, (text, views) in open_work.items()}
    began, done = time.monotonic(), 0
    if work and not resources.scheduler:
        hands = resources.adaptive[1] if resources.adaptive else resources.workers
        resources = replace(resources, workers=min(hands, len(work))) if not resources.adaptive else resources
    pending: list[tuple[str, str, Record]] = []
    written = began
    try:
        for batch in carry_out(task, work, resources, notice):
            for case_id, answer in batch:
                records = _records(answer, work[case_id][2])
                pending += [(case_id, view, record) for view, record in records.items()]
                done += 1
                if progress is not None:
                    elapsed = time.monotonic() - began
                    states = {view: str(record["state"]) for view, record in records.items()}
                    left = elapsed / done * (len(work) - done)
                    progress(StudyProgress(done, len(work), labels[case_id], states, elapsed, left))
            if time.monotonic() - written > PATIENCE:
                table.write(pending)
                pending, written = [], time.monotonic()
    finally:
        table.write(pending)


def _begin_anew(table: Table) -> None:
    """Open failed and stopped cases; what their runs have left is renamed, or it would only be read once more."""
    for row in table.rows():
        bad = [p for p in table.views if row[f"{p}_state"] in ("failed", "stopped")]
        if not bad:
            continue
        home = table.folder / RUNS / str(row["id"])
        left = [f.name for f in home.iterdir() if EARLIER not in f.name] if home.is_dir() else []
        if "prediction" in table.views:
            # the plan is coupled to the elevation, the prediction reads both
            bad = list(table.views) if "elevation" in bad else [p for p in table.views if p != "elevation"]
            names = [n for n in left if n != "elevation" or "elevation" in bad]
        else:
            names = [n for n in left if n in bad]
        try:
            for name in names:
                number = next(k for k in itertools.count(1) if not (home / f"{name}{EARLIER}{k}").exists())
                (home / name).rename(home / f"{name}{EARLIER}{number}")
        except OSError as fault:
            raise FolderFault(str(home), f"cannot be set aside: {fault.strerror or fault}") from fault
        table.write((str(row["id"]), view, {}) for view in bad)


def _records(answer: dict[str, Record] | BaseException, views: Sequence[str]) -> dict[str, Record]:
    if isinstance(answer, BaseException):
        reason = f"the worker was lost: {type(answer).__name__}: {answer}"
        return {view: {"state": "lost", "reason": reason} for view in views}
    return answer
