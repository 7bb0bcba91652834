"""Readings of ties from the plan of a prediction, on the sheet of the test day.

Runs written by hand: at the strength the bars have 420 MPa and the ties of place k a strain of k permille, both in
proportion before; the elevation has 360 MPa at 132 kN, in proportion to the number of the step. Interpolation by hand.
"""

from __future__ import annotations

import re
import runpy
import sys
from pathlib import Path

import pytest

from fesplice.cli import main
from fesplice.contracts import InputFault
from fesplice.post.plan.gauges import read_ties
from fesplice.post.prediction import Pass
from fesplice.report.sheet import sheet
from fesplice.sizing import check
from fesplice.sizing.testday import test_day as plan_day
from fesplice.specimen import read_text
from fesplice.store.steps import QUANTA

SIDE = runpy.run_path(str(Path(__file__).with_name("report_data.py")))
PLAN = runpy.run_path(str(Path(__file__).with_name("plan_data.py")))
MADE = runpy.run_path(str(Path(__file__).with_name("prediction_data.py")))


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheet") / "p"
    SIDE["write_run"](folder / "elevation", text=PLAN["TEXT"])
    PLAN["write_plan"](folder / "plan-pass-1")
    found = MADE["made"](
        coupled=MADE["judged"]("plan", 420.0, "side_thrust"), passes=(Pass(400.0, 420.0, True),), load=96e3
    )
    MADE["write"](folder, found)
    return folder


@pytest.fixture(scope="module")
def runs(home):
    from fesplice.report.prediction_page import runs_of

    return runs_of(home)


def test_ties_are_read_at_the_bar_stress_of_the_load(runs) -> None:
    """132 kN is 360 MPa, 360/420 of the plan's strength; 40 kN is a quarter of that. The hardest are places 5 and 6."""
    seen = read_ties(*runs, (40e3, 132e3))
    assert [g.line[:2] for g in seen.gauges] == ["T5", "T6"]
    for gauge, place in zip(seen.gauges, (5, 6)):
        full = place * PLAN["STRAIN"] * 360.0 / 420.0
        assert list(gauge.strain) == pytest.approx([0.25 * full, full], rel=1e-3)
    assert seen.reached == pytest.approx(420.0, rel=1e-6) and list(seen.wanted) == pytest.approx([90.0, 360.0])


def test_beyond_the_strength_of_the_plan_it_is_read_there(runs, tmp_path) -> None:
    """A plan that drops at half of its largest load, 210 MPa: there its ties have half of their strains."""
    weak = PLAN["write_plan"](tmp_path / "weak", loads=(0.0, 200e3, 100e3, 400e3))
    seen = read_ties(runs[0], weak, (40e3, 132e3))
    assert seen.reached == pytest.approx(210.0, rel=1e-6)
    assert seen.gauges[-1].strain[1] == pytest.approx(0.5 * 6.0 * PLAN["STRAIN"], abs=0.5 * QUANTA["strain"])
    s = read_text(PLAN["TEXT"], "test")
    day = plan_day(s, check(s))
    page = sheet(s, check(s), day, runs[0], weak)
    (last,) = (r for r in page.gauges.rows if r[1].startswith("T6"))
    assert [cell.endswith("**") for cell in last[3:6]] == [True, True, True] and last[5] == "3000**"
    assert "** beyond its strength of 210 MPa" in page.gauges.note


def test_the_sheet_has_a_row_for_each(runs) -> None:
    s = read_text(PLAN["TEXT"], "test")
    day = plan_day(s, check(s))
    page = sheet(s, check(s), day, *runs)
    rows = [r for r in page.gauges.rows if "in plan" in r[1]]
    assert [r[0] for r in rows] == ["G11", "G12"] and "in the plan at the bar stress" in page.gauges.note
    assert "Gauge two or three ties" not in page.gauges.note
    assert "Gauge two or three ties" in sheet(s, check(s), day, runs[0]).gauges.note


def test_planes_are_not_mixed_up(runs) -> None:
    s = read_text(PLAN["TEXT"], "test")
    with pytest.raises(InputFault, match="is a run of the plan; a sheet takes"):
        sheet(s, check(s), plan_day(s, check(s)), runs[1])


def test_the_verb_takes_a_prediction(home, tmp_path, monkeypatch, capsys) -> None:
    model = tmp_path / "s.toml"
    model.write_text(PLAN["TEXT"], encoding="utf-8")
    target = tmp_path / "s.html"
    command = ["fesplice", "sheet", str(model), "--run", str(home), "--out", str(target)]
    monkeypatch.setattr(sys, "argv", command)
    try:
        main()
    except SystemExit as leaving:
        assert not leaving.code
    assert str(target) in capsys.readouterr().out
    assert "readings from" in target.read_text(encoding="utf-8")
    assert re.search(r"predicted from both views.*?96 kN.*?420 MPa", target.read_text(encoding="utf-8"), re.S)
