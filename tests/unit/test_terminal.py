"""What the terminal says while computing: a line that fits, time left, nothing, a file; and findings as JSON.

80 columns is the width of a terminal by custom (common practice, no source). The measure of the time left are steps
whose cost is known.
"""

from __future__ import annotations

import json
import runpy
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from typer.testing import CliRunner

from fesplice import findings
from fesplice.cli import app, console
from fesplice.pipeline import progress
from fesplice.pipeline.progress import BEAM_EFFORT, SLAB_EFFORT, seconds_left
from fesplice.post.record import as_stored
from fesplice.store import Run

EFFORT = {"elevation": BEAM_EFFORT, "plan": SLAB_EFFORT}

MADE = runpy.run_path(str(Path(__file__).with_name("prediction_data.py")))
FILE = Path(__file__).parents[2] / "models" / "as29-100-u.toml"


def now(left: float | None = 4000.0):
    step = SimpleNamespace(index=1234, iterations=99, residual=1.2e-4)
    seen = {"load": 12_345_678.0, "deflection": 123.45, "bar_stress": 1234.0, "per": "per side"}
    return SimpleNamespace(step=step, left=left, **seen)


@pytest.mark.parametrize("run", ["", "elevation", "plan-intact", "plan-pass-9"])
def test_the_live_line_fits_eighty_columns_with_the_clock(run: str) -> None:
    line = progress.live_line(now(), run)
    assert len(line) + len(" 0:00:00") <= 80, line
    assert "12345.7 kN" in line and "1234 MPa" in line and "at most 67 min left" in line


@pytest.mark.parametrize(
    ("seconds", "said"), [(0.2, "1 s"), (7.4, "7 s"), (43.0, "40 s"), (300.0, "5 min"), (7300.0, "2.0 h")]
)
def test_time_is_said_as_one_says_it(seconds: float, said: str) -> None:
    assert f"at most {said} left" in progress.full_line(now(seconds), "")


@pytest.mark.parametrize("view", sorted(EFFORT))
def test_time_left_is_right_for_work_as_it_is_spread(view: str) -> None:
    """Work spread as assumed: the guess is exact from the second percent of the movement to the end."""
    shares = lambda at: float(np.interp(at, *EFFORT[view]))  # noqa: E731
    for at in (0.02, 0.1, 0.2, 0.5, 0.9, 0.99):
        left = seconds_left(EFFORT[view], 100.0 * shares(at), 0.0, 50.0 * at, 50.0)
        assert left == pytest.approx(100.0 * (1.0 - shares(at)), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("view", sorted(EFFORT))
def test_a_run_taken_up_again_counts_its_own_time(view: str) -> None:
    """Half of the movement was there before: the rest is judged by what was done since."""
    before, here = (float(np.interp(at, *EFFORT[view])) for at in (0.5, 0.75))
    left = seconds_left(EFFORT[view], 10.0 * (here - before), 25.0, 37.5, 50.0)
    assert left == pytest.approx(10.0 * (1.0 - here))


@pytest.mark.parametrize(("first", "reached"), [(0.0, 0.0), (0.0, 0.5), (0.0, 50.0), (0.0, 60.0)])
def test_nothing_is_said_where_nothing_is_known(first: float, reached: float) -> None:
    assert seconds_left(BEAM_EFFORT, 10.0, first, reached, 50.0) is None


def test_quiet_says_nothing_and_a_log_keeps_every_step(tmp_path: Path, capsys) -> None:
    log = tmp_path / "steps.log"
    for _ in range(2):
        with console.Watch(quiet=True, log=log) as watch:
            watch(now(), "plan-free")
            watch(None, "elevation")
    assert log.read_text() == 2 * (progress.full_line(now(), "plan-free") + "\n")
    told = capsys.readouterr()
    assert told.out == "" and told.err == ""


def test_a_log_that_cannot_be_is_told_before_anything_is_computed(tmp_path: Path) -> None:
    home = tmp_path / "run"
    said = CliRunner().invoke(app, ["analyse", str(FILE), "--out", str(home), "--log", str(tmp_path / "no" / "x.log")])
    assert isinstance(said.exception, Exception) and "cannot be written" in str(said.exception)
    assert said.exception.exit_code == 2 and not home.exists()


def test_json_of_a_run_is_what_python_says(tmp_path: Path) -> None:
    run = Run(MADE["SIDE"]["write_run"](tmp_path / "r", kept=True).folder)
    said = CliRunner().invoke(app, ["summary", str(run.folder), "--json", str(tmp_path / "r.json")])
    assert said.exit_code == 0 and "JSON: " in said.output
    tree = json.loads((tmp_path / "r.json").read_text())
    assert tree.pop("specimen") == run.specimen_name and tree.pop("outcome") == run.outcome.name
    assert tree == json.loads(json.dumps(as_stored(findings(run))))


def test_json_of_a_prediction_is_its_record(tmp_path: Path) -> None:
    home = MADE["write"](tmp_path / "p", MADE["made"]())
    said = CliRunner().invoke(app, ["summary", str(home), "--json", str(tmp_path / "p.json")])
    assert said.exit_code == 0
    assert json.loads((tmp_path / "p.json").read_text()) == json.loads((home / "prediction.json").read_text())
