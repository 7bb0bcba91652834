"""Bars and bent bars: the given curve is followed, unloading is elastic, the moment stops at the plastic moment.

Sources: uniaxial plasticity with isotropic hardening and the plastic section modulus d^3/6 of a
round bar are textbook results (e.g. Lubliner, Plasticity Theory, 1990, ch. 3 and 4; from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from fesplice.formulas.steel import Curve, idealised
from fesplice.laws import Bar, BentBar

E, FY, FU = 200e3, 500.0, 650.0
CURVES = {
    "hardening at once": idealised(E, FY, FU, 0.0, 0.06),
    "plateau": idealised(E, FY, FU, 0.015, 0.06),
    "perfectly plastic": idealised(E, FY, FY, 0.0, 0.06),
    "measured": Curve(E, (0.0025, 0.012, 0.03, 0.08), (500.0, 505.0, 590.0, 640.0)),
}
LENGTH = np.ones((1, 1))
curves = pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES)


def follow(law, strains) -> tuple[np.ndarray, dict]:
    """First stress component for a path of strains (n, n_s), committed step by step."""
    history, out = law.fresh((1, 1)), []
    for e in np.atleast_2d(np.asarray(strains, float).T).T:
        answer = law.respond(e.reshape(1, 1, -1), history, LENGTH)
        history = answer.history
        out.append(answer.stress[0, 0])
    return np.array(out), history


@curves
@pytest.mark.parametrize("sense", [1.0, -1.0])
@pytest.mark.parametrize("steps", [7, 300])
def test_curve_is_followed_whatever_the_steps(curve: Curve, sense: float, steps: int) -> None:
    strains = np.linspace(0.0, curve.strain[-1], steps)
    stress, _ = follow(Bar(curve), sense * strains)
    points = np.interp(strains, (0.0, *curve.strain), (0.0, *curve.stress))
    assert sense * stress[:, 0] == pytest.approx(points, rel=1e-9, abs=1e-6)


@curves
def test_unloading_is_elastic(curve: Curve) -> None:
    top = 0.02
    strains = [0.0, top, top - 0.001, top - 0.002, top - 0.001, top, top + 0.004]
    stress = follow(Bar(curve), strains)[0][:, 0]
    peak = np.interp(top, (0.0, *curve.strain), (0.0, *curve.stress))
    assert stress[1:6] == pytest.approx([peak, peak - 200.0, peak - 400.0, peak - 200.0, peak], rel=1e-9)
    assert stress[6] == pytest.approx(np.interp(top + 0.004, (0.0, *curve.strain), (0.0, *curve.stress)), rel=1e-9)


@curves
def test_reversed_yield_keeps_the_strength_reached(curve: Curve) -> None:
    """Isotropic hardening: after unloading from s the bar yields in compression at -s, not before."""
    top, back = 0.02, 0.02
    peak = np.interp(top, (0.0, *curve.strain), (0.0, *curve.stress))
    just = top - 2 * peak / E
    stress = follow(Bar(curve), [0.0, top, just, just - back])[0][:, 0]
    assert stress[2] == pytest.approx(-peak, rel=1e-9)
    assert stress[3] == pytest.approx(-np.interp(top + back, (0.0, *curve.strain), (0.0, *curve.stress)), rel=1e-9)


@curves
def test_broken_bar_carries_nothing(curve: Curve) -> None:
    last = curve.strain[-1]
    stress = follow(Bar(curve), [0.0, last, 1.05 * last, 1.1 * last, 1.3 * last])[0][:, 0]
    assert stress[2] == pytest.approx(0.5 * curve.stress[-1], rel=1e-6)
    assert stress[3:] == pytest.approx([0.0, 0.0], abs=1e-6)


@curves
@pytest.mark.parametrize("path", [(0.001, 0.0015), (0.02, 0.021), (0.02, 0.019), (0.02, 0.014), (-0.02, -0.022)])
def test_tangent_against_differences(curve: Curve, path: tuple[float, float]) -> None:
    law, step = Bar(curve), 1e-8
    history = follow(law, [0.0, path[0]])[1]
    got, ahead, behind = (law.respond(np.array([[[path[1] + d]]]), history, LENGTH) for d in (0.0, step, -step))
    measured = (ahead.stress - behind.stress) / (2 * step)
    assert got.tangent[0, 0, 0, 0] == pytest.approx(measured[0, 0, 0], rel=1e-4, abs=1.1e-4 * E)


def test_closed_cycles_dissipate() -> None:
    """A full cycle without hardening: two sweeps of f_y over the range less the elastic part."""
    top = 0.008
    strains = np.concatenate([np.linspace(a, b, 400) for a, b in ((0, top), (top, -top), (-top, top))])
    stress = follow(Bar(CURVES["perfectly plastic"]), strains)[0][:, 0]
    loop = slice(399, None)  # from the top back to the top
    work = np.sum(0.5 * (stress[loop][1:] + stress[loop][:-1]) * np.diff(strains[loop]))
    assert work == pytest.approx(2 * FY * (2 * top - 2 * FY / E), rel=0.01)


def test_inputs_are_never_written() -> None:
    bent = BentBar(CURVES["plateau"], 25.0, 2, 982.0)
    for law, strain in ((Bar(CURVES["plateau"]), np.array([[[0.02]]])), (bent, np.array([[[0.02, 5e-4]]]))):
        history = follow(law, strain[0] * 0.9)[1]
        copies = {key: values.copy() for key, values in history.items()}
        for array in (strain, *history.values()):
            array.flags.writeable = False
        law.respond(strain, history, LENGTH)
        assert all(np.array_equal(history[key], copies[key]) for key in copies)


def test_bent_bar_stops_at_the_plastic_moment() -> None:
    """Elastic E pi d^4/64 per bar, then f_y d^3/6 per bar, elastic on reversal; N apart from M."""
    d, number = 28.7, 3
    law = BentBar(CURVES["perfectly plastic"], d, number, 1935.0)
    inertia, plastic = np.pi * d**4 / 64, d**3 / 6
    yielding = FY * plastic / (E * inertia)
    turns = np.array([0.5, 1.0, 3.0, 2.0, 1.0, 0.5]) * yielding
    stress = follow(law, np.stack([np.full(6, 1e-3), turns], axis=1))[0]
    share = np.array([0.5, 1.0, 1.0, 0.0, -1.0, -1.0])
    assert stress[:, 1] == pytest.approx(number * FY * plastic * share, rel=1e-9, abs=1e-3)
    assert stress[:, 0] == pytest.approx(1935.0 * E * 1e-3)


@pytest.mark.parametrize("curvature", [1e-5, 4e-4])
def test_bent_bar_tangent(curvature: float) -> None:
    law = BentBar(CURVES["plateau"], 25.0, 2, 982.0)
    base = np.array([[[1e-3, curvature]]])
    got = law.respond(base, law.fresh((1, 1)), LENGTH).tangent[0, 0]
    for j, step in enumerate((1e-8, 1e-9)):
        shift = np.zeros(2)
        shift[j] = step
        ahead, behind = (law.respond(base + s * shift, law.fresh((1, 1)), LENGTH).stress[0, 0] for s in (1, -1))
        floor = (1e-4 * E * 982.0, 1.1e-3 * E * np.pi * 25.0**4 / 64 * 2)[j]  # kept at yield so that it stays regular
        assert got[:, j] == pytest.approx((ahead - behind) / (2 * step), rel=1e-4, abs=floor)
