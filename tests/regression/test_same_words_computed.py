"""One answer over the ten demonstration specimens: page, terminal, JSON, CSV and Python say the same of their runs.

The runs are coarse and short, but computed: what is compared is text with text and number with number. The measure is
the live object that ``predict`` hands back.
"""

from __future__ import annotations

import csv
import json
import math
import re
from html import unescape
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fesplice import Run, findings, predict, read
from fesplice.cli import app
from fesplice.post.prediction import Prediction
from fesplice.post.values import to_dict
from fesplice.report import write_page
from fesplice.report.figures import Drawn
from fesplice.report.prediction_page import prediction_page
from fesplice.report.text import summary_text
from fesplice.specimen import vary_many

FILES = sorted((Path(__file__).resolve().parents[2] / "models").glob("as*.toml"))
#: Enough steps that bond is lost in some and none in others.
COARSE = {"mesh.splice": "45 mm", "mesh.elsewhere": "120 mm", "plan.element": "40 mm", "analysis.max_steps": 20}


def shown(page: Path) -> str:
    body = page.read_text(encoding="utf-8").partition("<body>")[2]
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", body)))


def test_all_ten_are_here() -> None:
    assert len(FILES) == 10


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_one_answer(file: Path, tmp_path: Path) -> None:
    home = tmp_path / "p"
    live = predict(vary_many(read(file), COARSE), home)

    # from disk, and by the terminal
    kept = Prediction.read(home)
    assert kept.sentences == live.sentences and kept.mode is live.mode and kept.bar_stress == live.bar_stress
    said = CliRunner().invoke(app, ["summary", str(home)])
    assert said.exit_code == 0 and tuple(said.output.splitlines()[:-1]) == live.sentences

    # JSON: the answer in plain values
    answer = json.loads((home / "prediction.json").read_text(encoding="utf-8"))["answer"]
    assert answer["sentences"] == list(live.sentences) and answer["mode"] == live.mode.value
    assert answer["bar_stress_MPa"] == live.bar_stress and answer["load_N"] == live.load
    assert answer["view"] == live.view and answer["exact"] is live.exact

    # page of the prediction
    page = shown(prediction_page(home, runs=False))
    for line in (live.sentence, *live.around, *live.unresolved):
        assert line in page, line

    # each run: stored record, terminal, page, curve
    judged = {"elevation": live.elevation}
    if live.coupled is not None:
        judged[f"plan-pass-{len(live.passes)}"] = live.coupled
    for name, told in judged.items():
        run = Run(home / name)
        for found in (findings(run, stored=False), findings(run)):
            assert to_dict(found.assessment) == to_dict(told), name  # as values: not a number is itself here
        text, own = summary_text(run), shown(write_page(run, Drawn(), tmp_path / f"{name}.html"))
        assert told.failure in text and told.failure in own and f"{told.sentence}." in own
        with open(run.folder / "curve.csv", encoding="utf-8") as table:
            loads = [float(row["load_N"]) for row in csv.DictReader(table)]
        assert math.isclose(told.load, max(loads[: told.step + 1]), rel_tol=1e-6) or told.load < max(loads), name
