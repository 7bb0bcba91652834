"""What was cut, edited or exchanged in a run folder is told and never believed.

SHA-256 tells one changed byte (FIPS 180-4); the checksum of an HDF5 chunk (Fletcher 32) tells a flipped bit
(HDF5 reference manual).
"""

from __future__ import annotations

import importlib.util
import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from fesplice.contracts import FolderFault, Outcome
from fesplice.store import Run, RunWriter

_SPEC = importlib.util.spec_from_file_location("store_parts", Path(__file__).with_name("test_store.py"))
assert _SPEC and _SPEC.loader
parts = importlib.util.module_from_spec(_SPEC)
sys.modules["store_parts"] = parts
_SPEC.loader.exec_module(parts)


def written(folder: Path, *, ended: bool, steps: int = 4) -> Path:
    with parts.begin(folder) as writer:
        for step in range(1, steps + 1):
            writer.attempt(step=step, number=1, outcome=Outcome.converged, seconds=0.5)
            writer.accept(parts.record(step))
        if ended:
            writer.finish(Outcome.softened, {"peak_N": 90.0}, [])
    return folder


def cut_curve(home: Path) -> None:
    lines = (home / "curve.csv").read_bytes().splitlines(keepends=True)
    (home / "curve.csv").write_bytes(b"".join(lines[:-2]))


def edit_curve(home: Path) -> None:
    path = home / "curve.csv"
    path.write_bytes(path.read_bytes().replace(b"90.9", b"99.9"))


def take_curve(home: Path) -> None:
    (home / "curve.csv").unlink()


@pytest.mark.parametrize("change", [cut_curve, edit_curve, take_curve])
def test_the_curve_of_a_finished_run_is_the_one_it_ended_with(tmp_path: Path, change: Callable[[Path], None]) -> None:
    home = written(tmp_path / "run", ended=True)
    assert Run(home).curve["load_N"].max() == pytest.approx(90.93, abs=0.01)
    change(home)
    with pytest.raises(FolderFault, match=r"curve\.csv"):
        Run(home).curve  # noqa: B018


def test_a_step_of_another_run_and_an_edited_one_are_not_read(tmp_path: Path) -> None:
    home, other = written(tmp_path / "run", ended=True), written(tmp_path / "other", ended=True, steps=3)
    (home / "steps" / "000002.h5").write_bytes((other / "steps" / "000003.h5").read_bytes())
    run = Run(home)
    run.step(1)
    with pytest.raises(FolderFault, match="exchanged"):
        run.step(2)


@pytest.mark.parametrize("key", ["outcome", "summary", "specimen"])
def test_an_edited_manifest_is_not_believed(tmp_path: Path, key: str) -> None:
    home = written(tmp_path / "run", ended=True)
    path = home / "manifest.json"
    kept = json.loads(path.read_text())
    kept[key] = {"name": "converged"} if key == "outcome" else {}
    path.write_text(json.dumps(kept))
    with pytest.raises(FolderFault, match=r"manifest\.json.*was changed"):
        Run(home)


def test_a_manifest_that_is_only_laid_out_anew_is_the_same(tmp_path: Path) -> None:
    path = written(tmp_path / "run", ended=True) / "manifest.json"
    path.write_text(json.dumps(json.loads(path.read_text())))
    assert Run(path.parent).n_steps == 4


def test_flipped_bits_of_the_state_are_no_numbers_to_go_on_from(tmp_path: Path) -> None:
    """Every byte of the arrays is turned in its turn: told by the checksum, or the file is no HDF5 file at all."""
    home = written(tmp_path / "run", ended=False)
    path = home / "state.h5"
    good = path.read_bytes()
    told = 0
    for k in range(0, len(good), 97):
        path.write_bytes(good[:k] + bytes([good[k] ^ 0xFF]) + good[k + 1 :])
        try:
            _, saved = RunWriter.resume(home)
        except FolderFault:
            told += 1
            continue
        # bytes that mean nothing (room between the parts of the file) may change: the numbers are the true ones
        true = parts.record(4).memory
        assert saved is not None and saved.index == 4
        assert all((saved.memory[name] == value).all() if name == "u" else True for name, value in true.items())
        path.write_bytes(good)
    assert told >= 1


def test_the_curve_of_an_unfinished_run_is_not_gone_on_from_once_edited(tmp_path: Path) -> None:
    home = written(tmp_path / "run", ended=False)
    edit_curve(home)
    with pytest.raises(FolderFault, match="was changed since step 4"):
        RunWriter.resume(home)


@pytest.mark.parametrize("text", ["", "step\n", "a,b\n1,2\n", "step,load_N\n1,x\n", "step,load_N\n1\n"])
def test_parsable_nonsense_in_the_curve_of_an_unfinished_run_is_a_fault(tmp_path: Path, text: str) -> None:
    home = written(tmp_path / "run", ended=False)
    (home / "curve.csv").write_text(text)
    run = Run(home)
    try:
        assert run.indices == ()
    except FolderFault as fault:
        assert "curve.csv" in str(fault)
