"""Figures: the numbers they save against what was put in, sizes, letters, legibility in grey.

Sources outside the project: principal stress by Mohr's circle (any textbook); lightness L* of
colours by CIE 1976, luminance by IEC 61966-2-1 (sRGB); 1 kip = 4.4482216 kN, 1 in = 25.4 mm (both exact
by definition of pound and inch); column widths 89 and 183 mm and 7 to 9 point letters: common practice, no source.
"""

from __future__ import annotations

import csv
import io
import itertools
import re
import runpy
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex, to_rgb
from matplotlib.text import Text
from PIL import Image

from fesplice.contracts import FolderFault, InputFault, Outcome
from fesplice.report import draw, specimen_drawing, style
from fesplice.report.cracks import CLASSES, classes, colours, weights
from fesplice.report.elevation.beam import beam_of
from fesplice.report.elevation.fields import short_name
from fesplice.report.schedule import inputs
from fesplice.report.view import Shown, View
from fesplice.report.views import VIEWS
from fesplice.specimen import read_text, vary_many
from fesplice.store.steps import CRACK, QUANTA

DATA = runpy.run_path(str(Path(__file__).with_name("report_data.py")))
write_run, SPECIMEN = DATA["write_run"], DATA["SPECIMEN"]
#: Rounding to whole multiples errs by half of one (arithmetic): stress [MPa]; width [mm] over bands of 80 mm; major
#: principal stress by three halves of that, mean and radius of Mohr's circle together, its direction by 1 / (2 R).
STRESS_OFF, WIDTH_OFF = 0.5 * QUANTA["stress"], 0.5 * CRACK[0] * 80.0 + 1e-6
MAJOR_OFF = 1.5 * QUANTA["stress"]


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return write_run(tmp_path_factory.mktemp("run") / "r")


@pytest.fixture(scope="module")
def kept(run, tmp_path_factory):
    """All figures drawn once: their files, and the figures themselves as they were when saved."""
    with pytest.MonkeyPatch.context() as patch:
        seen = keeping(patch)
        drawn = draw(run, tmp_path_factory.mktemp("figures"))
    return drawn, seen


def keeping(patch) -> dict:
    """Figures by name, kept as they are when they are saved."""
    seen, saved = {}, style.save

    def keep(figure, folder, name, tables=None):
        paths = saved(figure, folder, name, tables)
        # Vector formats measure letters by their own rules; places of letters below are those of the PNG.
        FigureCanvasAgg(figure).draw()
        seen[name] = figure
        return paths

    patch.setattr(style, "save", keep)
    return seen


def table(drawn, name: str, suffix: str = "") -> list[dict[str, str]]:
    wanted = f"{name}-{suffix}.csv" if suffix else f"{name}.csv"
    path = next(p for p in drawn.files[name] if p.name == wanted)
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


# ------------------------------------------------------------------ files
def test_every_figure_is_written_in_three_formats_with_its_numbers(kept):
    drawn, _ = kept
    assert set(drawn.files) | set(drawn.left_out) == set(VIEWS["elevation"].figures)
    for name, paths in drawn.files.items():
        assert [p.suffix for p in paths[:3]] == [".png", ".pdf", ".svg"], name
        assert len(paths) > 3 and all(p.suffix == ".csv" for p in paths[3:]), name
        assert paths[0].read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
        assert paths[1].read_bytes()[:5] == b"%PDF-"
        assert b"<svg" in paths[2].read_bytes()[:1000]
        for path in paths[3:]:
            with path.open(newline="", encoding="utf-8") as file:
                rows = list(csv.reader(file))
            assert len(rows) > 1 and len({len(row) for row in rows}) == 1, path.name


def test_pictures_are_one_or_two_columns_wide_at_200_dpi(kept):
    for name, paths in kept[0].files.items():
        with Image.open(paths[0]) as picture:
            width = picture.width / 200.0 * 25.4
        assert width <= 183.2, name
        assert abs(width - 183.0) < 0.3 or 89.0 <= width <= 132.0, (name, width)


def test_equal_runs_give_equal_files(run, kept, tmp_path):
    again = draw(run, tmp_path, names=["load-deflection", "bar-profiles"])
    for name, paths in again.files.items():
        for path, other in zip(paths, kept[0].files[name]):
            assert path.read_bytes() == other.read_bytes(), path.name


# ------------------------------------------------------------------ letters
def visible(figure) -> list[Text]:
    return [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]


def test_letters_are_7_to_9_points(kept):
    for name, figure in kept[1].items():
        for text in visible(figure):
            assert 7.0 <= text.get_fontsize() <= 9.0, (name, text.get_text())


def test_every_axis_tells_its_unit(kept):
    units = r"\((mm|in|kN|kip|MPa|N/mm|‰)\)|/ f\$_\{ct\}\$|^index"
    for name, figure in kept[1].items():
        for axes in figure.axes:
            for label, line in ((axes.get_xlabel(), axes.xaxis), (axes.get_ylabel(), axes.yaxis)):
                if label:
                    assert re.search(units, label), (name, label)
                ticks = [t for t in line.get_ticklabels() if t.get_visible() and t.get_text()]
                named = label or figure.get_supylabel() or any(a.get_ylabel() for a in figure.axes)
                assert not (axes.axison and ticks) or named, name


def test_no_letters_leave_the_sheet_or_lie_on_each_other(kept):
    for name, figure in kept[1].items():
        letters_are_clear(name, figure)


def test_bars_near_yield_leave_room_for_the_yield_strength(tmp_path):
    def strong(mesh, values, share):
        for name in values:
            if name.endswith("/stress") and name.split(":")[0] in ("bar", "hook"):
                values[name] = 1.95 * values[name]

    run = write_run(tmp_path / "r", change=strong)
    with pytest.MonkeyPatch.context() as patch:
        seen = keeping(patch)
        draw(run, tmp_path / "f", names=["bar-profiles"])
    texts = [t.get_text() for t in visible(seen["bar-profiles"])]
    assert texts.count("f$_y$ = 725 MPa") == 2
    letters_are_clear("bar-profiles", seen["bar-profiles"])


def letters_are_clear(name: str, figure) -> None:
    unseen, sheet = beyond(figure), figure.bbox
    boxes = [(t.get_text(), t.get_window_extent()) for t in visible(figure) if t not in unseen]
    for text, box in boxes:
        inside = box.x0 > -2 and box.y0 > -2 and box.x1 < sheet.x1 + 2 and box.y1 < sheet.y1 + 2
        assert inside, (name, text)
    for k, (text, box) in enumerate(boxes):
        for other, second in boxes[k + 1 :]:
            wide = min(box.x1, second.x1) - max(box.x0, second.x0)
            tall = min(box.y1, second.y1) - max(box.y0, second.y0)
            # the boxes of two lines of letters include their empty margins: a touch is no overlap
            assert not (wide > 3.0 and tall > 6.0), (name, text, other)


def beyond(figure) -> set[Text]:
    """Tick labels outside the limits of their axis: they exist but are not drawn."""
    found = set()
    for axes in [*figure.axes, *(child for a in figure.axes for child in a.child_axes)]:
        for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            low, high = sorted(limits)
            for tick in axis.get_major_ticks():
                if not (low <= tick.get_loc() <= high and axes.axison):
                    found |= {tick.label1, tick.label2}
    return found


# ------------------------------------------------------------------ grey
def lightness(colour) -> float:
    """CIE 1976 L* of an sRGB colour."""
    c = np.array(to_rgb(colour))
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    y = float(linear @ [0.2126, 0.7152, 0.0722])
    return 116.0 * np.cbrt(y) - 16.0 if y > 0.008856 else 903.3 * y


@pytest.mark.parametrize("name", ["warm", "pale", "cool"])
def test_maps_fall_steadily_in_lightness(name):
    cmap = getattr(style, name)()
    steps = np.diff([lightness(cmap(v)[:3]) for v in np.linspace(0.0, 1.0, 33)])
    assert (steps < 0.0).all()
    assert steps.min() / steps.max() < 4.0  # the steepest step at most four times the flattest


def test_lines_differ_in_dash_or_clearly_in_lightness():
    for family in (list(style.STAGE.values()), list(style.FAMILY.values()), list(style.CYCLE)):
        for k, a in enumerate(family):
            for b in family[k + 1 :]:
                apart = abs(lightness(a["color"]) - lightness(b["color"]))
                assert a["linestyle"] != b["linestyle"] or apart > 25.0


# ------------------------------------------------------------------ numbers
def shown(run, **asked):
    return [(s.name, s.step) for s in beam_of(View(run, Shown(**asked))).stages()]


def test_stages_are_service_and_strength_where_no_bond_is_lost(run):
    stages = beam_of(View(run)).stages()
    assert [(s.name, s.step) for s in stages] == [("service", 2), ("strength", 4)]
    assert stages[1].title == "Strength, 132 kN, 360 MPa"


def test_steps_are_asked_for_by_number_load_or_stress(run):
    # the third step carries 80 kN and half the bar stress of 360 MPa; on the way up, not at the same load past the peak
    assert shown(run, steps=(-1,)) == [("step", 6)]
    assert shown(run, loads=(81e3,)) == [("step", 2)] and shown(run, loads=(109e3, 40e3)) == [("step", 1), ("step", 3)]
    assert shown(run, stresses=(185.0,)) == [("stress", 2)]
    with pytest.raises(InputFault, match="133.5 kN was never reached; 0 to 132 kN were"):
        shown(run, loads=(133.5e3,))
    with pytest.raises(InputFault, match="400 MPa was never reached; 0 to 360 MPa were"):
        shown(run, stresses=(400.0,))
    with pytest.raises(InputFault, match="at most 3"):
        shown(run, steps=(0, 1, 2, 3))


def test_what_was_asked_for_lies_in_a_folder_of_its_name(run):
    drawn = draw(run, names=["cracks"], shown=Shown(stresses=(180.0,)))
    assert drawn.files["cracks"][0].parent == run.folder / "figures" / "stress-180-MPa"


def test_axes_of_a_series_reach_as_far_as_the_longest_of_it(run, tmp_path):
    more = write_run(tmp_path / "more", loads=tuple(1.5 * load for load in DATA["LOADS"]))
    limits = []
    for view in (View(run, Shown(beside=(more,))), View(more, Shown(beside=(run,)))):
        with pytest.MonkeyPatch.context() as patch:
            seen = keeping(patch)
            draw(
                view, tmp_path / "f", names=["load-deflection", "cracks", "bar-profiles", "hook-history", "prying-tie"]
            )
        axes = seen["load-deflection"].axes[0]
        limits.append((*axes.get_xlim(), *axes.get_ylim()))
        # upright scales of the profiles, loads of the histories, and how far the key of the cracks goes
        limits[-1] += tuple(v for axes in seen["bar-profiles"].axes for v in axes.get_ylim())
        limits[-1] += (*seen["hook-history"].axes[0].get_xlim(), *seen["prying-tie"].axes[0].get_ylim())
        limits[-1] += (*seen["prying-tie"].axes[1].get_xlim(), len(seen["cracks"].legends[0].get_lines()))
    assert limits[0] == pytest.approx(limits[1]) and limits[0][3] > 198.0


def test_crack_map_tells_opening_and_direction(kept):
    rows = [r for r in table(kept[0], "cracks") if r["stage"] == "strength"]
    inner = [r for r in rows if abs(abs(float(r["x_mm"])) - 280.0) > 1.0]
    assert inner and all(0.0 < float(r["x_mm"]) - 840.0 < 120.0 and float(r["y_mm"]) < 300.0 for r in inner)
    assert [float(r["opening_mm"]) for r in inner] == pytest.approx([DATA["CRACK"]] * len(inner), abs=WIDTH_OFF)
    # a crack runs square to its normal
    along = np.degrees(DATA["NORMAL"]) - 90.0
    assert [float(r["angle_deg"]) for r in inner] == pytest.approx([along] * len(inner), abs=1e-3)
    joints = [r for r in rows if abs(abs(float(r["x_mm"])) - 280.0) <= 1.0]
    assert joints and all(float(r["opening_mm"]) == pytest.approx(0.3, rel=1e-5) for r in joints)
    assert all(abs(float(r["angle_deg"])) == pytest.approx(90.0) for r in joints)


def test_wider_cracks_are_heavier_and_darker_and_the_key_is_drawn_alike(kept):
    figure = kept[1]["cracks"]
    lines = [p for p in figure.axes[1].patches if p.get_zorder() == 6]
    drawn = {(round(float(line.get_linewidth()), 6), to_hex(line.get_edgecolor())) for line in lines}
    key = figure.legends[0].get_lines()[1:]
    named = {float(line.get_label()): (round(line.get_linewidth(), 6), line.get_color()) for line in key}
    # joints are open by 0.3 mm and the crack by 0.4 mm: both of the class that begins with 0.2 mm
    assert drawn == {named[0.2]} and max(named) == 0.2
    order = [named[k] for k in sorted(named)]
    assert np.all(np.diff([w for w, _ in order]) > 0.0) and np.all(np.diff([lightness(c) for _, c in order]) < 0.0)


def test_vector_files_keep_their_places_to_a_hundredth_of_a_point_and_pictures_their_colours(kept):
    # PNG 1.2 (W3C, 2003) names image type 3 "indexed-colour"; the shades of the reference are matplotlib's own
    files = {path.suffix: path for path in kept[0].files["cracks"]}
    text = files[".svg"].read_text(encoding="utf-8")
    figure = kept[1]["cracks"]
    box = figure.axes[0].get_position()
    height = figure.get_figheight() * 72.0
    left, top = box.x0 * figure.get_figwidth() * 72.0, (1.0 - box.y1) * height
    corners = [
        float(v) for v in re.findall(r'd="M ([-0-9. L]+) z" style="fill: #ffffff"', text)[1].replace("L", "").split()
    ]
    assert min(corners[::2]) == pytest.approx(left, abs=0.006) and min(corners[1::2]) == pytest.approx(top, abs=0.006)
    assert not re.search(r'd="[^"]*\d\.\d{3}', text)
    with Image.open(files[".png"]) as image:
        assert image.mode == "P"
        few = np.asarray(image.convert("RGB")).astype(int)
    whole = io.BytesIO()
    with style.sheet(1.0, 1.0):  # the settings under which it was drawn
        figure.savefig(whole, format="png")
    every = np.asarray(Image.open(whole).convert("RGB")).astype(int)
    assert few.shape == every.shape and np.abs(few - every).max() <= 16
    assert (few[0, 0] == 255).all()


def test_the_colour_of_an_opening_is_the_same_whatever_the_widest_crack():
    # the classes double or more from one to the next, as on cards with which widths are read (common practice)
    assert all(b >= 2.0 * a * (1.0 - 1e-9) for a, b in itertools.pairwise(CLASSES))
    steps = np.diff([lightness(c) for c in colours()])
    assert (steps < -4.0).all()
    assert classes(np.array([0.005, 0.01, 0.2, 0.49, 11.0])).tolist() == [-1, 0, 3, 3, 7]


def test_lines_of_neighbouring_elements_keep_a_gap():
    # 18 mm elements at 18 mm of beam per mm of paper are one millimetre wide: 2.835 points (1 in = 72 points = 25.4 mm)
    assert weights(18.0, 18.0).max() <= 0.6 * 72.0 / 25.4


def test_principal_tension_follows_mohrs_circle(kept):
    xx, yy, xy = DATA["STRESS"]
    major = 0.5 * (xx + yy) + np.hypot(0.5 * (xx - yy), xy)
    angle = np.degrees(0.5 * np.arctan2(2.0 * xy, xx - yy))
    inside = [r for r in table(kept[0], "principal-tension") if abs(float(r["x_mm"])) < 270.0]
    assert len(inside) > 50
    for row in inside:
        assert float(row["step_4_principal_tension_MPa"]) == pytest.approx(major, abs=MAJOR_OFF)
        assert float(row["step_4_direction_deg"]) == pytest.approx(angle, abs=np.degrees(QUANTA["stress"]))
    stations = [r for r in table(kept[0], "principal-tension", "stations") if r["stage"] == "strength"]
    assert {r["radius_db"] for r in stations} == {"2", "3"}
    assert [float(r["ratio_to_fct"]) for r in stations] == pytest.approx([major / 1.95] * len(stations), abs=MAJOR_OFF)


def test_hook_history_follows_the_load(kept):
    xx, yy, xy = DATA["STRESS"]
    major = 0.5 * (xx + yy) + np.hypot(0.5 * (xx - yy), xy)
    rows = [r for r in table(kept[0], "hook-history") if r["station"] == "A/tangent"]
    assert [float(r["load_N"]) for r in rows] == list(DATA["LOADS"])
    assert float(rows[4]["ratio_to_fct"]) == pytest.approx(major / 1.95, abs=MAJOR_OFF / 1.95)
    assert float(rows[2]["ratio_to_fct"]) == pytest.approx(0.5 * major / 1.95, abs=MAJOR_OFF / 1.95)


def test_bar_profiles_start_at_the_joint_face(kept):
    rows = [r for r in table(kept[0], "bar-profiles") if r["stage"] == "strength" and r["line"] == "A"]
    lead = [r for r in rows if 20.0 < float(r["distance_mm"]) < 200.0]
    assert lead and all(r["zone"] == "lead" for r in lead)
    for row in lead:
        # distance counts from the joint face at x = -280 mm along the straight lead
        assert float(row["x_mm"]) == pytest.approx(-280.0 + float(row["distance_mm"]), abs=1e-3)
        expected = DATA["FACE"] * (1.0 - float(row["distance_mm"]) / 400.0)
        assert float(row["stress_MPa"]) == pytest.approx(expected, abs=2.0)
    # pulled towards its loaded end the bar slips against the arc: counted positive
    assert all(float(r["slip_mm"]) == pytest.approx(0.05, rel=1e-4) for r in rows)
    assert all(float(r["bond_stress_MPa"]) == pytest.approx(3.0, rel=1e-4) for r in rows)
    assert {r["zone"] for r in rows} == {"lead", "bend", "tail"}


def test_load_deflection_saves_the_curve_and_its_twin_axes_agree(kept):
    rows = table(kept[0], "load-deflection")
    assert [float(r["load_N"]) for r in rows] == list(DATA["LOADS"])
    figure = kept[1]["load-deflection"]
    axes = figure.axes[0]
    right, top = (a for a in axes.child_axes)
    kip, inch = 4.4482216152605, 25.4
    assert np.array(right.get_ylim()) * kip == pytest.approx(np.array(axes.get_ylim()), rel=1e-6)
    assert np.array(top.get_xlim()) * inch == pytest.approx(np.array(axes.get_xlim()), rel=1e-6)


def test_prying_tells_what_pulls_beside_what_is_left(kept):
    # no crack along the bars: all of f_ct is left, and an even stress is its own mean
    rows = [r for r in table(kept[0], "prying-tie") if r["line"] == "A"]
    assert len(rows) == len(DATA["LOADS"]) and float(rows[4]["load_N"]) == 132e3
    assert float(rows[4]["tension_MPa"]) == pytest.approx(DATA["STRESS"][1], abs=STRESS_OFF)
    assert {float(r["strength_left_MPa"]) for r in rows} == {1.95}
    assert max(float(r["share_torn"]) for r in rows) < 1e-12
    assert float(rows[4]["index"]) == pytest.approx(DATA["STRESS"][1] / 1.95, abs=STRESS_OFF)
    along = table(kept[0], "prying-tie", "along")
    assert {r["step"] for r in along} == {"4"}
    assert [float(r["tension_MPa"]) for r in along] == pytest.approx([DATA["STRESS"][1]] * len(along), abs=STRESS_OFF)


# ------------------------------------------------------------------ choices
def test_a_chosen_step_is_drawn_alone_in_its_own_folder(run):
    drawn = draw(run, step=3, names=["cracks", "bar-profiles"])
    assert all(p.parent == run.folder / "figures" / "step-000003" for paths in drawn.files.values() for p in paths)
    assert {r["step"] for r in table(drawn, "bar-profiles")} == {"3"}


def test_unknown_names_and_steps_are_refused(run, tmp_path):
    with pytest.raises(InputFault, match="no figure 'sketch'; there are specimen"):
        draw(run, tmp_path, names=["sketch"])
    with pytest.raises(FolderFault, match="step 99 is not stored"):
        draw(run, tmp_path, step=99, names=["cracks"])
    assert not list(tmp_path.iterdir())


def test_a_run_without_steps_is_told(tmp_path):
    empty = write_run(tmp_path / "r", loads=(), outcome=None)
    with pytest.raises(FolderFault, match="nothing to draw"):
        draw(empty, tmp_path / "f", names=["load-deflection"])


def test_a_run_that_stopped_at_its_largest_load_has_no_end_stage(tmp_path):
    run = write_run(tmp_path / "r", loads=(0.0, 50e3, 90e3), outcome=Outcome.interrupted)
    assert [s.name for s in beam_of(View(run)).stages()] == ["service", "strength"]
    drawn = draw(run, tmp_path / "f", names=["cracks", "principal-tension", "load-deflection", "hook-history"])
    assert set(drawn.files) == {"cracks", "principal-tension", "load-deflection", "hook-history"}


def test_a_beam_without_splice_leaves_out_what_it_cannot_show(tmp_path):
    plain = vary_many(read_text(SPECIMEN), CHANGES["monolithic"])
    run = write_run(tmp_path / "r", text=plain.text)
    drawn = draw(run, tmp_path / "f")
    assert set(drawn.files) | set(drawn.left_out) == set(VIEWS["elevation"].figures)
    assert drawn.left_out["hook-history"] == "no bar has a hook"
    assert "prying-tie" in drawn.left_out and {"cracks", "bar-profiles", "principal-tension"} <= set(drawn.files)


def test_a_file_in_the_way_is_a_fault_of_one_line(run, tmp_path):
    (tmp_path / "taken").write_text("x")
    with pytest.raises(FolderFault, match="cannot be written"):
        draw(run, tmp_path / "taken", names=["load-deflection"])


# ------------------------------------------------------------------ drawing and schedule
CHANGES = {
    "ties": {"confinement": {"kind": "ties", "size": "D10", "spacing": "85 mm", "number": 6, "steel": "main"}},
    "stirrups": {"confinement": {"kind": "stirrups", "size": "D13", "spacing": "85 mm", "number": 6, "steel": "main"},
                 "bars.spacing": "contact", "loading.tension_face": "up"},
    "transverse": {"confinement": {"kind": "hooked_transverse_bar", "size": "D16", "number": 2, "steel": "main"}},
    "straight": {"bars.splice": "straight", "bars.left.size": "No. 9"},
    "bent back": {"bars.left.hook": {"angle": 180}},
    "monolithic": {"body.closure": "0 mm", "concrete": {"precast": {"strength": "42 MPa"}},
                   "bars": {"splice": "continuous", "left": {"size": "29", "number": 4, "steel": "main",
                                                             "depth": "515 mm"}}, "body.shear_span": "2400 mm"},
}  # fmt: skip


@pytest.mark.parametrize("kind", CHANGES)
def test_every_kind_of_splice_is_drawn_with_its_bars_where_they_are(kind, tmp_path):
    s = vary_many(read_text(SPECIMEN), CHANGES[kind])
    paths = specimen_drawing(s, tmp_path)
    with paths[3].open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    left = sorted({round(float(r["z_mm"]), 3) for r in rows if r["line"] == "A"})
    assert left == pytest.approx(sorted(s.bars.left.positions), abs=1e-3)
    # effective depth: compression face to bar centre
    lead = [float(r["y_mm"]) for r in rows if r["line"] == "A"][0]
    assert lead == pytest.approx(575.0 - 515.0)


def test_texts_of_a_file_are_drawn_as_they_stand(tmp_path):
    with style.sheet(style.NARROW, 40.0) as figure:
        figure.text(0.1, 0.5, style.plain("$\\frac{a$ & <b> \x07^_{"), fontsize=8.0)
        paths = style.save(figure, tmp_path, "text", {"": {"a_mm": [1.0, 2.5]}})
    assert paths[-1].read_text() == "a_mm\n1\n2.5\n"


def test_inputs_tell_what_was_given_and_what_was_estimated():
    found = {i.path: i for i in inputs(read_text(SPECIMEN))}
    assert found["concrete.closure.strength"].origin == "given"
    assert found["concrete.closure.strength"].value == "35 MPa (5.08 ksi)"
    assert found["concrete.closure.tensile_strength"].origin == "given"
    assert found["concrete.precast.tensile_strength"].origin == "estimated"
    assert "MC2010" in found["concrete.precast.tensile_strength"].formula
    assert found["joint.friction"].origin == "default"
    assert found["body.span"].value == "4800 mm (189 in)"
    assert "bars.right.size" not in found and "confinement.legs" not in found


def test_short_names_of_stations():
    assert [short_name(n) for n in ("A/lead", "B/tail-end", "A/transverse-bar")] == ["A1", "B5", "A transverse-bar"]


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0125, "0.0125"), (131.5, "132"), (0.0, "0"), (-2.5, "−2.5"), (float("nan"), "–"), (1e6, "1000000")],
)
def test_short_numbers(value, text):
    assert style.short(value) == text


def test_ends_of_scales_never_cut_off():
    for value in 10.0 ** np.linspace(-4.0, 4.0, 200):
        assert value * (1 - 1e-9) <= style.ceiling(value) <= 2.0 * value and style.nice(value) <= value * (1 + 1e-9)
