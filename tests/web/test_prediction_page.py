"""The page of a prediction and of a plan run: one file, nothing fetched, untrusted text harmless, numbers as recorded.

Runs are written by hand; the prediction is a made one. Escaping and data URIs: HTML Living Standard, RFC 2397.
"""

from __future__ import annotations

import csv
import re
import runpy
import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.contracts import FolderFault
from fesplice.post.expected import Expected, GaugeReading, OutOfBalance
from fesplice.post.mechanisms import Indicator, Mechanism, assess
from fesplice.post.prediction import Prediction
from fesplice.report.figures import Drawn
from fesplice.report.page import write_page
from fesplice.report.prediction_figures import Row, at_bar_stress, bracket
from fesplice.report.prediction_page import lead, prediction_page
from fesplice.report.view import View
from fesplice.report.within import is_prediction

UNIT = Path(__file__).parents[1] / "unit"
SIDE = runpy.run_path(str(UNIT / "report_data.py"))
PLAN = runpy.run_path(str(UNIT / "plan_data.py"))
MADE = runpy.run_path(str(UNIT / "prediction_data.py"))
LOOK = runpy.run_path(str(UNIT / "test_report.py"))
WEB = runpy.run_path(str(Path(__file__).with_name("test_page.py")))
EVIL = WEB["EVIL"]


def evil(text: str) -> str:
    return text.replace("for tests", EVIL.replace("\\", "\\\\").replace('"', '\\"'))


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("prediction") / "p"
    SIDE["write_run"](folder / "elevation", text=evil(SIDE["SPECIMEN"]))
    PLAN["write_plan"](folder / "plan-pass-1")
    PLAN["write_plan"](folder / "plan-pass-2")
    return MADE["write"](folder, MADE["made"]())


@pytest.fixture(scope="module")
def page(home):
    (home / "elevation" / "report.html").write_text("a page of its own", encoding="utf-8")
    return prediction_page(home, runs=False)


@pytest.fixture(scope="module")
def reader(page):
    return WEB["Reader"](page.read_text(encoding="utf-8"))


def words(reader) -> str:
    return re.sub(r"\s+", " ", " ".join(reader.text))


def test_it_is_one_file_that_fetches_nothing(page, reader):
    assert page.name == "prediction.html" and not reader.open and page.stat().st_size < 3_000_000
    pictures = reader.of("img")
    assert len(pictures) == 2 and all(p["src"].startswith("data:image/") and p["alt"] for p in pictures)
    assert not reader.of("script") and not reader.of("link") and not reader.of("iframe")
    links = [a["href"] for a in reader.of("a")]
    assert [link for link in links if not link.startswith("#")] == ["elevation/report.html"]
    ids = {attrs["id"] for _, attrs in reader.elements if "id" in attrs}
    assert {link[1:] for link in links if link.startswith("#")} <= ids


def test_texts_of_files_are_shown_not_run(page, reader):
    raw, shown = page.read_text(encoding="utf-8"), words(reader)
    assert "<script>alert" not in raw and "<i>stopped" not in raw and "measure <b>" not in raw
    assert re.sub(r"\s+", " ", EVIL) in shown
    assert "measure <b> 1.2 mm, limit 1 mm (made case), reached at 400 MPa (step 2)" in shown


def test_it_tells_what_the_prediction_holds(home, reader):
    found, shown = Prediction.read(home), words(reader)
    assert found.sentence in shown and "400 MPa" in found.sentence
    assert "{:.0f} to {:.0f} MPa".format(*found.band) in shown and found.band_text in shown
    for judged in (found.elevation, found.free, found.intact, found.coupled):
        assert judged is not None and judged.sentence in shown
        for state in judged.states:
            assert all(evidence.text in shown for evidence in state.evidence)
    assert "elevation cannot show this" in shown and "plan cannot show this" in shown
    assert "405 MPa 400 MPa −1.2 %" in shown and "The passes agreed" in shown
    assert "Stopped short: plan-free: <i>stopped</i>" in shown
    assert "neither a design check nor a safety system" in shown


def test_a_mechanism_never_reached_shows_its_utilisation_and_no_multiple_of_stress(reader):
    # the slip stands at 0.4 of its limit at every strength: whether and when it would come is not known
    assert words(reader).count("bearing of the hook 0.40 never – slip 0.4 mm at strength, limit 1 mm") == 4


def test_a_mechanism_that_came_before_tells_its_share_of_the_strength(tmp_path):
    """Splitting passes its limit half-way to the strength: 200 of 400 MPa."""
    stress = np.array([0.0, 0.5, 1.0, 0.8]) * 400.0
    measures = [
        Indicator(Mechanism.side_thrust, "crack", np.array([0.0, 0.2, 1.2, 3.0]), 1.0, "mm", "made case"),
        Indicator(Mechanism.bond_splitting, "loss", np.array([0.0, 1.1, 1.3, 1.3]), 1.0, "", "made case"),
        Indicator(Mechanism.yielding, "yield", np.array([0.0, 0.4, 0.8, 0.6]), 1.0, "", "made case", False),
    ]
    coupled = assess("plan", stress, 400.0 * stress, 2, 3, measures)
    home = MADE["write"](tmp_path, MADE["made"](coupled=coupled))
    SIDE["write_run"](home / "elevation")
    PLAN["write_plan"](home / "plan-pass-2")
    shown = words(WEB["Reader"](prediction_page(home, runs=False).read_text(encoding="utf-8")))
    assert "bond splitting before 1.30 200 MPa 0.50" in shown and "flexural yielding 0.80 never –" in shown
    assert "side thrust at the edge bars governs 1.20 400 MPa –" in shown


def test_what_a_test_would_show_stands_on_it(tmp_path):
    expected = Expected(
        110e3, 12.3, 60e3, 90e3, {"left": 0.5, "right": -0.01}, 66e3, (), (GaugeReading("A <b>", "x = 1", 1234.4,
        "microstrain"), GaugeReading("midspan", "soffit", 12.345, "mm")), (),
        (OutOfBalance("elevation", 7, 0.21, "its strength"),),
    )  # fmt: skip
    home = MADE["write"](tmp_path, MADE["made"](expected=expected))
    SIDE["write_run"](home / "elevation")
    PLAN["write_plan"](home / "plan-pass-2")
    shown = words(WEB["Reader"](prediction_page(home, runs=False).read_text(encoding="utf-8")))
    for line in (*expected.sentences, *(f"WARNING: {text}" for text in expected.warnings)):
        assert line in shown, line
    assert "A <b> x = 1 1234 microstrain" in shown and "midspan soffit 12.35 mm" in shown
    assert shown.index("WARNING: ") < shown.index("Before and after it")


def test_bracket_saves_every_reading(home, page):
    with (home / "figures" / "bracket.csv").open(newline="", encoding="utf-8") as file:
        rows = {r["reading"]: r for r in csv.DictReader(file)}
    got = {name: float(r["value_MPa"]) for name, r in rows.items() if name != "hand formulas"}
    assert list(got.values()) == [400.0, 500.0, 400.0, 210.0, 610.0]
    assert rows["elevation"]["lower_bound"] == "True" and rows["prediction"]["lower_bound"] == "False"
    hand = rows["hand formulas"]
    assert float(hand["low_MPa"]) <= float(hand["value_MPa"]) <= float(hand["high_MPa"])


def test_both_views_stand_at_the_common_bar_stress(home, page):
    """400 MPa: the elevation never has more than 360 MPa (its largest load), the plan has 420 at its strength."""
    with (home / "figures" / "both-views.csv").open(newline="", encoding="utf-8") as file:
        steps = {(r["view"], r["step"]) for r in csv.DictReader(file)}
    assert steps == {("elevation", "4"), ("plan", "2")}


def test_the_verb_remakes_it_from_the_folder(home, page, monkeypatch):
    before = page.read_bytes()
    page.unlink()
    monkeypatch.setattr(sys.modules["fesplice.report.prediction_page"], "report", lambda view, progress=None: None)
    said = CliRunner().invoke(app, ["pictures", str(home)])
    assert said.exit_code == 0 and "prediction.html" in said.output
    assert page.read_bytes() == before


def test_folders_without_a_prediction_are_refused(tmp_path):
    assert not is_prediction(tmp_path)
    with pytest.raises(FolderFault, match=r"prediction\.json: cannot be read"):
        prediction_page(tmp_path)


# ------------------------------------------------------------------ page of a plan run
def test_page_of_a_plan_run(tmp_path):
    run = PLAN["write_plan"](tmp_path / "r", text=evil(PLAN["TEXT"]))
    path = write_page(run, Drawn())
    shown = WEB["Reader"](path.read_text(encoding="utf-8"))
    told = words(shown)
    assert not shown.open and "<script>alert" not in path.read_text(encoding="utf-8")
    assert "Slab at bar level, in plan" in told and "400 kN (89.9 kip)" in told
    assert "T6a" in told and "6.00 ‰" in told and "a warning <for> people" in told
    assert "between A1 and B1" in told and "prying at the hooks" in told


def alone(folder, **changes):
    """The page of a prediction from the elevation alone."""
    SIDE["write_run"](folder / "elevation")
    changes = {"elevation": MADE["judged"]("elevation", 400.0, "prying")} | changes
    MADE["write"](folder, MADE["made"](free=None, intact=None, coupled=None, passes=(), **changes))
    return words(WEB["Reader"](prediction_page(folder, runs=False).read_text(encoding="utf-8")))


def test_bars_without_a_lap_have_one_view(tmp_path):
    shown = alone(tmp_path)
    assert "Bracket 400 to 400" not in shown
    assert "Prediction from elevation, computed" in shown and "Passes of the coupling" not in shown


def test_the_figure_of_both_views_knows_rows_of_bars_that_are_not_there(tmp_path):
    """Bars that run through are one row: the curve holds nothing of the other, the step is that of 180 MPa."""

    def lone(columns):
        return lambda *given: columns(*given) | {"bar_stress_B_MPa": float("nan")}

    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(SIDE["write_run"].__globals__, "columns", lone(SIDE["columns"]))
        run = SIDE["write_run"](tmp_path / "r")
    assert at_bar_stress(View(run), 180.0).step == 2


def test_words_behind_the_bars_stay_on_the_sheet(tmp_path):
    long = [
        Row("prediction", 618.0, 772.0, 927.0, False, "splitting of the side cover by the hooks", "answer"),
        Row("plan, plane that never gives way", 863.0, 863.0, 863.0, False, "nearest: flexural yielding", "view"),
    ]
    with pytest.MonkeyPatch.context() as patch:
        seen = LOOK["keeping"](patch)
        bracket(long, {"f$_y$": 725.0}, tmp_path)
    figure = seen["bracket"]
    for text in LOOK["visible"](figure):
        assert text in LOOK["beyond"](figure) or text.get_window_extent().x1 <= figure.bbox.x1 + 1.0, text.get_text()


def told(found: Prediction) -> dict[str, tuple[str, str]]:
    return {name: (value, remark) for name, value, remark in lead(found)}


def test_a_prediction_outside_its_bracket_says_so():
    assert "lies outside" not in told(MADE["made"]())["Bracket"][1]
    # with no plane the slab held more than the coupled one
    assert "lies outside" in told(MADE["made"](free=MADE["judged"]("plan", 450.0, "side_thrust")))["Bracket"][1]


def test_a_mechanism_without_a_drop_is_the_nearest_and_not_the_failure():
    found = told(MADE["made"]())
    assert found["What governs"] == ("side thrust at the edge bars", "in the plan")
    # the elevation never dropped, but its mechanism passed its limit: 500 / 400 MPa
    assert found["Next"] == ("prying at the hook", "in the elevation at 500 MPa, 1.25 times that")
    found = told(MADE["made"](coupled=MADE["judged"]("plan", 400.0, "side_thrust", dropped=False)))
    nearest = "no failure seen, the load never dropped (nearest: side thrust at the edge bars)"
    assert found["What governs"] == (nearest, "in the plan")
    assert found["Bar stress at failure"][0].startswith("at least 400 MPa")


def test_what_is_next_stands_beside_what_governs(home, reader):
    shown = words(reader)
    line = next(text for text in Prediction.read(home).around if text.startswith("next: "))
    assert shown.index(line) < shown.index("Bracket and band")


@pytest.mark.parametrize(("formula", "place"), [(350.0, "above"), (650.0, "below")])
def test_a_formula_that_gives_less_stands_at_the_top(tmp_path, formula, place):
    shown = alone(tmp_path, side_splitting=formula)
    at, caution = shown.index(f"hooks split the side cover at {formula:.0f} MPa"), shown.index("A research aid.")
    assert (at < caution) == (place == "above")


def test_the_formula_stands_in_the_bracket_and_is_not_the_answer(tmp_path):
    shown = alone(tmp_path, side_splitting=350.0)
    assert "A formula governs" not in shown and "it decides nothing" in shown
    with (tmp_path / "figures" / "bracket.csv").open(newline="", encoding="utf-8") as file:
        rows = {r["reading"]: r for r in csv.DictReader(file)}
    assert float(rows["side splitting, by formula"]["value_MPa"]) == 350.0
    assert float(rows["prediction"]["value_MPa"]) != 350.0
