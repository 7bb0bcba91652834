"""Runs that die: killed between any two calls to the system, killed at any time, or out of disk.

Compared with the same run left in peace, byte by byte. SIGKILL, EFBIG by RLIMIT_FSIZE and short
writes are as POSIX describes them. The march here is a logistic map: one wrong bit in the memory
given back on resuming would show in every later step.

Run as a program this file is the child that is killed: ``test_store_kill.py march FOLDER STEPS``.
"""

from __future__ import annotations

import contextlib
import errno
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import fesplice

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from campaign.disk import nth_call

from fesplice.contracts import FolderFault, Outcome
from fesplice.mesh import Group, Mesh
from fesplice.store import Run, RunWriter, StepRecord
from fesplice.store.steps import QUANTA


def march(folder: Path, steps: int, before_step: Callable[[int], None] = lambda step: None) -> None:
    """Begin or go on, and march to the end."""
    cells = np.array([[0, 1, 2, 3]], np.int32)
    mesh = Mesh(np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]), {"precast": Group("quad4", "precast", cells)})
    given = {"specimen_text": "text", "specimen_name": "map", "specimen_digest": "d"}
    with RunWriter.create(folder, mesh=mesh, settings={"steps": steps}, versions={}, **given) as writer:
        saved = writer.saved
        x = np.linspace(0.1, 0.9, 500) if saved is None else saved.memory["x"]
        energy = 0.0 if saved is None else saved.memory["energy"]
        for step in range(1 if saved is None else saved.index + 1, steps + 1):
            before_step(step)
            x = 3.9 * x * (1 - x)
            energy += float(x.sum()) / 3
            writer.attempt(step=step, number=1, outcome=Outcome.converged)
            columns = {"load_N": float(x[7]), "energy": energy, "outcome": Outcome.converged}
            writer.accept(StepRecord(step, columns, {"u": x, "precast/strain": x}, {"x": x, "energy": energy}))
        # a finished run has no state any more: its last one is kept aside for comparing
        shutil.copyfile(folder / "state.h5", aside(folder))
        writer.finish(Outcome.target_reached, {"energy": energy})


def aside(folder: Path) -> Path:
    return folder.with_name(f"{folder.name}-state.h5")


def kept(folder: Path) -> dict[str, bytes]:
    """Everything of a run that must not depend on how often it died."""
    names = ["curve.csv", "attempts.csv", "mesh.h5", *(f"steps/{p.name}" for p in folder.glob("steps/*"))]
    state = folder / "state.h5"
    return {
        "state": (state if state.exists() else aside(folder)).read_bytes(),
        **{name: (folder / name).read_bytes() for name in names},
    }


def ended(folder: Path) -> bool:
    """True when a run stands in ``folder`` and was finished."""
    return (folder / "manifest.json").exists() and Run(folder).outcome.finished


def lines(folder: Path) -> int:
    """Lines of the curve so far, its header among them."""
    try:
        return (folder / "curve.csv").read_bytes().count(b"\n")
    except FileNotFoundError:
        return 0


def readable(folder: Path) -> int:
    """Read all that a dead run left, as a live viewer would; answers the number of its steps."""
    if not (folder / "manifest.json").exists():
        return 0
    run = Run(folder)
    for step in run.steps():
        assert abs(run.curve["load_N"][step.index - 1] - step.u[7]) <= 0.5 * QUANTA["u"]
    return run.n_steps


def sweep(root: Path, steps: int) -> int:
    """Kill a run at its first call, another at its second, and so on; answers how many died."""
    march(root / "peace", steps)
    wanted = kept(root / "peace")
    for number in range(1, 10_000):
        folder = root / f"{number}"
        child = os.fork()
        if child == 0:
            with nth_call(number, lambda: os.kill(os.getpid(), signal.SIGKILL)):
                march(folder, steps)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        if os.WIFEXITED(status):
            assert os.WEXITSTATUS(status) == 0
            return number - 1
        assert os.WTERMSIG(status) == signal.SIGKILL
        readable(folder)
        if not ended(folder):
            march(folder, steps)
        assert kept(folder) == wanted, f"killed at call {number}"
        assert not list(folder.rglob("*.partial")), f"killed at call {number}"
        shutil.rmtree(folder)
    raise AssertionError("no end of calls")


def limited(folder: Path, steps: int, last: int) -> None:
    """From step ``last + 1`` on no file may grow past 200 bytes."""

    def limit(step: int) -> None:
        if step > last:
            resource.setrlimit(resource.RLIMIT_FSIZE, (200, resource.RLIM_INFINITY))

    try:
        march(folder, steps, limit)
    except FolderFault as fault:
        sys.stderr.write(str(fault))
        sys.exit(fault.exit_code)


def child(*words: object) -> subprocess.Popen[str]:
    command = [sys.executable, __file__, *map(str, words)]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, cwd=Path(fesplice.__file__).parents[1], stdout=pipe, stderr=pipe, text=True)


# ------------------------------------------------------------------ tests
def test_killed_at_every_call_to_the_system(tmp_path: Path):
    out, err = (process := child("sweep", tmp_path, 3)).communicate(timeout=120)
    assert process.returncode == 0, err
    # Ten calls and more per step: were the watch deaf, the sweep would end at once.
    assert int(out) > 30


@pytest.mark.parametrize("seed", range(3))
def test_killed_at_random_times(tmp_path: Path, seed: int):
    steps, chance = 120, random.Random(seed)
    march(tmp_path / "peace", steps)
    folder, deaths, stands = tmp_path / "killed", 0, [0]
    while not ended(folder):
        # Counted in steps and not in seconds, so that a busy machine only makes it slower.
        wanted = stands[-1] + chance.randint(5, 50)
        process = child("march", folder, steps)
        while process.poll() is None and lines(folder) <= wanted:
            time.sleep(0.001)
        time.sleep(chance.uniform(0.0, 0.01))
        process.kill()
        _, err = process.communicate()
        assert process.returncode in (0, -signal.SIGKILL), err
        deaths += process.returncode != 0
        stands.append(readable(folder))
    assert deaths >= 2
    # Nothing accepted is lost, but for the line of a step whose state was not yet in place.
    assert all(b >= a - 1 for a, b in zip(stands, stands[1:]))
    assert kept(folder) == kept(tmp_path / "peace")


def test_out_of_disk_loses_the_step_in_flight_only(tmp_path: Path):
    march(tmp_path / "peace", 6)
    folder = tmp_path / "full"
    _, err = (process := child("limited", folder, 6, 3)).communicate(timeout=60)
    assert process.returncode == 2
    assert "\n" not in err
    assert os.strerror(errno.EFBIG) in err
    assert readable(folder) == 3
    assert not list(folder.rglob("*.partial"))
    march(folder, 6)
    assert kept(folder) == kept(tmp_path / "peace")


def test_a_fault_at_any_call_leaves_a_writer_that_can_go_on(tmp_path: Path):
    march(tmp_path / "peace", 3)

    def full() -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    faults = 0
    for number in range(1, 1000):
        folder = tmp_path / f"{number}"
        with nth_call(number, full) as count, contextlib.suppress(FolderFault):
            march(folder, 3)
        if count[0] < number:
            break
        faults += 1
        if not ended(folder):
            march(folder, 3)
        assert kept(folder) == kept(tmp_path / "peace"), f"fault at call {number}"
    assert faults > 30


def test_a_failed_step_may_be_tried_again_by_the_same_writer(tmp_path: Path):
    cells = np.array([[0, 1, 2, 3]], np.int32)
    mesh = Mesh(np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]), {"precast": Group("quad4", "precast", cells)})
    given = {"specimen_text": "text", "specimen_name": "map", "specimen_digest": "d"}

    def interrupt() -> None:
        raise KeyboardInterrupt

    def record(step: int) -> StepRecord:
        return StepRecord(step, {"load_N": step / 3}, {"u": np.full(9, step / 3)}, {"x": step / 7})

    with RunWriter.create(tmp_path / "peace", mesh=mesh, settings={}, versions={}, **given) as writer:
        for step in (1, 2, 3):
            writer.accept(record(step))
    (tmp_path / "peace" / "attempts.csv").touch()
    for number in range(1, 100):
        folder = tmp_path / f"{number}"
        with RunWriter.create(folder, mesh=mesh, settings={}, versions={}, **given) as writer:
            writer.accept(record(1))
            try:
                with nth_call(number, interrupt) as count:
                    writer.accept(record(2))
            except KeyboardInterrupt:
                stands = Run(folder).n_steps
                assert (folder / "steps" / "000002.h5").exists() == (stands == 2)
                if stands == 1:
                    writer.accept(record(2))
            writer.accept(record(3))
        assert kept(folder) == kept(tmp_path / "peace"), f"interrupted at call {number}"
        if count[0] < number:
            break
    assert number > 8


if __name__ == "__main__":
    if sys.argv[1] == "sweep":
        sys.stdout.write(str(sweep(Path(sys.argv[2]), int(sys.argv[3]))))
    elif sys.argv[1] == "limited":
        limited(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
    else:
        march(Path(sys.argv[2]), int(sys.argv[3]))
