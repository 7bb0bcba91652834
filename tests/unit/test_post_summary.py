"""Findings of a run: events from made-up traces, a whole run on disk.

The run is written by hand on the mesh of a real specimen: support forces, bar stresses and cracks are
put in, so that the findings can be compared with what was put in. Self-weight: volume x density x g.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest

from fesplice.contracts import FolderFault, Outcome
from fesplice.geometry import build_mesh, elevation
from fesplice.post.elevation import bars, hooks
from fesplice.post.elevation.findings import ElevationFindings, cracking, elevation_findings, events
from fesplice.post.elevation.layout import layout, tensile_strengths
from fesplice.post.elevation.trace import Snapshot, Spot, trace
from fesplice.post.equilibrium import run_balance, run_loads
from fesplice.post.mechanisms import Mechanism
from fesplice.post.points import gather
from fesplice.post.record import EDITION, as_stored
from fesplice.post.record import findings as findings_of
from fesplice.post.values import from_dict, to_dict
from fesplice.specimen import read, vary
from fesplice.store import Run, RunWriter, StepRecord
from fesplice.store.steps import CRACK, QUANTA

MODEL = Path(__file__).parents[2] / "models" / "as29-100-u.toml"
G = 9.80665
#: Rounding to whole multiples errs by half of one (arithmetic): stress [MPa], and width [mm] over bands of 100 mm.
STRESS_OFF, WIDTH_OFF = 0.5 * QUANTA["stress"], 0.5 * CRACK[0] * 100.0 + 1e-6


# ------------------------------------------------------------------ traces
def snapshot(step, load, **changes) -> Snapshot:
    none = Spot(0.0, 0.0, 0.0)
    cracks = dict.fromkeys(("flat", "inclined", "upright"), none)
    base = Snapshot(
        step, load, 0.1 * step, {"closure": 0.0}, cracks, outside=none, diagonal=none, bar_level=none, joint=none,
        compression=none, web=none,
        **dict.fromkeys(("past", "lead", "slip", "opening", "bearing", "stress"), {"A": 0.0}),
    )  # fmt: skip
    return replace(base, **changes)


def test_cracking_takes_the_load_from_before_the_fall():
    wide = {"flat": Spot(0.0, 0, 0), "inclined": Spot(0.0, 0, 0), "upright": Spot(0.07, 0, 0)}
    got = cracking(
        [snapshot(1, 30e3), snapshot(2, 40e3, strain={"closure": 2e-4}), snapshot(3, 38e3, cracks=wide)],
        {"closure": 1e-4},
    )
    assert (got.first, got.first_step) == (40e3, 2) and (got.visible, got.visible_step) == (40e3, 3)


def test_no_crack_no_cracking_load():
    got = cracking([snapshot(1, 30e3)], {"closure": 1e-4})
    assert np.isnan(got.first) and got.visible_step == -1


def test_events_stand_in_order_of_their_steps():
    steps = [
        snapshot(1, 10e3, joint=Spot(0.06, -280, 0)),
        snapshot(2, 20e3, joint=Spot(0.2, -280, 0), past={"A": 0.6}),
        snapshot(3, 30e3, past={"A": 0.8}, stress={"A": 500.0}, compression=Spot(0.004, 0, 570)),
    ]
    found = events(steps, {"A": 480.0})
    assert [e.step for e in found] == [1, 2, 3, 3]
    assert "joint" in found[0].what and "lead of bars A" in found[1].what
    assert (found[0].x, found[0].y) == (-280.0, 0.0)
    assert events(steps, {"A": 600.0})[-1].what.startswith("concrete")


def test_crushed_concrete_is_told_by_its_place():
    steps = [snapshot(1, 10e3, web=Spot(0.0036, 900, 250)), snapshot(2, 20e3, compression=Spot(0.004, 0, 570))]
    told = [(e.what, e.x, e.y) for e in events(steps, {})]
    assert told == [
        ("concrete of the web is compressed beyond 0.0035", 900.0, 250.0),
        ("concrete of the compression zone is compressed beyond 0.0035", 0.0, 570.0),
    ]


def test_bars_that_do_the_same_within_a_step_are_one_event():
    """A at the first step, B at the next one: one event at the first; C three steps later: another."""
    shares = [(0.6, 0.4, 0.0), (0.7, 0.6, 0.1), (0.8, 0.7, 0.2), (0.9, 0.8, 0.5)]
    steps = [snapshot(k, 10e3 * k, past=dict(zip("ABC", share))) for k, share in enumerate(shares, 1)]
    found = events(steps, {})
    assert [e.what for e in found] == [
        "half of the lead of bars A and B is past its bond peak", "half of the lead of bars C is past its bond peak",
    ]  # fmt: skip
    assert [(e.step, e.load) for e in found] == [(1, 10e3), (4, 40e3)]


# ------------------------------------------------------------------ a run on disk
#: The flat crack stands beside the hook of B, whose tip is at x = -230 mm.
FLAT_X = -180.0
LOADS = {1: 0.0, 2: 60e3, 3: 100e3, 4: 120e3, 5: 90e3}
STRESS = {1: 10.0, 2: 180.0, 3: 300.0, 4: 360.0, 5: 280.0}


def findings(run, **how) -> Any:
    """Of either view; what the elevation's have is told by the tests."""
    return findings_of(run, **how)


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
    folder,
    specimen,
    mesh,
    *,
    stress=STRESS,
    late_flat=1.0,
    late_slip=0.3,
    late_tau=0.0,
    steps=5,
    finish=True,
    flat_y=None,
    bond=None,
    lines=("B",),
    settings: Any = MappingProxyType({"view": "elevation"}),
) -> Run:
    """Run of up to five steps; the last falls to 90 kN with ``late_*`` changes: flat crack, slip and bond of B.

    ``flat_y``: height of the flat crack, else that of the bars; ``bond``: (slip, bond stress) of
    ``lines`` by step, which are the bars that carry bond at all.
    """
    weight = 2500.0 * G * 0.600 * 0.575 * 5.2
    plan = layout(mesh)
    upright, flat = element_at(mesh, -200.0, 20.0), element_at(mesh, FLAT_X, flat_y or plan.anchors["A"].level)
    with RunWriter.create(folder, specimen_text=specimen.text, specimen_name=specimen.name,
                          specimen_digest=specimen.digest, mesh=mesh, settings=settings,
                          versions={}) as writer:  # fmt: skip
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
            for line in lines:
                f[f"bond:{line}/tau"][:] = late_tau if i == 5 else 0.02 * stress[i]
                if bond and i in bond:
                    f[f"bond:{line}/slip"][:], f[f"bond:{line}/tau"][:] = bond[i]
            f["closure/stress"][..., 1] = 1e-5 * load
            columns = {"load_N": load, "deflection_mm": 2.0 * i, "load_point_mm": 1.5 * i, "joint_left_mm": 0.1 * i,
                       "joint_right_mm": 0.2 * i, "bar_stress_A_MPa": stress[i],
                       "bar_stress_B_MPa": stress[i], "outcome": "unconverged" if i == 3 else "converged"}  # fmt: skip
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


def test_findings_return_what_was_put_in(run):
    s = findings(run)
    assert isinstance(s, ElevationFindings) and s.outcome is Outcome.softened
    assert (s.peak_load, s.peak_step, s.peak_deflection) == (120e3, 4, 8.0)
    assert s.cracking.first_step == 2 and s.cracking.visible_step == 3 and s.cracking.visible == 100e3
    assert s.strength.exact and s.strength.value == s.strength.first == 120e3
    assert s.drop_after_peak == pytest.approx(0.25)
    assert s.bar_stress == pytest.approx({"A": 360.0, "B": 360.0})
    assert s.yield_share["A"] == pytest.approx(360.0 / 725.0) and s.hook_share["A"] == pytest.approx(1.0)
    assert s.joint_opening == pytest.approx({"left": 0.4, "right": 0.8})
    assert s.relaxed_steps == 1 and s.steps == 5 and s.worst_residual < 1e-5  # reactions are rounded to 1/16 N
    assert s.widest_crack is not None and s.widest_crack.width == pytest.approx(0.10, abs=WIDTH_OFF)
    assert s.widest_crack.x == pytest.approx(-200.0, abs=25.0)
    a = s.assessment
    assert (a.bar_stress, a.load, a.step) == (360.0, 120e3, 4) and a.dropped and a.strength_text == "360 MPa"


def test_tie_demand_is_the_stress_put_in(run, mesh):
    # 1.2 MPa against 1.95 MPa over every bar-level cut
    s = elevation_findings(run)
    a = s.ties[0]
    assert a.highest_utilisation == pytest.approx(1.2 / 1.95, abs=STRESS_OFF / 1.95)
    assert a.demand / a.capacity == pytest.approx(1.2 / 1.95, abs=STRESS_OFF / 1.95) and a.lift == 0.0
    # the bend of A crosses the cut where its circle (bend of 8 d_b) leans by acos(1 - rise / R); 12 chords
    anchor = layout(mesh).anchors["A"]
    rise, radius = 0.5 * sum(anchor.above) - 60.0, 4.5 * 28.7
    lean = np.sqrt(1.0 - (1.0 - rise / radius) ** 2)
    assert a.bars == pytest.approx(360.0 * 2 * 645.0 * lean, rel=0.06)


# ------------------------------------------------------------------ what it failed by
def judged(folder, specimen, mesh, **changes):
    return findings(write(folder, specimen, mesh, **changes)).assessment


def test_flat_crack_in_the_drop_is_named_with_its_place(run):
    """1 mm in the drop over a limit of 0.1 mm: growth 10; the bond of B lost in the drop is 1 over 0.5: growth 2."""
    a = findings(run).assessment
    assert a.mode is Mechanism.prying and a.governing.growth == pytest.approx(10.0, abs=WIDTH_OFF / 0.1)
    told = a.governing.evidence[0]
    assert told.value == pytest.approx(1.0, abs=WIDTH_OFF)
    assert told.x == pytest.approx(FLAT_X, abs=25.0) and told.step == 5
    bond = a.state(Mechanism.bond_splitting)
    assert bond.growth == pytest.approx(2.0) and bond.first.bars == ("B",)
    yields = a.state(Mechanism.yielding)
    assert not yields.reached and yields.utilisation == pytest.approx(360.0 / 725.0)
    # what was passed in the drop itself is not before it, and no stress lies between
    assert a.before == () and a.next is bond and a.margin == 1.0


def test_slipping_bars_are_named_when_they_move_more_than_cracks(tmp_path, specimen, mesh):
    a = judged(tmp_path / "b", specimen, mesh, late_flat=0.05, late_slip=1.5, late_tau=7.0)
    assert a.mode is Mechanism.hook_bearing and a.governing.first.what == "slip of the hook"
    assert a.governing.first.bars == ("B",) and a.governing.first.value == pytest.approx(1.5)
    assert not a.state(Mechanism.prying).reached


def test_lead_past_its_bond_peak_is_named_before_its_hook(tmp_path, specimen, mesh):
    # bond falls from 7.2 MPa to a tenth of it while the bar slips on; with 6.5 MPa left it is not past its peak
    a = judged(tmp_path / "b", specimen, mesh, late_flat=0.05, late_slip=1.5, late_tau=0.72)
    assert a.mode is Mechanism.bond_splitting and a.governing.first.value == pytest.approx(1.0)
    assert "of bars B at" in a.governing.at("elevation")
    a = judged(tmp_path / "c", specimen, mesh, late_flat=0.05, late_slip=1.5, late_tau=6.5)
    assert a.mode is Mechanism.hook_bearing and not a.state(Mechanism.bond_splitting).reached


def test_a_drop_in_which_no_limit_was_passed_names_no_mechanism(tmp_path, specimen, mesh):
    """Only an upright crack of 0.2 mm grew: no measure of any mechanism."""
    a = judged(tmp_path / "c", specimen, mesh, late_flat=0.0, late_slip=0.0, late_tau=7.2)
    assert a.dropped and a.governing is None and a.mode is Mechanism.none
    assert a.failure == "no mechanism reached its limit up to 360 MPa (120 kN per ram)"


def test_yielding_bars_come_first(tmp_path, specimen, mesh):
    a = judged(tmp_path / "d", specimen, mesh, stress={**STRESS, 4: 730.0})
    assert a.mode is Mechanism.yielding and a.governing.reached_at == 730.0 and a.governing.first.bars == ("A", "B")
    assert a.beyond.mechanism is Mechanism.prying


def test_bond_lost_before_yield_stands_first(tmp_path, specimen, mesh):
    # bond of B falls to almost nothing at the third step while it slips on; the bars yield at the fourth
    bond = {3: (0.5, 0.1), 4: (0.8, 0.1), 5: (1.0, 0.1)}
    s = findings(write(tmp_path / "i", specimen, mesh, stress={**STRESS, 4: 730.0}, bond=bond))
    a = s.assessment
    assert (s.bond_loss.step, s.bond_loss.bar_stress, s.bond_loss.load) == (3, 300.0, 100e3)
    assert a.mode is Mechanism.bond_splitting and a.governing.reached_at == 300.0 and a.governing.first.bars == ("B",)
    assert a.state(Mechanism.yielding).reached_at == 730.0
    s = findings(write(tmp_path / "j", specimen, mesh, stress={**STRESS, 2: 730.0}, bond=bond))
    assert s.bond_loss.step == 3 and s.assessment.mode is Mechanism.yielding


def test_bond_lost_and_carried_on_is_told_first_with_its_own_step(tmp_path, specimen, mesh):
    """Both leads at step 3; the bars harden to 770 of 725 MPa afterwards, which is past 1.05 times yield."""
    bond = {3: (0.5, 0.1), 4: (0.8, 0.1), 5: (1.0, 0.1)}
    hardened = {**STRESS, 4: 770.0}
    a = judged(tmp_path / "l", specimen, mesh, stress=hardened, bond=bond, lines=("A", "B"))
    assert a.mode is Mechanism.yielding
    assert a.sentence == (
        "elevation: bond splitting of bars A and B at 300 MPa (100 kN per ram), after which the bars carried on: "
        "failure at 770 MPa (120 kN per ram) by flexural yielding, then prying at the hook"
    )
    first = a.evidence[0]
    assert first.startswith("bond splitting: ") and "reached at 300 MPa (step 3)" in first


def test_evidence_is_that_of_the_step_at_which_the_limit_was_passed(tmp_path, specimen, mesh):
    """Slip of the hook of B: 1.2 mm at step 3, 3 mm at strength, 9 mm in the drop; bond is kept up."""
    bond = {3: (1.2, 6.0), 4: (3.0, 7.0), 5: (9.0, 8.0)}
    a = judged(tmp_path / "m", specimen, mesh, bond=bond, late_flat=0.0)
    told = a.governing.first
    assert a.mode is Mechanism.hook_bearing and told.step == 3 and told.value == pytest.approx(1.2)
    assert (told.load, told.bar_stress) == (100e3, 300.0)
    assert (told.at_strength, told.after) == (pytest.approx(3.0), pytest.approx(9.0))


def test_a_flat_crack_far_from_the_bars_is_not_along_them(tmp_path, specimen, mesh):
    a = judged(tmp_path / "k", specimen, mesh, flat_y=460.0)
    assert not a.state(Mechanism.prying).reached and a.mode is Mechanism.bond_splitting


def test_a_run_still_rising_has_not_failed(tmp_path, specimen, mesh):
    s = findings(write(tmp_path / "e", specimen, mesh, steps=4, finish=False))
    assert s.assessment.mode is Mechanism.none and not s.assessment.dropped and s.assessment.governing is not None
    assert s.outcome is Outcome.running
    assert not s.strength.exact and s.drop_after_peak == 0.0


def test_a_small_fall_at_the_end_is_no_failure(tmp_path, specimen, mesh, monkeypatch):
    monkeypatch.setitem(LOADS, 5, 117e3)
    s = findings(write(tmp_path / "h", specimen, mesh))
    assert s.assessment.mode is Mechanism.none and s.drop_after_peak == pytest.approx(0.025)


def test_a_run_of_one_step_can_be_summed_up_and_an_empty_one_not(tmp_path, specimen, mesh):
    s = findings(write(tmp_path / "f", specimen, mesh, steps=1, finish=False))
    assert s.steps == 1 and np.isnan(s.cracking.first)
    with pytest.raises(FolderFault):
        findings(write(tmp_path / "g", specimen, mesh, steps=0, finish=False))


# ------------------------------------------------------------------ one pass, on disk and back
class OnePass(Run):
    """A run whose steps may be gone through once only."""

    def __init__(self, folder):
        super().__init__(folder)
        self.passes, self.asked = 0, []

    def steps(self):
        self.passes += 1
        assert self.passes == 1, "the steps are read a second time"
        for index in self.indices:
            yield super().step(index)

    def step(self, index):
        self.asked.append(index)
        return super().step(index)


def test_one_pass_over_the_steps_serves_all_findings(run):
    once = OnePass(run.folder)
    assert to_dict(findings(once, stored=False)) == to_dict(findings(run))
    # beside the pass only the step at the largest load is opened again
    assert once.passes == 1 and set(once.asked) == {4}
    again = OnePass(run.folder)
    seen = trace(again)
    assert elevation_findings(again, seen).assessment.sentence == findings(run).assessment.sentence
    assert again.passes == 1


def test_findings_are_plain_json_and_come_back_as_they_were(run):
    s = findings(run)
    text = json.dumps(as_stored(s), allow_nan=False)
    kept = json.loads(text)
    assert kept["edition"] == EDITION and kept["findings"]["outcome"] == "softened"
    assert kept["findings"]["peak_load"] == 120e3 and kept["findings"]["assessment"]["later"] is None
    assert kept["findings"]["assessment"]["governing"]["mechanism"] == "prying"
    assert kept["findings"]["ties"][0]["line"] == "A"
    back = from_dict(ElevationFindings, kept["findings"], "here")
    assert to_dict(back) == to_dict(s) and back.assessment.evidence == s.assessment.evidence
    assert np.isnan(back.assessment.later) and back.outcome is Outcome.softened and isinstance(back.ties, tuple)


def stored(folder, specimen, mesh, kept) -> Run:
    """A finished run whose manifest holds ``kept`` for findings."""
    write(folder, specimen, mesh, finish=False)
    with RunWriter.create(folder, specimen_text=specimen.text, specimen_name=specimen.name,
                          specimen_digest=specimen.digest, mesh=mesh, settings={"view": "elevation"},
                          versions={}) as writer:  # fmt: skip
        writer.finish(Outcome.softened, kept)
    return Run(folder)


def test_stored_findings_are_taken_as_they_stand_and_those_of_another_edition_read_anew(
    tmp_path, specimen, mesh, run
):  # fmt: skip
    kept = as_stored(replace(findings(run), peak_load=1.0))
    assert findings(stored(tmp_path / "a", specimen, mesh, kept)).peak_load == 1.0
    assert findings(stored(tmp_path / "a2", specimen, mesh, kept), stored=False).peak_load == 120e3
    assert findings(stored(tmp_path / "b", specimen, mesh, {**kept, "edition": 1})).peak_load == 120e3
    assert findings(stored(tmp_path / "c", specimen, mesh, {"verdict": {"kind": "splitting"}})).peak_load == 120e3


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("assessment", "governing", "mechanism"), "gust"),
        (("strength", "value"), "strong"),
        (("outcome",), "won"),
        (("ties", 0, "line"), None),
        ((), "nonsense"),
    ],
)
def test_findings_that_cannot_be_read_are_refused_with_file_and_key(tmp_path, specimen, mesh, run, path, value):
    kept = json.loads(json.dumps(as_stored(findings(run))))
    inner = kept
    for key in ("findings", *path)[:-1]:
        inner = inner[key]
    inner[("findings", *path)[-1]] = value
    folder = tmp_path / "run"
    with pytest.raises(FolderFault) as fault:
        findings(stored(folder, specimen, mesh, kept))
    said = str(fault.value)
    assert str(folder) in said and fault.value.exit_code == 2
    assert (".".join(map(str, path)) or "the whole") in said


def test_findings_that_are_missing_are_refused(tmp_path, specimen, mesh):
    with pytest.raises(FolderFault, match="is no record of this program"):
        findings(stored(tmp_path / "run", specimen, mesh, {"edition": EDITION}))


def test_a_run_of_no_view_is_refused(tmp_path, specimen, mesh):
    with pytest.raises(FolderFault, match="'axonometry'; this program knows elevation, plan"):
        findings(write(tmp_path / "n", specimen, mesh, settings={"plane": "axonometry"}))


def test_histories_of_a_run(run):
    h = hooks.history(run)
    assert "A/tangent" in h.names and h.step.tolist() == [1, 2, 3, 4, 5]
    # the stress put in is uniaxial, vertical, 1e-5 of the load
    k = h.names.index("A/tangent")
    assert h.major[:, k] == pytest.approx([0.0, 0.6, 1.0, 1.2, 0.9], abs=STRESS_OFF)
    assert h.ratio[3, k] == pytest.approx(1.2 / 1.95, abs=STRESS_OFF / 1.95)
    assert np.abs(np.degrees(h.angle[3, k])) == pytest.approx(90.0)
    b = bars.history(run, "B")
    assert b.face == pytest.approx(list(STRESS.values())) and b.load[3] == 120e3


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
