"""The plane of a hook: tangent, energy and peak in closed form, exponents, the cover side.

Sources: dissipated energy G_F A of a cohesive plane (Hillerborg, Modeer & Petersson 1976); force = toughness x
length^1.5 of linear fracture mechanics; exponents and points of the descriptive equation of Ajaam, Yasso, Darwin,
O'Reilly & Sperry (2018), models/validation/data/hook_head_equation_points.csv. The cover's share is a house law;
Hordijk's curve (1991) is 0.2 at 0.27 of the last opening, by hand below.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from fesplice.contracts import Floats, Law
from fesplice.laws.hook_plane import STIFF, HookPlane, plane_energy, plane_strength

POINTS = Path(__file__).parents[2] / "models" / "validation" / "data" / "hook_head_equation_points.csv"
E, G_F, F_T, D, LONG = 30e3, 0.14, 3.0, 25.0, 400.0
#: Read along 310 mm of the leads of two hooks.
PLANE = HookPlane.of(E, G_F, F_T, D, LONG, 2, 310.0)
SIZE = np.ones((1, 1))
#: 2.30 sqrt(30000 x 0.14 x 25) x 400 = 298.1 kN, 0.14 x 400^2 = 22400 N mm.
STRENGTH, ENERGY = 298.1e3, 22400.0


def follow(law: Law, path) -> tuple[Floats, dict]:
    """Force per length (n,) along a path (n, 2), committed step by step, and the last history."""
    history, out = law.fresh((1, 1)), []
    for point in np.asarray(path, float):
        answer = law.respond(point.reshape(1, 1, 2), history, SIZE)
        history = answer.history
        out.append(float(answer.stress[0, 0, 0]))
    return np.array(out), dict(history)


def test_strength_and_energy_of_one_hook_by_hand() -> None:
    assert plane_strength(E, G_F, D, LONG) == pytest.approx(STRENGTH, rel=1e-3)
    assert plane_energy(G_F, LONG) == pytest.approx(ENERGY)


@pytest.mark.parametrize("long", [200.0, 400.0, 600.0])
def test_peak_is_the_strength_and_the_area_the_energy(long: float) -> None:
    """Pulled open under a whole cover: two hooks, whatever their length; 1 % for the stiffness that stays."""
    plane = HookPlane.of(E, G_F, F_T, D, long, 2, 0.7 * long)
    slide = np.linspace(0.0, 12.0 * plane.softening, 6001)
    force = 0.7 * long * follow(plane, np.column_stack([slide, 0.0 * slide]))[0]
    assert force.max() == pytest.approx(2.0 * plane_strength(E, G_F, D, long), rel=2e-3)
    assert np.trapezoid(force, slide) == pytest.approx(2.0 * G_F * long**2, rel=0.01)


def test_a_cover_that_is_lost_takes_half_of_strength_and_energy() -> None:
    slide = np.linspace(0.0, 12.0 * PLANE.softening, 6001)
    wide = np.full_like(slide, PLANE.last)
    whole = follow(PLANE, np.column_stack([slide, 0.0 * slide]))[0]
    less = follow(PLANE, np.column_stack([slide, wide]))[0]
    assert less.max() == pytest.approx(0.5 * whole.max(), rel=5e-3)
    assert np.trapezoid(less, slide) == pytest.approx(0.5 * np.trapezoid(whole, slide), rel=0.02)


def test_cover_follows_the_softening_of_the_concrete() -> None:
    """x = 0.27: (1 + 0.81^3) exp(-1.871) - 28 x 0.27 exp(-6.93) = 0.2285; half of what is lost is lost: 0.614.

    A crack of 5.136 x 0.14 / 3 = 0.2397 mm is free of stress.
    """
    assert PLANE.last == pytest.approx(0.2397, abs=1e-4)
    share = PLANE.cover(np.array([-0.1, 0.0, 0.27 * PLANE.last, PLANE.last, 1.0]))[0]
    assert share == pytest.approx([1.0, 1.0, 0.614, 0.5, 0.5], abs=1e-3)
    kept = follow(PLANE, [[0.0, 0.1], [0.0, 0.0], [0.5, 0.0]])[1]["plane"][0, 0]
    assert kept[1] == 0.1 and 0.4 < kept[0] < 0.5  # a crack that has closed holds nothing together


def test_opening_at_a_held_force_lets_the_hook_slide() -> None:
    """Before any slide 0.9 of the strength is carried; at a cover half gone it is not."""
    near = 0.9 * STIFF * PLANE.softening
    whole, cracked = (follow(PLANE, [[near, 0.0], [near, w]])[0][-1] for w in (0.0, PLANE.last))
    assert whole == pytest.approx(0.9 * PLANE.strength, rel=1e-3)
    assert 0.4 * PLANE.strength < cracked < 0.5 * PLANE.strength  # it has slid, and softened by that


PATHS = {
    "whole": ((0.0, 0.0), (0.3 * STIFF * PLANE.softening, 0.0)),
    "sliding": ((0.02, 0.001), (0.03, 0.0005)),
    "sliding, opening": ((0.02, 0.01), (0.03, 0.05)),
    "back": ((0.05, 0.02), (0.0499, 0.03)),
    "far out": ((0.3, 0.3), (0.4, 0.4)),
    "pushed": ((0.02, 0.01), (-0.01, 0.02)),
}


@pytest.mark.parametrize("path", PATHS)
def test_tangent_against_differences_and_inputs_left_alone(path: str) -> None:
    before, after = map(np.array, PATHS[path])
    history = follow(PLANE, [0.5 * before, before])[1]
    strain = after.reshape(1, 1, 2)
    for array in (strain, *history.values()):
        array.flags.writeable = False
    got = PLANE.respond(strain, history, SIZE).tangent[0, 0]
    for j in range(2):
        shift = np.zeros((1, 1, 2))
        shift[..., j] = 1e-8
        ahead, behind = (PLANE.respond(strain + s * shift, history, SIZE).stress for s in (1, -1))
        assert got[:, j] == pytest.approx((ahead - behind)[0, 0] / 2e-8, rel=1e-3, abs=1e-7 * PLANE.stiffness)


def test_a_closed_cycle_gains_no_energy() -> None:
    path = np.concatenate([np.linspace(0.0, 0.05, 401), np.linspace(0.05, -0.01, 401), np.linspace(-0.01, 0.1, 401)])
    force = follow(PLANE, np.column_stack([path, 0.0 * path]))[0]
    work = np.concatenate([[0.0], np.cumsum(0.5 * (force[1:] + force[:-1]) * np.diff(path))])
    stored = 0.5 * force**2 / PLANE.stiffness
    assert np.all(np.diff(work - stored) > -1e-4 * work.max())


def test_secant_stiffness_gives_the_force() -> None:
    strain = np.array([[[0.07, 0.02]]])
    answer = PLANE.respond(strain, PLANE.fresh((1, 1)), SIZE, secant=1.0)
    assert answer.tangent[0, 0, 0, 0] * 0.07 == pytest.approx(answer.stress[0, 0, 0], rel=1e-2)


def test_exponents_and_level_of_the_descriptive_equation() -> None:
    """30 points without ties: 0.295, 0.47, 1.08 published; E and G_F after MC2010 5.1-21 and 5.1-9 (from memory).

    Level within 6 % (the constant belongs to 12 of them and to the modulus without the factor 0.8 + 0.2 f/88),
    scatter below 5 %.
    """
    with POINTS.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    f, d, long, force = (
        np.array([float(r[k]) for r in rows]) for k in ("fcm_MPa", "db_mm", "l_eh_mm", "T_KU2018_noties_kN")
    )
    modulus = (0.8 + 0.2 * f / 88.0) * 21500.0 * (f / 10.0) ** (1.0 / 3.0)
    ours = np.array([plane_strength(*v) for v in zip(modulus, 0.073 * f**0.18, d, long, strict=True)]) / 1e3
    x = np.column_stack([np.ones(len(f)), np.log(f), np.log(d), np.log(long)])
    exponents = np.linalg.lstsq(x, np.log(ours), rcond=None)[0][1:]
    assert exponents == pytest.approx([0.295, 0.47, 1.08], abs=0.09)
    ratio = force / ours
    assert ratio.mean() == pytest.approx(1.0, abs=0.06) and ratio.std(ddof=1) / ratio.mean() < 0.05
