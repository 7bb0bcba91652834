"""A study ends with the exit code of its worst case, guards the columns of its table, and tells what it waits for."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.cli.study import _planning, exit_code
from fesplice.contracts import InputFault
from fesplice.specimen import read
from fesplice.study import cases, read_study, run_study
from fesplice.study.columns import COLUMNS, HAND, QUANTITIES
from fesplice.study.hand import hand_values, quantities
from fesplice.study.schedule import SCRATCH, _look_for_workers, _scratch

MODELS = Path(__file__).resolve().parents[2] / "models"
BASE = MODELS / "plain" / "cracked-section.toml"


def study(folder: Path, name: str = "depths", more: str = "", depths: str = '"380 mm", "385 mm"') -> Path:
    path = folder / "study.toml"
    path.write_text(
        f'base = "{BASE}"\nviews = "elevation"\n[[lists]]\nname = {name!r}\nlabels = ["a", "b"]\n[lists.keys]\n'
        f'"bars.left.depth" = [{depths}]\n{more}'
    )
    return path


def test_the_guarded_names_are_those_of_the_table() -> None:
    s = read(MODELS / "as29-100-u.toml")
    assert tuple(quantities(s)) == QUANTITIES and tuple(hand_values(s)) == HAND


@pytest.mark.parametrize("name", [*COLUMNS, "Number", "STATE", "elevation_peak_kN", "Plan_mode"])
def test_a_list_may_not_take_the_name_of_a_column(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputFault, match=r"lists\.name"):
        read_study(study(tmp_path, name))


def test_two_lists_of_one_name_are_refused(tmp_path: Path) -> None:
    more = '[[lists]]\nname = "Depths"\nlabels = ["c", "d"]\n[lists.keys]\n"bars.left.number" = [3, 4]\n'
    with pytest.raises(InputFault, match="the name of other lists"):
        read_study(study(tmp_path, more=more))
    assert len(cases(read_study(study(tmp_path)))) == 2


@pytest.mark.parametrize(("states", "code"), [
    (["done", "done"], 0), (["done", "dropped"], 0), (["done", "stopped"], 3), (["stopped", "lost"], 4),
    (["done", "failed"], 4), (["waiting"], 4),
])  # fmt: skip
def test_the_exit_code_is_that_of_the_worst_case(states: list[str], code: int) -> None:
    assert exit_code(states) == code


def test_a_study_with_a_failed_case_does_not_end_with_0(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(text: str, folder: str, views: list[str]) -> dict[str, Any]:
        return {view: {"state": "failed", "reason": "no disk"} for view in views}

    monkeypatch.setitem(run_study.__kwdefaults__ or {}, "task", fails)
    words = ["study", "run", str(study(tmp_path)), "--workers", "0", "--out", str(tmp_path / "out")]
    shown = CliRunner().invoke(app, words)
    assert shown.exit_code == 4 and "2 cases: 2 failed" in shown.stdout


@pytest.mark.parametrize("words", [["plan"], ["run", "--workers", "0"]])
def test_nothing_to_compute_is_a_fault_of_the_study(tmp_path: Path, words: list[str]) -> None:
    file = study(tmp_path, depths='"2000 mm", "2100 mm"')
    target = ["--out", str(tmp_path / "out")] if words[0] == "run" else []
    shown = CliRunner().invoke(app, ["study", words[0], str(file), *words[1:], *target])
    assert isinstance(shown.exception, InputFault) and "no case can be built" in str(shown.exception)
    assert not (tmp_path / "out").exists()


def test_planning_is_told_case_by_case(tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    cases(read_study(study(tmp_path)), lambda *now: told.append(now))
    assert told == [(1, 2), (2, 2)]


@pytest.mark.parametrize("there", [True, False])
def test_a_scheduler_without_workers_is_told_within_ten_seconds(there: bool) -> None:
    class Client:
        def wait_for_workers(self, number: int, timeout: float) -> None:
            assert number == 1 and timeout < 10.0
            if not there:
                raise TimeoutError

    told: list[str] = []
    tell: Callable[[str], None] = told.append
    _look_for_workers(Client(), "tcp://127.0.0.1:1", tell)
    assert bool(told) is not there and all("has no workers" in text for text in told)


def test_a_true_scheduler_without_workers_is_told_within_ten_seconds() -> None:
    from distributed import Client, LocalCluster

    told: list[str] = []
    with LocalCluster(n_workers=0, processes=False, dashboard_address=None) as cluster, Client(cluster) as client:
        begun = time.monotonic()
        _look_for_workers(client, cluster.scheduler_address, told.append)
        assert time.monotonic() - begun < 10.0
    assert len(told) == 1 and "has no workers" in told[0]


def test_planning_that_takes_long_is_told_every_two_seconds_and_short_planning_not(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    clock = [0.0]
    monkeypatch.setattr("fesplice.cli.study.time.monotonic", lambda: clock[0])
    tell = _planning()
    for done in range(1, 101):
        clock[0] += 0.0625
        tell(done, 100)
    assert capsys.readouterr().err.splitlines() == ["planning: 33 of 100", "planning: 66 of 100", "planning: 99 of 100"]


def test_what_a_killed_runner_left_behind_is_removed_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    alive, other = tmp_path / f"{SCRATCH}{os.getpid()}-x", tmp_path / f"{SCRATCH}notes"
    gone = tmp_path / f"{SCRATCH}4194305-x"  # above the largest process number of Linux (2^22)
    for folder in (alive, other, gone):
        folder.mkdir()
    link = tmp_path / f"{SCRATCH}4194306-x"
    link.symlink_to(other)
    with _scratch() as scratch:
        assert Path(scratch).stat().st_mode & 0o077 == 0
        assert alive.is_dir() and other.is_dir() and link.is_symlink() and not gone.exists()
    assert not Path(scratch).exists()
