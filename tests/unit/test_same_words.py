"""One answer: page, terminal, stored record and Python say the same of the same run in the same words.

Runs and prediction are made by hand (``report_data``, ``plan_data``, ``prediction_data``); what is compared is
text with text, character by character.
"""

from __future__ import annotations

import json
import re
import runpy
from html import unescape
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.contracts import Outcome
from fesplice.post.mechanisms import Mechanism
from fesplice.post.prediction import Prediction
from fesplice.post.record import findings
from fesplice.post.trust import SENTENCES
from fesplice.report import write_page
from fesplice.report.figures import Drawn
from fesplice.report.prediction_page import prediction_page
from fesplice.report.text import summary_text
from fesplice.report.views import VIEWS
from fesplice.store import Run

HERE = Path(__file__)
MADE = runpy.run_path(str(HERE.with_name("prediction_data.py")))
WRITE = {"elevation": MADE["SIDE"]["write_run"], "plan": MADE["PLAN"]["write_plan"]}


def shown(page: Path) -> str:
    """The words of a page in the order in which they stand."""
    body = page.read_text(encoding="utf-8").partition("<body>")[2]
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", body)))


def splitting(mesh, values, share) -> None:
    """Bond that fades from half of the largest load on, as the bars slip."""
    for name in mesh.of_kind("bond"):
        values[f"{name}/slip"][:] = 2.0 * share
        values[f"{name}/tau"][:] = 0.1 if share >= 0.5 else 5.0 * share


@pytest.fixture(scope="module", params=["elevation", "plan"])
def run(request, tmp_path_factory) -> Run:
    change = {"change": splitting} if request.param == "elevation" else {}
    return WRITE[request.param](tmp_path_factory.mktemp("words") / "r", kept=True, **change)


def test_what_a_run_failed_by_is_one_text_everywhere(run, tmp_path) -> None:
    live, kept = findings(run, stored=False).assessment, findings(run).assessment
    assert live.mode is not Mechanism.none and (live.before or live.view == "plan")
    assert run.summary["findings"]["assessment"]["governing"]["mechanism"] == live.mode.value
    assert kept.failure == live.failure and kept.evidence == live.evidence and kept.sentence == live.sentence
    text, page = summary_text(run), shown(write_page(run, Drawn(), tmp_path / "p.html"))
    assert "failed by" in text and text.count(live.failure) == 1
    assert f"Failed by {live.mode.words} {live.failure}" in page and f"{live.sentence}." in page
    for line in live.evidence:
        assert f"- {line}\n" in text and line in page
    said = CliRunner().invoke(app, ["summary", str(run.folder)])
    assert said.exit_code == 0 and said.output.rstrip("\n") == text


def test_half_of_an_answer_says_so_at_its_head(run, tmp_path) -> None:
    kind = VIEWS[findings(run).view]
    page, text = shown(write_page(run, Drawn(), tmp_path / "p.html")), summary_text(run)
    half = f"Half of the answer: the {kind.name} alone."
    assert page.index(half) < page.index("Failed by") and half in text.splitlines()[-1]
    assert "not a design check and not a safety system" in text


def test_bars_that_run_through_are_answered_by_the_elevation_alone(tmp_path) -> None:
    from fesplice.specimen import read_text, vary_many

    changes = {"body.closure": "0 mm", "concrete": {"precast": {"strength": "42 MPa"}}, "bars": {
        "splice": "continuous", "left": {"size": "29", "number": 4, "steel": "main", "depth": "515 mm"}}}  # fmt: skip
    text = vary_many(read_text(MADE["SIDE"]["SPECIMEN"]), changes).text
    through = WRITE["elevation"](tmp_path / "r", text=text)
    assert "Half of the answer" not in shown(write_page(through, Drawn(), tmp_path / "p.html"))
    assert "Half of the answer" not in summary_text(through)


def test_a_run_that_did_not_fail_says_so_and_names_what_is_nearest(tmp_path) -> None:
    rising = WRITE["elevation"](tmp_path / "r", loads=(0.0, 50e3, 90e3), outcome=Outcome.step_limit)
    judged = findings(rising).assessment
    assert judged.mode is Mechanism.none and judged.failure.startswith("no failure up to 360 MPa (90 kN per ram)")
    page = shown(write_page(rising, Drawn(), tmp_path / "p.html"))
    assert f"Failed by no failure seen {judged.failure}" in page and judged.failure in summary_text(rising)


@pytest.mark.parametrize("changes", [{}, {"side_splitting": 300.0}, {"side_splitting": 650.0}])
def test_a_prediction_is_one_text_everywhere(changes, tmp_path) -> None:
    live = MADE["made"](**changes)
    home = MADE["write"](tmp_path / "p", live)
    WRITE["elevation"](home / "elevation")
    WRITE["plan"](home / "plan-pass-2")
    kept = Prediction.read(home)
    assert kept.sentences == live.sentences and kept.around == live.around and kept.unresolved == live.unresolved
    assert json.loads((home / "prediction.json").read_text())["answer"]["sentences"] == list(live.sentences)
    said = CliRunner().invoke(app, ["summary", str(home)])
    assert said.exit_code == 0 and said.output.splitlines()[:-1] == list(live.sentences)
    assert "not a safety system" in said.output.splitlines()[-1]
    page = shown(prediction_page(home, runs=False))
    told = (live.sentence, live.elevation.sentence, live.coupled.sentence, *live.governing.evidence, *live.around)
    for line in (*told, *live.unresolved, *SENTENCES):
        assert line in page, line
    for judged in (live.elevation, live.free, live.intact, live.coupled):
        assert f"{judged.sentence}." in page


def test_a_run_of_a_prediction_and_the_prediction_say_the_same(tmp_path) -> None:
    """The elevation's own page and terminal text carry the very sentence that the prediction carries of it."""
    side = WRITE["elevation"](tmp_path / "p" / "elevation", change=splitting, kept=True)
    found = MADE["made"](elevation=findings(side).assessment)
    home = MADE["write"](tmp_path / "p", found)
    WRITE["plan"](home / "plan-pass-2")
    sentence = found.elevation.sentence
    assert sentence in found.sentences and sentence in shown(prediction_page(home, runs=False))
    assert found.elevation.failure in summary_text(side)
    assert sentence in shown(write_page(side, Drawn(), tmp_path / "p.html"))
