"""Findings of a run: strength of made-up curves, events and verdict from made-up traces, a whole run on disk.

The run is written by hand on the mesh of a real specimen: support forces, bar stresses and cracks are
put in, so that the findings can be compared with what was put in. Self-weight: volume x density x g.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fesplice.contracts import FolderFault, Outcome
from fesplice.geometry import build_mesh, elevation
from fesplice.post.concrete import largest_widths
from fesplice.post.elevation import bars, hooks
from fesplice.post.elevation.findings import cracking, settled, strength, summarise
from fesplice.post.elevation.layout import layout, tensile_strengths
from fesplice.post.elevation.trace import Moment, Spot, events
from fesplice.post.equilibrium import run_balance, run_loads
from fesplice.post.points import gather
from fesplice.specimen import read, vary
from fesplice.store import Run, RunWriter, StepRecord

MODEL = Path(__file__).parents[2] / "models" / "as29-100-u.toml"
G = 9.80665


# ------------------------------------------------------------------ strength
def test_strength_without_a_drop_is_the_largest_load():
    s = strength(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 50.0, 80.0, 75.0]))
    assert not s.dropped and s.first == 80.0 and s.first_deflection == 2.0 and np.isnan(s.later)


def test_strength_tells_the_bond_peak_and_the_hook_peak():
    # bond peak 100 at 2 mm, down to 60, hook peak 120 at 5 mm; 130 at 7 mm lies beyond three times 2 mm
    d = np.array([0.0, 1.0, 2.0, 2.2, 2.4, 3.0, 5.0, 5.5, 7.0])
    p = np.array([0.0, 60.0, 100.0, 80.0, 60.0, 90.0, 120.0, 118.0, 130.0])
    s = strength(d, p)
    assert s.dropped and (s.first, s.first_deflection) == (100.0, 2.0)
    assert (s.lowest, s.lowest_row) == (60.0, 4) and (s.later, s.later_deflection) == (120.0, 5.0)


def test_a_fall_of_14_percent_is_no_drop():
    d, p = np.arange(4.0), np.array([0.0, 100.0, 86.0, 110.0])
    assert not strength(d, p).dropped
    p[2] = 85.0
    assert strength(d, p).dropped


def test_the_fall_at_first_cracking_is_no_failure_unless_it_is_the_end():
    d = np.arange(6.0)
    regained = np.array([0.0, 80.0, 60.0, 90.0, 120.0, 70.0])
    assert strength(d, regained).first == 80.0
    assert strength(d, regained, cracked=2).first == 120.0
    lost = np.array([0.0, 80.0, 60.0, 62.0, 65.0, 60.0])
    assert strength(d, lost, cracked=2).first == 80.0


# ------------------------------------------------------------------ traces
def moment(step, load, **changes) -> Moment:
    none = Spot(0.0, 0.0, 0.0)
    cracks = dict.fromkeys(("flat", "inclined", "upright"), none)
    at_a = {"A": 0.0}
    base = Moment(step, load, 0.1 * step, {"closure": 0.0}, cracks, none, none, none, at_a, at_a, at_a, at_a)
    return replace(base, **changes)


def test_cracking_takes_the_load_from_before_the_fall():
    wide = {"flat": Spot(0.0, 0, 0), "inclined": Spot(0.0, 0, 0), "upright": Spot(0.07, 0, 0)}
    got = cracking(
        [moment(1, 30e3), moment(2, 40e3, strain={"closure": 2e-4}), moment(3, 38e3, cracks=wide)], {"closure": 1e-4}
    )
    assert (got.first, got.first_step) == (40e3, 2) and (got.visible, got.visible_step) == (40e3, 3)


def test_the_fall_when_a_joint_opens_is_no_failure():
    # 9.9 kN, a joint opens and 8.3 kN are left, then the load rises to 42 kN without any visible crack
    shut, wide = Spot(0.01, 280.0, 0.0), Spot(0.2, 280.0, 0.0)
    loads = [0.0, 9.9e3, 8.3e3, 11.5e3, 42e3]
    course = [moment(k, p, joint=wide if k >= 2 else shut) for k, p in enumerate(loads)]
    row = settled(course, cracking(course, {"closure": 1e-4}))
    assert row == 2 and not strength(np.arange(5.0), np.array(loads), row).dropped
    assert settled(course[:2], cracking(course[:2], {"closure": 1e-4})) == 0


def test_no_crack_no_cracking_load():
    got = cracking([moment(1, 30e3)], {"closure": 1e-4})
    assert np.isnan(got.first) and got.visible_step == -1


def test_events_stand_in_order_of_their_steps():
    steps = [
        moment(1, 10e3, joint=Spot(0.06, -280, 0)),
        moment(2, 20e3, joint=Spot(0.2, -280, 0), past={"A": 0.6}),
        moment(3, 30e3, past={"A": 0.8}, stress={"A": 500.0}, crushing=Spot(0.004, 0, 570)),
    ]
    found = events(steps, {"A": 480.0})
    assert [e.step for e in found] == [1, 2, 3, 3]
    assert "joint" in found[0].what and "lead A" in found[1].what
    assert events(steps, {"A": 600.0})[-1].what.startswith("concrete")


# ------------------------------------------------------------------ a run on disk
LOADS = {1: 0.0, 2: 60e3, 3: 100e3, 4: 120e3, 5: 90e3}
STRESS = {1: 10.0, 2: 180.0, 3: 300.0, 4: 360.0, 5: 280.0}


@pytest.fixture(scope="module")
def specimen():
    return vary(vary(read(MODEL), "mesh.splice", "36 mm"), "mesh.elsewhere", "120 mm")


@pytest.fixture(scope="module")
def mesh(specimen):
    return build_mesh(elevation(specimen), specimen.mesh)


def blank(mesh) -> dict[str, np.ndarray]:
    """Fields of an unstrained beam."""
    n_dof = 2 * len(mesh.points)
    out = {"u": np.zeros(n_dof), "reactions": np.zeros(n_dof)}
    shapes = {"quad4": {"strain": (4, 3), "stress": (4, 3), "crack": (4, 3)}, "truss2": {"strain": (), "stress": ()},
              "frame2": {"strain": (), "stress": (), "moment": ()},
              "bond": {"slip": (), "gap": (), "tau": (), "bearing": ()},
              "joint": {"opening": (2,), "slip": (2,), "normal": (2,), "shear": (2,)}}  # fmt: skip
    for name, g in mesh.groups.items():
        for quantity, shape in shapes[g.kind].items():
            out[f"{name}/{quantity}"] = np.zeros((len(g.cells), *shape))
    return out


def element_at(mesh, x, y) -> int:
    centre = mesh.points[mesh.groups["closure"].cells].mean(axis=1)
    return int(np.argmin(np.hypot(centre[:, 0] - x, centre[:, 1] - y)))


def write(
    folder, specimen, mesh, *, stress=STRESS, late_flat=1.0, late_slip=0.3, late_tau=0.0, steps=5, finish=True,
    flat_y=None, bond=None,
) -> Run:
    """Run of up to five steps; the last falls to 90 kN with ``late_*`` changes: flat crack, slip and bond of B.

    ``flat_y``: height of the flat crack, else that of the bars; ``bond``: (slip, bond stress) of B by step.
    """
    weight = 2500.0 * G * 0.600 * 0.575 * 5.2
    plan = layout(mesh)
    upright, flat = element_at(mesh, -200.0, 20.0), element_at(mesh, -100.0, flat_y or plan.anchors["A"].level)
    with RunWriter.create(folder, specimen_text=specimen.text, specimen_name=specimen.name,
                          specimen_digest=specimen.digest, mesh=mesh, settings={}, versions={}) as writer:  # fmt: skip
        for i in range(1, steps + 1):
            f, load = blank(mesh), LOADS[i]
            for side in ("left", "right"):
                f["reactions"][2 * mesh.node_sets[f"support:{side}"] + 1] = load + 0.5 * weight
            for line in ("A", "B"):
                for group in mesh.lines[line].groups:
                    f[f"{group}/stress"][:] = stress[i]
            f["closure/crack"][..., 2] = f["precast/crack"][..., 2] = 20.0
            f["closure/crack"][upright, :, 0] = {1: 0.0, 2: 0.02, 3: 0.08, 4: 0.10, 5: 0.20}[i] / 20.0
            if i == 5:
                f["closure/crack"][flat, :, 0], f["closure/crack"][flat, :, 1] = late_flat / 20.0, np.pi / 2
                f["bond:B/slip"][:] = late_slip
            f["bond:B/tau"][:] = late_tau if i == 5 else 0.02 * stress[i]
            if bond and i in bond:
                f["bond:B/slip"][:], f["bond:B/tau"][:] = bond[i]
            f["closure/stress"][..., 1] = 1e-5 * load
            columns = {"load_N": load, "deflection_mm": 2.0 * i, "load_point_mm": 1.5 * i, "joint_left_mm": 0.1 * i,
                       "joint_right_mm": 0.2 * i, "outcome": "loose" if i == 3 else "converged"}  # fmt: skip
            writer.accept(StepRecord(i, columns, f))
        if finish:
            writer.finish(Outcome.softened, {})
    return Run(folder)


@pytest.fixture(scope="module")
def run(tmp_path_factory, specimen, mesh) -> Run:
    return write(tmp_path_factory.mktemp("runs") / "a", specimen, mesh)


def test_loads_and_equilibrium_of_the_run(run):
    loads = run_loads(run)
    assert sorted(loads.rams) == pytest.approx([-900.0, 900.0])
    assert loads.dead[0] == pytest.approx(-2500.0 * G * 0.600 * 0.575 * 5.2, rel=1e-3)
    assert loads.dead[1] == pytest.approx(0.0, abs=1e-6)
    b = run_balance(run, 4)
    assert b.reactions == pytest.approx(240e3 + 43.99e3, rel=1e-3)
    assert b.residual < 1e-6 and b.moment_residual < 1e-9


def test_summary_returns_what_was_put_in(run):
    s = summarise(run)
    assert (s.peak_load, s.peak_step, s.peak_deflection) == (120e3, 4, 8.0)
    assert s.cracking.first_step == 2 and s.cracking.visible_step == 3 and s.cracking.visible == 100e3
    assert s.strength.dropped and s.strength.first == 120e3 and s.drop_after_peak == pytest.approx(0.25)
    assert s.bar_stress == pytest.approx({"A": 360.0, "B": 360.0})
    assert s.yield_share["A"] == pytest.approx(360.0 / 725.0) and s.hook_share["A"] == pytest.approx(1.0)
    assert s.joint_opening == pytest.approx({"left": 0.4, "right": 0.8})
    assert s.loose_steps == 1 and s.steps == 5 and s.worst_residual < 1e-6
    assert s.widest_crack is not None and s.widest_crack.width == pytest.approx(0.10)
    assert s.widest_crack.x == pytest.approx(-200.0, abs=25.0)


def test_tie_demand_is_the_stress_put_in(run, mesh):
    # 1.2 MPa against 1.95 MPa over every bar-level cut
    s = summarise(run)
    assert s.tie_usage == pytest.approx(1.2 / 1.95, rel=1e-5)
    a = s.ties[0]
    assert a.demand / a.capacity == pytest.approx(1.2 / 1.95, rel=1e-5) and a.lift == 0.0
    # the bend of A crosses the cut where its circle (bend of 8 d_b) leans by acos(1 - rise / R); 12 chords
    anchor = layout(mesh).anchors["A"]
    rise, radius = 0.5 * sum(anchor.above) - 60.0, 4.5 * 28.7
    lean = np.sqrt(1.0 - (1.0 - rise / radius) ** 2)
    assert a.bars == pytest.approx(360.0 * 2 * 645.0 * lean, rel=0.06)


def test_flat_crack_in_the_drop_is_named_with_its_place(run):
    v = summarise(run).verdict
    assert v.kind == "splitting" and v.x == pytest.approx(-100.0, abs=25.0)
    assert "at bar level" in v.what
    assert any("360 of 725 MPa" in line for line in v.evidence)


def test_slipping_bars_are_named_when_they_move_more_than_cracks(tmp_path, specimen, mesh):
    v = summarise(write(tmp_path / "b", specimen, mesh, late_flat=0.05, late_slip=1.5, late_tau=7.0)).verdict
    assert v.kind == "slip of the hook" and "bars B" in v.what and v.x < 0.0


def test_lead_past_its_bond_peak_is_named_before_its_hook(tmp_path, specimen, mesh):
    # bond falls from 7.2 MPa to a tenth of it while the bar slips on; with 6.5 MPa left it is not past its peak
    v = summarise(write(tmp_path / "b", specimen, mesh, late_flat=0.05, late_slip=1.5, late_tau=0.72)).verdict
    assert v.kind == "bond of the lead" and "100%" in v.what and -280.0 < v.x < 280.0
    v = summarise(write(tmp_path / "c", specimen, mesh, late_flat=0.05, late_slip=1.5, late_tau=6.5)).verdict
    assert v.kind == "slip of the hook"


def test_bending_crack_is_named_only_when_nothing_else_moves(tmp_path, specimen, mesh):
    v = summarise(write(tmp_path / "c", specimen, mesh, late_flat=0.0, late_slip=0.0)).verdict
    assert v.kind == "bending crack" and v.x == pytest.approx(-200.0, abs=25.0)


def test_yielding_bars_come_first(tmp_path, specimen, mesh):
    v = summarise(write(tmp_path / "d", specimen, mesh, stress={**STRESS, 4: 730.0})).verdict
    assert v.kind == "yielding"


def test_bond_lost_before_yield_stands_first(tmp_path, specimen, mesh):
    # bond of B falls to almost nothing at the third step while it slips on; the bars yield at the fourth
    bond = {3: (0.5, 0.1), 4: (0.8, 0.1), 5: (1.0, 0.1)}
    s = summarise(write(tmp_path / "i", specimen, mesh, stress={**STRESS, 4: 730.0}, bond=bond))
    assert s.bond_loss.line == "B" and s.verdict.kind == "bond of the lead"
    assert "bars B was lost" in s.verdict.what and "yielded at the joint face" in s.verdict.what
    late = summarise(write(tmp_path / "j", specimen, mesh, stress={**STRESS, 2: 730.0}, bond=bond))
    assert late.bond_loss.line == "B" and late.verdict.kind == "yielding"


def test_a_flat_crack_far_from_the_bars_is_not_along_them(tmp_path, specimen, mesh):
    v = summarise(write(tmp_path / "k", specimen, mesh, flat_y=460.0)).verdict
    assert v.kind == "flat crack" and "along the bars" not in v.what and v.y == pytest.approx(460.0, abs=25.0)


def test_a_run_still_rising_has_not_failed(tmp_path, specimen, mesh):
    s = summarise(write(tmp_path / "e", specimen, mesh, steps=4, finish=False))
    assert s.verdict.kind == "none yet" and not s.strength.dropped and s.drop_after_peak == 0.0


def test_a_small_fall_at_the_end_is_no_failure(tmp_path, specimen, mesh, monkeypatch):
    monkeypatch.setitem(LOADS, 5, 117e3)
    s = summarise(write(tmp_path / "h", specimen, mesh))
    assert s.verdict.kind == "none yet" and s.drop_after_peak == pytest.approx(0.025)


def test_a_run_of_one_step_can_be_summed_up_and_an_empty_one_not(tmp_path, specimen, mesh):
    s = summarise(write(tmp_path / "f", specimen, mesh, steps=1, finish=False))
    assert s.steps == 1 and np.isnan(s.cracking.first)
    with pytest.raises(FolderFault):
        summarise(write(tmp_path / "g", specimen, mesh, steps=0, finish=False))


def test_summary_is_plain_json(run):
    text = json.dumps(summarise(run).as_dict(), allow_nan=False)
    back = json.loads(text)
    assert back["peak_load"] == 120e3 and back["strength"]["later"] is None
    assert back["verdict"]["kind"] == "splitting" and back["ties"][0]["line"] == "A"


def test_histories_of_a_run(run):
    h = hooks.history(run)
    assert "A/tangent" in h.names and h.step.tolist() == [1, 2, 3, 4, 5]
    # the stress put in is uniaxial, vertical, 1e-5 of the load
    k = h.names.index("A/tangent")
    assert h.major[:, k] == pytest.approx([0.0, 0.6, 1.0, 1.2, 0.9], abs=1e-6)
    assert h.ratio[3, k] == pytest.approx(1.2 / 1.95, rel=1e-5)
    assert np.abs(np.degrees(h.angle[3, k])) == pytest.approx(90.0)
    b = bars.history(run, "B")
    assert b.face == pytest.approx(list(STRESS.values())) and b.load[3] == 120e3
    assert largest_widths(run) == pytest.approx([0.0, 0.02, 0.08, 0.10, 1.0], rel=1e-5)


def test_strengths_come_from_the_specimen_text(run):
    got = tensile_strengths(run)
    # 0.3 (42 - 8)^(2/3), fib Model Code 2010 eq. 5.1-3a
    assert got["closure"] == pytest.approx(1.95)
    assert got["precast"] == pytest.approx(0.3 * 34.0 ** (2.0 / 3.0), rel=1e-3)


def test_layout_of_a_real_mesh_matches_the_specimen(mesh, specimen):
    plan = layout(mesh)
    assert plan.joints == pytest.approx((-280.0, 280.0)) and plan.y == pytest.approx((0.0, 575.0))
    a = plan.anchors["A"]
    assert a.hooked and a.sign == 1.0 and a.face == pytest.approx(-280.0)
    # half the lap of 460 mm; the bar axis 575 - 515 mm above the tension face, in the middle of its row
    assert a.tip == pytest.approx(230.0) and a.level == pytest.approx(60.0)
    assert 0.5 * sum(a.row) == pytest.approx(60.0) and a.above[0] == pytest.approx(a.row[1])
    assert plan.anchors["B"].tip == pytest.approx(-230.0) and len(gather(mesh)) > 1000
