"""The folder of a prediction: whose it is, and what is left when the process is killed.

What a fresh run of the same input writes is the measure; SIGKILL is as POSIX describes it.
"""

from __future__ import annotations

import fcntl
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fesplice import Run, predict, read
from fesplice.contracts import FolderFault
from fesplice.specimen import vary
from fesplice.specimen.read import vary_many
from fesplice.store.folder import KIND, SCHEMA, Lock, claim, write_manifest

FILE = Path(__file__).resolve().parents[2] / "models" / "as29-100-u.toml"
MANIFEST = {
    "kind": KIND, "schema": SCHEMA, "outcome": {"name": "running"}, "specimen": {"text": "", "digest": ""},
    "mesh": {"digest": ""}, "settings": {},
}  # fmt: skip
CHILD = "import sys; from fesplice import predict; predict(*sys.argv[1:])"


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    """A prediction of the specimen as far as its first run folder."""
    home = tmp_path / "home"
    claim(home, "prediction")
    (home / "plan-free").mkdir(parents=True)
    (home / "plan-free" / "manifest.json").write_text("{}")
    (home / "specimen.toml").write_bytes(read(FILE).text.encode())
    return home


def contents(home: Path) -> dict[str, tuple[bytes, int]]:
    return {str(p): (p.read_bytes(), p.stat().st_mtime_ns) for p in home.rglob("*") if p.is_file()}


def test_a_folder_of_another_specimen_is_refused_untouched(begun: Path) -> None:
    before = contents(begun)
    with pytest.raises(FolderFault, match="prediction of another specimen") as fault:
        predict(vary(read(FILE), "bars.lap", "480 mm"), begun)
    assert str(begun) in str(fault.value) and fault.value.exit_code == 2
    assert contents(begun) == before


def test_an_elevation_computed_alone_is_taken_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A study computes FOLDER/elevation first and then the prediction in FOLDER."""
    (tmp_path / "elevation").mkdir()
    write_manifest(tmp_path / "elevation", MANIFEST)
    monkeypatch.setattr("fesplice.pipeline.both._predict", lambda s, home, text, tell, laws: text.read_text())
    monkeypatch.setattr("fesplice.pipeline.both._told_by", lambda model, s, home, answer: answer)
    assert predict(FILE, tmp_path) == FILE.read_text()


def test_a_folder_that_another_prediction_writes_is_refused(begun: Path) -> None:
    lock = Lock(begun)
    before = contents(begun)
    with pytest.raises(FolderFault, match=f"is being written by process {os.getpid()}"):
        predict(FILE, begun)
    assert contents(begun) == before
    lock.release()


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("taken")
    with pytest.raises(FolderFault, match="is a file, not a folder") as fault:
        predict(FILE, tmp_path / "file" / "home")
    assert str(tmp_path / "file" / "home") in str(fault.value)


def test_the_elevation_ends_with_a_killed_prediction(tmp_path: Path) -> None:
    text = FILE.read_text().replace('"18 mm"', '"21 mm"').replace('"50 mm"', '"80 mm"')
    file, home = tmp_path / "coarse.toml", tmp_path / "home"
    file.write_text(text)
    process = subprocess.Popen([sys.executable, "-c", CHILD, str(file), str(home)], stderr=subprocess.PIPE)
    lock = home / "elevation" / "lock"
    deadline = time.monotonic() + 120.0
    while not (home / "elevation" / "state.h5").is_file():
        assert process.poll() is None and time.monotonic() < deadline
        time.sleep(0.1)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    with open(lock, "rb+") as file_of_lock:
        until = time.monotonic() + 15.0
        while True:
            try:
                fcntl.flock(file_of_lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                assert time.monotonic() < until, "the elevation goes on without its parent"
                time.sleep(0.1)
    run = Run(home / "elevation")
    assert run.n_steps >= 1 and not run.outcome.finished


COARSE = {"mesh.splice": "45 mm", "mesh.elsewhere": "120 mm", "plan.element": "40 mm", "analysis.max_steps": 6}


def numbers(home: Path) -> dict[str, bytes]:
    """Curves and steps of all runs: what must not depend on how often the prediction died."""
    kept = [p for p in home.rglob("*") if p.suffix == ".h5" or p.name == "curve.csv"]
    return {str(p.relative_to(home)): p.read_bytes() for p in kept}


def test_a_prediction_killed_while_its_runs_go_side_by_side_goes_on_to_the_same_bytes(tmp_path: Path) -> None:
    file, home, peace = tmp_path / "s.toml", tmp_path / "killed", tmp_path / "peace"
    file.write_text(vary_many(read(FILE), COARSE).text)
    whole = predict(file, peace)
    begun = [home / name / "state.h5" for name in ("elevation", "plan-free", "plan-intact")]
    process = subprocess.Popen([sys.executable, "-c", CHILD, str(file), str(home)], stderr=subprocess.PIPE)
    deadline = time.monotonic() + 300.0
    seen: set[Path] = set()
    while not seen:  # no state stands before and after a run
        seen = {path for path in begun if path.is_file()}
        assert process.poll() is None and time.monotonic() < deadline
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    free_again(home)
    found = predict(file, home)
    assert numbers(home) == numbers(peace)
    assert (found.bar_stress, found.load, found.sentence) == (whole.bar_stress, whole.load, whole.sentence)


def free_again(home: Path) -> None:
    """Wait until the runs beside have noticed that their parent is gone."""
    for lock in home.glob("*/lock"):
        with open(lock, "rb+") as file:
            until = time.monotonic() + 30.0
            while True:
                try:
                    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    break
                except BlockingIOError:
                    assert time.monotonic() < until, f"{lock} is still held"
                    time.sleep(0.1)


def test_a_file_of_somebody_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "specimen.toml").write_text("mine")
    with pytest.raises(FolderFault, match="nothing was written") as fault:
        predict(FILE, tmp_path)
    assert "specimen.toml" in str(fault.value) and fault.value.exit_code == 2
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("specimen.toml", "mine")]


BESIDE = """
import sys
from pathlib import Path
from fesplice.contracts import InputFault
from fesplice.pipeline import beside
home = Path(sys.argv[1])
try:
    with beside.run(home / "specimen.toml", home / "elevation") as work:
        beside.wait([work], lambda name, step: None)
except InputFault as fault:
    print("refused:", fault)
"""


def test_the_process_of_the_elevation_imports_nothing_from_the_current_folder(tmp_path: Path) -> None:
    """It is given a faulty specimen, which it must refuse in its own words: so it came as far as reading it."""
    here, home = tmp_path / "here", tmp_path / "home"
    (here / "fesplice").mkdir(parents=True)
    home.mkdir()
    (home / "specimen.toml").write_text('name = "x"\n')
    for name in ("random.py", "types.py", "fesplice/__init__.py"):
        (here / name).write_text(f"open({str(here / 'flag')!r}, 'a').write(__name__); raise SystemExit(9)\n")
    done = subprocess.run(
        [sys.executable, "-P", "-c", BESIDE, str(home)], cwd=here, capture_output=True, text=True, timeout=60,
        check=False,
    )  # fmt: skip
    assert not (here / "flag").exists()
    assert done.stdout.startswith("refused:") and "body" in done.stdout, done.stderr
