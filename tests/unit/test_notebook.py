"""Answers in a notebook: charts on matplotlib axes, tables as data frames, a step in pyvista, progress that is seen.

Second witnesses: matplotlib's own record of what was drawn, pandas, pyvista's areas of cells; areas by the dimensions
of the mesh. That every verb has a public name in Python is a rule of the house.
"""

from __future__ import annotations

import runpy
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import matplotlib
import numpy as np
import pandas
import pytest
import typer.main
from matplotlib.figure import Figure

import fesplice
from fesplice import FolderFault, InputFault, Run, StudyTable, Watcher, plot, profile, shown_in
from fesplice.answers import Chart, Drawable, Line
from fesplice.cli import app
from fesplice.pipeline.progress import Progress
from fesplice.pipeline.watcher import _notebook
from fesplice.study import run_study
from fesplice.study.runner import StudyProgress

matplotlib.use("Agg")
HERE = Path(__file__)
MADE = runpy.run_path(str(HERE.with_name("prediction_data.py")))
MODELS = HERE.parents[2] / "models"

#: The public name that answers what a verb of the command line prints or writes.
PYTHON = {
    "check": "check", "schedule": "schedule", "sheet": "sheet", "analyse": "analyse", "predict": "predict",
    "freeze": "freeze", "verify": "verify", "pack": "pack", "pictures": "draw", "viewer": "viewer",
    "summary": "findings", "export": "export", "drawing": "drawing", "reduce": "reduce", "replay": "replay",
    "materials": "materials", "compare": "compare", "learn": "learn", "watch": "follow", "example": "examples",
    "study plan": "cases", "study run": "run_study", "study show": "study_page", "study fit": "fit",
    "study convergence": "convergence",
}  # fmt: skip
#: Verbs that only open or print what ships with the program.
PRINTED = {"keys", "manual"}


@pytest.fixture(scope="module")
def run(tmp_path_factory) -> Run:
    return MADE["SIDE"]["write_run"](tmp_path_factory.mktemp("notebook") / "r")


def test_every_verb_has_a_public_name() -> None:
    top = typer.main.get_command(app)
    verbs = {name: command for name, command in top.commands.items() if not hasattr(command, "commands")}
    verbs |= {f"study {name}": command for name, command in top.commands["study"].commands.items()}
    assert PYTHON.keys() | PRINTED == verbs.keys()
    for name in PYTHON.values():
        thing = getattr(fesplice, name)
        assert callable(thing) and thing.__doc__


def test_a_run_draws_its_curve_on_axes_that_may_be_shared(run) -> None:
    axes = run.plot()
    (line,) = axes.lines
    np.testing.assert_allclose(line.get_xdata(), run.curve["deflection_mm"])
    np.testing.assert_allclose(line.get_ydata(), run.curve["load_N"] / 1e3)
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("midspan deflection (mm)", "load per ram (kN)")
    assert plot(run, ax=axes) is axes and len(axes.lines) == 2
    own = Figure().subplots()
    assert run.plot(ax=own) is own and own.figure is not axes.figure


def test_units_shown_hold_for_new_axes(run) -> None:
    with shown_in("us"):
        assert run.plot().get_xlabel() == "midspan deflection (in)"
    assert run.plot().get_xlabel() == "midspan deflection (mm)"


@pytest.mark.parametrize("quantity", ["stress", "slip", "tau", "bearing"])
def test_a_profile_draws_what_is_asked_for(run, quantity) -> None:
    bar = profile(run.mesh, run.step(-1).fields, "A")
    (line,) = bar.plot(quantity=quantity).lines
    np.testing.assert_allclose(line.get_ydata(), getattr(bar, quantity))
    table = bar.to_frame()
    assert len(table) == len(bar.arc) and list(table.columns[:3]) == ["arc_mm", "x_mm", "y_mm"]
    with pytest.raises(InputFault, match="quantity = 'strain'; allowed: stress, slip, tau, bearing"):
        bar.plot(quantity="strain")


def test_a_prediction_draws_every_view_and_its_band() -> None:
    found = MADE["made"]()
    axes = found.plot()
    names = [label.get_text() for label in axes.get_yticklabels()][::-1]
    assert names[:2] == ["prediction", "elevation"] and len(axes.patches) == len(names) == 5
    answer = axes.patches[-1]
    assert (answer.get_x(), answer.get_x() + answer.get_width()) == pytest.approx(found.band)
    table = found.to_frame()
    assert table.loc[0, "bar_stress_MPa"] == found.bar_stress and table.loc[0, "mechanism"] == found.mode.words
    assert table["low_MPa"].notna().sum() == 1


def test_findings_and_checks_have_tables(run) -> None:
    found = fesplice.findings(run)
    table = found.to_frame()
    assert set(table["mechanism"]) == {s.name for s in found.assessment.states}
    checked = fesplice.check(fesplice.read(MODELS / "as29-100-t3.toml"))
    assert checked.to_frame()["stress_MPa"].max() == max(e.stress for e in checked.band.estimates)
    assert len(checked.plot().patches) == len([e for e in checked.band.estimates if np.isfinite(e.stress)])
    assert "all margins met" in repr(checked) and len(repr(checked)) < 200


def test_a_study_is_a_table_and_lines(tmp_path) -> None:
    def task(text: str, folder: str, views: list[str]) -> dict:
        lap = float(text.partition('lap = "')[2].partition(" ")[0])
        return {view: {"state": "done", "peak_MPa": 2.0 * lap} for view in views}

    text = 'name = "laps"\nbase = "s.toml"\nviews = "elevation"\n[grid]\n"bars.lap" = ["400 mm", "440 mm", "460 mm"]\n'
    (tmp_path / "s.toml").write_text((MODELS / "as29-100-u.toml").read_text(), encoding="utf-8")
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    heard: list[tuple[StudyProgress, str]] = []
    run_study(
        tmp_path / "study.toml", tmp_path / "out", resources=fesplice.study.Resources(0), task=task,
        progress=lambda now, name="": heard.append((now, name)),
    )  # fmt: skip
    assert [now.share for now, _ in heard] == pytest.approx([1 / 3, 2 / 3, 1.0])
    with StudyTable(tmp_path / "out") as table:
        axes = table.plot(x="bars.lap_mm", y="elevation_peak_MPa")
        np.testing.assert_allclose(axes.lines[0].get_xydata(), [[400, 800], [440, 880], [460, 920]])
        assert axes.get_xlabel() == "bars.lap (mm)"
        assert isinstance(table.to_frame(), pandas.DataFrame) and len(table.to_frame()) == 3
        with pytest.raises(InputFault, match="y = 'nonsense'; columns: "):
            table.plot(y="nonsense")


def test_without_pandas_one_message_names_the_extra(run, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(InputFault, match=r"pip install 'fesplice\[notebook\]'"):
        run.to_frame()
    assert run.columns()["load_N"] is not None


def test_what_has_no_picture_says_so(run, tmp_path) -> None:
    with pytest.raises(InputFault, match="dict has no picture"):
        plot({})
    with pytest.raises(NotImplementedError):
        Drawable().chart()
    axes = plot(Chart("t", "x (mm)", "y", (Line("$name$", [0.0, 1.0], [1.0, 2.0], marks=True),)))
    axes.figure.canvas.draw()
    assert axes.lines[0].get_linestyle() == "None"


def test_a_step_opens_in_pyvista_in_one_line(run) -> None:
    blocks = fesplice.grid(run)
    concrete, bars = blocks["concrete"], blocks["bars"]
    mesh = run.mesh
    area = 0.0
    for group in mesh.of_kind("quad4", "tri3").values():
        p = mesh.points[group.cells]
        x, y = p[..., 0], p[..., 1]
        area += 0.5 * np.abs(np.sum(x * np.roll(y, -1, 1) - np.roll(x, -1, 1) * y, axis=1)).sum()
    assert concrete.compute_cell_sizes()["Area"].sum() == pytest.approx(area, rel=1e-5)
    length = sum(float(line.arc[-1] - line.arc[0]) for line in mesh.lines.values())
    assert bars.compute_cell_sizes()["Length"].sum() == pytest.approx(length, rel=1e-5)
    assert "displacement_mm" in concrete.point_data and "stress_MPa" in bars.cell_data
    with pytest.raises(FolderFault, match="step 999 is not stored"):
        fesplice.grid(run, 999)


def step(left: float | None = 30.0) -> Progress:
    of = SimpleNamespace(index=3, iterations=4, residual=1e-4)
    return Progress(of, 120e3, 4.0, 300.0, 10.0, left, "per ram")  # type: ignore[arg-type]


def test_progress_is_lines_where_nobody_draws(capsys) -> None:
    hears = Watcher()
    for now in (step(), None, StudyProgress(1, 4, "lap 400", {"elevation": "done"}, 9.0, 27.0), "Cracks"):
        hears(now, "a run")
    with shown_in("us"):
        hears(step(), "other")
    lines = capsys.readouterr().err.splitlines()
    assert not _notebook() and len(lines) == 4
    assert "120.00 kN per ram" in lines[0] and "1 of 4  a run: elevation done" in lines[1] and lines[2] == "Cracks"
    assert "27 kip per ram" in lines[3]


def test_progress_is_one_table_in_a_notebook(monkeypatch) -> None:
    """Drawn once and then in its place; names of files do no harm; at most one picture in a while."""
    import IPython
    import IPython.display as shown

    pictures: list[str] = []
    place = SimpleNamespace(update=lambda html: pictures.append(html.data))
    monkeypatch.setattr(IPython, "get_ipython", lambda: SimpleNamespace(kernel=object()))
    monkeypatch.setattr(shown, "display", lambda html, display_id: (pictures.append(html.data), place)[1])
    hears = Watcher(every=0.0)
    hears(step(), "elevation")
    hears(step(10.0), "elevation")
    hears(step(None), "<img src=x>")
    assert len(pictures) == 3 and "value='0.250'" in pictures[0] and "value='0.500'" in pictures[1]
    assert pictures[2].count("<tr>") == 2 and "<img" not in pictures[2] and "&lt;img src=x&gt;" in pictures[2]
    rare = Watcher(every=3600.0)
    pictures.clear()
    rare._last = time.monotonic()
    rare(step(), "a")
    assert not pictures and "elevation" not in rare.rows and rare.rows["a"][1] == 0.25
