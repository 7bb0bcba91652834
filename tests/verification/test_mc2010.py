"""Bond strengths of fib Model Code 2010 against the library structuralcodes and its own test values.

Source: structuralcodes (fib-international, Apache-2.0), the values of its unit tests
(test_mc2010_interface_concrete_steel_rebar, release 0.7) and its functions as installed.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from structuralcodes.codes import mc2010

from fesplice.formulas.bond import tau_max, tau_split
from fesplice.laws.bond import envelope

ONE = np.ones(1)


@pytest.mark.parametrize(
    ("condition", "f_cm", "phi", "c_min", "c_max", "k_m", "k_tr", "value"),
    [
        ("good", 15, 20, 10, 30, 12, 0.05, 8.900446),
        ("other", 30, 20, 30, 30, 6, 0.06, 7.485077),
        ("other", 120, 20, 20, 90, 0, 0.04, 8.185118),
    ],
)
def test_splitting_strength_values(condition, f_cm, phi, c_min, c_max, k_m, k_tr, value) -> None:
    got = tau_split(f_cm, phi * ONE, c_min * ONE, c_max * ONE, k_m * k_tr * ONE, condition)
    assert got[0] == pytest.approx(value, rel=1e-3)


@pytest.mark.parametrize(("condition", "f_cm", "value"), [("good", 30, 13.69306394), ("other", 60, 9.682458366)])
def test_pull_out_strength_values(condition: str, f_cm: float, value: float) -> None:
    assert tau_max(f_cm, condition) == pytest.approx(value, rel=1e-3)


def test_slip_at_the_splitting_strength_value() -> None:
    """tau_max 13.7, tau_split 11, s1 1.2 mm: 0.6932 mm; here by the same law with s1 of its own (1 or 1.8 mm)."""
    assert 1.2 * (11 / 13.7) ** 2.5 == pytest.approx(0.6932, rel=1e-3)
    for condition, s1 in (("good", 1.0), ("other", 1.8)):
        top = tau_max(36.0, condition)
        curve = envelope(36.0, 25 * ONE, condition, 12.5 * ONE, ONE > 0, 0.6 * top * ONE, 0 * ONE)
        assert curve.flat[0] == pytest.approx(mc2010.s_tau_bu_split(top, 0.6 * top, 0.4, s1), rel=1e-3)


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from([("good", 1.0), ("other", 0.7)]), st.floats(15, 110), st.floats(8, 40), st.floats(10, 120),
    st.floats(1, 5), st.sampled_from([0.0, 6.0, 12.0]), st.floats(0, 0.05),
)  # fmt: skip
def test_splitting_strength_is_the_librarys(condition, f_cm, phi, c_min, ratio, k_m, k_tr) -> None:
    name, eta_2 = condition
    theirs = mc2010.tau_bu_split(eta_2, f_cm, phi, c_min, ratio * c_min, k_m, k_tr)
    ours = tau_split(f_cm, phi * ONE, c_min * ONE, ratio * c_min * ONE, k_m * k_tr * ONE, name)
    assert ours[0] == pytest.approx(theirs, rel=1e-3)


@settings(max_examples=50, deadline=None)
@given(st.sampled_from(["good", "other"]), st.floats(10, 120))
def test_pull_out_strength_is_the_librarys(condition: str, f_cm: float) -> None:
    assert tau_max(f_cm, condition) == pytest.approx(mc2010.tau_bmax(condition, f_cm), rel=1e-3)
