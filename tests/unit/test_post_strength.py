"""Strength of a curve: every branch on made-up curves, continuity as a property, and recorded curves of a sweep."""

from __future__ import annotations

import csv
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy.signal import argrelmax

from fesplice.post.mechanisms import Indicator, Mechanism, assess
from fesplice.post.strength import DEEP, DROP, EARLY, ENDS, FALL, Kind, steepness, strength

RECORDED = Path(__file__).parents[1] / "data" / "strength"


def curve(*points: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Deflections and loads of a curve given by its points."""
    d, p = np.array(points, float).T
    return d, p


# ------------------------------------------------------------------ branches
def test_a_load_that_rises_to_the_end_is_a_lower_bound():
    s = strength(*curve((0, 0), (1, 50), (2, 80), (3, 100)))
    assert s.kind is Kind.end_of_loading and not s.exact
    assert (s.value, s.row, s.deflection, s.top_row, s.low_row) == (100.0, 3, 3.0, 3, -1)
    assert s.falls == () and s.first == s.largest == 100.0 and s.deepest is None


def test_a_load_that_levels_off_is_a_plateau_and_still_a_lower_bound():
    d = np.linspace(0.0, 10.0, 41)
    s = strength(d, 100.0 * np.minimum(d / 5.0, 1.0) + 0.1 * d)
    assert s.kind is Kind.plateau and not s.exact
    assert strength(d, 100.0 * d / 10.0).kind is Kind.end_of_loading


def test_a_load_that_falls_by_less_than_a_drop_is_no_maximum_yet():
    s = strength(*curve((0, 0), (1, 50), (2, 80), (3, 75)))
    assert s.kind is Kind.end_of_loading and s.value == 80.0 and not s.exact


def test_a_load_that_falls_for_good_is_exact_and_the_fall_is_followed_to_its_end():
    s = strength(*curve((0, 0), (2, 100), (2.2, 90), (2.4, 70), (2.6, 60), (3, 65), (4, 62)))
    assert s.kind is Kind.first_maximum and s.exact and s.falls == ()
    assert (s.value, s.row, s.top_row, s.low_row) == (100.0, 1, 1, 4)


def test_the_fall_that_ends_a_run_is_complete():
    s = strength(*curve((0, 0), (1, 60), (2, 100), (2.1, 65)))
    assert s.kind is Kind.first_maximum and (s.value, s.low_row) == (100.0, 3)
    # a run that ends at a fall of 10 %: that one is complete as well
    short = curve((0, 0), (1, 60), (2, 100), (2.1, 89))
    assert not strength(*short).exact and strength(*short, ends=0.10).exact


def test_a_moderate_fall_that_is_made_good_is_read_through_and_told():
    # bond peak 100 at 2 mm, down to 80, hook peak 120 at 5 mm, then down for good
    s = strength(*curve((0, 0), (1, 60), (2, 100), (2.2, 85), (2.4, 80), (3, 90), (5, 120), (5.5, 118), (7, 80)))
    assert s.kind is Kind.later_maximum and s.exact
    assert (s.value, s.row, s.deflection, s.low_row) == (120.0, 6, 5.0, 8) and s.first == 100.0
    (fall,) = s.falls
    assert (fall.load, fall.row, fall.lowest, fall.lowest_row) == (100.0, 2, 80.0, 4)
    assert (fall.back, fall.regained) == (6, 5.0) and fall.share == pytest.approx(0.2)


def test_what_comes_after_a_fall_that_would_have_ended_the_test_does_not_count():
    d, p = curve((0, 0), (1, 60), (2, 100), (2.2, 80), (2.4, 70), (3, 90), (5, 120), (7, 150))
    s = strength(d, p)
    assert s.exact and s.kind is Kind.first_maximum and (s.value, s.row, s.largest) == (100.0, 2, 150.0)
    assert (s.top_row, s.low_row) == (2, 4) and s.first == 100.0


def test_what_comes_after_a_deep_fall_counts_in_part():
    # half way between DEEP and ENDS: half of the rise from 100 to 140 counts, whichever way the curve takes up
    d, p = curve((0, 0), (2, 100), (2.4, 72.5), (5, 130), (7, 140))
    s = strength(d, p)
    assert s.value == pytest.approx(120.0) and s.row == 3 and s.largest == 140.0
    # 120 between 100 in row 1 and 130 in row 3: two thirds of the way in any other column
    assert s.at(p, d) == pytest.approx(2.0 + 2.0 / 3.0 * 3.0)
    assert s.at(p, p) == pytest.approx(s.value)
    deeper, milder = p - [0, 0, 0.1, 0, 0], p + [0, 0, 0.1, 0, 0]
    assert strength(d, deeper).top_row == 1 and strength(d, milder).top_row == 4
    assert strength(d, deeper).exact and not strength(d, milder).exact


def test_each_fall_on_the_way_is_told_and_the_deepest_found():
    loads = [0.0, 50.0, 46.0, 60.0, 48.0, 70.0, 69.0, 100.0]
    s = strength(np.arange(8.0), np.array(loads))
    assert [(f.load, f.lowest) for f in s.falls] == [(50.0, 46.0), (60.0, 48.0)]
    assert s.first == 50.0 and s.deepest == s.falls[1] and s.kind is Kind.end_of_loading


def test_falls_of_cracking_are_no_falls():
    # 9.9 kN, a joint opens and 4 kN are left: more than half of the load, then it rises to 50 kN
    s = strength(np.arange(6.0), np.array([0.0, 9.9, 4.0, 11.5, 50.0, 20.0]))
    assert s.falls == () and s.kind is Kind.first_maximum and s.value == pytest.approx(50.0, rel=1e-12)
    # the same fall at 30 of 50 kN is no cracking any more
    assert strength(np.arange(6.0), np.array([0.0, 30.0, 12.0, 33.0, 50.0, 20.0])).value == 30.0


def test_a_curve_of_one_point_or_none():
    s = strength(np.zeros(1), np.zeros(1))
    assert s.value == 0.0 and s.kind is Kind.end_of_loading and not s.exact and s.at(np.zeros(1), np.ones(1)) == 1.0
    with pytest.raises(ValueError, match="at least one"):
        strength(np.zeros(0), np.zeros(0))
    with pytest.raises(ValueError, match="as many deflections as loads"):
        strength(np.zeros(2), np.zeros(3))
    with pytest.raises(ValueError, match="above 0"):
        strength(np.zeros(2), np.zeros(2), ends=0.0)


# ------------------------------------------------------------------ properties
loads = arrays.arrays(float, st.integers(1, 25), elements=st.floats(0.0, 1e6))
moved = st.floats(0.0, 2e5)


def shallow(load: np.ndarray) -> np.ndarray:
    """The curve with its falls filled up until none is deep."""
    return np.maximum(load, (1.0 - 0.8 * DEEP) * np.maximum.accumulate(load))


def strengths(first: np.ndarray, second: np.ndarray, ends: float = ENDS) -> tuple[float, float]:
    d = np.arange(len(first), dtype=float)
    return strength(d, first, ends).value, strength(d, second, ends).value


@given(loads, moved, st.randoms(use_true_random=False), st.sampled_from([0.1, ENDS, 0.9]))
def test_the_strength_moves_by_no_more_than_a_multiple_of_the_load(load, most, random, ends):
    """Continuity: |S1 - S2| <= C max |P1 - P2|, for any curves over the same deflections."""
    other = np.maximum(load + np.array([random.uniform(-most, most) for _ in load]), 0.0)
    apart = float(np.abs(other - load).max())
    one, two = strengths(load, other, ends)
    assert abs(one - two) <= steepness(ends) * apart * (1.0 + 1e-9) + 1e-6


@given(loads, st.floats(0.0, 0.02), st.randoms(use_true_random=False))
def test_without_deep_falls_it_moves_by_no_more_than_the_load(load, most, random):
    first = shallow(load)
    other = first + most * first.max() * np.array([random.uniform(-1.0, 1.0) for _ in first])
    assume((other >= (1.0 - DEEP) * np.maximum.accumulate(other)).all())
    one, two = strengths(first, other)
    assert abs(one - two) <= float(np.abs(other - first).max()) * (1.0 + 1e-9)


@given(loads)
def test_on_the_way_from_one_fall_to_a_deeper_one_the_strength_never_jumps(load):
    """A curve is bent step by step into one that falls to nothing: steps of the strength stay as small as the steps."""
    low = load.copy()
    low[len(load) // 2] = 0.0
    d = np.arange(len(load), dtype=float)
    values = [strength(d, load + t * (low - load)).value for t in np.linspace(0.0, 1.0, 200)]
    apart = float(np.abs(low - load).max()) / 199.0
    assert np.abs(np.diff(values)).max(initial=0.0) <= steepness() * apart * (1.0 + 1e-9) + 1e-6


@given(loads, st.floats(1e-3, 1e3), st.floats(1.0, 50.0))
def test_units_do_not_matter(load, scale, wide):
    d = np.arange(len(load), dtype=float)
    one, two = strength(d, load), strength(wide * d, scale * load)
    assert two.value == pytest.approx(scale * one.value, rel=1e-9) and len(two.falls) == len(one.falls)


@given(loads)
def test_more_of_the_curve_never_lowers_it_and_it_lies_between_first_maximum_and_largest_load(load):
    d = np.arange(len(load), dtype=float)
    # a quarter of the largest load so far tells cracking from falls: what grows beyond may only forgive early ones
    values = [strength(d[:n], load[:n]).value for n in range(1, len(load) + 1)]
    assert (np.diff(values) >= -1e-6).all()
    s = strength(d, load)
    assert s.value <= s.largest == load.max() and s.value >= min(s.first, s.largest) - 1e-6
    assert s.at(load, load) == pytest.approx(s.value, abs=1e-6)


@given(loads)
def test_nothing_after_a_fall_that_ends_a_run_counts(load):
    """A curve cut where a run would have been ended has the strength of the whole."""
    d, best = np.arange(len(load), dtype=float), np.maximum.accumulate(load)
    ended = np.flatnonzero((load <= (1.0 - ENDS) * best) & (best > 0.0))
    assume(len(ended) > 0)
    cut = int(ended[0]) + 1
    # falls at less than twice EARLY of the largest load count in part, and the cut curve has another largest load
    fallen = best[:cut][load[:cut] < best[:cut]]
    assume(fallen.min() >= 2.0 * EARLY * load.max())
    assert strength(d[:cut], load[:cut]).value == pytest.approx(strength(d, load).value, rel=1e-9, abs=1e-6)


@given(loads)
def test_falls_are_those_a_general_library_finds(load):
    """Every fall begins at a maximum of the curve (scipy.signal.argrelmax) and comes back above it; none is missed."""
    s = strength(np.arange(len(load), dtype=float), load)
    tops = set((argrelmax(np.concatenate([[-1.0], load, [-1.0]]))[0] - 1).tolist())
    # flat tops are maxima at their first row here and none for the library
    flat = {int(k) for k in np.flatnonzero(np.diff(load) == 0.0)}
    for f in s.falls:
        assert f.row in tops | flat and f.row < f.lowest_row < f.back
        assert load[f.back] > f.load and f.share >= FALL * (1.0 - 1e-9) and f.lowest == load[f.row : f.back].min()
    inside = {k for f in s.falls for k in range(f.row, f.back)}
    best = np.maximum.accumulate(load)
    for k in range(int(np.argmax(load))):
        if k not in inside and best[k] > EARLY * load.max() and load[k] < best[k]:
            assert load[k] > (1.0 - FALL) * best[k]


# ------------------------------------------------------------------ recorded sweeps
@cache
def recorded(sweep: str, view: str) -> dict[float, tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Deflection [mm], load [N] and bar stress [MPa] of one view, by the value that was varied."""
    with (RECORDED / f"{sweep}.csv").open(encoding="utf-8") as table:
        rows = [r for r in csv.DictReader(line for line in table if not line.startswith("#")) if r["view"] == view]
    found: dict[float, list[list[float]]] = {}
    for r in rows:
        point = [float(r[k]) for k in ("deflection_mm", "load_N", "bar_stress_MPa")]
        found.setdefault(float(r["value"]), []).append(point)
    return {value: tuple(np.array(points).T) for value, points in sorted(found.items())}  # type: ignore[misc]


def by_first_drop(load: np.ndarray, drop: float = DROP) -> int:
    """Row of the rule that jumps: the largest load before the first fall of ``drop``."""
    best = np.maximum.accumulate(load)
    low = np.flatnonzero((load <= (1.0 - drop) * best) & (best > 0.0))
    return int(np.argmax(load[: low[0] + 1] if len(low) else load))


def by_rule(load: np.ndarray) -> int:
    """Row of the strength."""
    return strength(np.arange(len(load), dtype=float), load).row


def steps(sweep: str, view: str, rule: Callable[[np.ndarray], int]) -> list[float]:
    """Change of the strength [share] from one value to the next, as bar stress."""
    stress = [float(s[: rule(p) + 1].max()) for _, p, s in recorded(sweep, view).values()]
    return [b / a - 1.0 for a, b in pairwise(stress)]


def test_longer_laps_jump_by_the_first_drop_and_do_not_by_this_rule():
    """AS19-100-U with its lap from 245 to 525 mm: falls of 4 to 24 % where the leads split, then the hooks carry on."""
    for view in ("elevation", "plan"):
        assert max(map(abs, steps("lap", view, by_first_drop))) > 0.25, "the curves would not show a jump"
        found = steps("lap", view, by_rule)
        assert len(found) == 12 and max(map(abs, found)) < 0.01 and min(found) > -0.01


def test_coupled_plans_of_longer_laps_are_never_weaker():
    """From 280 mm on the plane outlasts the splitting of the leads: falls of 9 to 22 %, read through in full."""
    curves = recorded("lap", "coupled")
    found = {lap: strength(d, load) for lap, (d, load, _) in curves.items()}
    stress = [found[lap].at(load, np.maximum.accumulate(s)) for lap, (_, load, s) in curves.items() if lap >= 280.0]
    change = np.diff(stress) / stress[:-1]
    assert len(change) == 10 and change.min() > -0.002 and change.max() < 0.06
    assert all(s.exact and s.value == s.largest for lap, s in found.items() if lap >= 280.0)


def test_a_plane_that_tears_before_counts_in_part():
    """Laps of 245 and 262.5 mm: falls of 29 and 26 % as the plane tears, made good at three times the extension."""
    for lap, (d, load, _) in recorded("lap", "coupled").items():
        if lap > 270.0:
            continue
        s = strength(d, load)
        fall = s.deepest
        assert fall is not None and DEEP < fall.share < ENDS and fall.regained > 2.9 * fall.deflection
        credit = (ENDS - fall.share) / (ENDS - DEEP)
        assert s.value == pytest.approx(s.first + credit * (load.max() - s.first), rel=1e-3) and s.value < s.largest


def test_stronger_concrete_never_weakens_and_nears_the_yielding_of_the_bars():
    found = steps("fcm", "elevation", by_rule)
    assert len(found) == 8 and min(found) >= -0.001 and max(found) < 0.12
    # where the bars yield nothing is left to gain; before, bearing of the hooks goes with the concrete
    grown = np.diff(np.log(sorted(recorded("fcm", "elevation"))))
    assert (np.log1p(found) / grown < 1.0).all() and abs(found[-1]) < 0.01


def test_the_two_rules_agree_where_no_fall_is_near_the_limit():
    """Up to a lap of 280 mm no fall reaches 15 %: both take the largest load, known from the curve itself."""
    for value, (d, load, _) in recorded("lap", "plan").items():
        s = strength(d, load)
        assert s.largest == load.max() and s.value == s.largest
        assert [round(f.share, 3) for f in s.falls] == sorted(round(f.share, 3) for f in s.falls)
        if value <= 280.0:
            assert s.row == by_first_drop(load) and s.deepest is not None and s.deepest.share < DROP


# ------------------------------------------------------------------ what is made of it
def test_falls_on_the_way_are_told_in_words():
    s = strength(*curve((0, 0), (2, 100e3), (2.4, 72.5e3), (5, 130e3), (7, 140e3)))
    fell, largest = s.told("mm deflection")
    assert fell == "fell by 28 % from 100.0 kN at 2 mm deflection, made good at 5 mm"
    assert largest.startswith("largest load 140.0 kN: ") and "in part" in largest
    assert strength(*curve((0, 0), (2, 100e3))).told("mm") == ()


def test_the_judge_takes_a_strength_between_two_rows():
    load, stress = np.array([0.0, 100.0, 72.5, 130.0, 140.0]), np.array([0.0, 400.0, 290.0, 520.0, 560.0])
    s = strength(np.arange(5.0), load)
    between = s.at(load, np.maximum.accumulate(stress)), s.value
    opening = Indicator(Mechanism.side_thrust, "crack", np.array([0.0, 0.05, 0.2, 0.3, 0.4]), 0.1, "mm", "test")
    found = assess("plan", stress, load, s.top_row, s.low_row if s.exact else None, [opening], carried=between)
    assert (found.bar_stress, found.load) == pytest.approx((480.0, 120.0))
    whole = assess("plan", stress, load, 4, None, [opening])
    assert (whole.bar_stress, whole.load) == (560.0, 140.0)
