"""Run folders: what goes in comes out, and a folder that is not this run is left alone.

The rules tested (one writer, foreign files untouched, a finished run never rewritten, atomic
replacement) are common practice of journalled storage, no source.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fesplice
from fesplice.contracts import FolderFault, Outcome
from fesplice.mesh import BarLine, Group, Mesh, Station
from fesplice.store import Run, RunWriter, StepRecord
from fesplice.store.arrays import pack
from fesplice.store.folder import step_path
from fesplice.store.steps import QUANTA


def mesh(width: float = 10.0) -> Mesh:
    """One square with a bar of two nodes, with every kind of thing a mesh can hold."""
    points = np.array([[0, 0], [width, 0], [width, 10], [0, 10], [1, 5], [9, 5]], float)
    groups = {
        "pre/cast": Group("quad4", "precast", np.array([[0, 1, 2, 3]], np.int32), {"thickness": np.array([100.0])}),
        "bar:A": Group("truss2", "main", np.array([[4, 5]], np.int32), {"area": np.array([645.0])}),
        "empty": Group("joint", "cold", np.zeros((0, 4), np.int32), {"normal": np.zeros((0, 2))}),
    }
    zone = np.array([0, 1], np.int32)
    line = BarLine(
        "A", "main", np.array([4, 5], np.int32), np.array([0, 8.0]), zone, 645.0, 28.7, 1, "s", ("bar:A",), ""
    )
    sets = {"support:left": np.array([0], np.int32), "none": np.zeros(0, np.int32)}
    return Mesh(points, groups, sets, {"A": line}, (Station("A/tangent", "A", (1.0, 5.0)),))


def begin(folder: Path, **changes: Any) -> RunWriter:
    given: dict[str, Any] = {
        "specimen_text": 'name = "Höhe ½"\n',
        "specimen_name": "Höhe ½",
        "specimen_digest": "d1",
        "mesh": mesh(),
        "settings": {"step": 0.1, "sizes": (1, 2)},
        "versions": {"numpy": np.__version__},
    }
    return RunWriter.create(folder, **given | changes)


def record(step: int, **changes: Any) -> StepRecord:
    rng = np.random.default_rng(step)
    given = {
        "columns": {"load_N": 100.0 * np.sin(step), "deflection_mm": 0.1 * step, "outcome": Outcome.converged},
        "fields": {"u": rng.random(12), "pre/cast/stress": rng.random((1, 4, 3)), "bar:A/yielded": np.array([True])},
        "memory": {"u": rng.random(12), "size": 0.1 / 3, "tries": step, "method": "newton", "last": None},
    }
    return StepRecord(step, **given | changes)


def contents(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Bytes and time of change of every file below ``folder``."""
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    return {str(p.relative_to(folder)): (p.read_bytes(), p.stat().st_mtime_ns) for p in files}


# ------------------------------------------------------------------ what goes in comes out
def test_a_run_from_beginning_to_end(tmp_path: Path):
    with begin(tmp_path / "deep" / "run") as writer:
        assert writer.saved is None
        for step in (1, 2, 3):
            writer.attempt(step=step, number=1, outcome=Outcome.converged, seconds=0.5)
            writer.accept(record(step))
        writer.finish(Outcome.softened, {"peak_N": np.float64(5), "worst": np.nan}, ["a caution"])
    run = Run(tmp_path / "deep" / "run")
    assert (run.outcome, run.n_steps, run.indices) == (Outcome.softened, 3, (1, 2, 3))
    assert (run.specimen_name, run.specimen_text) == ("Höhe ½", 'name = "Höhe ½"\n')
    assert run.summary == {"peak_N": 5.0, "worst": None}
    assert run.warnings == ["a caution"]
    assert run.settings == {"step": 0.1, "sizes": [1, 2]}
    assert run.manifest["outcome"]["sentence"] == Outcome.softened.value
    np.testing.assert_array_equal(run.curve["load_N"], [100.0 * np.sin(s) for s in (1, 2, 3)])
    assert run.curve["outcome"].tolist() == ["converged"] * 3
    assert run.attempts["step"].tolist() == [1, 2, 3]
    assert run.index_of_peak == 2
    for step in run.steps():
        given = record(step.index).fields
        np.testing.assert_allclose(step.u, given["u"], rtol=0.0, atol=0.5 * QUANTA["u"])
        stress = step.fields["pre/cast/stress"]
        assert stress.dtype == np.float32
        np.testing.assert_allclose(stress, given["pre/cast/stress"], rtol=0.0, atol=0.5 * QUANTA["stress"])
        assert step.of("bar:A")["yielded"].tolist() == [True]
        assert set(step.fields) == set(given)
    assert run.step(-1).index == 3
    assert not (run.folder / "state.h5").exists()  # nothing goes on from a finished run


def test_a_run_of_the_earlier_layout_is_read_and_not_gone_on_with(tmp_path: Path):
    """Layout 1: every field in single precision under its name, ``u`` in double, by the general writer of arrays."""
    folder = tmp_path / "r"
    with begin(folder) as writer:
        for step in (1, 2):
            writer.accept(record(step))
    for step in (1, 2):
        kept = dict(record(step).fields)
        kept["pre/cast/stress"] = kept["pre/cast/stress"].astype(np.float32)
        step_path(folder, step).write_bytes(pack(kept, {"step": step}, compress=True))
    (folder / "state.h5").unlink()
    manifest = {k: v for k, v in json.loads((folder / "manifest.json").read_text()).items() if k != "digest"}
    (folder / "manifest.json").write_text(json.dumps(manifest | {"schema": 1}))
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    for step in Run(folder).steps():
        np.testing.assert_array_equal(step.u, record(step.index).fields["u"])
        np.testing.assert_array_equal(
            step.fields["pre/cast/stress"], record(step.index).fields["pre/cast/stress"].astype(np.float32)
        )
    for again in (lambda: RunWriter.resume(folder), lambda: begin(folder)):
        with pytest.raises(FolderFault, match="layout 1, which is read but no longer written"):
            again()
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_the_mesh_comes_back_whole(tmp_path: Path):
    begin(tmp_path / "r").close()
    given, read = mesh(), Run(tmp_path / "r").mesh
    assert read.digest == given.digest
    assert list(read.groups) == list(given.groups)
    for name, group in given.groups.items():
        assert (read.groups[name].kind, read.groups[name].material) == (group.kind, group.material)
        assert read.groups[name].cells.dtype == np.int32
        for key, values in group.data.items():
            np.testing.assert_array_equal(read.groups[name].data[key], values)
            assert read.groups[name].data[key].shape == values.shape
    assert {k: v.tolist() for k, v in read.node_sets.items()} == {"support:left": [0], "none": []}
    assert read.stations == given.stations
    old, new = given.lines["A"], read.lines["A"]
    assert (new.name, new.role, new.area, new.diameter, new.number) == ("A", "main", 645.0, 28.7, 1)
    assert (new.steel, new.groups, new.bond) == (old.steel, old.groups, old.bond)
    np.testing.assert_array_equal(new.arc, old.arc)


def test_memory_comes_back_exact(tmp_path: Path):
    with begin(tmp_path / "r") as writer:
        writer.accept(record(0))
    writer, saved = RunWriter.resume(tmp_path / "r")
    writer.close()
    assert saved is not None
    memory = record(0).memory
    assert saved.index == 0
    np.testing.assert_array_equal(saved.memory["u"], memory["u"])
    assert {k: v for k, v in saved.memory.items() if k != "u"} == {k: v for k, v in memory.items() if k != "u"}
    saved.memory["u"][0] = 1.0


def test_the_mesh_of_another_run_is_refused(tmp_path: Path):
    begin(tmp_path / "a").close()
    begin(tmp_path / "b", mesh=mesh(20.0)).close()
    shutil.copy(tmp_path / "b" / "mesh.h5", tmp_path / "a" / "mesh.h5")
    with pytest.raises(FolderFault, match="not the mesh"):
        _ = Run(tmp_path / "a").mesh


def test_a_reader_follows_a_growing_run(tmp_path: Path):
    with begin(tmp_path / "r") as writer:
        run = Run(tmp_path / "r")
        assert (run.n_steps, run.curve, run.outcome) == (0, {}, Outcome.running)
        with pytest.raises(FolderFault, match="no step"):
            _ = run.index_of_peak
        for step in (1, 2):
            writer.accept(record(step))
            assert run.step(-1).index == step
        with open(tmp_path / "r" / "curve.csv", "ab") as file:
            file.write(b"3,12.")
        assert run.n_steps == 2
        with pytest.raises(FolderFault, match="step 3 is not stored; steps 1 to 2 are"):
            run.step(3)
        writer.accept(record(3))
        writer.finish(Outcome.target_reached, {})
    assert (run.outcome, run.n_steps) == (Outcome.target_reached, 3)


# ------------------------------------------------------------------ misuse by the caller
def test_steps_follow_each_other(tmp_path: Path):
    with begin(tmp_path / "r") as writer:
        with pytest.raises(ValueError, match="step 2 cannot follow"):
            writer.accept(record(2))
        writer.accept(record(1))
        for wrong in (0, 1, 3):
            with pytest.raises(ValueError, match="cannot follow step 1"):
                writer.accept(record(wrong))
        with pytest.raises(ValueError, match="columns"):
            writer.accept(record(2, columns={"load_N": 1.0}))
        with pytest.raises(TypeError, match="memory things"):
            writer.accept(record(2, memory={"things": [1, 2]}))
        with pytest.raises(TypeError, match="cannot be stored"):
            writer.accept(record(2, fields={"u": np.array(["text"])}))
        writer.accept(record(2))
    assert Run(tmp_path / "r").indices == (1, 2)


def test_a_finished_run_is_not_written_again(tmp_path: Path):
    writer = begin(tmp_path / "r")
    writer.accept(record(1))
    writer.finish(Outcome.softened, {})
    before = contents(tmp_path / "r")
    for write in (
        lambda: writer.accept(record(2)),
        lambda: writer.attempt(step=2),
        lambda: writer.finish(Outcome.diverged, {}),
        lambda: RunWriter.resume(tmp_path / "r"),
        lambda: begin(tmp_path / "r"),
    ):
        with pytest.raises(FolderFault, match=r"closed|finished"):
            write()
    assert contents(tmp_path / "r") == before


# ------------------------------------------------------------------ folders
@pytest.mark.parametrize("names", [["notes.txt"], ["lock"], ["mesh.h5"], ["steps/1.h5", "lock"], ["manifest.json"]])
def test_a_folder_of_somebody_else_is_left_alone(tmp_path: Path, names: list[str]):
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text('{"name": "theirs"}')
    before = contents(tmp_path)
    for write in (lambda: begin(tmp_path), lambda: RunWriter.resume(tmp_path), lambda: Run(tmp_path)):
        with pytest.raises(FolderFault) as fault:
            write()
        assert "\n" not in str(fault.value)
        assert fault.value.exit_code == 2
    assert contents(tmp_path) == before


def test_a_file_instead_of_a_folder(tmp_path: Path):
    (tmp_path / "f").write_text("x")
    for target in (tmp_path / "f", tmp_path / "f" / "below"):
        for write in (lambda t=target: begin(t), lambda t=target: RunWriter.resume(t), lambda t=target: Run(t)):
            with pytest.raises(FolderFault):
                write()
    assert (tmp_path / "f").read_text() == "x"
    with pytest.raises(FolderFault, match="not found"):
        Run(tmp_path / "absent")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"specimen_digest": "d2"}, "specimen"),
        ({"mesh": mesh(20.0)}, "mesh"),
        ({"settings": {"step": 0.2, "sizes": [1, 2]}}, "setting step"),
    ],
)
def test_another_run_is_told_from_this_one(tmp_path: Path, change: dict[str, Any], told: str):
    with begin(tmp_path / "r") as writer:
        writer.accept(record(1))
    before = contents(tmp_path / "r")
    with pytest.raises(FolderFault, match=rf"holds another run \(differs in {told}\)"):
        begin(tmp_path / "r", **change)
    assert contents(tmp_path / "r") == before
    with begin(tmp_path / "r") as writer:
        assert writer.saved is not None
        writer.accept(record(2))
    assert Run(tmp_path / "r").n_steps == 2


def test_two_writers_in_one_process_and_in_two(tmp_path: Path):
    with begin(tmp_path / "r") as writer:
        writer.accept(record(1))
        before = contents(tmp_path / "r")
        with pytest.raises(FolderFault, match=f"is being written by process {os.getpid()}"):
            RunWriter.resume(tmp_path / "r")
        code = (
            "import sys; from fesplice.store import RunWriter; from fesplice.contracts import FolderFault\n"
            "try: RunWriter.resume(sys.argv[1])\nexcept FolderFault as f: print(f); sys.exit(f.exit_code)"
        )
        child = subprocess.run(
            [sys.executable, "-c", code, str(tmp_path / "r")],
            capture_output=True,
            text=True,
            check=False,
            cwd=Path(fesplice.__file__).parents[1],
        )
        assert child.returncode == 2
        assert f"is being written by process {os.getpid()}" in child.stdout
        assert contents(tmp_path / "r") == before
        writer.accept(record(2))
    RunWriter.resume(tmp_path / "r")[0].close()


DAMAGES = {
    "empty": lambda m: b"",
    "cut": lambda m: m[: len(m) // 2],
    "binary": lambda m: b"\xff\x00\xfe",
    "list": lambda m: b"[]",
    "deep": lambda m: b"[" * 100_000,
    "newer": lambda m: m.replace(b'"schema": 2', b'"schema": 3'),
    "outcome": lambda m: m.replace(b'"name": "running"', b'"name": "well"'),
    "no mesh": lambda m: json.dumps({k: v for k, v in json.loads(m).items() if k != "mesh"}).encode(),
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_manifest_is_told_in_one_line(tmp_path: Path, damage: str):
    begin(tmp_path / "r").close()
    path = tmp_path / "r" / "manifest.json"
    path.write_bytes(DAMAGES[damage](path.read_bytes()))
    before = contents(tmp_path / "r")
    for use in (lambda: Run(tmp_path / "r"), lambda: RunWriter.resume(tmp_path / "r"), lambda: begin(tmp_path / "r")):
        with pytest.raises(FolderFault) as fault:
            use()
        assert "manifest.json" in str(fault.value)
        assert "\n" not in str(fault.value)
    assert contents(tmp_path / "r") == before


@pytest.mark.parametrize("name", ["state.h5", "steps/000002.h5", "curve.csv"])
@pytest.mark.parametrize("cut", [0, 0.6, None])
def test_other_damage_is_told_and_nothing_is_lost(tmp_path: Path, name: str, cut: float | None):
    with begin(tmp_path / "r") as writer:
        for step in (1, 2, 3):
            writer.accept(record(step))
    path = tmp_path / "r" / name
    data = path.read_bytes()
    path.unlink()
    if cut is not None:
        path.write_bytes(data[: int(cut * len(data))])
    rest = {k: v for k, v in contents(tmp_path / "r").items() if k not in (name, "lock")}
    with pytest.raises(FolderFault, match=r"damaged|not found") as fault:
        if name.startswith("steps") and cut is not None:
            dict(Run(tmp_path / "r").step(2).fields)
        else:
            RunWriter.resume(tmp_path / "r")
    assert "\n" not in str(fault.value)
    after = contents(tmp_path / "r")
    assert {k: v for k, v in after.items() if k in rest} == rest


def test_an_interrupted_run_is_taken_up_again(tmp_path: Path):
    with begin(tmp_path / "r") as writer:
        writer.accept(record(1))
        writer.finish(Outcome.interrupted, {"note": "by hand"})
    assert Run(tmp_path / "r").outcome is Outcome.interrupted
    writer, saved = RunWriter.resume(tmp_path / "r")
    assert saved is not None
    assert saved.index == 1
    assert Run(tmp_path / "r").outcome is Outcome.running
    writer.accept(record(2))
    writer.finish(Outcome.softened, {})
    assert Run(tmp_path / "r").n_steps == 2


def test_half_written_files_are_swept_away(tmp_path: Path):
    with begin(tmp_path / "r") as writer:
        writer.accept(record(1))
    strays = [
        tmp_path / "r" / name for name in ("state.h5.partial", "steps/000002.h5.partial", "manifest.json.partial")
    ]
    for stray in strays:
        stray.write_bytes(b"half")
    RunWriter.resume(tmp_path / "r")[0].close()
    assert not any(stray.exists() for stray in strays)
