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
from fesplice.store.folder import read_manifest, write_manifest

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


def test_a_curve_without_digest_and_without_steps_is_a_fault_of_its_file(tmp_path: Path) -> None:
    """Found by the campaign: a run of an earlier version whose curve lost a column."""
    home = written(tmp_path / "run", ended=True)
    write_manifest(home, read_manifest(home) | {"digests": {}})
    (home / "curve.csv").write_text((home / "curve.csv").read_text().replace("step", "x", 1))
    with pytest.raises(FolderFault, match="no column step"):
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


@pytest.mark.parametrize("change", [cut_curve, edit_curve, take_curve])
def test_the_curve_of_a_stopped_run_is_not_read_once_changed(tmp_path: Path, change: Callable[[Path], None]) -> None:
    home = written(tmp_path / "run", ended=False)
    assert Run(home).n_steps == 4
    change(home)
    with pytest.raises(FolderFault, match=r"curve\.csv"):
        Run(home).curve  # noqa: B018


def test_a_line_that_is_ahead_of_the_state_is_read(tmp_path: Path) -> None:
    """A kill between the line of a step and its state: the line counts for a reader, as it always did."""
    home, longer = written(tmp_path / "run", ended=False, steps=3), written(tmp_path / "longer", ended=False)
    for name in ("curve.csv", "steps/000004.h5"):
        (home / name).write_bytes((longer / name).read_bytes())
    run = Run(home)
    assert run.indices == (1, 2, 3, 4) and run.step(4).index == 4


def exchange(home: Path, other: Path) -> None:
    """Step 2 becomes another valid step 2, as that of another run would be."""
    with parts.begin(other) as writer:
        for step in (1, 2):
            changed = {"fields": {**parts.record(step).fields, "u": parts.record(step + 7).fields["u"]}}
            writer.accept(parts.record(step, **changed))
    (home / "steps" / "000002.h5").write_bytes((other / "steps" / "000002.h5").read_bytes())


def test_an_exchanged_step_of_a_stopped_run_is_neither_read_nor_gone_on_from(tmp_path: Path) -> None:
    home = written(tmp_path / "run", ended=False)
    exchange(home, tmp_path / "other")
    Run(home).step(1)
    with pytest.raises(FolderFault, match=r"000002\.h5.*exchanged"):
        Run(home).step(2)
    with pytest.raises(FolderFault, match=r"000002\.h5.*changed since"):
        RunWriter.resume(home)


def test_a_step_exchanged_while_the_run_goes_on_is_not_blessed_at_its_end(tmp_path: Path) -> None:
    home = tmp_path / "run"
    with parts.begin(home) as writer:
        for step in (1, 2, 3):
            writer.accept(parts.record(step))
        exchange(home, tmp_path / "other")
        writer.finish(Outcome.softened, {}, [])
    with pytest.raises(FolderFault, match=r"000002\.h5.*exchanged"):
        Run(home).step(2)


def without_digests(home: Path) -> Path:
    """The run as an earlier version would have left it."""
    path = home / "manifest.json"
    kept = {k: v for k, v in json.loads(path.read_text()).items() if k not in ("digest", "digests")}
    path.write_text(json.dumps(kept))
    return home


@pytest.mark.parametrize("change", [cut_curve, take_curve])
def test_the_curve_of_a_run_of_an_earlier_version_has_the_steps_it_ended_with(
    tmp_path: Path, change: Callable[[Path], None]
) -> None:
    home = without_digests(written(tmp_path / "run", ended=True))
    assert Run(home).n_steps == 4
    change(home)
    with pytest.raises(FolderFault, match="of the 4 steps this run ended with"):
        Run(home).curve  # noqa: B018


ODD = {
    "twice": lambda rows: [*rows[:3], rows[2], *rows[4:]],
    "backwards": lambda rows: [rows[0], *rows[:0:-1]],
    "a half step": lambda rows: [*rows[:2], "2.5" + rows[2][1:], *rows[3:]],
    "no step": lambda rows: [*rows[:2], rows[2][1:], *rows[3:]],
    "text for a load": lambda rows: [*rows[:2], "2,x," + rows[2].split(",", 2)[2], *rows[3:]],
    "text for a deflection": lambda rows: [*rows[:2], ",".join([*rows[2].split(",")[:2], "x", "converged"]), *rows[3:]],
}


@pytest.mark.parametrize("what", ODD)
def test_odd_rows_in_a_curve_without_digests_are_a_fault(tmp_path: Path, what: str) -> None:
    home = without_digests(written(tmp_path / "run", ended=True))
    rows = (home / "curve.csv").read_text().splitlines()
    (home / "curve.csv").write_text("\n".join(ODD[what](rows)) + "\n")
    with pytest.raises(FolderFault, match=r"curve\.csv: is damaged"):
        Run(home).curve  # noqa: B018


def test_a_column_or_a_field_that_is_not_there_is_a_fault_and_can_be_asked_for(tmp_path: Path) -> None:
    home = without_digests(written(tmp_path / "run", ended=True))
    run = Run(home)
    assert "moment" not in run.curve and run.curve.get("moment") is None
    assert "bond/tau" not in run.step(1).fields and run.step(1).fields.get("bond/tau") is None
    with pytest.raises(FolderFault, match=r"curve\.csv: is damaged: no column moment"):
        run.curve["moment"]
    with pytest.raises(FolderFault, match=r"000001\.h5: does not hold bond/tau") as fault:
        run.step(1).fields["bond/tau"]
    assert fault.value.exit_code == 2


@pytest.mark.parametrize("key", ["summary", "warnings", "steps", "versions", "created"])
def test_a_manifest_of_an_earlier_version_with_an_odd_part_is_a_fault(tmp_path: Path, key: str) -> None:
    home = without_digests(written(tmp_path / "run", ended=True))
    path = home / "manifest.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {key: None}))
    with pytest.raises(FolderFault, match=rf"manifest\.json: is damaged: {key} is not a"):
        Run(home)


@pytest.mark.parametrize("name", [None, 5, []])
def test_a_name_that_is_no_text_is_a_fault(tmp_path: Path, name: object) -> None:
    home = without_digests(written(tmp_path / "run", ended=True))
    path = home / "manifest.json"
    kept = json.loads(path.read_text())
    kept["specimen"]["name"] = name
    path.write_text(json.dumps(kept))
    with pytest.raises(FolderFault, match=r"manifest\.json: is damaged: specimen\.name is not text"):
        Run(home).specimen_name  # noqa: B018
