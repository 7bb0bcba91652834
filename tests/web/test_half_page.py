"""The page of a run that is half of a prediction: what it says at its head, where it links, what its curve marks.

The prediction is a made one: the coupled plan governs at 400 MPa and 110 kN per ram, the elevation carries 132 kN.
"""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

from fesplice.report import draw
from fesplice.report.elevation.beam import beam_of
from fesplice.report.figures import Drawn
from fesplice.report.page import write_page
from fesplice.report.plan.slab import slab_of
from fesplice.report.view import View
from fesplice.report.within import within
from fesplice.store import Run

UNIT = Path(__file__).parents[1] / "unit"
SIDE = runpy.run_path(str(UNIT / "report_data.py"))
PLAN = runpy.run_path(str(UNIT / "plan_data.py"))
MADE = runpy.run_path(str(UNIT / "prediction_data.py"))
LOOK = runpy.run_path(str(UNIT / "test_report.py"))
WEB = runpy.run_path(str(Path(__file__).with_name("test_page.py")))


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("prediction") / "p"
    SIDE["write_run"](folder / "elevation")
    PLAN["write_plan"](folder / "plan-pass-2")
    return MADE["write"](folder, MADE["made"]())


def read(path: Path):
    reader = WEB["Reader"](path.read_text(encoding="utf-8"))
    return reader, re.sub(r"\s+", " ", " ".join(reader.text))


@pytest.mark.parametrize(("name", "other"), [("elevation", "plan-pass-2"), ("plan-pass-2", "elevation")])
def test_each_half_says_so_at_its_head_and_links_to_the_other_and_the_whole(home, name, other):
    reader, shown = read(write_page(View(Run(home / name)), Drawn()))
    links = [a["href"] for a in reader.of("a") if not a["href"].startswith("#")]
    assert links == ["../prediction.html", f"../{other}/report.html"]
    head = shown[: shown.index("A research aid")]
    assert "This is half of the answer" in head and MADE["made"]().sentence in head


def test_a_run_by_itself_has_no_whole_and_links_nowhere(tmp_path):
    run = SIDE["write_run"](tmp_path / "r")
    reader, shown = read(write_page(View(run), Drawn()))
    assert within(View(run)) is None and "Half of the answer" in shown
    assert all(a["href"].startswith("#") for a in reader.of("a"))


def test_a_record_that_cannot_be_read_is_no_whole(tmp_path):
    run = SIDE["write_run"](tmp_path / "p" / "elevation")
    (tmp_path / "p" / "prediction.json").write_text("{", encoding="utf-8")
    assert within(View(run)) is None


def test_the_elevation_is_shown_to_the_predicted_failure_and_not_to_what_it_holds_alone(home):
    # 0.6 of 110 kN is 66 kN: of the steps with 40 and 80 kN the latter is nearer
    stages = [(s.name, s.load) for s in beam_of(View(Run(home / "elevation"))).stages()]
    assert stages == [("service", 80e3), ("predicted", 110e3)]


def test_the_plan_that_governs_is_shown_at_its_own_strength(tmp_path):
    found = MADE["made"](coupled=MADE["judged"]("plan", PLAN["BAR"], "side_thrust"))
    run = PLAN["write_plan"](MADE["write"](tmp_path / "p", found) / "plan-pass-2")
    assert [s.name for s in slab_of(View(run)).stages()][-1] == "strength"


def test_the_curve_marks_the_predicted_failure_on_it(home, tmp_path):
    with pytest.MonkeyPatch.context() as patch:
        seen = LOOK["keeping"](patch)
        draw(Run(home / "elevation"), tmp_path, names=["load-deflection"])
    lines = {line.get_label(): line.get_xydata() for line in seen["load-deflection"].axes[0].get_lines()}
    # the fourth step of the run carries 110 kN, at 2 x 3 + 0.2 mm
    assert lines["predicted failure, 110 kN, 400 MPa"].tolist() == [[pytest.approx(6.2), pytest.approx(110.0)]]
    assert "this view alone, 132 kN, 360 MPa" in lines
