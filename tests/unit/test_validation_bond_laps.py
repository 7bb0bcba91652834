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

from validation import bond, laps  # noqa: E402
from validation.case import Settings  # noqa: E402
from validation.frame import DATA  # noqa: E402

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
    """24 of the surrogate rows, the first and the last of the sorted list among them; few rows are all taken."""
    names = [c.name for c in laps.spread(CASES)]
    assert len(set(names)) == 24 and names == [c.name for c in laps.spread(CASES[::-1])]
    assert {c.use for c in laps.spread(CASES)} == {"surrogate"}
    assert names[0] == "f25-d16-l240-c40" and names[-1] == "f60-d32-l960-c48"
    few = [c for c in CASES if c.use == "surrogate"][:5]
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
