"""The page of a prediction and of a plan run: one file, nothing fetched, untrusted text harmless, numbers as recorded.

Runs are written by hand; the record is a made one. Escaping and data URIs: HTML Living Standard, RFC 2397.
"""

from __future__ import annotations

import csv
import json
import re
import runpy
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.contracts import FolderFault
from fesplice.post.mechanisms import Reading, Sign, read_plane
from fesplice.post.prediction import Pass, Prediction
from fesplice.report.figures import Drawn
from fesplice.report.page import write_page
from fesplice.report.prediction_page import is_prediction, prediction_page

UNIT = Path(__file__).parents[1] / "unit"
SIDE = runpy.run_path(str(UNIT / "report_data.py"))
PLAN = runpy.run_path(str(UNIT / "plan_data.py"))
WEB = runpy.run_path(str(Path(__file__).with_name("test_page.py")))
EVIL = WEB["EVIL"]


def evil(text: str) -> str:
    return text.replace("for tests", EVIL.replace("\\", "\\\\").replace('"', '\\"'))


def reading(plane: str, strength: float, mechanism: str, sure: bool = True) -> Reading:
    stress = np.array([0.0, 0.5, 1.0, 0.8]) * strength
    signs = [
        Sign(mechanism, "measure <b>", np.array([0.0, 0.2, 1.2, 3.0]), 1.0, "mm", "made case"),
        Sign("hook_bearing", "slip", np.array([0.0, 0.1, 0.4, 0.5]), 1.0, "mm", "made case"),
    ]
    return read_plane(plane, stress, 400.0 * stress, 2, 3 if sure else None, signs, [f"{plane} cannot show this"])


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("prediction") / "p"
    SIDE["write_run"](folder / "elevation", text=evil(SIDE["SPECIMEN"]))
    PLAN["write_plan"](folder / "plan-pass-1")
    PLAN["write_plan"](folder / "plan-pass-2")
    found = Prediction(
        "R-100-U", reading("elevation", 500.0, "prying", sure=False), reading("plan", 210.0, "side_thrust"),
        reading("plan", 610.0, "strut_crushing"), reading("plan", 400.0, "side_thrust"),
        (Pass(500.0, 405.0, True), Pass(405.0, 400.0, True)), True, 110e3, ("plan-free: <i>stopped</i>",),
    )  # fmt: skip
    (folder / "prediction.json").write_text(json.dumps(found.as_dict()), encoding="utf-8")
    return folder


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
    assert re.sub(r"\s+", " ", EVIL) in shown and "measure <b> 1.2 mm at strength" in shown


def test_it_tells_what_the_record_holds(home, reader):
    record, shown = json.loads((home / "prediction.json").read_text()), words(reader)
    first = record["sentences"][0]
    assert first[1:] in shown and "400 MPa" in first
    assert "320 to 480 MPa" in shown  # 400 MPa -/+ 20 %
    for key in ("elevation", "free", "intact", "coupled"):
        for finding in record[key]["findings"]:
            assert all(text in shown for text in finding["evidence"])
    assert "elevation cannot show this" in shown and "plan cannot show this" in shown
    assert "405 MPa 400 MPa −1.2 %" in shown and "The passes agreed" in shown
    assert "Stopped short: plan-free: <i>stopped</i>" in shown
    assert "neither a design check nor a safety system" in shown


def test_margins_are_multiples_of_the_strength(reader):
    # a sign at 0.4 of its limit at strength comes at 1 / 0.4 times the strength if it grows evenly
    assert "bearing of the hook next 0.40 never 2.50" in words(reader)


def test_bracket_saves_every_reading(home, page):
    with (home / "figures" / "bracket.csv").open(newline="", encoding="utf-8") as file:
        rows = {r["reading"]: r for r in csv.DictReader(file)}
    got = {name: float(r["value_MPa"]) for name, r in rows.items() if name != "hand formulas"}
    assert list(got.values()) == [400.0, 500.0, 400.0, 210.0, 610.0]
    assert rows["elevation"]["lower_bound"] == "True" and rows["prediction"]["lower_bound"] == "False"
    hand = rows["hand formulas"]
    assert float(hand["low_MPa"]) <= float(hand["value_MPa"]) <= float(hand["high_MPa"])


def test_both_planes_stand_at_the_common_bar_stress(home, page):
    """400 MPa: the elevation never has more than 360 MPa (its largest load), the plan has 420 at its strength."""
    with (home / "figures" / "both-planes.csv").open(newline="", encoding="utf-8") as file:
        steps = {(r["plane"], r["step"]) for r in csv.DictReader(file)}
    assert steps == {("elevation", "4"), ("plan", "2")}


def test_the_verb_remakes_it_from_the_folder(home, page, monkeypatch):
    before = page.read_bytes()
    page.unlink()
    monkeypatch.setattr("fesplice.report.prediction_page.report", lambda view, told=None: None)
    said = CliRunner().invoke(app, ["pictures", str(home)])
    assert said.exit_code == 0 and "prediction.html" in said.output
    assert page.read_bytes() == before


def test_the_summary_of_a_prediction_is_its_sentences(home):
    said = CliRunner().invoke(app, ["summary", str(home)])
    sentences = json.loads((home / "prediction.json").read_text())["sentences"]
    assert said.exit_code == 0 and said.output.splitlines()[:-1] == sentences
    assert "not a safety system" in said.output.splitlines()[-1]


def test_folders_without_a_prediction_are_refused(tmp_path):
    assert not is_prediction(tmp_path)
    with pytest.raises(FolderFault, match=r"prediction\.json cannot be read"):
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


def test_bars_without_a_lap_have_one_plane(tmp_path):
    SIDE["write_run"](tmp_path / "elevation")
    found = Prediction("R-100-U", reading("elevation", 300.0, "prying"), None, None, None, (), True, 110e3)
    (tmp_path / "prediction.json").write_text(json.dumps(found.as_dict()), encoding="utf-8")
    shown = words(WEB["Reader"](prediction_page(tmp_path, runs=False).read_text(encoding="utf-8")))
    assert "Prediction from elevation, computed" in shown and "Passes of the coupling" not in shown


def test_a_prediction_outside_its_bracket_says_so(home):
    from fesplice.report.prediction_page import _lead

    record = json.loads((home / "prediction.json").read_text())
    assert not any("lies outside" in remark for _, _, remark in _lead(record))
    record["bracket"] = [450.0, 500.0]
    assert any("lies outside" in remark for _, _, remark in _lead(record))


def test_a_mechanism_without_a_drop_is_the_nearest_and_not_the_failure(home):
    from fesplice.report.prediction_page import _lead

    record = json.loads((home / "prediction.json").read_text())
    told = {name: (value, remark) for name, value, remark in _lead(record)}
    assert told["What governs"] == ("side thrust at the edge bars", "in the plan")
    # the elevation never dropped: its failure comes no earlier
    assert told["Next"] == ("prying at the hook", "no less than 1.25 times that")
    record["coupled"]["sure"] = False
    told = {name: (value, remark) for name, value, remark in _lead(record)}
    assert told["What governs"] == ("nearest: side thrust at the edge bars", "in the plan, whose load never dropped")


def test_what_is_next_stands_beside_what_governs(home, reader):
    record, shown = json.loads((home / "prediction.json").read_text()), words(reader)
    line = next(text for text in record["sentences"] if text.startswith("next: "))
    assert shown.index(line) < shown.index("Bracket and band")


@pytest.mark.parametrize(("formula", "place"), [(350.0, "above"), (650.0, "below")])
def test_a_formula_that_gives_less_stands_at_the_top(tmp_path, formula, place):
    SIDE["write_run"](tmp_path / "elevation")
    found = Prediction(
        "R-100-U", reading("elevation", 400.0, "prying"), None, None, None, (), True, 110e3, side_splitting=formula
    )
    (tmp_path / "prediction.json").write_text(json.dumps(found.as_dict()), encoding="utf-8")
    shown = words(WEB["Reader"](prediction_page(tmp_path, runs=False).read_text(encoding="utf-8")))
    told, caution = shown.index(f"hooks split the side cover at {formula:.0f} MPa"), shown.index("A research aid.")
    assert (told < caution) == (place == "above")
