"""Figures of a plan run: the numbers they save against what was put in, sizes, letters, legibility in grey.

Sources outside the project: principal stress by Mohr's circle, resultant of an even stress over a straight cut
(any textbook); 89 and 183 mm, 7 to 9 point letters: common practice, no source.
"""

from __future__ import annotations

import csv
import re
import runpy
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image

from fesplice.contracts import InputFault, Outcome
from fesplice.post.plan.forces import Cut
from fesplice.post.plan.truss import _ends, _turned
from fesplice.report import draw, specimen_drawing
from fesplice.report.figures import FIGURES
from fesplice.report.plan.slab import Labels, slab_of
from fesplice.report.plan.trajectories import trajectories
from fesplice.report.view import Shown, View
from fesplice.report.views import VIEWS
from fesplice.specimen import read_text, vary_many
from fesplice.store.steps import CRACK, QUANTA

HERE = Path(__file__)
DATA = runpy.run_path(str(HERE.with_name("plan_data.py")))
#: Rounding to whole multiples errs by half of one (arithmetic); the bands are 80 mm wide [mm].
WIDTH_OFF = 0.5 * CRACK[0] * 80.0 + 1e-6
LOOK = runpy.run_path(str(HERE.with_name("test_report.py")))


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """All plan figures of one run, drawn once, and the figures as they were when saved."""
    run = DATA["write_plan"](tmp_path_factory.mktemp("plan") / "r")
    names = [name for name in VIEWS["plan"].figures if name != "specimen"]
    with pytest.MonkeyPatch.context() as patch:
        seen = LOOK["keeping"](patch)
        drawn = draw(run, tmp_path_factory.mktemp("figures"), names=names)
    return drawn, seen, run


def table(kept, name: str, suffix: str = "") -> list[dict[str, str]]:
    return LOOK["table"](kept[0], name, suffix)


def at_strength(rows):
    return [r for r in rows if r["stage"] == "strength"]


# ------------------------------------------------------------------ registry, files, letters
def test_every_figure_is_of_a_view_and_both_share_the_drawing(kept):
    elevation, plan = (VIEWS[name].figures for name in ("elevation", "plan"))
    assert elevation["specimen"] is plan["specimen"] is FIGURES["specimen"]
    assert set(elevation) | set(plan) == set(FIGURES) and set(elevation) & set(plan) == {"specimen"}
    assert set(kept[0].files) == set(plan) - {"specimen"} and not kept[0].left_out


def test_a_figure_of_the_other_view_is_left_out_with_the_reason(kept, tmp_path):
    drawn = draw(kept[2], tmp_path, names=["hook-history"])
    assert drawn.left_out == {"hook-history": "is of the elevation; this run is the plan"}
    with pytest.raises(InputFault, match="no figure"):
        draw(kept[2], tmp_path, names=["plan-sketch"])


def test_files_and_sizes(kept):
    for name, paths in kept[0].files.items():
        assert [p.suffix for p in paths[:3]] == [".png", ".pdf", ".svg"] and len(paths) > 3, name
        for path in paths[3:]:
            with path.open(newline="", encoding="utf-8") as file:
                rows = list(csv.reader(file))
            assert len(rows) > 1 and len({len(row) for row in rows}) == 1, path.name
        with Image.open(paths[0]) as picture:
            width = picture.width / 200.0 * 25.4
        assert abs(width - 183.0) < 0.3 or 89.0 <= width <= 132.0, (name, width)


def test_letters_are_legible_and_clear_of_each_other(kept):
    for name, figure in kept[1].items():
        for text in LOOK["visible"](figure):
            assert 7.0 <= text.get_fontsize() <= 9.0, (name, text.get_text())
        LOOK["letters_are_clear"](name, figure)


def test_every_axis_tells_its_unit(kept):
    for name, figure in kept[1].items():
        for axes in figure.axes:
            for label in (axes.get_xlabel(), axes.get_ylabel()):
                assert not label or re.search(r"\((mm|kN|kip|MPa|‰|%)\)", label), (name, label)


def test_stages_follow_the_strength(kept):
    stages = slab_of(View(kept[2])).stages()
    assert [(s.name, s.step) for s in stages] == [("service", 1), ("strength", 2)]
    assert stages[1].title == "Strength, 400 kN, 420 MPa"
    assert [s.name for s in slab_of(View(kept[2], Shown(steps=(1,)))).stages()] == ["step"]


def test_hooks_end_where_the_drawing_has_them(kept, tmp_path):
    # the drawing is made from the centre lines of the specimen file, the plan from its own mesh
    slab = slab_of(View(kept[2]))
    paths = specimen_drawing(slab.view.specimen, tmp_path)
    with next(p for p in paths if p.suffix == ".csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for bar in slab.laid.bars:
        reach = max(bar.sign * float(r["x_mm"]) for r in rows if r["line"] == bar.row)
        assert bar.sign * slab.tail(bar) == pytest.approx(reach, abs=0.5)


def test_flat_struts_end_inside_the_slab_and_keep_their_balance(kept):
    # all that passes the gap goes along the bars but a tenth: a line as flat as that leaves any slab of this length
    forces = slab_of(View(kept[2])).forces
    gap = next(g for g in forces.laid.gaps if g.lapped)
    x = np.linspace(forces.laid.x[0], forces.laid.x[1], 29)
    cut = Cut(gap, x, np.full(29, 20.0), np.column_stack([np.full(29, 1000.0), np.full(29, 100.0)]), {})
    strut = forces.strut(cut)
    low, high = _ends(strut, cut, forces.laid.x)
    assert forces.laid.x[0] - 1e-9 <= min(low, high) and max(low, high) <= forces.laid.x[1] + 1e-9
    along, force, _ = _turned(strut, cut, high - low)
    # what crosses the gap is untouched, and the line still passes through the middle of the strut
    assert np.hypot(along, strut.across) == pytest.approx(force) and 0.0 < abs(along) < strut.along
    share = (gap.y - gap.below.y) / gap.spacing
    assert low + share * (high - low) == pytest.approx(strut.x)


# ------------------------------------------------------------------ numbers
def test_cracks_tell_opening_and_direction(kept):
    rows = at_strength(table(kept, "plan-cracks"))
    assert len(rows) > 5
    assert [float(r["opening_mm"]) for r in rows] == pytest.approx([DATA["CRACK"]] * len(rows), abs=WIDTH_OFF)
    # the normal stands across the beam: the crack runs along the bars
    assert all(abs(float(r["angle_deg"])) == pytest.approx(0.0, abs=np.degrees(0.5 * CRACK[1])) for r in rows)


def test_struts_are_the_resultant_of_an_even_stress(kept):
    mesh = kept[2].mesh
    thickness = float(np.max(mesh.groups["closure"].data["thickness"]))
    members = {r["member"]: r for r in table(kept, "plan-struts")}
    strut = members["strut A1-B1"]
    _, yy, xy = DATA["STRESS"]
    force = np.hypot(yy, xy) * thickness * 560.0
    # the slab is thinner by the bars in their rows, which on so coarse a mesh lie beside the cut
    assert -float(strut["force_N"]) == pytest.approx(force, rel=0.03)
    assert float(strut["inclination_deg"]) == pytest.approx(np.degrees(np.arctan2(-yy, -xy)), abs=1.5)
    assert float(strut["width_mm"]) == pytest.approx(560.0 * np.sin(np.arctan2(-yy, -xy)), rel=0.06)
    area = np.pi * 28.7**2 / 4.0
    assert float(members["bar A1"]["force_N"]) == pytest.approx(DATA["BAR"] * area, rel=0.01)


def test_trajectories_follow_mohrs_circle(kept):
    xx, yy, xy = DATA["STRESS"]
    minor = 0.5 * (xx + yy) - np.hypot(0.5 * (xx - yy), xy)
    lean = np.degrees(0.5 * np.arctan2(2.0 * xy, xx - yy)) + 90.0
    rows = table(kept, "plan-struts", "trajectories")
    assert {round(float(r["compression_MPa"]), 4) for r in rows} == {round(-minor, 4)}
    for line in {r["line"] for r in rows}:
        xy_ = np.array([(float(r["x_mm"]), float(r["y_mm"])) for r in rows if r["line"] == line])
        run = np.diff(xy_, axis=0)
        found = np.degrees(np.arctan2(run[:, 1], run[:, 0]))
        assert np.allclose((found - lean + 90.0) % 180.0, 90.0, atol=0.1)


def test_lines_keep_their_distance_and_tension_has_none():
    x, y = np.meshgrid(np.arange(5.0, 200.0, 10.0), np.arange(5.0, 100.0, 10.0))
    centre = np.column_stack([x.ravel(), y.ravel()])
    even = np.tile([-5.0, 0.0, 0.0], (len(centre), 1))
    lines = trajectories(centre, even, (0.0, 200.0), (0.0, 100.0), 20.0, 10.0)
    levels = sorted(float(t.xy[:, 1].mean()) for t in lines)
    assert len(lines) == 5 and np.diff(levels).min() >= 9.9
    assert all(np.ptp(t.xy[:, 0]) > 180.0 and np.ptp(t.xy[:, 1]) < 1e-9 for t in lines)
    assert trajectories(centre, -even, (0.0, 200.0), (0.0, 100.0), 20.0, 10.0) == []


def test_tie_strains_are_those_of_the_run(kept):
    rows = at_strength(table(kept, "plan-ties"))
    assert len(rows) == 12
    for row in rows:
        number = int(row["line"][1])
        assert float(row["strain"]) == pytest.approx(DATA["STRAIN"] * number, abs=0.5 * QUANTA["strain"])
        assert float(row["share_of_yield"]) == pytest.approx(DATA["STRAIN"] * number * 2e5 / 725.0, rel=1e-5)
    heights = [p.get_height() for p in kept[1]["plan-ties"].axes[0].patches]
    assert sorted(heights) == pytest.approx(sorted([1.0, 2.0, 3.0, 4.0, 5.0, 6.0] * 2), rel=1e-4)


def test_shares_of_the_thrust_are_forces_over_the_thrust(kept):
    mesh = kept[2].mesh
    push = -DATA["STRESS"][1] * float(np.max(mesh.groups["closure"].data["thickness"])) * 560.0
    for row in table(kept, "plan-ties", "thrust"):
        thrust = float(row["thrust_N"])
        assert thrust == pytest.approx(push, rel=0.03)
        # six ties of two legs, 9.53 mm thick, cross the cut with 1 to 6 times the strain
        pull = (1 + 2 + 3 + 4 + 5 + 6) * DATA["STRAIN"] * 2e5 * 2 * np.pi * 9.53**2 / 4.0
        assert float(row["steel_across"]) * thrust == pytest.approx(pull, rel=0.02)


def test_side_faces_move_as_put_in(kept):
    rows = at_strength(table(kept, "plan-sides"))
    assert {r["face"] for r in rows} == {"low", "high"}
    assert [float(r["outward_mm"]) for r in rows] == pytest.approx([DATA["OUT"]] * len(rows), rel=1e-6)


def test_load_figure_keeps_the_curve(kept):
    rows = table(kept, "plan-load")
    assert [float(r["load_N"]) for r in rows] == list(DATA["LOADS"])
    assert float(rows[2]["bar_stress_B1_MPa"]) == pytest.approx(DATA["BAR"])


# ------------------------------------------------------------------ names
def test_names_give_way_to_what_is_there():
    axes = Figure().subplots()
    axes.set_xlim(0.0, 100.0)
    axes.set_ylim(0.0, 100.0)
    labels = Labels.on(axes, 1.0)
    labels.block(50.0, 50.0, 20.0, 20.0)
    labels.put("120", [(50.0, 50.0), (50.0, 80.0)])
    labels.put("130", [(50.0, 80.0), (20.0, 20.0)])
    labels.put("140", [(99.0, 80.0), (80.0, 30.0)])  # the first would leave the sheet
    assert [t.get_position() for t in axes.texts] == [(50.0, 80.0), (20.0, 20.0), (80.0, 30.0)]


# ------------------------------------------------------------------ other runs
def test_a_run_that_stopped_before_it_carried_anything_is_drawn(tmp_path):
    run = DATA["write_plan"](tmp_path / "r", loads=(0.0,), outcome=Outcome.interrupted)
    drawn = draw(run, tmp_path / "f", names=["plan-load", "plan-struts"])
    assert len(drawn.files) == 2 and not drawn.left_out
    assert [s.title for s in slab_of(View(run)).stages()] == ["Largest so far, 0 kN, 0 MPa"]


def test_straight_bars_without_ties(tmp_path):
    text = vary_many(read_text(LOOK["SPECIMEN"]), {"bars.splice": "straight", "plan.element": "60 mm"}).text
    run = DATA["write_plan"](tmp_path / "r", text=text)
    drawn = draw(run, tmp_path / "f", names=["plan-ties"])
    assert [p.name for p in drawn.files["plan-ties"]] == [
        "plan-ties.png", "plan-ties.pdf", "plan-ties.svg", "plan-ties-thrust.csv",
    ]  # fmt: skip
