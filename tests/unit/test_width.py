"""Effective width of wedging bond: where it acts, how the table is read, what a run says of it.

Sources: geometry; the equivalent cover from the exponents of fib Model Code 2010, eq. 6.1-19.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fesplice.geometry import build_mesh, elevation
from fesplice.laws import WedgingBond
from fesplice.laws.wedge import TABLE, effective_width
from fesplice.mesh import LEAD
from fesplice.model.build import elevation_model
from fesplice.model.width import narrowed, wedging_leads
from fesplice.pipeline.manifest import warnings
from fesplice.specimen import read
from fesplice.specimen.read import vary_many

MODELS = Path(__file__).parents[2] / "models"
D = 28.7  # No. 29
CHANGES = {"bond.splitting": "wedging", "bond.effective_width": 4.0, "mesh.splice": "14 mm"}
SPECIMEN = vary_many(read(MODELS / "as29-100-u.toml"), CHANGES)
MESH = build_mesh(elevation(SPECIMEN), SPECIMEN.mesh)
LEVEL = 60.0  # bar centres above the tension face


def taken_away(mesh=MESH, specimen=SPECIMEN) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Per quadrilateral of the closure: thickness lost to the effective width, and its corners."""
    before, after = mesh.groups["closure"], narrowed(specimen, mesh).groups["closure"]
    xy = mesh.points[before.cells]
    return before.data["thickness"] - after.data["thickness"], xy.min(axis=1), xy.max(axis=1)


def test_width_is_that_of_the_bars_present_within_the_gauges() -> None:
    """Four bars of 4 d_b in the lap, two beyond it; full width above and below the gauges."""
    lost, low, high = taken_away()
    middle = 0.5 * (low + high)
    level = np.abs(middle[:, 1] - LEVEL) < 1.0
    lap = level & (np.abs(middle[:, 0]) < 200.0)
    assert lost[lap] == pytest.approx(600.0 - 4 * 4 * D)
    beyond = level & (np.abs(middle[:, 0]) > 250.0)
    assert beyond.any() and lost[beyond] == pytest.approx(600.0 - 2 * 4 * D)
    outside = (low[:, 1] > LEVEL + 0.75 * D) | (high[:, 1] < LEVEL - 0.75 * D)
    assert not lost[outside].any()


def test_area_taken_away_does_not_depend_on_the_mesh() -> None:
    """Over the height 2 x 0.75 d_b, whatever the rows: rows partly between the gauges count by their share.

    The bars reach to the centre lines of their tails: half a diameter short of the lap at both ends.
    """
    areas = []
    for size in ("14 mm", "18 mm", "21 mm"):
        mesh = build_mesh(elevation(SPECIMEN), vary_many(SPECIMEN, {"mesh.splice": size}).mesh)
        lost, low, high = taken_away(mesh)
        areas.append(float(lost @ np.prod(high - low, axis=1)))
    lap, rest = 460.0 - D, 100.0 + D
    exact = 1.5 * D * (lap * (600.0 - 16 * D) + rest * (600.0 - 8 * D))
    assert areas == pytest.approx([exact] * 3, rel=1e-6)


def test_nothing_is_touched_without_wedging() -> None:
    for other in ("branch", "none"):
        assert narrowed(vary_many(SPECIMEN, {"bond.splitting": other}), MESH) is MESH
    continuous = read(MODELS / "as29-cb.toml")
    assert not wedging_leads(continuous, build_mesh(elevation(continuous), continuous.mesh))


def test_straight_leads_in_the_closure_wedge_and_nothing_else() -> None:
    """Thrust number x d_b x tan(45 degrees) on the lead; bend, tail and precast only pull out, without K_tr."""
    model = elevation_model(SPECIMEN, MESH)
    part = next(p for p in model.parts if isinstance(p.law, WedgingBond))
    assert set(part.groups) == {"bond:A", "bond:B"}
    for name, rows in part.groups.items():
        line = MESH.lines[name.removeprefix("bond:")]
        wedges = (np.abs(MESH.points[line.nodes, 0]) < 280.0) & (line.zone == LEAD)
        assert part.law.thrust[rows] == pytest.approx(np.where(wedges, 2 * D, 0.0))
        assert part.law.bond.curve.top[rows] == pytest.approx(part.law.bond.curve.peak[rows])


# ------------------------------------------------------------------ the table
def test_table_holds_its_own_rows_and_what_lies_between() -> None:
    rows = [row.split(",") for row in TABLE.read_text(encoding="utf-8").splitlines() if row[0].isdigit()]
    values = {tuple(map(float, row[:3])): float(row[3]) for row in rows}
    assert len(values) == 27
    for (d, cover, f_cm), k in values.items():
        assert effective_width(d, cover * d, cover * d, f_cm) == (pytest.approx(k), "")
    mean = 0.5 * (values[25.0, 2.0, 25.0] + values[25.0, 2.0, 40.0])
    assert effective_width(25.0, 50.0, 50.0, 32.5)[0] == pytest.approx(mean)


def test_every_row_met_its_target() -> None:
    """Bar stress reached against MC2010 eq. 6.1-19, evaluated here from its printed form."""
    for row in TABLE.read_text(encoding="utf-8").splitlines():
        if row[0].isdigit():
            d, cover, f_cm, _, reached, _ = map(float, row.split(","))
            goal = 54.0 * (f_cm / 25.0) ** 0.25 * (25.0 / d) ** 0.2 * 20.0**0.55 * cover**0.25
            assert reached == pytest.approx(goal, rel=0.03)


def test_a_wider_side_counts_as_an_equal_cover_of_the_same_strength() -> None:
    """(c_min/d)^0.25 (c_max/c_min)^0.1 of 40 and 80 mm is that of 40 x 2^0.4 on all sides."""
    equal = 40.0 * 2.0**0.4
    assert effective_width(25.0, 40.0, 80.0, 35.0) == effective_width(25.0, equal, equal, 35.0)


def test_beyond_the_table_its_edge_serves_and_the_run_says_so() -> None:
    k, remark = effective_width(50.0, 50.0, 50.0, 35.0)
    assert k == effective_width(36.0, 36.0, 36.0, 35.0)[0] and "bar diameter 50 outside 16 to 36" in remark
    closure = {"concrete.closure.strength": "80 MPa", "concrete.closure.elastic_modulus": "40 GPa"}
    strong = vary_many(SPECIMEN, {"bond.effective_width": None, **closure})
    told = warnings(strong, MESH)
    assert any("edge of its table" in text and "f_cm 80" in text for text in told)
    assert any("effective width of bars A" in text and "6.1-19" in text for text in told)
    assert not any("effective width" in text for text in warnings(SPECIMEN, MESH))
    steep = vary_many(SPECIMEN, {"bond.effective_width": None, "bond.wedge_angle": 55.0})
    assert any("calibrated for 45 degrees and 0.05 mm" in text for text in warnings(steep, MESH))
