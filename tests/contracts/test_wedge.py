"""Bond that wedges: tangent, equilibrium and work of the pair of forces, bond that falls with the opening.

Sources: the pair of forces tau d_b tan(alpha) per length is the resultant of a radial pressure
tau tan(alpha) on half a ring (Tepfers 1973, in spirit; statics); the factor 1/(1 + w/w1) is a
house law, w1 = 0.05 mm and alpha = 45 degrees are judgement.
"""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.contracts import Floats, Law
from fesplice.elements import ELEMENTS
from fesplice.laws import BondSlip, WedgingBond
from fesplice.laws.bond import envelope

D, NUMBER, F_CM, W1 = 25.0, 2.0, 36.0, 0.05
ONE = np.ones(1)
LENGTH = np.ones((1, 1))


def pull_out() -> BondSlip:
    """Two 25 mm bars, f_cm 36 MPa: tau_max 15 MPa at 1 mm."""
    curve = envelope(F_CM, D * ONE, "good", 12.5 * ONE, np.array([False]), ONE, 0.0 * ONE)
    return BondSlip(curve, NUMBER * np.pi * D * ONE, 30.0 * ONE, 3 * F_CM * ONE, NUMBER * D * ONE, 0.0 * ONE)


def wedge(alpha: float = 45.0, thrust: float = 1.0) -> WedgingBond:
    return WedgingBond(pull_out(), thrust * NUMBER * D * np.tan(np.radians(alpha)) * ONE, W1)


def follow(law: Law, path) -> tuple[Floats, dict]:
    """Stress (n, n_s) along a path (n, n_s), committed step by step, and the last history."""
    history, out = law.fresh((1, 1)), []
    for point in np.asarray(path, float):
        answer = law.respond(point.reshape(1, 1, -1), history, LENGTH)
        history = answer.history
        out.append(answer.stress[0, 0])
    return np.array(out), dict(history)


# ------------------------------------------------------------------ the law
PATHS = {
    "first contact": ((0.0, 0.0, 0.0), (1e-5, 2e-5, 1e-4)),
    "sliding, opening": ((0.15, 0.003, 0.01), (0.2, 0.004, 0.03)),
    "sliding the other way, opening": ((-0.15, 0.003, 0.01), (-0.2, 0.004, 0.03)),
    "sliding, closing": ((0.15, 0.003, 0.08), (0.2, 0.004, 0.03)),
    "back": ((0.3, 0.003, 0.02), (0.28, 0.001, 0.04)),
    "far out": ((2.3, 0.02, 0.3), (2.6, 0.03, 0.5)),
    "closed": ((0.2, 0.0, 0.0), (0.3, 0.0, -0.01)),
}


@pytest.mark.parametrize("path", PATHS)
def test_tangent_against_differences(path: str) -> None:
    """Every entry, also those off the diagonal; 1.1e-4 of the stiffness of bond where a slope would be zero."""
    law, before, after = wedge(), *map(np.array, PATHS[path])
    history = follow(law, [0.5 * before, before])[1]
    got = law.respond(after.reshape(1, 1, 3), history, LENGTH).tangent[0, 0]
    stiff = law.respond(np.zeros((1, 1, 3)), law.fresh((1, 1)), LENGTH).tangent[0, 0].max()
    for j in range(3):
        shift = np.zeros((1, 1, 3))
        shift[..., j] = 1e-8
        ahead, behind = (law.respond(after.reshape(1, 1, 3) + s * shift, history, LENGTH).stress for s in (1, -1))
        assert got[:, j] == pytest.approx((ahead - behind)[0, 0] / 2e-8, rel=1e-3, abs=1.1e-4 * stiff)


def test_tangent_is_not_symmetric_where_bond_slides() -> None:
    """Slip drives the wedge and the opening weakens bond: two different entries."""
    history = follow(wedge(), [[0.2, 0, 0.02]])[1]
    d = wedge().respond(np.array([[[0.3, 0.0, 0.03]]]), history, LENGTH).tangent[0, 0]
    assert d[2, 0] < 0.0 and d[0, 2] < 0.0 and d[2, 0] != pytest.approx(d[0, 2], rel=0.1)


@pytest.mark.parametrize("point", [(0.2, 0.004, 0.03), (-0.5, 0.01, 0.1)])
def test_secant_stiffness_gives_the_stress(point: tuple[float, float, float]) -> None:
    strain = np.array([[point]])
    answer = wedge().respond(strain, wedge().fresh((1, 1)), LENGTH, secant=1.0)
    assert answer.tangent[0, 0] @ strain[0, 0] == pytest.approx(answer.stress[0, 0])


def test_bond_falls_with_the_largest_opening() -> None:
    """At 1 mm slip 15 MPa; half of it once the opening reached w1, a third at 2 w1, and no healing."""
    perimeter = NUMBER * np.pi * D
    stress, history = follow(wedge(), [[1.0, 0, 0], [1.1, 0, W1], [1.2, 0, 2 * W1], [1.3, 0, 0.0], [1.4, 0, -0.1]])
    assert stress[:, 0] / perimeter == pytest.approx([15.0, 7.5, 5.0, 5.0, 5.0])
    assert history["opening"][0, 0, 0] == pytest.approx(2 * W1)


@pytest.mark.parametrize("alpha", [30.0, 45.0, 60.0])
@pytest.mark.parametrize("slip", [1.0, -1.0])
def test_the_wedge_force_is_the_resultant_of_the_pressure_on_half_a_ring(alpha: float, slip: float) -> None:
    """Radial pressure tau tan(alpha) integrated over the half circle: tau tan(alpha) d_b, bar by bar."""
    stress, _ = follow(wedge(alpha), [[slip, 0, W1]])
    pressure = 7.5 * np.tan(np.radians(alpha))
    angle = (np.arange(2000) + 0.5) * np.pi / 2000
    half_ring = np.sum(pressure * np.sin(angle)) * (0.5 * D) * np.pi / 2000
    assert stress[0, 2] == pytest.approx(-NUMBER * half_ring, rel=1e-5)


def test_without_thrust_it_is_the_pull_out() -> None:
    """Bend and tail: no wedge force, and what opens there does not weaken bond."""
    path = np.array([[0.1, 0.001, 0.2], [0.5, 0.01, 0.4], [0.4, 0.0, 0.1], [3.0, 0.02, 2.0]])
    wedged, plain = follow(wedge(thrust=0.0), path)[0], follow(pull_out(), path[:, :2])[0]
    assert np.array_equal(wedged[:, :2], plain) and not wedged[:, 2].any()


def test_joined_laws_answer_as_each_alone_and_inputs_are_not_written() -> None:
    several = [wedge(), wedge(30.0), wedge(thrust=0.0)]
    joined = WedgingBond.joined(several)
    strain = np.repeat([[[0.4, 0.1, 0.02]]], 3, axis=0)
    history = joined.fresh((3, 1))
    for array in (strain, *history.values()):
        array.flags.writeable = False
    together = joined.respond(strain, history, np.ones((3, 1)))
    for k, law in enumerate(several):
        alone = law.respond(strain[:1], law.fresh((1, 1)), LENGTH)
        assert np.array_equal(together.stress[k], alone.stress[0])


# ------------------------------------------------------------------ the element with the law
def element(turn: float) -> tuple[Floats, dict]:
    """Nodes (1, 13, 2) of a wedge point turned by ``turn``: bar at the origin, three different hosts."""
    t = np.array([np.cos(turn), np.sin(turn)])
    n = np.array([-t[1], t[0]])
    corner = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])
    hosts = [12 * corner + at for at in ([2.0, -3], 0.75 * D * n + [3, 1], -0.75 * D * n + [-2, 4])]
    local = [(at - h.mean(axis=0)) / 12 for at, h in zip((0 * n, 0.75 * D * n, -0.75 * D * n), hosts)]
    data = {
        "local": local[0][None],
        "gauge_local": np.array([local[1:]]),
        "tangent": t[None],
        "length": np.array([16.0]),
    }
    return np.concatenate([[[0.0, 0.0]], *hosts])[None], data


@pytest.mark.parametrize("turn", [0.0, 0.7, np.pi])
def test_the_pair_is_in_equilibrium_and_its_work_is_that_of_the_wedge(turn: float) -> None:
    """Nodal forces sum to nothing, have no moment, and on the concrete do |tau| d_b tan(alpha) w per bar and length."""
    xy, data = element(turn)
    b, weights = ELEMENTS["wedge"].kinematics(xy, data)
    tau, alpha = 7.5, np.radians(45.0)
    stress = follow(wedge(), [[1.0, 0.0, W1]])[0][0]
    pair = -(b[0, 0, 2] * stress[2] * weights[0, 0]).reshape(13, 2)  # what the bar does to the concrete
    assert not pair[:5].any()
    assert pair.sum(axis=0) == pytest.approx([0, 0], abs=1e-9)
    assert np.sum(xy[0, :, 0] * pair[:, 1] - xy[0, :, 1] * pair[:, 0]) == pytest.approx(0, abs=1e-7)
    n = np.array([-np.sin(turn), np.cos(turn)])
    first, second = (pair[5:9] @ n).sum(), (pair[9:] @ n).sum()
    assert first == pytest.approx(NUMBER * tau * D * np.tan(alpha) * 16.0) and second == pytest.approx(-first)
    # a crack that opens by W1 between the gauges moves the upper host by it
    crack = np.zeros((13, 2))
    crack[5:9] = W1 * n
    assert np.sum(pair * crack) == pytest.approx(NUMBER * tau * D * np.tan(alpha) * W1 * 16.0)
    assert b[0, 0] @ crack.ravel() == pytest.approx([0.0, 0.0, W1], abs=1e-12)
