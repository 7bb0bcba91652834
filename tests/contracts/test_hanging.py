"""The plane a slab hangs on, and springs: energy, strength, residual, tangent, closed cycles.

Sources: cohesive crack, area under the curve = fracture energy (Hillerborg, Modeer & Petersson 1976); strength under
combined shear and tension from Mohr's circle, sigma_1 = s/2 + sqrt(s^2/4 + tau^2) = f_t (any textbook); shear friction
mu (N + A f_y) (Birkeland & Birkeland 1966, from memory). The numbers are hand values.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fesplice.laws.hanging import FLOOR, Hanging, Spring, plane_residual, plane_strength

K, F_T, G_F = 58.0, 1.95, 0.138
PLANE = Hanging(K, np.array([F_T]), np.array([0.0]), F_T, G_F, along=1.0)


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
    """0.138 N/mm from zero to nothing left, whatever the direction in the plane; the floor's share taken off."""
    slip = np.unique(np.concatenate([np.linspace(0, F_T / K, 200), np.linspace(F_T / K, 0.2, 3000)]))
    stress, _ = follow(PLANE, slip[:, None] * np.array(direction))
    floor = FLOOR * K * 0.5 * slip[-1] ** 2
    assert np.trapezoid(stress @ np.array(direction), slip) - floor == pytest.approx(G_F, rel=1e-3)


def test_energy_falls_with_the_strength() -> None:
    """Half the strength under vertical tension: half the energy, the same opening at which nothing is left."""
    weak = replace(PLANE, strength=np.array([0.5 * F_T]))
    slip = np.linspace(0, 0.2, 6001)
    for law, share in ((PLANE, 1.0), (weak, 0.5)):
        stress, _ = follow(law, across(slip))
        clean = stress[:, 1] - FLOOR * K * slip
        assert np.trapezoid(clean, slip) == pytest.approx(share * G_F, rel=3e-3)
        assert slip[np.flatnonzero(clean > 1e-9)[-1]] == pytest.approx(2 * G_F / F_T, rel=1e-3)


def test_strength_meets_mohrs_circle() -> None:
    """Under shear at the strength and vertical tension the major principal stress is f_t; none is left at f_t."""
    vertical = np.array([0.0, 0.4, 1.0, 1.9])
    tau = plane_strength(F_T, 0.9, vertical)
    assert 0.5 * vertical + np.sqrt(0.25 * vertical**2 + tau**2) == pytest.approx(F_T)
    assert plane_strength(F_T, 0.9, np.array([F_T, 3.0])) == pytest.approx([0.0, 0.0])
    assert plane_strength(F_T, 0.9, np.array([-2.0])) == pytest.approx([F_T + 1.8])


def test_residual_is_shear_friction() -> None:
    """mu (p + rho (f_y - s)): 0.9 (0.5 + 0.002 x 300); legs that yield clamp nothing."""
    ratio = np.array([0.002, 0.002])
    got = plane_residual(0.9, np.array([-0.5, 0.0]), ratio, np.array([300.0, -10.0]))
    assert got == pytest.approx([0.99, 0.0])


def test_legs_hold_what_is_left() -> None:
    """With a residual of 0.6 MPa the plane softens to it and stays; the area above it is (s - r)/f_t G_F."""
    law = replace(PLANE, residual=np.array([0.6]))
    slip = np.linspace(0, 1.0, 20001)
    stress, _ = follow(law, across(slip))
    clean = stress[:, 1] - FLOOR * K * slip
    assert clean.max() == pytest.approx(F_T, rel=1e-3) and clean[-1] == pytest.approx(0.6)
    above = np.trapezoid(clean - np.minimum(K * slip, 0.6), slip)
    assert above == pytest.approx((F_T - 0.6) / F_T * G_F, rel=2e-3)


@pytest.mark.parametrize("residual", [0.0, 0.6, 2.5])
@pytest.mark.parametrize("point", [(0.01, 0.02), (0.03, 0.05), (-0.02, 0.1), (0.0, 0.4)])
def test_tangent_against_differences(point: tuple[float, float], residual: float) -> None:
    law = replace(PLANE, residual=np.array([residual]))
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
    """With no share along the bars only the floor acts there; across it is the same plane."""
    law = replace(PLANE, along=0.0)
    stress, _ = follow(law, [[0.5, 0.02]])
    assert stress[0] == pytest.approx([FLOOR * K * 0.5, K * 0.02 * (1 + FLOOR)])


def test_intact_and_absent_planes() -> None:
    """The intact one stays elastic; of the absent one the floor is left, so that nothing ever swims."""
    for law, k in ((replace(PLANE, intact=True), K * (1 + FLOOR)), (replace(PLANE, absent=True), K * FLOOR)):
        stress, tangent = follow(law, [[0.3, -0.4]])
        assert stress[0] == pytest.approx([0.3 * k, -0.4 * k])
        assert tangent[0] == pytest.approx(k * np.eye(2))


def test_spring_pulls_along_its_axis_alone() -> None:
    stress, tangent = follow(Spring(1000.0), [[0.2, 5.0]])
    assert stress[0] == pytest.approx([200.0, 0.0])
    assert tangent[0] == pytest.approx(np.diag([1000.0, 0.0]))
