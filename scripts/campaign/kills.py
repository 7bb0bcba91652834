"""Part c: kill -9 at random moments and at every disk call; what is resumed equals what was never disturbed.

Verbs run in forked processes, so that a trial costs no start of the program. What may differ: times of day and seconds
spent. SIGKILL as POSIX describes it.
"""

from __future__ import annotations

import contextlib
import functools
import json
import os
import random
import shutil
import signal
import sqlite3
import stat
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import fesplice.pipeline.beside
from campaign.disk import nth_call
from campaign.made import coarse, study_text
from campaign.trial import Tally, verb
from fesplice.store.folder import read_manifest

MODELS = Path(__file__).resolve().parents[2] / "models"
#: Most starts of one trial.
STARTS = 60
#: Kills of each process beside a prediction.
BESIDE = 8


class Job:
    """A verb, where it writes, and what of its folder must not depend on how often it died."""

    def __init__(self, name: str, work: Path):
        self.name, self.work = name, work
        work.mkdir(parents=True, exist_ok=True)
        file, study = work / "s.toml", work / "study.toml"
        file.write_text(coarse().text, encoding="utf-8")
        study.write_text(study_text(2), encoding="utf-8")
        test = MODELS / "tests" / "as19-100-t3"
        logs = []
        for log in ("loads.csv", "strains.csv"):
            short = work / log
            short.write_bytes(b"".join((test / log).read_bytes().splitlines(keepends=True)[:260]))
            logs.append(str(short))
        rig = ["--rig", str(test / "rig.toml"), "--specimen", str(MODELS / "as19-100-t3.toml")]
        self.words = {
            "analyse": ["analyse", str(file), "--no-pictures", "--out"],
            "plan": ["analyse", str(file), "--view", "plan", "--no-pictures", "--out"],
            "predict": ["predict", str(file), "--no-pictures", "--out"],
            "study": ["study", "run", str(study), "--workers", "0", "--out"],
            "workers": ["study", "run", str(study), "--workers", "1", "--out"],
            "reduce": ["reduce", *logs, *rig, "--out"],
            "freeze": ["freeze"],
        }[name]

    def start(self, folder: Path) -> None:
        """What must lie in the folder before the verb."""
        if self.name == "freeze":
            shutil.copytree(self.work.parent / "predict" / "peace", folder)

    def kept(self, folder: Path) -> dict[str, Any]:
        """What must be the same, by name."""
        if self.name in ("study", "workers"):
            with sqlite3.connect(folder / "results.sqlite") as base:
                base.row_factory = sqlite3.Row
                rows = [dict(row) for row in base.execute("SELECT * FROM cases ORDER BY number")]
            runs = {f"{p.parent.parent.name}/{p.name}": p.read_bytes() for p in folder.rglob("curve.csv")}
            return {"rows": [{k: v for k, v in r.items() if not k.endswith("seconds")} for r in rows]} | runs
        out: dict[str, Any] = {}
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            name = path.relative_to(folder).as_posix()
            if path.name in ("lock", "attempts.csv", "frozen.json", "test.json", ".fesplice") or path.suffix == ".log":
                continue
            if path.name == "manifest.json":
                manifest = read_manifest(path.parent)
                digests = {k: v for k, v in manifest["digests"].items() if k != "attempts.csv"}
                out[name] = {k: v for k, v in manifest.items() if k not in ("created", "digest")} | {"digests": digests}
            elif path.name == "prediction.json":
                tree = json.loads(path.read_text(encoding="utf-8"))
                tree["prediction"]["made"].pop("created")
                out[name] = tree["prediction"]
            elif path.name != "state.h5" or self.name == "analyse":
                out[name] = path.read_bytes()
        return out

    def finished(self, code: int, told: str) -> bool:
        """True where nothing is left to do: done, stopped short, or frozen before."""
        return code in (0, 3) or (self.name == "freeze" and "is frozen already" in told)


#: What a process beside a prediction runs in place of its own: it counts its calls, and dies at one of them.
_WATCHED = """
import os, sys
sys.path[:0] = [{scripts!r}]
from campaign.kills import dying_at
from fesplice.pipeline import beside
mine = os.path.basename(sys.argv[4]) == {name!r}
with dying_at({number} if mine else 0) as count:
    code = beside.main(*sys.argv[1:])
if mine:
    with open({counted!r}, "w") as file:
        file.write(str(count[0]))
sys.exit(code)
"""


def dying_at(number: int) -> contextlib.AbstractContextManager[list[int]]:
    """The process kills itself in place of the ``number``-th call that changes the disk; a write does half its work."""
    return nth_call(number, lambda: os.kill(os.getpid(), signal.SIGKILL))


def _forked(
    job: Job, folder: Path, number: int = 0, after: float | None = None, beside: str = ""
) -> tuple[int, str, float]:
    """Run the verb in a forked process, killed at a disk call or after some seconds: exit code, words, seconds.

    ``beside``: the process of that run beside the prediction is killed at a disk call of its own instead.
    """
    told = folder.parent / f"{folder.name}.told"
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        if beside:
            scripts = str(Path(__file__).resolve().parents[1])
            words = {"scripts": scripts, "name": beside, "number": number, "counted": str(_counted(folder, beside))}
            fesplice.pipeline.beside._CHILD = _WATCHED.format(**words)
            number = 0
        with dying_at(number) as count:
            fault, _, error = verb([*job.words, str(folder)])
        told.write_text(json.dumps([fault, error, count[0]]), encoding="utf-8")
        code = 2 if error.startswith("fesplice:") or "\nfesplice:" in error else 0
        os._exit(9 if fault else 3 if "no equilibrium" in error else code)
    began = time.monotonic()
    if after is not None:
        time.sleep(after)
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    words = told.read_text(encoding="utf-8") if told.is_file() else ""
    told.unlink(missing_ok=True)
    return os.waitstatus_to_exitcode(status), words, time.monotonic() - began


def _counted(folder: Path, beside: str) -> Path:
    """Where a process beside a prediction writes how many disk calls it made."""
    return folder.with_name(f"{folder.name}-{beside}.count")


def _open_up(folder: Path) -> None:
    """Give the right to write back, so that a frozen folder can be removed."""
    for path in [folder, *folder.rglob("*")]:
        os.chmod(path, path.stat().st_mode | stat.S_IWUSR)


def _disturbed(job: Job, folder: Path, wanted: dict[str, Any], kill: Callable[[int], dict[str, Any]]) -> str:
    """Start until it is finished, killed as ``kill`` says of each start; what differs at the end."""
    job.start(folder)
    for start in range(STARTS):
        code, words, _ = _forked(job, folder, **kill(start))
        if code == 2 and "ended with code -9" in words:
            # the prediction tells that a process beside it was killed, and ends
            continue
        if code == 9 or (code == 2 and not job.finished(code, words)):
            # the process beside a killed prediction may hold its folder for the blink of an eye
            if "is being written by" in words:
                time.sleep(0.6)
                continue
            return f"start {start + 1}: {words[:300]}"
        if code >= 0:
            break
    else:
        return f"not finished after {STARTS} starts"
    kept = job.kept(folder)
    off = sorted(name for name in wanted.keys() | kept.keys() if wanted.get(name) != kept.get(name))
    _open_up(folder)
    shutil.rmtree(folder)
    return f"differs: {', '.join(off[:4])}" if off else ""


def _beside(job: Job, wanted: dict[str, Any], tally: Tally) -> None:
    """Kills of the processes beside a prediction, all along each of them.

    That their folders outlive a kill at every call is tried by ``analyse`` and ``plan``, whose work they do; what is
    tried here is that the prediction tells it and goes on.
    """
    for name in ("elevation", "plan-intact", "plan-free"):
        folder = job.work / f"peace-{name}"
        job.start(folder)
        code, words, _ = _forked(job, folder, beside=name)
        if not job.finished(code, words):
            tally.take(f"c predict, {name} beside it in peace", f"code {code}: {words[:300]}")
            continue
        calls = int(_counted(folder, name).read_text())
        shutil.rmtree(folder)
        for at in range(1, calls + 1, max(1, calls // BESIDE)):
            kill = functools.partial(
                lambda start, at, name: {"number": at, "beside": name} if start == 0 else {}, at=at, name=name
            )
            fault = _disturbed(job, job.work / f"{name}-{at}", wanted, kill)
            tally.take(f"c predict, {name} beside it killed at disk call {at} of {calls}", fault)


def run(number: int, seed: int, work: Path) -> Tally:
    """Part c: ``number`` random kills shared by the verbs, and kills at disk calls all along (a few where quick)."""
    tally = Tally("c  kill -9 at disk calls and random moments")
    quick = number < 20
    names = ("analyse",) if quick else ("analyse", "plan", "predict", "study", "reduce", "freeze", "workers")
    strides = {"predict": 12, "study": 4, "workers": 0}
    for name in names:
        job = Job(name, work / name)
        peace = job.work / "peace"
        job.start(peace)
        code, words, spent = _forked(job, peace)
        if not job.finished(code, words):
            tally.take(f"c {name} in peace", f"code {code}: {words[:300]}")
            continue
        calls = json.loads(words)[2]
        wanted = job.kept(peace)
        stride = max(strides.get(name, 1), calls // 3 if quick else calls // 40)
        for at in range(1, calls + 1, max(stride, 1)) if strides.get(name) != 0 else ():
            kill = functools.partial(lambda start, at: {"number": at if start == 0 else 0}, at=at)
            began = time.process_time()
            fault = _disturbed(job, job.work / f"call-{at}", wanted, kill)
            tally.take(f"c {name} killed at disk call {at} of {calls}", fault, time.process_time() - began)
        if name == "predict":
            _beside(job, wanted, tally)
        rng = random.Random(f"{seed} c {name}")
        for k in range(max(1, number // len(names)) if name != "workers" else 4):

            def later(start: int, rng: random.Random = rng, spent: float = spent) -> dict[str, Any]:
                # three kills, then peace
                return {"after": rng.uniform(0.02, 1.0) * spent} if start < 3 else {}

            tally.take(f"c {name} killed at random, {k}", _disturbed(job, job.work / f"random-{k}", wanted, later))
    return tally
