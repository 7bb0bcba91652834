"""Splitting strength over a length: uniform mean bond gives the lap stress of the Model Code, and so does slip.

Sources: fib Model Code 2010, eq. 6.1-5 (local strength) and 6.1-19 (stress of a lap), as evaluated by
structuralcodes, a library of others; the powers of their cover terms differ (0.33 and 0.25), so the
comparison holds closely at c_min = d_b only. The slip of elastic bars: closed forms of constant bond (statics) and of
the power law of Table 6.1-1, integrated by hand.
"""

from __future__ import annotations

import numpy as np
import pytest
from structuralcodes.codes import mc2010

from fesplice.formulas.bond import tau_split
from fesplice.laws.bond import Envelope, envelope, length_factor, splitting_strength
from fesplice.laws.slip import lap_stress


@pytest.mark.parametrize(("f_cm", "d"), [(25.0, 16.0), (35.0, 25.0), (60.0, 32.0)])
@pytest.mark.parametrize("lengths", [5.0, 15.0, 20.0, 30.0, 40.0])
def test_uniform_bond_over_the_length_is_the_stress_of_the_lap(f_cm: float, d: float, lengths: float) -> None:
    """4 tau l_b/d_b = f_stm within 1 % at c_min = c_max = d_b, and within 12 % at 2.5 d_b."""
    one, length = np.ones(1), lengths * d
    for cover, within in ((1.0, 0.01), (2.5, 0.12)):
        tau = tau_split(f_cm, d * one, cover * d * one, cover * d * one, 0.0 * one, "good") * length_factor(
            d * one, length * one
        )
        stress = mc2010.f_stm(f_cm, d, length, cover * d, cover * d, 0.0, 0.0)
        assert 4.0 * tau[0] * length / d == pytest.approx(stress, rel=within)


def test_no_gain_below_five_diameters() -> None:
    """A shorter length, or none (a bar that runs through), keeps the local strength."""
    assert length_factor(20.0 * np.ones(3), np.array([0.0, 50.0, 100.0])) == pytest.approx(np.ones(3))


def test_lap_of_constant_bond_is_plastic() -> None:
    """Bond that stays at 5 MPa hands over 4 tau l/d_b = 4 x 5 x 400/20 = 400 MPa, whatever slips (statics)."""
    assert lap_stress(lambda slip: (np.full_like(slip, 5.0), slip), 20.0, 400.0) == pytest.approx(400.0, rel=1e-9)


def test_long_lap_holds_two_endless_bars() -> None:
    """Bond tau_max s^0.4, gone at 1 mm: f^2 d_b/8E = tau_max/1.4 for each end, closed form; the lap holds both."""
    d, tau = 16.0, 2.5 * np.sqrt(30.0)

    def curve(slip: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return tau * np.minimum(slip, 1.0) ** 0.4 * (slip <= 1.0), slip

    assert lap_stress(curve, d, 1600.0) == pytest.approx(2.0 * np.sqrt(8.0 * 200e3 / d * tau / 1.4), rel=0.02)


def _curve(f_cm: float, d: float, strength: float, ktr: float) -> Envelope:
    one = np.ones(1)
    return envelope(f_cm, d * one, "good", 0.5 * d * one, np.ones(1, bool), strength * one, ktr * one)


@pytest.mark.parametrize("ktr", [0.0, 0.3])
@pytest.mark.parametrize(("f_cm", "d"), [(25.0, 16.0), (60.0, 32.0)])
@pytest.mark.parametrize("lengths", [8.0, 20.0, 40.0])
def test_the_length_enters_once(f_cm: float, d: float, lengths: float, ktr: float) -> None:
    """Slip along the lap included, it holds the stress of MC2010 6.1-19 within 1 % at c_min = c_max = d_b."""
    length = lengths * d
    local = float(tau_split(f_cm, d, d, d, ktr, "good"))
    strength = splitting_strength(f_cm, d, length, local, ktr, "good", 0.5 * d)
    mean = local * float(length_factor(np.array(d), np.array(length)))
    assert mean <= strength * 1.001 and strength <= local
    stress = mc2010.f_stm(f_cm, d, length, d, d, 12.0, ktr / 12.0)
    assert lap_stress(_curve(f_cm, d, strength, ktr), d, length) == pytest.approx(stress, rel=0.01)
    assert lap_stress(_curve(f_cm, d, mean, ktr), d, length) < stress, "and less without the allowance for slip"
