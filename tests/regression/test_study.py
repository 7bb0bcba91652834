"""A small study of real specimens: workers and the runner are killed with SIGKILL, and the table is the same.

Source: what a table must hold is what the undisturbed run, computed in this process without any
worker, gives (no other oracle: two ways of the same program). Signals as POSIX describes them. The
goal of 20 ms per case is the project's own.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest

import fesplice
from fesplice.contracts import Outcome
from fesplice.specimen import vary_many
from fesplice.store.folder import write_manifest
from fesplice.study import Resources, StudyProgress, Table, read_study, run_study
from fesplice.study.record import compute
from fesplice.study.schedule import carry_out
from fesplice.study.table import TIMES

ROOT = Path(__file__).parents[2]
# Small steps below cracking: cheap, and long enough in steps to be hit in the middle.
STEPS = 24
STUDY = f"""
name = "Small"
base = "{ROOT / "models" / "plain" / "cracked-section.toml"}"
[set]
"mesh.splice" = "50 mm"
"mesh.elsewhere" = "120 mm"
"analysis.step" = "0.01 mm"
"analysis.max_steps" = {STEPS}
[grid]
"bars.left.depth" = ["380 mm", "385 mm", "390 mm", "445 mm"]
"""
CLUSTER = """
import sys, time
from distributed import LocalCluster
if __name__ == "__main__":
    with LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None, scheduler_port=0) as cluster:
        sys.stdout.write(cluster.scheduler_address + "\\n")
        sys.stdout.flush()
        sys.stdin.read()
"""


def content(folder: Path) -> list[dict]:
    """The table without the times, which differ from run to run."""
    with Table(folder) as table:
        return [{k: v for k, v in row.items() if not k.endswith(TIMES)} for row in table.rows(specimens=True)]


@pytest.fixture(scope="module")
def study_file(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("study") / "small.toml"
    path.write_text(STUDY, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def calm(study_file: Path, tmp_path_factory) -> Path:
    """The study computed in this process, one run after the other."""
    folder = tmp_path_factory.mktemp("calm")
    run_study(study_file, folder, resources=Resources(workers=0))
    return folder


@pytest.fixture(scope="module")
def undisturbed(calm: Path) -> list[dict]:
    return content(calm)


@pytest.fixture(scope="module")
def cluster(tmp_path_factory) -> Iterator[tuple[str, int]]:
    """A scheduler with a worker in a process of its own: its address and its process."""
    script = tmp_path_factory.mktemp("cluster") / "cluster.py"
    script.write_text(CLUSTER, encoding="utf-8")
    home = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [sys.executable, str(script)], env=home, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdin and process.stdout
        yield process.stdout.readline().strip(), process.pid
        process.stdin.close()


@pytest.fixture(scope="module")
def address(cluster: tuple[str, int]) -> str:
    return cluster[0]


def spent(pid: int) -> float:
    """Processor time of a process and of those it has started [s]."""
    whole = psutil.Process(pid)
    times = [p.cpu_times() for p in (whole, *whole.children(recursive=True))]
    return sum(t.user + t.system for t in times)


def begin(study: Path, folder: Path, workers: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", "from fesplice.cli import main; main()", "study", "run", str(study)]
    home = {**os.environ, "PYTHONPATH": str(Path(fesplice.__file__).parents[1])}
    return subprocess.Popen(
        [*command, "--out", str(folder), "--workers", str(workers)], env=home, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip


def at_work(child: subprocess.Popen[str], folder: Path, steps: int, but: int = 0) -> tuple[Path, int]:
    """A run that has ``steps`` steps and goes on, and the process that computes it, as its lock says."""
    until = time.monotonic() + 60
    while time.monotonic() < until and child.poll() is None:
        for curve in folder.glob("runs/*/*/curve.csv"):
            lines = curve.read_bytes().count(b"\n")
            if steps < lines < STEPS - 5:
                pid = int((curve.parent / "lock").read_text().split()[-1])
                if pid != but and not gone(pid):
                    return curve.parent, pid
        time.sleep(0.01)
    pytest.fail(f"no run at work: exit {child.poll()}")


def gone(pid: int) -> bool:
    """Whether the process has ended (a dead one not yet collected by its parent counts)."""
    try:
        return "Z" in Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return True


# ------------------------------------------------------------------ deaths
def test_killed_workers_and_a_killed_runner_change_nothing(study_file: Path, undisturbed: list[dict], tmp_path: Path):
    folder = tmp_path / "study"
    child = begin(study_file, folder, 2)
    run, worker = at_work(child, folder, 3)
    assert worker not in (child.pid, os.getpid())
    os.kill(worker, signal.SIGKILL)
    kept = (run / "curve.csv").read_bytes().count(b"\n")
    _, second = at_work(child, folder, 5, but=worker)
    os.kill(child.pid, signal.SIGKILL)
    child.communicate()
    assert child.returncode == -signal.SIGKILL
    until = time.monotonic() + 20
    while not gone(second) and time.monotonic() < until:
        time.sleep(0.02)
    assert gone(second), "a worker outlives its runner"
    # what was accepted is there, but for the line of a step in flight, and the table can be read
    assert (run / "curve.csv").read_bytes().count(b"\n") >= kept - 1
    assert {row["state"] for row in content(folder)} >= {"waiting", "dropped"}
    finished = {
        p: p.stat().st_mtime_ns for p in folder.glob("runs/*/*/manifest.json") if b"step_limit" in p.read_bytes()
    }

    child = begin(study_file, folder, 1)
    os.kill(at_work(child, folder, 6)[1], signal.SIGKILL)
    _, told = child.communicate(timeout=90)
    assert child.returncode == 0, told
    assert content(folder) == undisturbed
    # what was finished has not been touched
    assert all(p.stat().st_mtime_ns == at for p, at in finished.items())
    assert {p.name for p in folder.iterdir()} >= {"results.csv", "results.parquet", "results.sqlite", "study.json"}


def test_a_lost_table_is_filled_from_the_run_folders(
    study_file: Path, calm: Path, undisturbed: list[dict], tmp_path: Path
):
    folder = tmp_path / "copy"
    shutil.copytree(calm, folder)
    (folder / "results.sqlite").unlink()
    curves = {p: p.stat().st_mtime_ns for p in folder.glob("runs/*/*/*") if p.name != "lock"}
    run_study(study_file, folder, resources=Resources(workers=0))
    assert content(folder) == undisturbed
    assert len(curves) > 3 and all(p.stat().st_mtime_ns == at for p, at in curves.items())


def test_a_full_disk_is_a_row_and_the_study_goes_on(study_file: Path, undisturbed: list[dict], tmp_path: Path):
    """No file may grow past 60 kB: mesh and table fit, the state of a run does not."""
    folder = tmp_path / "full"
    code = (
        "import resource, sys; from fesplice.study import Resources, run_study;"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, resource.RLIM_INFINITY));"
        "run_study(sys.argv[1], sys.argv[2], resources=Resources(workers=0))"
    )
    home = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", code, str(study_file), str(folder)]
    done = subprocess.run(command, env=home, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    rows = [row for row in content(folder) if row["state"] != "dropped"]
    assert [row["state"] for row in rows] == ["lost"] * 3
    assert all(os.strerror(errno.EFBIG) in row["reason"] for row in rows)
    run_study(study_file, folder, resources=Resources(workers=0))
    assert content(folder) == undisturbed


# ------------------------------------------------------------------ schedulers
def test_a_scheduler_joined_by_address_gives_the_same_records(
    study_file: Path, undisturbed: list[dict], address: str, tmp_path: Path
):
    run_study(study_file, tmp_path, resources=Resources(scheduler=address))
    assert content(tmp_path) == undisturbed


def test_a_thousand_cases_cost_less_than_20_ms_each(cluster: tuple[str, int], tmp_path: Path):
    """Cases that take no time. Processor time of runner, scheduler and worker together, reading the cases included."""
    values = ",\n".join(f'"{30 + 0.01 * k:.2f} MPa"' for k in range(1000))
    file = tmp_path / "many.toml"
    file.write_text(
        STUDY.partition("[grid]")[0] + f'[grid]\n"concrete.precast.strength" = [{values}]\n', encoding="utf-8"
    )
    study = read_study(file)

    def record(text: str, folder: str, views: list[str]) -> dict:
        return {plane: {"state": "done", "peak_kN": float(len(text))} for plane in views}

    seen: list[StudyProgress] = []
    before = time.process_time(), spent(cluster[1])
    run_study(study, tmp_path / "many", resources=Resources(scheduler=cluster[0]), task=record, progress=seen.append)
    cost = time.process_time() - before[0] + spent(cluster[1]) - before[1]
    rows = content(tmp_path / "many")
    assert len(rows) == 1000 and all(row["state"] == "done" for row in rows)
    assert seen[-1].done == seen[-1].total == 1000 and seen[-1].left == 0.0
    assert cost / 1000 < 0.020, f"{cost:.1f} ms"


def test_what_a_task_raises_is_its_answer(address: str):
    def halve(x: int) -> float:
        return 1 / x

    for resources in (Resources(workers=0), Resources(scheduler=address)):
        found = dict(pair for batch in carry_out(halve, {"a": [2], "b": [0]}, resources) for pair in batch)
        assert found["a"] == 0.5 and isinstance(found["b"], ZeroDivisionError)


# ------------------------------------------------------------------ what a run says of itself
def test_a_run_that_stopped_short_stays_so_when_it_is_read_again(tmp_path: Path):
    """Found by its folder, a run without convergence raises nothing; its row must say the same as before."""
    text = read_study(ROOT / "models" / "studies" / "spacing-confinement.toml").base
    small = {"mesh.splice": "36 mm", "mesh.elsewhere": "120 mm", "analysis.max_steps": 2, "analysis.step": "0.02 mm"}
    specimen = vary_many(text, small)
    first = compute(specimen.text, str(tmp_path), ["elevation"])["elevation"]
    assert first["state"] == "done" and first["steps"] == 3
    manifest = tmp_path / "elevation" / "manifest.json"
    about = json.loads(manifest.read_text())
    about["outcome"] = {"name": Outcome.smallest_step.name, "sentence": Outcome.smallest_step.value}
    about["warnings"].insert(0, "no equilibrium at 12 kN")
    write_manifest(manifest.parent, about)
    again = compute(specimen.text, str(tmp_path), ["elevation"])["elevation"]
    assert (again["state"], again["reason"]) == ("stopped", "no equilibrium at 12 kN")
    assert again["peak_kN"] == first["peak_kN"]
    # a specimen that cannot be read, and a folder that holds something else
    assert compute("name = 'x'", str(tmp_path / "b"), ["elevation"])["elevation"]["state"] == "failed"
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "elevation").write_text("no folder")
    lost = compute(specimen.text, str(tmp_path / "c"), ["elevation", "plan", "prediction"])
    assert [r["state"] for r in lost.values()] == ["lost"] * 3 and list(lost) == ["elevation", "plan", "prediction"]


def test_verify_holds_every_row_against_its_run(calm: Path, tmp_path: Path) -> None:
    """A row, the exported table and a run that were edited are each told (numbers of the study's own runs)."""
    from fesplice.study.verify import verify_study

    home = Path(shutil.copytree(calm, tmp_path / "study"))
    with Table(home) as table:
        table.export()
        case = table.rows()[1]["id"]
    assert all(look.held for look in verify_study(home))
    with sqlite3.connect(home / "results.sqlite") as base:
        base.execute("UPDATE cases SET elevation_peak_kN = 1.0 WHERE number = 1")
    (home / "results.csv").write_text("number\n1\n")
    shutil.rmtree(home / "runs" / case / "elevation" / "steps")
    told = [look.what for look in verify_study(home) if look.held is False]
    assert "case 1, elevation" in told and str(home / "results.csv") in told
    assert str(home / "runs" / case / "elevation" / "steps") in told
