"""What scripts/wedging reads from a run of a hooked lap with wedging bond, and one small run of it.

Sources: kinematics (values by hand); for the run, common practice, no source: ribs that drive the concrete apart lift
the cover off, stirrups across that crack hold it.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from wedging import page, spread  # noqa: E402
from wedging_read import FALL, SIZES, Along, Case, Cover, Found, Look, cases, fall_depth, first_fall, first_reach, short  # noqa: E402  # noqa: E402

from fesplice import analyse  # noqa: E402
from fesplice.elements import ELEMENTS  # noqa: E402
from fesplice.elements.membrane import quad_shape  # noqa: E402
from fesplice.geometry import build_mesh, elevation  # noqa: E402
from fesplice.model.width import narrowed, wedging_leads  # noqa: E402
from fesplice.post.concrete import VISIBLE  # noqa: E402
from fesplice.post.elevation.trace import trace  # noqa: E402
from fesplice.specimen import vary_many  # noqa: E402

#: Elements for a first look, and the rest of the beam as coarse as its depth allows.
COARSE = {"mesh.splice": "40 mm", "mesh.elsewhere": "140 mm"}


# ------------------------------------------------------------------ readings
def test_rows_of_the_page() -> None:
    """Three sizes, all at most 0.75 d_b of 28.7 mm; the halved step is half the usual one and allowed twice as many."""
    every = cases()
    assert sorted(c.size for c in every if c.model == "U" and c.meshed) == [14.0, 18.0, 21.5]
    every += short()
    assert all(c.size <= 0.75 * 28.7 for c in every) and len({c.name for c in every}) == len(every)
    usual, half = (Case("U", step=k).specimen() for k in (1.0, 0.5))
    assert usual.analysis.step is None and half.analysis.max_steps == 2 * usual.analysis.max_steps
    assert half.bond.splitting == "wedging" and Case("U", "branch").specimen().bond.splitting == "branch"


def test_mesh_moves_no_gauge_and_no_width() -> None:
    """Gauge points stand at 60 +- 0.75 x 28.7 mm on every mesh, and the same concrete is taken away between them."""
    taken = []
    for size in SIZES:
        s = Case("U", size=size).specimen()
        mesh = build_mesh(elevation(s), s.mesh)
        for name, leads in wedging_leads(s, mesh).items():
            data = mesh.groups[name].data
            hosts = data["gauge_hosts"].reshape(-1, 2, 4)[leads]
            shape = quad_shape(data["gauge_local"][leads])[0]
            level = np.sort((shape * mesh.points[hosts, 1]).sum(axis=2), axis=1)
            assert level[:, 0] == pytest.approx(38.475, abs=1e-6) and level[:, 1] == pytest.approx(81.525, abs=1e-6)
        g, after = mesh.groups["closure"], narrowed(s, mesh).groups["closure"]
        volume = ELEMENTS["quad4"].kinematics(mesh.points[g.cells], {"thickness": g.data["thickness"] * 0.0 + 1.0})[1]
        taken.append(float((volume.sum(axis=1) * (g.data["thickness"] - after.data["thickness"])).sum()))
    assert taken[0] > 0.0 and taken == pytest.approx([taken[0]] * len(SIZES), rel=1e-6)


@pytest.mark.parametrize("size", ["43 mm", "21.5 mm"])
def test_lift_of_a_given_movement(size: str) -> None:
    """An even strain of 0.001 over the 60 + 0.75 x 28.7 mm to the upper level; a cover that is 0.4 mm lower."""
    s = vary_many(Case("U").specimen(), {**COARSE, "mesh.splice": size})
    mesh = build_mesh(elevation(s), s.mesh)
    cover = Cover(mesh, s.bars.lap)
    u = np.zeros(2 * len(mesh.points))
    u[1::2] = 0.001 * mesh.points[:, 1] + 0.01 * mesh.points[:, 0]
    assert cover.lift(u) == pytest.approx(0.001 * (60.0 + 0.75 * 28.7))
    u[:] = 0.0
    u[1::2] = np.where(mesh.points[:, 1] < 10.0, -0.4, 0.0)
    assert cover.lift(u) == pytest.approx(0.4)
    u[1::2] = np.where(mesh.points[:, 1] > 150.0, 0.4, 0.0)
    assert cover.lift(u) == pytest.approx(0.0)


def test_crack_of_a_given_opening() -> None:
    """Flat cracks of 0.2 mm below the bars and 0.1 mm above add up where both are; upright ones do not count."""
    s = vary_many(Case("U").specimen(), COARSE)
    mesh = build_mesh(elevation(s), s.mesh)
    along = Along(mesh, s.bars.lap)
    middle = mesh.points[mesh.groups["closure"].cells].mean(axis=1)
    levels = np.unique(middle[:, 1].round(3))
    low, high, beyond = (np.abs(middle[:, 1] - y) < 1e-2 for y in levels[[0, len(along.rows) - 1, len(along.rows)]])
    crack = np.zeros((len(middle), 4, 3))
    crack[..., 1], crack[..., 2] = 0.5 * np.pi, 20.0  # normal upwards, band 20 mm
    crack[low, :, 0], crack[high & (middle[:, 0] > 0.0), :, 0], crack[beyond, :, 0] = 0.01, 0.005, 1.0
    width = along.width({"closure/crack": crack})
    assert width[along.x < -45.0] == pytest.approx(0.2) and width[along.x > 45.0] == pytest.approx(0.3)
    crack[..., 1] = 0.0
    assert along.width({"closure/crack": crack}) == pytest.approx(0.0)


def test_first_fall() -> None:
    """100 to 96 is no fall of 5 %, 110 to 104 is; what comes before the start does not count."""
    load = np.array([0.0, 50.0, 40.0, 100.0, 96.0, 110.0, 104.0, 200.0])
    assert FALL == 0.05 and first_fall(load, 3) == 5 and first_fall(load, 0) == 1
    assert first_fall(np.array([0.0, 1.0, 2.0]), 0) is None
    assert fall_depth(np.array([0.0, 100.0, 95.0, 88.0, 90.0, 50.0]), 1) == pytest.approx(0.12)


def test_deflection_at_a_stress() -> None:
    """Half way between 300 MPa at 2 mm and 500 MPa at 4 mm; the first time counts."""
    deflection, stress = np.array([0.0, 2.0, 4.0, 5.0, 9.0]), np.array([0.0, 300.0, 500.0, 350.0, 600.0])
    assert first_reach(deflection, stress, 400.0) == pytest.approx(3.0)
    assert math.isnan(first_reach(deflection, stress, 700.0))


def test_spread_and_what_is_told_of_it() -> None:
    """100, 104, 105 MPa are 5.0 % apart and met; 106 is not; a missing value is told as a dash."""
    assert spread([100.0, 105.0, 104.0]) == pytest.approx(0.05)
    assert all(math.isnan(spread(v)) for v in ([100.0, math.nan], [100.0], []))

    def row(size: float, first: float, dropped: bool = True) -> Found:
        at = {"strength": Look(9, 5.0, first, 0.2, 120.0, 0.3, 0.1, math.nan)}
        steps = {"steps": 50, "loose": 0, "relaxed": 1, "failed": 2, "seconds": 9.0, "depth": 0.1}
        stress = {"lost": 200.0, "fell": 200.0, "lifted": math.nan, "first": first, "largest": 700.0, "soft": 20.0}
        return Found(
            case=Case("U", size=size), dropped=dropped, ending="end", failure="split", looks=at, **stress, **steps
        )

    good = page([row(21.5, 300.0), row(18.0, 302.0), row(14.0, 310.0)])
    line = next(text for text in good.splitlines() if text.startswith("| U, three meshes"))
    assert line.count(" met") == 5 and "not met" not in line and "3.3 %" in line and "–" in line
    poor = page([row(21.5, 700.0, False), row(18.0, 302.0), row(14.0, 310.0)])
    line = next(text for text in poor.splitlines() if text.startswith("| U, three meshes"))
    assert "**not met**" in line and "| >700 |" in poor


# ------------------------------------------------------------------ a run
def test_wedging_lifts_the_cover_and_stirrups_hold_it(tmp_path: Path) -> None:
    """Coarse beams loaded to 2.5 mm, past the splitting of the lead: only the unconfined cover comes off visibly.

    Stirrups then carry a force and the bars more stress than without; the splitting branch moves no concrete.
    """
    lift, stress, legs = {}, {}, {}
    for model, splitting in (("U", "branch"), ("U", "wedging"), ("S3", "wedging")):
        s = vary_many(Case(model, splitting).specimen(), {**COARSE, "analysis.end_deflection": "2.5 mm"})
        run = analyse(s, tmp_path / f"{model}-{splitting}")
        plane, cover = trace(run).interface, Cover(run.mesh, s.bars.lap)
        key = model, splitting
        lift[key] = max(cover.lift(step.u).max() for step in run.steps())
        stress[key], legs[key] = plane.bar_stress[-1], plane.leg_stress[-1].max(initial=0.0)
    assert lift["U", "branch"] < 0.01 < lift["S3", "wedging"] < VISIBLE < 0.2 < lift["U", "wedging"]
    assert stress["U", "wedging"] < stress["S3", "wedging"]
    assert legs["S3", "wedging"] > 10.0 and legs["U", "wedging"] == 0.0
