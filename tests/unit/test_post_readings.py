"""Gauges read at every step, their band, the file, and the sheet that tells them.

Sources: a run written by hand (``report_data``): 360 MPa at the joint face at its largest load, falling evenly to
nothing over 400 mm, deflection 2 mm a step, joints opening by 0.3 mm in all; the band against a straight line, for
which a load off by a factor f reads r / f; interpolation by hand.
"""

from __future__ import annotations

import math
import re
import runpy
from pathlib import Path

import numpy as np
import pytest

from fesplice.contracts import FolderFault
from fesplice.post.readings import GAUGES, GaugeTable, gauge_table, rising, with_band
from fesplice.report.sheet import sheet
from fesplice.report.sheetprint import write_sheet
from fesplice.sizing import check
from fesplice.sizing.instruments import gauges_of
from fesplice.sizing.testday import test_day as plan_day
from fesplice.specimen import read_text

DATA = runpy.run_path(str(Path(__file__).with_name("report_data.py")))
MADE = runpy.run_path(str(Path(__file__).with_name("prediction_data.py")))
GAUGED = """
[[gauges]]
id = "face, left"
kind = "bar_strain"
bar = "A1"
from_joint = "0 mm"
[[gauges]]
id = "in"
kind = "bar_strain"
bar = "A1"
from_joint = "200 mm"
[[gauges]]
id = "mid"
kind = "deflection"
x = "0 mm"
[[gauges]]
id = "joint"
kind = "joint_opening"
joint = "left"
[[gauges]]
id = "off"
kind = "deflection"
x = "600 mm"
[[gauges]]
id = "ram"
kind = "load"
"""


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return DATA["write_run"](tmp_path_factory.mktemp("readings") / "elevation")


@pytest.fixture(scope="module")
def specimen():
    return read_text(DATA["SPECIMEN"] + GAUGED)


@pytest.fixture(scope="module")
def table(run, specimen) -> GaugeTable:
    return gauge_table(specimen, gauges_of(specimen), run, None, (0.8, 1.25))


def test_gauges_are_read_at_every_step(run, table: GaugeTable) -> None:
    assert len(table.step) == run.n_steps and table.ids == ("face, left", "in", "mid", "joint", "off", "ram")
    assert np.array_equal(table.load, np.asarray(run.curve["load_N"], float))
    top = int(np.argmax(table.load))
    face, inside, mid, joint, _, ram = table.reading[top]
    assert mid == pytest.approx(2.0 * top)
    assert face == pytest.approx(360.0 / 2e5, rel=0.03) and inside == pytest.approx(180.0 / 2e5, rel=0.06)
    assert joint == pytest.approx(0.3) and ram == table.load[top]
    # everything is zeroed under own weight, but for the load
    assert np.abs(table.reading[0, :5]).max() == 0.0


def test_deflection_off_midspan_is_read_off_the_movements_of_the_points(run, table: GaugeTable) -> None:
    """The points written by hand move by their own rule: the gauge must read the soffit where it sits."""
    mesh = run.mesh
    soffit = np.flatnonzero(np.abs(mesh.points[:, 1]) < 1e-9)
    soffit = soffit[np.argsort(mesh.points[soffit, 0])]
    now, zero = (run.step(run.indices[k]).fields["u"][2 * soffit + 1] for k in (3, 0))
    at = -np.interp(600.0, mesh.points[soffit, 0], now - zero)
    assert at != 0.0 and table.reading[3, table.column("off")] == pytest.approx(at, rel=1e-6)


def test_the_band_of_a_straight_line_is_its_factor_and_the_load_has_none() -> None:
    load = np.linspace(0.0, 100e3, 21)
    reading = np.column_stack([load / 1e3, load])
    low, high = with_band(load, reading, (0.8, 1.25), [False, True])
    assert low[:, 0] == pytest.approx(0.8 * reading[:, 0])
    # above the largest load over the low factor the curve knows no more
    inside = load <= 80e3
    assert high[inside, 0] == pytest.approx(1.25 * reading[inside, 0])
    assert (low[:, 1] == reading[:, 1]).all() and (high[:, 1] == reading[:, 1]).all()


def test_behind_the_largest_load_there_is_no_band() -> None:
    load = np.array([0.0, 50.0, 100.0, 60.0])
    low, high = with_band(load, load[:, None] / 10.0, (0.9, 1.1), [False])
    assert rising(load).tolist() == [0, 1, 2]
    assert math.isnan(low[3, 0]) and math.isnan(high[3, 0]) and not np.isnan(low[:3]).any()


def test_readings_at_a_load_lie_between_the_steps(table: GaugeTable) -> None:
    load, face = table.load, table.reading[:, 0]
    half = 0.5 * (load[1] + load[2])
    assert table.at([half])[0, 0] == pytest.approx(0.5 * (face[1] + face[2]))
    assert np.isnan(table.at([2.0 * table.largest])).all()


def test_the_file_gives_the_table_back(table: GaugeTable, tmp_path: Path) -> None:
    (tmp_path / GAUGES).write_text(table.to_csv(), encoding="utf-8")
    back = GaugeTable.read(tmp_path)
    assert back.ids == table.ids and back.quantities == table.quantities
    for name in ("load", "reading", "low", "high"):
        assert np.allclose(getattr(back, name), getattr(table, name), rtol=1e-4, atol=1e-9, equal_nan=True)
    head = (tmp_path / GAUGES).read_text().splitlines()[0]
    assert '"face, left [microstrain]"' in head and "mid high [mm]" in head and "ram [kN]" in head


HEAD = "step,load_N,bar_stress_MPa,x [mm]"


@pytest.mark.parametrize(
    "text", ["", "a,b\n1,2\n", f"{HEAD}\n1,2,3,4\n", f"{HEAD},x low [mm],x high [mm]\n1,2,3,oh,4,5\n"]
)
def test_a_damaged_table_is_one_fault(text: str, tmp_path: Path) -> None:
    (tmp_path / GAUGES).write_text(text, encoding="utf-8")
    with pytest.raises(FolderFault, match=re.escape(str(tmp_path / GAUGES))):
        GaugeTable.read(tmp_path)
    (tmp_path / GAUGES).unlink()
    with pytest.raises(FolderFault, match=f"holds no {GAUGES}"):
        GaugeTable.read(tmp_path)


def test_the_sheet_tells_one_prediction_every_gauge_and_leaves_room_to_write(
    run, specimen, table: GaugeTable, tmp_path: Path
) -> None:
    found = MADE["made"](load=80e3)
    page = sheet(specimen, check(specimen), plan_day(specimen, check(specimen)), run, None, found, table)
    heads = page.gauges.heads
    assert [h.split(":")[0] for h in heads[3:]] == ["0.25 P", "0.5 P", "0.75 P", "0.9 P", "1 P", "upper bound", "read"]
    assert [r[1] for r in page.gauges.rows] == ["face, left", "in"]
    assert [r[1] for r in page.sensors.rows] == ["mid", "joint", "off"]
    at = float(np.interp(0.5 * 80e3, table.load[:5], 1e6 * table.reading[:5, 0]))
    assert float(page.gauges.rows[0][4].rstrip("*")) == pytest.approx(at, abs=0.6)
    assert {s.label for s in page.spots} == {"G1", "G2", "D1", "D2", "D3", "P1"}
    out = write_sheet(page, tmp_path / "sheet.html", "letter")
    assert "size: letter" in out.read_text()
    lines = (tmp_path / "sheet.csv").read_text().splitlines()
    assert len(lines) == 2 + len(specimen.gauges) and lines[1].endswith(",read")
    write_sheet(page, tmp_path / "sheet.pdf")
    assert (tmp_path / "sheet.pdf").read_bytes().count(b"/Type /Page ") == 1


def test_a_gauge_on_the_bar_is_drawn_where_it_sits(specimen, table: GaugeTable) -> None:
    """From the joint face of the left bars into the lap x grows; the bar lies at its depth (the file's dimensions)."""
    from fesplice.report.sheetgauges import expected

    marks = {m.label: m for m in expected(specimen, specimen.gauges, table, MADE["made"](load=80e3)).marks}
    closure, depth = specimen.body.closure, specimen.body.depth - specimen.bars.left.depth
    assert (marks["G1"].x, marks["G1"].y) == pytest.approx((-0.5 * closure, depth))
    assert marks["G2"].x - marks["G1"].x == pytest.approx(200.0)
    assert marks["G1"].z == min(specimen.bars.left.positions)
