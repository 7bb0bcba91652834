"""Splitting strength over a length: uniform bond along the whole of it gives the lap stress of the Model Code.

Sources: fib Model Code 2010, eq. 6.1-5 (local strength) and 6.1-19 (stress of a lap), as evaluated by
structuralcodes, a library of others; the powers of their cover terms differ (0.33 and 0.25), so the
comparison holds closely at c_min = d_b only.
"""

from __future__ import annotations

import numpy as np
import pytest
from structuralcodes.codes import mc2010

from fesplice.formulas.bond import tau_split
from fesplice.laws.bond import length_factor


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
