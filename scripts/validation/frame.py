"""Gathers the series, runs their cases on a few processes, keeps a record of each.

A series is a module of this folder named in ``SERIES``. Beside ``cases(data)`` it may have

    TARGET             a :class:`validation.target.Target`, instead of the one stated there
    spread(cases)      which of many cases are run when none is named
    summary(rows)      lines of Markdown on the series as a whole (slopes, trends, objectivity)
    agrees(test, found)    whether two modes of failure are the same, when equal words are not enough
"""

from __future__ import annotations

import importlib
import importlib.util
import multiprocessing
import multiprocessing.connection
import os
import shutil
import signal
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

from validation import record
from validation.case import Case, Found, Settings
from validation.record import Record

SERIES = ("plain", "inclined", "panels", "beams", "bond", "laps", "hooks", "hook_points", "joints_in_plan")
DATA = record.ROOT / "models" / "validation" / "data"
RUNS = record.ROOT / "runs" / "validation"
#: A case still running after this long is ended and told as a failure [s].
LIMIT = 1200.0
#: How the reasons of cases begin that were lost from outside; they are computed again.
LOST = ("the process died", "not finished after")


@dataclass(frozen=True)
class Job:
    """A case under settings; ``key`` is the digest of both."""

    case: Case
    settings: Settings
    key: str


def module(series: str) -> ModuleType | None:
    """The module of a series, or None where there is none."""
    if importlib.util.find_spec(f"validation.{series}") is None:
        return None
    return importlib.import_module(f"validation.{series}")


def gather(data: Path, only: str = "", quick: bool = False, whole: bool = False) -> list[Case]:
    """Cases of all series found, in order; ``only`` is a series or series/name (a name may end in *).

    ``whole`` takes also the cases that a series leaves out unless they are named.
    """
    wanted, _, name = only.partition("/")
    if wanted and wanted not in SERIES:
        raise SystemExit(f"no series {wanted!r}; there are: {', '.join(SERIES)}")
    found: list[Case] = []
    for series in SERIES:
        if wanted in ("", series) and (m := module(series)) is not None:
            every = m.cases(data)
            found += m.spread(every) if hasattr(m, "spread") and not (name or quick or whole) else every
    if name:
        found = [c for c in found if c.name == name or (name.endswith("*") and c.name.startswith(name[:-1]))]
    if quick:
        found = [c for c in found if c.quick]
    twice = {(c.series, c.name) for c in found if sum((o.series, o.name) == (c.series, c.name) for o in found) > 1}
    if twice:
        raise SystemExit(f"two cases of one name: {sorted(twice)}")
    return found


def jobs(cases: list[Case], settings: Settings) -> list[Job]:
    """Cases with the digests they will be kept under."""
    return [Job(c, settings, record.digest(c, settings)) for c in cases]


# ------------------------------------------------------------------ one case
def compute(job: Job, root: Path) -> Record:
    """Run one case; whatever it raises becomes the reason of its row."""
    folder = record.place(root, job.case, job.key)
    folder.mkdir(parents=True, exist_ok=True)
    began = time.perf_counter()
    found: Found | None = None
    reason = ""
    try:
        found = job.case.run(job.settings, folder)
    except Exception as fault:
        reason = f"{type(fault).__name__}: {' '.join(str(fault).split())}"
        (folder / "fault.txt").write_text(traceback.format_exc())
    seconds = time.perf_counter() - began
    return Record(job.case.series, job.case.name, job.key, job.settings, found, reason, seconds)


# ------------------------------------------------------------------ many cases
def _work(pipe: multiprocessing.connection.Connection, data: Path, root: Path) -> None:
    """A process that computes one case after the other as it is told their names."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the starting process decides when to stop
    known: dict[str, dict[str, Case]] = {}
    while True:
        try:
            task = pipe.recv()
        except EOFError:
            return
        series, name, settings, key = task
        if series not in known:
            known[series] = {c.name: c for c in gather(data, series, whole=True)}
        case = known[series][name]
        done = compute(Job(case, settings, key), root)
        record.write(root, case, done)
        pipe.send((series, name, key))


@dataclass
class _Worker:
    process: multiprocessing.process.BaseProcess
    pipe: multiprocessing.connection.Connection
    job: Job | None = None
    since: float = 0.0


def run(
    wanted: list[Job],
    *,
    data: Path = DATA,
    root: Path = RUNS,
    processes: int = 2,
    again: bool = False,
    limit: float = LIMIT,
    tell: Callable[[Record, int, int], None] = lambda done, k, n: None,
) -> dict[str, Record]:
    """Records by digest of all jobs: kept ones as they are, the others computed, the longest first.

    A record is written as soon as its case is finished, so that an interruption (Ctrl-C passes
    through) loses the cases in flight only.
    """
    kept: dict[str, Record] = {}
    for j in wanted:
        if again:
            shutil.rmtree(record.place(root, j.case, j.key), ignore_errors=True)
        elif (r := record.load(root, j.case, j.key)) is not None and not r.reason.startswith(LOST):
            kept[j.key] = r
    todo = [j for j in wanted if j.key not in kept]
    todo.sort(key=lambda j: record.last_seconds(root, j.case))  # taken from the end
    done = dict(kept)
    context = multiprocessing.get_context("spawn")

    def start() -> _Worker:
        here, there = context.Pipe()
        process = context.Process(target=_work, args=(there, data, root), daemon=True)
        process.start()
        there.close()
        return _Worker(process, here)

    def finish(worker: _Worker, result: Record) -> None:
        done[result.digest] = result
        worker.job = None
        tell(result, len(done), len(wanted))

    def end(worker: _Worker, reason: str) -> None:
        job, took = worker.job, time.perf_counter() - worker.since
        worker.process.kill()
        worker.process.join()
        workers.remove(worker)
        if job is not None:
            lost = Record(job.case.series, job.case.name, job.key, job.settings, None, reason, took)
            record.write(root, job.case, lost)
            finish(worker, lost)

    workers: list[_Worker] = []
    try:
        while todo or any(w.job for w in workers):
            while len(workers) < min(processes, len(todo) + sum(w.job is not None for w in workers)):
                workers.append(start())
            for worker in workers:
                if worker.job is None and todo:
                    job = todo.pop()
                    worker.job, worker.since = job, time.perf_counter()
                    worker.pipe.send((job.case.series, job.case.name, job.settings, job.key))
            multiprocessing.connection.wait([w.pipe for w in workers if w.job], timeout=min(1.0, max(limit, 0.01)))
            for worker in list(workers):
                if worker.job is None:
                    continue
                if worker.pipe.poll():
                    try:
                        worker.pipe.recv()
                    except EOFError:
                        worker.process.join(5.0)
                        end(worker, f"{LOST[0]} (exit code {worker.process.exitcode})")
                        continue
                    result = record.load(root, worker.job.case, worker.job.key)
                    assert result is not None, "a finished case left no record"
                    finish(worker, result)
                elif time.perf_counter() - worker.since > limit:
                    end(worker, f"{LOST[1]} {limit / 60:.0f} minutes")
    finally:
        for worker in workers:
            worker.process.kill()
            worker.process.join()
    return done


def one_thread() -> None:
    """Hold the libraries of this process and its children to one thread; before numpy is loaded."""
    for library in ("OMP", "OPENBLAS", "MKL", "NUMEXPR", "NUMBA"):
        os.environ[f"{library}_NUM_THREADS"] = "1"
    os.environ.setdefault("MPLBACKEND", "Agg")
    # numba was loaded with other threads if this comes too late
    assert "numba" not in sys.modules or os.environ["NUMBA_NUM_THREADS"] == "1"
