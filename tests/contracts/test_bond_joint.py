"""Interface laws: bond and bearing of every law in the registry, and the cold joint.

Sources: fib Model Code 2010, Table 6.1-1 (bond-slip curve: power 0.4, s1, s2, s3, residual 0.4;
splitting branches) from memory; cohesive crack (Hillerborg, Modeer & Petersson 1976); Coulomb
friction. Stiffness of unloading 200 N/mm3 and anchored points 10 times that: house values. A support is an
elastic-plastic spring that only pushes, by hand. Bond that wedges is in test_wedge.py.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from fesplice.contracts import Floats, Law
from fesplice.formulas.bond import tau_max, tau_split
from fesplice.laws import BOND, BondSlip, ColdJoint, LinearBond, SupportedBond
from fesplice.laws.bond import UNLOADING, envelope

F_CM, D, RIB = 36.0, 25.0, 12.5
PERIMETER = np.pi * D
LENGTH = np.ones((1, 1))


def bond_slip(*, split: float = 99.0, ktr: float = 0.0, anchored: float = 0.0, condition: str = "good") -> BondSlip:
    """One point of a single 25 mm bar; ``split`` is the strength of the splitting branch [MPa]."""
    one = np.ones(1)
    curve = envelope(F_CM, D * one, condition, RIB * one, np.array([True]), split * one, ktr * one)
    return BondSlip(curve, PERIMETER * one, 30.0 * one, 3 * F_CM * one, D * one, anchored * one)


LAWS: dict[str, Law] = {
    "pull-out": bond_slip(),
    "pull-out, other conditions": bond_slip(condition="other"),
    "splitting": bond_slip(split=7.0),
    "splitting, tied": bond_slip(split=7.0, ktr=0.3),
    "anchored": bond_slip(anchored=1.0),
    "linear": LinearBond(80.0, 300.0, PERIMETER * np.ones(1), D * np.ones(1)),
    "supported": SupportedBond(bond_slip(), 5000.0 * np.ones(1), 55.0 * np.ones(1), np.ones(1)),
    "supported, other side": SupportedBond(bond_slip(), 5000.0 * np.ones(1), 9.0 * np.ones(1), -np.ones(1)),
    "joint": ColdJoint(1.0, 0.02, 0.9, 1.5),
}
every = pytest.mark.parametrize("name", LAWS)


def follow(law: Law, path) -> tuple[Floats, dict]:
    """Stress (n, 2) along a path (n, 2) of (slip, gap) or (opening, slip), committed step by step."""
    history, out = law.fresh((1, 1)), []
    for point in np.asarray(path, float):
        answer = law.respond(point.reshape(1, 1, 2), history, LENGTH)
        history = answer.history
        out.append(answer.stress[0, 0])
    return np.array(out), dict(history)


def tau(law: BondSlip, slips) -> Floats:
    slips = np.asarray(slips, float)
    return follow(law, np.stack([slips, np.zeros_like(slips)], axis=1))[0][:, 0] / PERIMETER


def test_laws_under_test_are_the_registry() -> None:
    assert {type(law) for law in LAWS.values()} == {*BOND.values(), SupportedBond, ColdJoint}


# ------------------------------------------------------------------ what every law owes
PATHS = {
    "first contact": ((0.0, 0.0), (1e-5, 2e-5)),
    "sliding": ((0.15, 0.003), (0.2, 0.004)),
    "sliding back": ((0.3, 0.003), (0.28, 0.001)),
    "sliding, pressed": ((0.001, 0.01), (-0.0002, 0.012)),
    "far out": ((2.3, 0.02), (2.6, 0.03)),
    "opening and sliding": ((0.01, 0.003), (0.012, 0.004)),
}


@every
@pytest.mark.parametrize("path", PATHS)
def test_tangent_against_differences(name: str, path: str) -> None:
    """1.1e-4 of the largest stiffness is kept where a slope would be zero (sliding at a constant limit)."""
    law, before, after = LAWS[name], *map(np.array, PATHS[path])
    history = follow(law, [0.5 * before, before])[1]
    got = law.respond(after.reshape(1, 1, 2), history, LENGTH).tangent[0, 0]
    stiff = law.respond(np.zeros((1, 1, 2)), law.fresh((1, 1)), LENGTH).tangent[0, 0].max()
    for j in range(2):
        shift = np.zeros((1, 1, 2))
        shift[..., j] = 1e-8
        ahead, behind = (law.respond(after.reshape(1, 1, 2) + s * shift, history, LENGTH).stress for s in (1, -1))
        measured = (ahead - behind)[0, 0] / 2e-8
        assert got[:, j] == pytest.approx(measured, rel=1e-3, abs=1.1e-4 * stiff)


@every
def test_inputs_are_never_written(name: str) -> None:
    law = LAWS[name]
    strain = np.array([[[0.4, 0.02]]])
    history = follow(law, [[0.2, 0.01]])[1]
    given = [strain, *history.values()]
    copies = [a.copy() for a in given]
    for array in given:
        array.flags.writeable = False
    one, two = (law.respond(strain, history, LENGTH) for _ in range(2))
    assert all(np.array_equal(a, b) for a, b in zip(given, copies, strict=True))
    assert np.array_equal(one.stress, two.stress)


@every
def test_no_energy_is_gained_on_closed_cycles(name: str) -> None:
    """Out and back to the same slip and gap, several times: the work is never negative."""
    turns = np.array([[0, 0], [0.02, 0.004], [-0.02, -0.004], [0.3, 0.01], [0, 0], [0.3, 0.01], [-1.5, 0.02], [0, 0]])
    path = np.concatenate([np.linspace(a, b, 200) for a, b in pairwise(turns)])
    stress, _ = follow(LAWS[name], path)
    steps = 0.5 * (stress[1:] + stress[:-1]) * np.diff(path, axis=0)
    work = np.concatenate([[0.0], np.cumsum(steps.sum(axis=1))])
    assert np.all(work >= -1e-6 * np.abs(steps).sum())
    assert work[200 * 5 - 1] >= work[200 * 3 - 1] - 1e-9 * work[-1] - 1e-6 * np.abs(steps).sum()


@every
def test_mirrored_slip_mirrors_the_answer(name: str) -> None:
    """Neither bond nor friction knows left from right: turning the slip's sign turns its stress only."""
    law = LAWS[name]
    sign = np.array([1.0, -1.0]) if isinstance(law, ColdJoint) else np.array([-1.0, 1.0])
    path = np.array([[0.001, 0.002], [0.02, 0.01], [-0.002, 0.02], [0.01, 0.4]])
    path = path if isinstance(law, ColdJoint) else path[:, ::-1]
    assert follow(law, path * sign)[0] == pytest.approx(follow(law, path)[0] * sign, rel=1e-12, abs=1e-12)


# ------------------------------------------------------------------ bond
def test_pull_out_curve_has_the_corners_of_the_table() -> None:
    """Good conditions: tau_max = 2.5 sqrt(f_cm) at 1 mm, flat to 2 mm, 0.4 tau_max at the clear rib spacing."""
    top = 2.5 * 6.0
    assert tau_max(F_CM, "good") == pytest.approx(top) and tau_max(F_CM, "other") == pytest.approx(top / 2)
    slips = np.array([0.1, 0.5, 1.0, 1.5, 2.0, (2.0 + RIB) / 2, RIB, RIB + 5.0])
    expected = top * np.array([0.1**0.4, 0.5**0.4, 1.0, 1.0, 1.0, 0.7, 0.4, 0.4])
    assert tau(LAWS["pull-out"], slips) == pytest.approx(expected, rel=1e-9)
    other = top / 2 * np.array([(0.1 / 1.8) ** 0.4, (0.5 / 1.8) ** 0.4, 1.0, 1.0, 0.4])
    assert tau(LAWS["pull-out, other conditions"], [0.1, 0.5, 1.8, 3.6, RIB]) == pytest.approx(other, rel=1e-9)


def test_splitting_branch_has_the_corners_of_the_table() -> None:
    """The strength is met at s1 (tau_split/tau_max)^(1/0.4); then a line to zero at 1.2 s1, or with ties to
    0.4 tau_split at half the clear rib spacing.
    """
    at = (7.0 / 15.0) ** 2.5
    slips = [0.5 * at, at, 0.5 * (at + 1.2), 1.2, 3.0]
    expected = [15.0 * (0.5 * at) ** 0.4, 7.0, 3.5, 0.0, 0.0]
    assert tau(LAWS["splitting"], slips) == pytest.approx(expected, rel=1e-9, abs=1e-9)
    end = 0.5 * RIB
    slips = [at, 0.5 * (at + end), end, 2 * end]
    assert tau(LAWS["splitting, tied"], slips) == pytest.approx([7.0, 4.9, 2.8, 2.8], rel=1e-9)


def test_splitting_strength_above_pull_out_is_pull_out() -> None:
    assert tau(bond_slip(split=15.1), [1.0, RIB]) == pytest.approx([15.0, 6.0])


def test_energy_under_the_pull_out_curve() -> None:
    """Closed integral of the table's four pieces to the clear rib spacing; the cut at the origin costs 0.1 %."""
    slips = np.concatenate([np.geomspace(1e-4, 1.0, 600), np.linspace(1.0, RIB, 600)[1:]])
    slips = np.concatenate([[0.0], slips])
    work = np.trapezoid(tau(LAWS["pull-out"], slips), slips)
    exact = 15.0 * (1.0 / 1.4 + 1.0 + 0.7 * (RIB - 2.0))
    assert work == pytest.approx(exact, rel=1e-3)


def test_first_loading_and_unloading_take_the_stiff_modulus() -> None:
    """Up to where the line meets the power law: k_u s; back from 0.5 mm by 0.02 mm: down by 0.02 k_u."""
    law = LAWS["pull-out"]
    assert tau(law, [0.005]) == pytest.approx([UNLOADING * 0.005])
    meet = (15.0 / UNLOADING) ** (1 / 0.6)
    assert tau(law, [2 * meet]) == pytest.approx([15.0 * (2 * meet) ** 0.4])
    out = tau(law, [0.5, 0.48, 0.47, 0.5])
    top = 15.0 * 0.5**0.4
    assert out == pytest.approx([top, top - 0.02 * UNLOADING, top - 0.03 * UNLOADING, top])
    assert tau(replace(law, stiffness=1e4), [0.5, 0.4999]) == pytest.approx([top, top - 1.0])


def test_anchored_points_hold_by_ten_times_the_modulus() -> None:
    assert tau(LAWS["anchored"], [0.02, -0.3, 2.0]) == pytest.approx(10 * UNLOADING * np.array([0.02, -0.3, 2.0]))


def test_bearing_is_linear_to_its_cap_and_crushes_there() -> None:
    """Foundation modulus 30 N/mm3 on 25 mm, cap 3 f_cm: 108 MPa at 3.6 mm; unloads with the modulus."""
    stress, _ = follow(LAWS["pull-out"], [[0, 1.0], [0, 3.6], [0, 5.0], [0, 4.0], [0, -5.0]])
    assert stress[:, 1] == pytest.approx(D * np.array([30.0, 108.0, 108.0, 78.0, -108.0]))
    assert not stress[:, 0].any()


def test_joined_laws_answer_as_each_alone() -> None:
    several = [LAWS["pull-out"], LAWS["splitting, tied"], LAWS["anchored"]]
    joined = BondSlip.joined(several)
    strain = np.array([[[0.4, 0.1]]])
    together = joined.respond(np.repeat(strain, 3, axis=0), joined.fresh((3, 1)), np.ones((3, 1)))
    for k, law in enumerate(several):
        alone = law.respond(strain, law.fresh((1, 1)), LENGTH)
        assert np.array_equal(together.stress[k], alone.stress[0])


def test_splitting_strength_grows_with_cover_and_ties() -> None:
    """Eq. 6.1-5 is monotonic in c_min and K_tr, and its condition factor is 0.7."""
    base = dict(f_cm=30.0, diameter=20.0 * np.ones(1), c_min=30.0 * np.ones(1), c_max=60.0 * np.ones(1))
    plain = tau_split(**base, km_ktr=np.zeros(1), condition="good")
    assert tau_split(**base | {"c_min": 40.0 * np.ones(1)}, km_ktr=np.zeros(1), condition="good") > plain
    assert tau_split(**base, km_ktr=0.3 * np.ones(1), condition="good") > plain
    assert tau_split(**base, km_ktr=np.zeros(1), condition="other") == pytest.approx(0.7 * plain)


# ------------------------------------------------------------------ support
def test_a_bar_support_only_pushes_and_keeps_its_play() -> None:
    """k = 5000 N/mm2 to 55 N/mm, beside bearing of 30 x 25 N/mm2: caps at 0.011 mm, 0.009 mm of play are left."""
    gaps = np.array([-0.01, 0.01, 0.02, 0.015, 0.005, 0.02, 0.021])
    stress = follow(LAWS["supported"], np.stack([0.0 * gaps, gaps], axis=1))[0][:, 1]
    assert stress - 750.0 * gaps == pytest.approx([0.0, 50.0, 55.0, 30.0, 0.0, 55.0, 55.0])
    mirrored = replace(LAWS["supported"], sense=-np.ones(1))  # type: ignore[type-var]
    assert follow(mirrored, np.stack([0.0 * gaps, -gaps], axis=1))[0][:, 1] == pytest.approx(-stress)


def test_a_bar_support_turns_its_secant_stiffness_to_force_over_gap() -> None:
    law, history = LAWS["supported"], LAWS["supported"].fresh((1, 1))
    at = np.array([[[0.0, 0.03]]])
    bearing = law.bond.respond(at, history, LENGTH, secant=1.0).tangent[0, 0, 1, 1]  # type: ignore[attr-defined]
    assert law.respond(at, history, LENGTH, secant=1.0).tangent[0, 0, 1, 1] - bearing == pytest.approx(55.0 / 0.03)


# ------------------------------------------------------------------ joint
def test_joint_energy() -> None:
    """Opened to nothing: 0.02 N/mm per area; the peak is the strength."""
    w = np.unique(np.concatenate([np.linspace(0, 4e-4, 200), np.linspace(4e-4, 0.045, 400)]))
    stress, _ = follow(LAWS["joint"], np.stack([w, np.zeros_like(w)], axis=1))
    assert np.trapezoid(stress[:, 0], w) == pytest.approx(0.02, rel=0.01)
    assert stress[:, 0].max() == pytest.approx(1.0, rel=0.01)


def test_joint_unloads_to_the_origin_and_closes_stiff() -> None:
    stress, _ = follow(LAWS["joint"], [[0.02, 0], [0.01, 0], [0, 0], [-0.001, 0], [0.02, 0]])
    assert stress[0, 0] == pytest.approx(0.5, rel=0.03)
    assert stress[1, 0] == pytest.approx(0.5 * stress[0, 0], rel=0.01)
    assert stress[3, 0] == pytest.approx(-10.0) and stress[4, 0] == pytest.approx(stress[0, 0])


@pytest.mark.parametrize("pressure", [0.0, 1.0, 5.0])
def test_joint_coulomb_limit(pressure: float) -> None:
    """First sliding at cohesion + mu p; after long sliding mu p is left (cohesion 1.5 MPa, mu 0.9)."""
    w = -pressure / 1e4
    s = np.linspace(0.0, 0.5, 2001)
    stress, _ = follow(LAWS["joint"], np.stack([np.full_like(s, w), s], axis=1))
    assert stress[:, 1].max() == pytest.approx(1.5 + 0.9 * pressure, rel=0.01)
    assert stress[-1, 1] == pytest.approx(0.9 * pressure, rel=1e-6, abs=1e-9)
    # the slip of this very step (1e-4 mm at most) has cost some of the cohesion already
    assert stress[1, 1] == pytest.approx(min(1e4 * s[1], 1.5 + 0.9 * pressure), rel=5e-4)


def test_opened_joint_has_no_cohesion_left() -> None:
    stress, _ = follow(LAWS["joint"], [[0.05, 0.0], [0.05, 0.1], [-1e-4, 0.2]])
    assert stress[1, 1] == pytest.approx(0.0, abs=1e-9) and stress[2, 1] == pytest.approx(0.9)
