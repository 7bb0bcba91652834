"""Series of bond and laps: every row becomes a sound specimen, the spread is a rule, slopes and formulas are right.

Sources: EN 1992-1-1:2004, eq. 7.9, worked by hand below; slopes against made power laws; the lap
equations of ACI 408R-03, Orangun et al. (1977) and fib Model Code 2010 as provisions of this project,
against the stresses in the table of rows. The rest are statements about statistics.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from validation import bond, lap_laws, laps, trials  # noqa: E402
from validation.case import Settings  # noqa: E402
from validation.frame import DATA  # noqa: E402

from fesplice.contracts import BondNumbers  # noqa: E402
from fesplice.geometry import elevation  # noqa: E402
from fesplice.provisions import aci408r_03, mc2010, orangun_1977  # noqa: E402

CASES = laps.cases(DATA)
ROWS = laps.read_rows(DATA / "lap_equation_points.csv")


def test_every_row_is_a_specimen_without_clash() -> None:
    """All 192 rows: width 4 (c + d_b), covers of the row on three sides, lap and stirrups of the row."""
    assert len({r.name for r in ROWS}) == len(ROWS) == 192
    for row in ROWS:
        s = laps.specimen_of(row, Settings())
        assert s.body.width == pytest.approx(4.0 * (row.cover + row.db))
        assert (s.bars.lap, s.bars.left.cover, s.bars.side_cover) == pytest.approx((row.ls, row.cover, row.cover))
        inner = min(abs(z) for z in s.bars.right.positions) - 0.5 * row.db
        assert inner == pytest.approx(row.cover), "half the clear spacing between the laps"
        assert s.confinement.number == row.stirrups
        assert len(elevation(s).joints) == 2


def test_rows_agree_with_the_provisions() -> None:
    """The three equations, programmed for the provisions, give the table's stresses within its rounding."""
    for row in ROWS[::7]:
        area, ties = 0.25 * np.pi * row.db**2, 2.0 * 0.25 * np.pi * 100.0
        n = float(row.stirrups)
        aci = aci408r_03.splice_stress(
            row.fc, row.db, area, row.ls, row.cover, row.cover, n, ties if n else 0.0, 2.0, units="SI"
        )
        ojb = orangun_1977.splice_stress(
            row.fc, row.db, row.ls, row.cover, *((0.5 * ties, 500.0, 100.0) if n else ()), units="SI"
        )
        k_tr = mc2010.transverse_index(2.0, 0.5 * ties, 2.0, row.db, 100.0).value if n else 0.0
        fib = mc2010.lap_stress(row.fc, row.db, row.ls, row.cover, row.cover, 12.0, k_tr)
        assert [a.value for a in (aci, ojb, fib)] == pytest.approx(row.equations, abs=1.0, rel=4e-3)


def test_spread_does_not_depend_on_the_order_of_the_file() -> None:
    """48 of all rows, the first and the last of the sorted list among them, high strength, long laps, high stress."""
    chosen = laps.spread(CASES)
    names = [c.name for c in chosen]
    assert len(set(names)) == 48 and names == [c.name for c in laps.spread(CASES[::-1])]
    assert names[0] == "f25-d16-l240-c16" and names[-1] == "f60-d32-l1280-c80-s"
    numbers = np.array([laps._numbers(name) for name in names])
    assert (numbers[:, 1] == 60.0).sum() >= 12 and (numbers[:, 2] >= 1000.0).sum() >= 5
    assert sum(c.test > 500.0 for c in chosen if c.test is not None) >= 16
    few = CASES[:5]
    assert {c.name for c in laps.spread(few)} == {c.name for c in few}


def test_slopes_recover_a_power_law() -> None:
    """f_s = 7 f_c^0.25 (l_s/d_b)^0.55 (c/d_b)^0.3 d_b^-0.2, 1.4 times with stirrups."""
    names = [c.name for c in laps.spread(CASES)]
    x = np.array([laps._numbers(name) for name in names])
    db, fc, ls, cover, tied = x.T
    made = 7.0 * fc**0.25 * (ls / db) ** 0.55 * (cover / db) ** 0.3 * db**-0.2 * np.where(tied > 0.0, 1.4, 1.0)
    assert list(laps.slopes(names, made).values()) == pytest.approx([0.25, 0.55, 0.3, -0.2, 1.4])
    assert laps.slopes(names[:3], made[:3]) == {}


def test_tie_formula_by_hand() -> None:
    """f_ctm = 0.3 x 30^(2/3) = 2.8965, E_c = 0.88636 x 33 551 = 29 738 MPa, ratio of moduli 6.7253, rho 2 %, 400 MPa.

    Apart (400 - 0.6 x 2.8965/0.02 x (1 + 0.13451))/200 000 = 1.5071e-3, in the concrete 0.6 x 2.8965/29 738 =
    0.0584e-3; at 120 MPa the lower limit 0.4 x 120/200 000 = 0.24e-3 instead.
    """
    tie = bond.Tie(0.02)
    assert tie.mean_strain(400.0) == pytest.approx(1.5655e-3, rel=1e-4)
    assert tie.mean_strain(120.0) == pytest.approx(0.2984e-3, rel=3e-4)
    assert tie.area / (tie.side**2 - tie.area) == pytest.approx(0.02)


def test_strength_classes() -> None:
    """Equal numbers of columns in each class, mean one, coefficient of variation as stated, always the same."""
    kind, factor = bond.classes(80)
    assert np.bincount(kind).tolist() == [10] * 8
    assert factor.mean() == pytest.approx(1.0) and factor.std() == pytest.approx(bond.SCATTER)
    assert bond.classes(80)[0].tolist() == kind.tolist()


# ------------------------------------------------------------------ laws on trial
@pytest.mark.parametrize("ratio", [1.0, 2.0, 3.0])
def test_ring_lies_between_the_elastic_and_the_plastic_one(ratio: float) -> None:
    """Tepfers 1973 (from memory): partly cracked (c + d/2)/(1.664 d) below, plastic 2 c/d above, in f_ct.

    f_ct = 0.3 x 27^(2/3) = 2.7 MPa at f_cm = 35 MPa (fib MC2010 5.1-3a).
    """
    d = 20.0
    moved, pressure = lap_laws.ring(35.0, d, ratio * d)
    assert lap_laws.partly_cracked(35.0, d, ratio * d) == pytest.approx(2.7 * (ratio + 0.5) / 1.664)
    assert lap_laws.partly_cracked(35.0, d, ratio * d) < pressure.max() < 2.7 * 2.0 * ratio
    assert np.all(np.diff(moved) > 0.0) and pressure[-1] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("name", [name for name, law in lap_laws.TRIALS.items() if isinstance(law, lap_laws.LocalBond)])
def test_laws_on_trial_know_no_length_and_keep_bars_that_do_not_split(name: str) -> None:
    """The same curve for a lap of 200 and of 1200 mm; the pull-out curve of MC2010 where the law shall not split."""
    law = lap_laws.TRIALS[name]
    one = np.ones(2)
    made = [
        law.built(
            BondNumbers(
                strength=35.0 * one, diameter=25.0 * one, number=2.0 * one, condition="good", rib_spacing=12.5 * one,
                length=length * one, c_min=30.0 * one, c_max=30.0 * one, k_tr=0.2 * one,
                splitting=np.array([True, False]), bearing_coefficient=0.8, anchored=0.0 * one,
            )
        ).curve
        for length in (200.0, 1200.0)
    ]  # fmt: skip
    assert np.array_equal(made[0].top, made[1].top) and np.array_equal(made[0].end, made[1].end)
    assert made[0].top[0] < made[0].top[1] == pytest.approx(2.5 * np.sqrt(35.0))
    assert np.all(made[0].end > made[0].flat)


def test_page_of_laws_says_who_meets_what() -> None:
    """Made up: a law within 2 % of every row meets all, one that is half as strong only the scatter."""
    test = np.array([400.0, 500.0, 600.0])
    said = trials.verdict(test, {"default": test / np.array([0.99, 1.0, 1.02]), "local": 0.5 * test})
    assert "- default: mean of 6.1-19, length once: meets mean, COV, every row." in said
    assert "- 6.1-5 at every length: meets COV." in said
