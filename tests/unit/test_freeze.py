"""A frozen folder says whether a byte changed.

Reference value: SHA-256 of "abc" as printed in FIPS 180-4 (Secure Hash Standard), example B.1.
"""

from __future__ import annotations

import json
import os
import stat
from pathlib import Path

import pytest

from fesplice.contracts import FolderFault
from fesplice.pipeline.freeze import letter
from fesplice.store.folder import FROZEN, refuse_frozen
from fesplice.store.freeze import Frozen, freeze, read_frozen, verify

ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def home(tmp_path: Path) -> Path:
    folder = tmp_path / "prediction"
    (folder / "elevation").mkdir(parents=True)
    (folder / "a.txt").write_bytes(b"abc")
    (folder / "elevation" / "curve.csv").write_bytes(b"step,load_N\n0,0\n")
    (folder / "lock").write_bytes(b"fesplice lock, process 1\n")
    return folder


def test_every_file_stands_in_the_record_with_its_digest(home: Path) -> None:
    found = freeze(home, {"specimen": "X"})
    assert found.files["a.txt"] == ABC
    assert set(found.files) == {"a.txt", "elevation/curve.csv"}
    back = read_frozen(home)
    assert (back.digest, back.files, back.about, back.time) == (found.digest, found.files, found.about, found.time)
    assert verify(home).held


def test_one_changed_byte_a_missing_and_an_added_file_are_told(home: Path) -> None:
    freeze(home, {})
    for path in (home, home / "elevation", *home.rglob("*")):
        os.chmod(path, 0o755)
    (home / "a.txt").write_bytes(b"abd")
    (home / "elevation" / "curve.csv").unlink()
    (home / "elevation" / "new.csv").write_bytes(b"")
    seen = verify(home)
    assert not seen.held
    assert (seen.changed, seen.missing, seen.added) == (("a.txt",), ("elevation/curve.csv",), ("elevation/new.csv",))


def test_a_record_that_was_edited_is_not_believed(home: Path) -> None:
    freeze(home, {"sentence": "441 MPa"})
    os.chmod(home, 0o755)
    os.chmod(home / FROZEN, 0o644)
    kept = json.loads((home / FROZEN).read_text())
    kept["about"]["sentence"] = "450 MPa"
    (home / FROZEN).write_text(json.dumps(kept))
    with pytest.raises(FolderFault, match="was changed"):
        verify(home)


NONSENSE = ["", "[]", "{}", '{"edition": 1}', '{"edition": 1, "files": 3, "time": 1, "about": {}}']


@pytest.mark.parametrize("text", NONSENSE)
def test_nonsense_in_the_record_is_a_fault_of_the_folder(home: Path, text: str) -> None:
    (home / FROZEN).write_text(text)
    with pytest.raises(FolderFault, match="frozen.json"):
        verify(home)


def test_nothing_is_frozen_twice_or_written_into(home: Path) -> None:
    freeze(home, {})
    with pytest.raises(FolderFault, match="frozen already"):
        freeze(home, {})
    for place in (home, home / "elevation", home / "elevation" / "figures"):
        with pytest.raises(FolderFault, match="is frozen"):
            refuse_frozen(place)
    refuse_frozen(home.parent)
    assert not any(p.stat().st_mode & stat.S_IWUSR for p in (home, home / "a.txt", home / "elevation"))


def test_a_folder_without_a_record_or_files_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FolderFault, match="is not frozen"):
        verify(tmp_path)
    with pytest.raises(FolderFault, match="no file"):
        freeze(tmp_path, {})


def test_the_line_for_a_letter_tells_time_version_and_digest() -> None:
    about = {"specimen": "S", "sentence": "fails", "version": "1.2"}
    frozen = Frozen("x", "2026-11-28T08:48:31+00:00", about, {}, "ab")
    assert letter(frozen) == "S: fails; frozen 2026-11-28 08:48:31 UTC, fesplice 1.2, 0 files, SHA-256 ab"
