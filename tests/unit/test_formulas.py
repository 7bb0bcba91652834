"""Lap partners, clear gaps, covers and the steel curve that rooms share.

Sources: pairs of a row of bars by hand, and by trying every pairing; covers by fib Model Code 2010, Figure 6.1-2;
the splitting force of a hook by eq. 6.1-5 of the library structuralcodes (fib-international) times pi d_b l; a cracked
section by the closed form of any textbook against halving.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from structuralcodes.codes import mc2010

from fesplice.formulas import bond, laps, section, steel

PLACES = st.lists(st.integers(-400, 400), min_size=1, max_size=5, unique=True)


def test_a_bar_laps_with_its_own_partner_however_close_the_next_pair_stands() -> None:
    """A B A B | B A B A, pairs 100 mm wide and 150 mm apart: by the nearest bar two would share one partner."""
    left, right = (-275.0, -125.0, 125.0, 275.0), (-175.0, -25.0, 25.0, 175.0)
    assert laps.pairs(left, right) == ((-275.0, -175.0), (-125.0, -25.0), (125.0, 25.0), (275.0, 175.0))
    nearest = [min(right, key=lambda z, y=y: abs(z - y)) for y in left]
    assert len(set(nearest)) < len(left)


@settings(max_examples=100, deadline=None)
@given(PLACES, PLACES)
def test_pairs_have_the_least_sum_of_squares_of_all(left: list[int], right: list[int]) -> None:
    found = laps.pairs(left, right)
    assert len(found) == min(len(left), len(right)) and len({a for a, _ in found}) == len(found)
    few, many = sorted((left, right), key=len)
    least = min(sum((a - b) ** 2 for a, b in zip(few, p)) for p in permutations(many, len(few)))
    assert sum((a - b) ** 2 for a, b in found) == least


def test_a_gap_is_clear_of_both_diameters_and_never_that_to_the_lap_partner() -> None:
    """Bars of 30 mm at -100 and 100, of 20 mm at -60 (partner) and 20 (partner): 80 - 25 to the next one."""
    gaps = laps.clear_gaps((-100.0, 100.0), 30.0, (-60.0, 20.0), 20.0)
    assert gaps == pytest.approx([120.0 - 25.0, 160.0 - 25.0])
    assert laps.clear_gaps((0.0,), 30.0, (40.0,), 20.0) == pytest.approx([np.inf])


def test_the_bar_that_splits_first_counts_with_its_own_covers() -> None:
    """Close together in the middle, near the side at the edge: the covers of two bars are never mixed."""
    pairs = [bond.covers(20.0, 200.0, 60.0, 20.0), bond.covers(80.0, 25.0, 60.0, 20.0)]
    assert pairs == [(20.0, 200.0), (25.0, 80.0)]
    terms = [mc2010_term(c, 20.0) for c in pairs]
    assert bond.worst(pairs, 20.0) == pairs[int(np.argmin(terms))]


def mc2010_term(c: tuple[float, float], d: float) -> float:
    return mc2010.tau_bu_split(1.0, 25.0, d, *c, 0.0, 0.0)


@pytest.mark.parametrize(("gap", "side"), [(60.0, 65.0), (200.0, 40.0), (np.inf, 90.0)])
def test_the_force_that_splits_the_side_cover(gap: float, side: float) -> None:
    d, f_cm, length = 25.0, 40.0, 300.0
    half = side if np.isinf(gap) else 0.5 * gap
    tau = mc2010.tau_bu_split(1.0, f_cm, d, min(half, side), max(half, side), 0.0, 0.0)
    ours = bond.side_splitting(f_cm, d, np.array([0.5 * gap, 500.0]), np.array([side, 500.0]), length, "good")
    assert ours == pytest.approx(tau * np.pi * d * length, rel=1e-3)


@settings(max_examples=50, deadline=None)
@given(st.floats(100, 800), st.floats(150, 700), st.floats(0.002, 0.03), st.floats(4, 12))
def test_the_closed_form_of_a_cracked_section_is_the_general_one(b: float, d: float, rho: float, n: float) -> None:
    layer = section.Layer(d, rho * b * d, steel.bilinear(500.0))
    general = section.cracked(section.Section.rectangle(b, 1.1 * d, layer), 200e3 / n)
    closed = section.singly_reinforced(b, d, rho * b * d, 200e3 / (200e3 / n))
    assert (closed.x, closed.inertia) == pytest.approx((general.x, general.inertia), rel=1e-9)


def test_a_march_and_a_section_read_the_same_steel() -> None:
    """Up to the last point alike, and alike in compression; past it the section's bar is torn, the march's falls."""
    curve = steel.idealised(200e3, 450.0, 600.0, 0.01, 0.08)
    strain = np.linspace(0.0, 0.08, 57)
    assert curve.fibres()(strain) == pytest.approx(curve(strain)[0], rel=1e-12)
    assert curve.fibres()(-strain) == pytest.approx(-curve(strain)[0], rel=1e-12)
    assert curve.fibres()(np.array([0.081])) == 0.0 and 0.0 < curve(np.array([0.081]))[0][0] < 600.0
