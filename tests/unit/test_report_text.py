"""Findings in plain text: units on every number, and nothing claimed that the run did not show.

The runs are written by hand (``report_data``); what must stand in the text follows from what was put in.
"""

from __future__ import annotations

import runpy
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from fesplice.contracts import Outcome
from fesplice.pipeline.manifest import warnings
from fesplice.report.elevation.beam import beam_of
from fesplice.report.text import summary_text
from fesplice.report.view import View
from fesplice.specimen import read, vary

DATA = runpy.run_path(str(Path(__file__).with_name("report_data.py")))
MODELS = Path(__file__).parents[2] / "models"
RISING = (0.0, 50e3, 90e3)


def row(run, name: str) -> str:
    return next(line for line in summary_text(run).splitlines() if line.startswith(name))


def test_a_peak_is_called_a_peak_only_when_the_load_fell_after_it(tmp_path):
    fell = DATA["write_run"](tmp_path / "a")
    assert "132 kN" in row(fell, "peak load") and "may lie higher" not in row(fell, "peak load")
    rising = DATA["write_run"](tmp_path / "b", loads=RISING, outcome=Outcome.step_limit)
    assert "may lie higher" in row(rising, "peak load")
    stages = [s.title for s in beam_of(View(rising)).stages()]
    assert stages == ["Service, 50 kN, 180 MPa", "Largest so far, 90 kN, 360 MPa"]


def test_no_crack_is_said_in_whole_words(tmp_path):
    def sound(mesh, values, share):
        for name in values:
            if name.endswith(("/crack", "/strain")):
                values[name][...] = 0.0

    run = DATA["write_run"](tmp_path / "a", loads=RISING, change=sound)
    assert row(run, "first crack").endswith("none yet")

    def hairline(mesh, values, share):
        for name in values:
            if name.endswith("/crack"):
                values[name][..., 0] *= 0.1

    run = DATA["write_run"](tmp_path / "b", change=hairline)
    assert row(run, "first crack").endswith("none wider than 0.05 mm")


def test_a_joint_closed_at_the_face_but_open_above_is_told_so(tmp_path):
    # opening of 2.4 mm times the share of the load, only in the upper integration point of one element
    def above(mesh, values, share):
        for name, group in mesh.of_kind("joint").items():
            values[f"{name}/opening"][...] = -0.001
            middle = int(np.argmin(np.abs(mesh.points[group.cells[:, 0], 1] - 240.0)))
            values[f"{name}/opening"][middle] = 2.4 * share

    told = row(DATA["write_run"](tmp_path / "a", change=above), "joints at the peak")
    assert "widest 2.40 mm at y = 2" in told and "-0.00" not in told


def test_bars_without_hooks_have_no_hook_in_the_text(tmp_path):
    text = DATA["SPECIMEN"].replace('"hooked"', '"straight"')
    told = row(DATA["write_run"](tmp_path / "a", text=text), "prying tie A")
    assert "at the bar end" in told and "hook" not in told


def test_service_is_a_share_of_the_strength_and_the_first_loss_of_bond_a_stage_beside_it(tmp_path):
    # half of a lead is past its bond peak at 110 kN; 0.6 of the strength of 132 kN is 79 kN
    def fading(mesh, values, share):
        for name in mesh.of_kind("bond"):
            late = share >= 0.75
            values[f"{name}/slip"][:] = 2.0 * share
            values[f"{name}/tau"][:] = 0.1 if late else 5.0 * share

    run = DATA["write_run"](tmp_path / "a", change=fading)
    stages = [(s.name, s.load) for s in beam_of(View(run)).stages()]
    assert stages == [("service", 80e3), ("first loss", 110e3), ("strength", 132e3)]


@pytest.mark.parametrize(("model", "says"), [("x", "hook B leans on the transverse bar"), ("t3", "splitting strength")])
def test_what_the_elevation_cannot_see_is_a_note(model, says):
    assert any(says in text for text in warnings(read(MODELS / f"as29-100-{model}.toml")))


def test_a_mesh_too_coarse_for_strengths_is_a_note():
    s = read(MODELS / "as29-100-u.toml")
    assert not any("too coarse" in text for text in warnings(s))
    assert any("too coarse" in text for text in warnings(vary(s, "mesh.splice", "36 mm")))


def test_an_output_that_takes_no_text_is_one_message(tmp_path):
    DATA["write_run"](tmp_path / "a")
    with Path("/dev/full").open("w") as full:
        command = [sys.executable, "-m", "fesplice", "summary", str(tmp_path / "a")]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, timeout=120)
    assert done.returncode == 2 and done.stderr.startswith("fesplice: cannot write") and "Traceback" not in done.stderr


def test_notes_stand_in_the_summary_and_estimates_do_not(tmp_path):
    run = DATA["write_run"](tmp_path / "a")
    assert "a warning <for> people" in row(run, "note")
