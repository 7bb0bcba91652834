"""The interface between slab and body, and springs: energy, strength, residual, tangent, closed cycles.

Sources: cohesive crack, area under the curve = fracture energy (Hillerborg, Modeer & Petersson 1976); strength under
combined shear and tension from Mohr's circle, sigma_1 = s/2 + sqrt(s^2/4 + tau^2) = f_t (any textbook); shear friction
mu (N + A f_y) (Birkeland & Birkeland 1966, from memory); steel drawn out of a crack (tension chord, Marti, Alvarez,
Kaufmann & Sigrist 1998, from memory). The numbers are hand values.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fesplice.laws.cohesive import (
    RESIDUAL_STIFFNESS,
    CohesiveInterface,
    CrossingSteel,
    Spring,
    interface_residual,
    interface_strength,
)

K, F_T, G_F = 58.0, 1.95, 0.138
PLANE = CohesiveInterface(K, np.array([F_T]), np.array([0.0]), F_T, G_F, along=1.0)


def follow(law, path) -> tuple[np.ndarray, np.ndarray]:
    """Tractions (n, 2) and tangents (n, 2, 2) along a path of displacements (n, 2), committed step by step."""
    history = law.fresh((1, 1))
    stress, tangent = [], []
    for d in np.atleast_2d(path):
        strain = np.array(d, float).reshape(1, 1, 2)
        strain.setflags(write=False)
        answer = law.respond(strain, history, np.ones((1, 1)))
        history = answer.history
        stress.append(answer.stress[0, 0])
        tangent.append(answer.tangent[0, 0])
    return np.array(stress), np.array(tangent)


def across(slip) -> np.ndarray:
    return np.stack([np.zeros_like(slip), slip], axis=1)


@pytest.mark.parametrize("direction", [(0.0, 1.0), (1.0, 0.0), (-0.6, 0.8)])
def test_area_under_the_curve_is_the_fracture_energy(direction: tuple[float, float]) -> None:
    """0.138 N/mm from zero to nothing left, whatever the direction in the plane; the residual stiffness taken off."""
    slip = np.unique(np.concatenate([np.linspace(0, F_T / K, 200), np.linspace(F_T / K, 0.2, 3000)]))
    stress, _ = follow(PLANE, slip[:, None] * np.array(direction))
    rest = RESIDUAL_STIFFNESS * K * 0.5 * slip[-1] ** 2
    assert np.trapezoid(stress @ np.array(direction), slip) - rest == pytest.approx(G_F, rel=1e-3)


def test_energy_falls_with_the_strength() -> None:
    """Half the strength under vertical tension: half the energy, the same opening at which nothing is left."""
    weak = replace(PLANE, strength=np.array([0.5 * F_T]))
    slip = np.linspace(0, 0.2, 6001)
    for law, share in ((PLANE, 1.0), (weak, 0.5)):
        stress, _ = follow(law, across(slip))
        clean = stress[:, 1] - RESIDUAL_STIFFNESS * K * slip
        assert np.trapezoid(clean, slip) == pytest.approx(share * G_F, rel=3e-3)
        assert slip[np.flatnonzero(clean > 1e-9)[-1]] == pytest.approx(2 * G_F / F_T, rel=1e-3)


def test_strength_meets_mohrs_circle() -> None:
    """Shear at the strength and vertical stress of either sign: major principal stress f_t; none is left at f_t."""
    vertical = np.array([-2.0, -0.3, 0.0, 0.4, 1.0, 1.9])
    tau = interface_strength(F_T, vertical)
    assert 0.5 * vertical + np.sqrt(0.25 * vertical**2 + tau**2) == pytest.approx(F_T)
    assert interface_strength(F_T, np.array([F_T, 3.0])) == pytest.approx([0.0, 0.0])


def test_residual_is_friction_under_compression() -> None:
    assert interface_residual(0.9, np.array([-0.5, 0.7])) == pytest.approx([0.45, 0.0])


def test_clamped_plane_keeps_its_residual() -> None:
    """With a residual of 0.6 MPa the plane softens to it and stays; the area above it is (s - r)/f_t G_F."""
    law = replace(PLANE, residual=np.array([0.6]))
    slip = np.linspace(0, 1.0, 20001)
    stress, _ = follow(law, across(slip))
    clean = stress[:, 1] - RESIDUAL_STIFFNESS * K * slip
    assert clean.max() == pytest.approx(F_T, rel=1e-3) and clean[-1] == pytest.approx(0.6)
    above = np.trapezoid(clean - np.minimum(K * slip, 0.6), slip)
    assert above == pytest.approx((F_T - 0.6) / F_T * G_F, rel=2e-3)


def legs(left: float = 460.0) -> CrossingSteel:
    """Two legs of 129 mm2 at 85 mm over 600 mm, 12.7 mm thick, drawn out against 3.9 MPa."""
    ratio = 2 * 129 / (85 * 600)
    pull = 2 * np.sqrt(200e3 * 3.9 / 12.7)
    return CrossingSteel(np.array([[ratio]]), np.array([pull]), np.array([[left]]), 0.9, 0.3)


def test_legs_clamp_as_far_as_the_plane_opens() -> None:
    """A slip of 1 mm past cracking opens 0.3 mm: 2 sqrt(200e3 x 3.9 x 0.3 / 12.7) = 271 MPa in the legs, mu rho of it

    1.24 MPa. The same by integrating bond along the leg: the crack is twice the bar's lengthening over the
    length s d / (4 t_b) in which the stress s is handed over.
    """
    shear, _ = legs().shear(np.array([[1.0]]))
    assert float(shear[0, 0]) == pytest.approx(0.9 * 2 * 129 / (85 * 600) * 271.5, rel=0.06)
    stress = np.linspace(0.0, 271.5, 1001)
    length = stress * 12.7 / (4 * 3.9)
    assert 2.0 * np.trapezoid(stress / 200e3, length) == pytest.approx(0.3, rel=2e-3)


def test_legs_yield_and_no_more() -> None:
    """Birkeland's mu rho f_y is the end of it, less what the legs carry already; yielded legs clamp nothing."""
    ratio = 2 * 129 / (85 * 600)
    far = np.array([[50.0]])
    assert float(legs().shear(far)[0][0, 0]) == pytest.approx(0.9 * ratio * 460.0)
    assert float(legs(360.0).shear(far)[0][0, 0]) == pytest.approx(0.9 * ratio * 360.0)
    assert float(legs(-5.0).shear(far)[0][0, 0]) == 0.0


def test_crossing_steel_adds_nothing_before_the_plane_cracks() -> None:
    law = replace(PLANE, crossing=legs())
    before, after = np.array([0.5 * F_T / K]), np.array([0.3])
    assert follow(law, across(before))[0] == pytest.approx(follow(PLANE, across(before))[0])
    more = follow(law, across(after))[0] - follow(PLANE, across(after))[0]
    assert more[0, 1] == pytest.approx(float(legs().shear(after[None] - F_T / K)[0][0, 0]))


@pytest.mark.parametrize("crossing", [None, legs()])
@pytest.mark.parametrize("residual", [0.0, 0.6, 2.5])
@pytest.mark.parametrize("point", [(0.01, 0.02), (0.03, 0.05), (-0.02, 0.1), (0.0, 0.4)])
def test_tangent_against_differences(
    point: tuple[float, float], residual: float, crossing: CrossingSteel | None
) -> None:
    law = replace(PLANE, residual=np.array([residual]), crossing=crossing)
    stress, tangent = follow(law, [point])
    for k in range(2):
        ahead, behind = np.array(point), np.array(point)
        ahead[k] += 1e-7
        behind[k] -= 1e-7
        slope = (follow(law, [ahead])[0][0] - follow(law, [behind])[0][0]) / 2e-7
        assert tangent[0][:, k] == pytest.approx(slope, rel=1e-4, abs=1e-3)


def test_unloading_goes_to_the_origin_and_gains_nothing() -> None:
    stress, _ = follow(PLANE, across(np.array([0.08, 0.04, 0.0, -0.08, 0.0])))
    assert stress[1, 1] == pytest.approx(0.5 * stress[0, 1])
    assert stress[2, 1] == 0.0 and stress[3, 1] == pytest.approx(-stress[0, 1])


def test_share_along_the_bars() -> None:
    """With no share along the bars only the residual stiffness acts there; across it is the same plane."""
    law = replace(PLANE, along=0.0)
    stress, _ = follow(law, [[0.5, 0.02]])
    assert stress[0] == pytest.approx([RESIDUAL_STIFFNESS * K * 0.5, K * 0.02 * (1 + RESIDUAL_STIFFNESS)])


def test_intact_and_absent_planes() -> None:
    """The intact one stays elastic; of the absent one the residual stiffness is left, so that nothing ever swims."""
    rest = K * RESIDUAL_STIFFNESS
    for law, k in ((replace(PLANE, intact=True), K + rest), (replace(PLANE, absent=True), rest)):
        stress, tangent = follow(law, [[0.3, -0.4]])
        assert stress[0] == pytest.approx([0.3 * k, -0.4 * k])
        assert tangent[0] == pytest.approx(k * np.eye(2))


def test_spring_pulls_along_its_axis_alone() -> None:
    stress, tangent = follow(Spring(1000.0), [[0.2, 5.0]])
    assert stress[0] == pytest.approx([200.0, 0.0])
    assert tangent[0] == pytest.approx(np.diag([1000.0, 0.0]))
