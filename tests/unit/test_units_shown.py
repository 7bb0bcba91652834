"""Units that are shown: one place decides for terminal, pages and figures; JSON, CSV and stored words stay SI.

Factors: 1 in = 25.4 mm, 1 kip = 4.4482216 kN, 1 ksi = 6.894757 MPa, 1 ft = 304.8 mm (NIST Special Publication 811,
from memory). A second witness for single quantities is pint.
"""

from __future__ import annotations

import json
import re
import runpy
from html import unescape
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.text import Text
from typer.testing import CliRunner

from fesplice.cli import app
from fesplice.report import style
from fesplice.report.figures import Drawn, draw
from fesplice.report.page import write_page
from fesplice.report.prediction_page import prediction_page
from fesplice.report.spoken import speak
from fesplice.report.text import summary_text
from fesplice.store import Run
from fesplice.units import SYSTEMS, UnitFault, both, shown, shown_in, told, told_page

HERE = Path(__file__)
REGISTRY = pint.UnitRegistry()
MADE = runpy.run_path(str(HERE.with_name("prediction_data.py")))
FILE = HERE.parents[2] / "models" / "as29-100-t3.toml"
METRIC = re.compile(r"(?<![\w^.])\d+(?:\.\d+)? (?:mm2?|MPa|GPa|kN|kNm|N/mm|kN/mm)\b(?! or 6 in)")
CUSTOMARY = re.compile(r"\d (?:in2?|ksi|kip|kip-ft|lbf/in)\b")


@pytest.mark.parametrize(
    ("written", "si", "us", "together"),
    [
        ("441 MPa", "441 MPa", "64 ksi", "441 MPa (64 ksi)"),
        ("460 mm (18.1 in)", "460 mm", "18.1 in", "460 mm (18.1 in)"),
        ("at least 772 MPa in", "at least 772 MPa in", "at least 112 ksi in", "at least 772 MPa (112 ksi) in"),
        ("300 to 410 MPa", "300 to 410 MPa", "43.5 to 59.5 ksi", "300 to 410 MPa (43.5 to 59.5 ksi)"),
        ("83 of 84 kN", "83 of 84 kN", "18.7 of 18.9 kip", "83 of 84 kN (18.7 of 18.9 kip)"),
        ("x = -201, y = 45 mm", "x = -201, y = 45 mm", "x = -7.91, y = 1.77 in",
         "x = -201, y = 45 mm (-7.91, y = 1.77 in)"),
        ("at 20, 40 kN (4.5, 9 kip)", "at 20, 40 kN", "at 4.5, 9 kip", "at 20, 40 kN (4.5, 9 kip)"),
        ("24.19 kNm", "24.19 kNm", "17.8 kip-ft", "24.19 kNm (17.8 kip-ft)"),
        # no quantity: a product, a name, a limit that the document states in both, a count before a quantity
        ("73 f_cm^0.18 N/m", *["73 f_cm^0.18 N/m"] * 3),
        ("8.8 sqrt(f_cm) N/mm", *["8.8 sqrt(f_cm) N/mm"] * 3),
        ("min(l_s/5, 150 mm or 6 in)", *["min(l_s/5, 150 mm or 6 in)"] * 3),
        ("stress-400-MPa, AS29-100, 12 mmol", *["stress-400-MPa, AS29-100, 12 mmol"] * 3),
        ("step 3, 45 mm", "step 3, 45 mm", "step 3, 1.77 in", "step 3, 45 mm (1.77 in)"),
        ("9.3 kN/m3", *["9.3 kN/m3"] * 3),
    ],
)  # fmt: skip
def test_texts_in_each_system(written: str, si: str, us: str, together: str) -> None:
    assert told(written) == written and shown() == ""
    for system, wanted in zip(SYSTEMS, (si, us, together)):
        assert told(written, system) == wanted
        with shown_in(system):
            assert told(written) == wanted
            assert told_page(f"<p title='1 mm'>{written}</p><pre>{written}</pre>") == (
                f"<p title='1 mm'>{wanted}</p><pre>{written}</pre>"
            )
    assert shown() == ""


@given(
    st.floats(1e-3, 1e6).map(lambda v: f"{v:.4g}").filter(lambda t: "e" not in t),
    st.sampled_from([("mm", "in"), ("MPa", "ksi"), ("kN", "kip"), ("mm2", "in^2"), ("kNm", "kip*ft"), ("N", "lbf")]),
)
def test_every_number_is_right_to_three_figures(number: str, units: tuple[str, str]) -> None:
    metric = {"mm2": "mm^2", "kNm": "kN*m"}.get(units[0], units[0])
    wanted = REGISTRY.Quantity(float(number), metric).to(units[1]).magnitude
    got = float(told(f"{number} {units[0]}", "us").split(" ")[0])
    assert got == pytest.approx(wanted, rel=5.1e-3)


def test_both_ways_of_the_pair_agree() -> None:
    """What is composed in both systems is what a metric text becomes."""
    for value, kind in ((460.0, "length"), (441.0, "stress"), (131500.0, "force"), (24.19e6, "moment")):
        pair = both(value, kind)
        assert told(told(pair, "si"), "both") == pair and told(pair, "us") in pair


def test_another_word_is_refused() -> None:
    said = CliRunner().invoke(app, ["check", str(FILE), "--units", "metric"])
    assert said.exit_code != 0 and "--units = 'metric': allowed: si, us, both" in str(said.exception)
    with pytest.raises(UnitFault), shown_in("metric"):
        raise AssertionError


@pytest.fixture(scope="module")
def home(tmp_path_factory) -> Path:
    home = MADE["write"](tmp_path_factory.mktemp("shown") / "p", MADE["made"]())
    MADE["SIDE"]["write_run"](home / "elevation")
    MADE["PLAN"]["write_plan"](home / "plan-pass-2")
    return home


def words(page: Path) -> str:
    body = re.sub(r"<(script|style|pre|code).*?</\1>", "", page.read_text(encoding="utf-8"), flags=re.S)
    return unescape(re.sub(r"<[^>]+>", "\n", body.partition("<body>")[2]))


def test_the_terminal_shows_what_is_asked_for_and_json_stays(home, tmp_path) -> None:
    """Of US units only no metric one is left, of metric ones only no US one; the file of findings is the same."""
    trees = []
    for k, system in enumerate(("", *SYSTEMS)):
        told_by = ["--units", system] if system else []
        for verb in (["check", str(FILE)], ["summary", str(home)], ["summary", str(home / "elevation")]):
            file = tmp_path / f"{k}-{len(trees)}.json"
            said = CliRunner().invoke(app, [*verb, *told_by, "--json", str(file)])
            assert said.exit_code == 0, said.output
            trees.append(json.loads(file.read_text()))
            metric, customary = METRIC.findall(said.output), CUSTOMARY.findall(said.output.replace("mm or 6 in)", ""))
            assert (metric == []) == (system == "us"), metric
            assert (customary == []) if system == "si" else customary or system == ""
    assert trees[:3] == trees[3:6] == trees[6:9] == trees[9:12]
    assert shown() == ""


@pytest.mark.parametrize("part", ["elevation", "plan-pass-2", ""])
def test_pages_show_what_is_asked_for(home, tmp_path, part) -> None:
    def page(name: str) -> str:
        if not part:
            return words(prediction_page(home, runs=False))
        return words(write_page(Run(home / part), Drawn(), tmp_path / f"{name}.html"))

    plain = page("plain")
    with shown_in("us"):
        us = page("us")
    with shown_in("si"):
        si = page("si")
    assert METRIC.findall(plain) and METRIC.findall(us) == [] and CUSTOMARY.findall(us)
    assert METRIC.findall(si) and CUSTOMARY.findall(si) == []
    assert page("again") == plain


def test_a_text_that_is_kept_does_not_change(home) -> None:
    run = Run(home / "elevation")
    with shown_in("us"):
        assert "kN" in summary_text(run)


def test_axes_get_round_ticks_in_the_other_units() -> None:
    with style.sheet(90.0, 60.0) as figure:
        axes = figure.subplots()
        axes.plot([0.0, 100.0], [0.0, 400.0])
        axes.set_xlabel("midspan deflection (mm)")
        axes.set_ylabel("load per ram (kN)")
        axes.set_title("strength, 400 kN")
        twin = axes.secondary_yaxis("right", functions=(lambda v: v / 4.448, lambda v: v * 4.448))
        with shown_in("us"):
            speak(figure)
        figure.draw_without_rendering()
        assert (axes.get_xlabel(), axes.get_ylabel()) == ("midspan deflection (in)", "load per ram (kip)")
        assert axes.get_title(loc="left") == "strength, 89.9 kip" and not twin.get_visible()
        for axis, one in ((axes.xaxis, 1 / 25.4), (axes.yaxis, 1 / 4.4482216)):
            for at, label in zip(axis.get_majorticklocs(), axis.get_majorticklabels()):
                assert float(label.get_text().replace("−", "-")) == pytest.approx(at * one, rel=1e-5, abs=1e-9)
                assert float(f"{at * one:.2g}") == pytest.approx(at * one, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize("part", ["elevation", "plan-pass-2"])
def test_every_figure_speaks_it_and_its_tables_do_not(home, tmp_path, part, monkeypatch) -> None:
    """Labels, keys and marks of every figure that this run has in US units; tables to the byte as without."""
    said: list[str] = []

    def heard(figure) -> None:
        speak(figure)
        said.extend(t.get_text() for t in figure.findobj(Text) if t.get_visible())

    monkeypatch.setattr(style, "speak", heard)
    monkeypatch.setattr(Figure, "savefig", lambda figure, image, **_: image.write(b"drawn"))
    run = Run(home / part)
    plain = draw(run, tmp_path / "plain")
    assert any(METRIC.search(text) or re.search(r"\((mm|MPa|kN)\)", text) for text in said)
    said.clear()
    with shown_in("us"):
        turned = draw(run, tmp_path / "us")
    assert len(turned.files) == len(plain.files) >= 5 and turned.left_out == plain.left_out
    for text in said:
        assert not METRIC.search(text) and not re.search(r"\((mm|MPa|kN)\)|in (mm|kN)\b", text), text
    for name, files in plain.files.items():
        for one, other in zip(files, turned.files[name], strict=True):
            if one.suffix == ".csv":
                assert one.read_bytes() == other.read_bytes()
