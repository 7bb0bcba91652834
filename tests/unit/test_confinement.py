"""Each kind of confinement answers for itself.

Sources: K_tr and its limit by the library structuralcodes (MC2010 6.1-6), k_m from memory (MC2010, 6.1.1); places of
sets, legs and loops by hand.
"""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from structuralcodes.codes import mc2010

from fesplice.specimen import Confinement, read, vary
from fesplice.specimen.confinement import KINDS, StirrupSets, TieSets, TransverseBars

MODELS = Path(__file__).resolve().parents[2] / "models"
SPECIMENS = {
    Confinement: "as29-100-u", TieSets: "as29-100-t3", StirrupSets: "as29-100-s3", TransverseBars: "as29-100-x",
}  # fmt: skip


def of(kind: type[Confinement]) -> Confinement:
    return read(MODELS / f"{SPECIMENS[kind]}.toml").confinement


def test_every_kind_that_a_file_may_name_has_its_class() -> None:
    assert set(KINDS) == set(get_args(Confinement.model_fields["kind"].annotation))
    assert all(cls.model_fields.keys() == Confinement.model_fields.keys() for cls in KINDS.values())


@pytest.mark.parametrize("kind", SPECIMENS, ids=lambda k: k.__name__)
def test_reading_picks_the_class_and_varying_keeps_it(kind: type[Confinement]) -> None:
    s = read(MODELS / f"{SPECIMENS[kind]}.toml")
    assert type(s.confinement) is kind and KINDS[s.confinement.kind] is kind
    assert type(vary(s, "concrete.closure.strength", "40 MPa").confinement) is kind
    assert s.confinement.there == (kind is not Confinement)


def test_sets_stand_about_the_middle_and_others_nowhere() -> None:
    for kind in SPECIMENS:
        c = of(kind)
        x = np.array(c.positions(10.0))
        assert len(x) == (c.number if c.in_sets else 0)
        if len(x):
            assert x.mean() == pytest.approx(10.0) and np.diff(x) == pytest.approx(c.spacing)


@pytest.mark.parametrize(("kind", "units", "k_m"), [(TieSets, 1, 12.0), (StirrupSets, 2, None)])
def test_k_m_k_tr_is_the_model_codes(kind: type[Confinement], units: int, k_m: float | None) -> None:
    c, places, d, width = of(kind), (-240.0, 240.0), 28.7, 600.0
    if k_m is None:
        near = min(abs(240.0 - z) for z in c.legs_across(width)) <= 5.0 * d
        k_m = 12.0 if near else 6.0
    k_tr = mc2010.K_tr(n_t=c.legs, A_st=c.area, n_b=units, phi=d, s_t=c.spacing)
    assert c.km_ktr(places, d, width) == pytest.approx(k_m * k_tr)


def test_what_no_formula_counts_holds_nothing() -> None:
    for kind in (Confinement, TransverseBars):
        c = of(kind)
        assert c.km_ktr((-240.0, 240.0), 28.7, 600.0) == 0.0 and not c.in_sets
        assert c.loops(((-240.0, -140.0),), 60.0, 28.7, (600.0, 575.0), 0.5) == ()


def test_loops_of_ties_close_about_pairs_and_those_of_stirrups_about_the_section() -> None:
    ties, stirrups, beam = of(TieSets), of(StirrupSets), (600.0, 575.0)
    inside, outside = (ties.loops(((-240.0, -140.0),), 60.0, 28.7, beam, out)[0] for out in (0.0, 1.0))
    assert inside == pytest.approx((-254.35, -125.65, 45.65, 74.35))
    assert np.subtract(inside, outside) == pytest.approx(ties.diameter * np.array([1, -1, 1, -1]))
    z0, z1, y0, y1 = stirrups.loops((), 60.0, 28.7, beam, 1.0)[0]
    assert (z0 + 300.0, 300.0 - z1, y0, 575.0 - y1) == pytest.approx((stirrups.cover,) * 4)
    assert len(ties.legs_across(600.0)) == 0 and len(stirrups.legs_across(600.0)) == stirrups.legs


def test_an_odd_transverse_bar_lies_with_the_left_hooks() -> None:
    c = of(TransverseBars)
    for number in (1, 2, 5):
        some = c.filled(number=number)
        assert isinstance(some, TransverseBars)
        assert (some.in_row("A"), some.in_row("B")) == ((number + 1) // 2, number // 2)
    assert of(TieSets).in_row("A") == 0
