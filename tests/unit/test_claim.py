"""Files that this program did not write are never replaced; what it wrote is told by the mark in the folder."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from fesplice.contracts import FolderFault
from fesplice.store.folder import MARK, claim, put_whole
from fesplice.study import run_study
from fesplice.study.description import Resources


def contents(home: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in home.iterdir() if p.is_file()}


@pytest.mark.parametrize("kind", ["prediction", "study"])
@pytest.mark.parametrize("name", ["specimen.toml", "results.csv", "study.json", "lock", "prediction.json"])
def test_a_folder_with_a_file_of_somebody_is_refused_untouched(tmp_path: Path, kind: str, name: str) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(FolderFault, match="nothing was written") as fault:
        claim(tmp_path, kind)
    assert name in str(fault.value) and fault.value.exit_code == 2
    assert contents(tmp_path) == {name: b"mine"}


def test_absent_empty_and_own_folders_are_claimed_for_one_kind_alone(tmp_path: Path) -> None:
    home = tmp_path / "new" / "home"
    claim(home, "study")
    claim(home, "study")
    with pytest.raises(FolderFault, match="is the folder of a study"):
        claim(home, "prediction")


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"kind": 1}', "\x00"])
def test_a_damaged_mark_is_a_fault_of_the_folder(tmp_path: Path, text: str) -> None:
    (tmp_path / MARK).write_text(text)
    with pytest.raises(FolderFault, match="is damaged"):
        claim(tmp_path, "study")


def test_a_kill_before_the_mark_stood_does_not_lock_the_folder(tmp_path: Path) -> None:
    (tmp_path / f"{MARK}.partial").write_bytes(b'{"ki')
    claim(tmp_path, "prediction")


def test_a_single_file_is_replaced_only_where_it_is_ours(tmp_path: Path) -> None:
    file = tmp_path / "drawings" / "a.csv"
    put_whole(file, b"1")
    put_whole(file, b"2")
    assert file.read_bytes() == b"2"
    other = tmp_path / "drawings" / "b.csv"
    other.write_bytes(b"mine")
    with pytest.raises(FolderFault, match="was not written by this program"):
        put_whole(other, b"3")
    assert other.read_bytes() == b"mine"
    assert json.loads((tmp_path / "drawings" / MARK).read_text())["files"] == ["a.csv"]


def test_a_marked_folder_takes_files_at_any_depth(tmp_path: Path) -> None:
    claim(tmp_path / "home", "study")
    put_whole(tmp_path / "home" / "figures" / "a.png", b"1")
    put_whole(tmp_path / "home" / "figures" / "a.png", b"2")
    assert not (tmp_path / "home" / "figures" / MARK).exists()


def test_a_study_refuses_a_folder_of_somebody(tmp_path: Path) -> None:
    base = Path(__file__).resolve().parents[2] / "models" / "as29-100-u.toml"
    home = tmp_path / "mine"
    home.mkdir()
    (home / "results.csv").write_text("my results")
    file = tmp_path / "study.toml"
    file.write_text(f'name = "x"\nbase = "{os.fspath(base)}"\nviews = "elevation"\n[grid]\n"bars.lap" = ["440 mm"]\n')
    with pytest.raises(FolderFault, match="nothing was written"):
        run_study(file, home, resources=Resources(workers=0))
    assert contents(home) == {"results.csv": b"my results"}
