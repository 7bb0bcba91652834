"""What every clause function keeps: a full Check, both systems of units, refusals, monotony.

Source: the conversion factors of NIST SP 811 (1 in = 25.4 mm, 1 lbf = 4.448222 N, 1 psi = 6.894757 kPa).
The two printed forms of ACI 318 differ by the rounding of their coefficients: 1.5 %, and 2.5 % for the
two-digit coefficients of the table of straight lengths (20 psi^0.5 is 1.66, printed 1.7).
"""

from __future__ import annotations

import inspect
import math
from typing import Any, get_type_hints

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fesplice.contracts import Check, InputFault
from fesplice.provisions import (
    PROVISIONS,
    aashto_lrfd_9,
    aci318_14,
    aci318_19,
    aci408r_03,
    ec2_2004,
    mc2010,
    orangun_1977,
)
from fesplice.provisions import ku_hook_2018 as ku

INCH, LBF = 25.4, 4.4482216
TO_US = {
    "length": 1 / INCH,
    "area": 1 / INCH**2,
    "stress": 1e6 / 6894.757,
    "force": 1 / LBF,
    "signed force": 1 / LBF,
    "moment": 1 / (LBF * INCH),
    "number": 1.0,
    "strain": 1.0,
}

# An ordinary value for every argument, in mm, mm2, MPa, N; clear of every step of the rules.
SAMPLE: dict[str, Any] = {
    "fc": 33.0, "fy": 410.0, "f_cm": 33.0, "f_ck": 27.0, "f_yk": 520.0, "f_yt": 410.0, "f_y": 410.0,
    "f_ytr": 410.0, "f_ul": 600.0, "f_stm": 300.0, "f_bd": 2.5, "sigma_sd": 400.0, "p": 3.0,
    "db": 28.0, "phi": 28.0, "c_b": 50.0, "c": 45.0, "c_min": 40.0, "c_max": 60.0, "c_d": 40.0,
    "l_d": 800.0, "l_dh": 460.0, "l_eh": 460.0, "l_st": 600.0, "l_b": 500.0, "l_b_rqd": 900.0, "lap": 600.0,
    "s": 150.0, "s_t": 150.0, "s_row": 200.0, "s_partner": 100.0, "side_cover": 70.0,
    "b": 600.0, "b_w": 600.0, "b_v": 600.0, "b_s": 100.0, "d": 510.0, "d_v": 460.0,
    "A_s": 1290.0, "A_sl": 1290.0, "A_b": 645.0, "A_v": 142.0, "A_tr": 142.0, "A_st": 71.0, "A_st_min": 0.0,
    "A_ts": 645.0, "A_l": 5000.0, "A_cv": 345e3, "A_vf": 568.0, "V_n": 4e5, "F_n": 3e5, "face_cover": 50.0,
    "n": 2.0, "n_t": 2.0, "n_b": 2.0, "n_tr": 2.0, "N": 4.0, "K": 0.05, "percent": 60.0, "eps_s": 0.001, "eps_t": 0.004,
    "psi_r": 1.6, "beta_s": 0.75, "reading": "row", "node": "CCT", "bent": True, "least_stirrups": False,
    "surface": "roughened", "f_cd": 30.0, "f_yd": 435.0, "phi_m": 150.0, "l_s": 250.0, "a_c": 1e4, "d_dg": 32.0,
    "k_st": 0.8, "c_s": 50.0, "a_st": 400.0, "b_h1": 70.0, "length": 200.0,
}  # fmt: skip
NAMES = sorted(PROVISIONS)


def required(name: str) -> dict[str, Any]:
    """Sample values of the arguments without a default."""
    form = inspect.signature(PROVISIONS[name])
    return {k: SAMPLE[k] for k, p in form.parameters.items() if p.default is p.empty}


def kinds(name: str) -> dict[str, str]:
    hints = get_type_hints(inspect.unwrap(PROVISIONS[name]), include_extras=True)
    return {k: h.__metadata__[0] for k, h in hints.items() if hasattr(h, "__metadata__")}


def in_us(name: str, values: dict[str, Any]) -> dict[str, Any]:
    kind = kinds(name)
    return {k: v * TO_US[kind[k]] if k in kind else v for k, v in values.items()}


@pytest.mark.parametrize("name", NAMES)
def test_a_check_can_be_looked_up(name: str) -> None:
    values = required(name)
    check = PROVISIONS[name](**values)
    assert isinstance(check, Check)
    assert math.isfinite(check.value) and check.value > 0.0
    assert check.document and check.edition and check.clause and check.quantity
    assert set(kinds(name)) == set(check.inputs)
    for key, value in values.items():
        if key in check.inputs:
            assert check.inputs[key] == value
        else:
            assert f"{key} = {value}" in check.scope_note
    told = PROVISIONS[name].__doc__ or ""
    assert "[mm" in told or "rguments as in" in told or "length" not in kinds(name).values()


@pytest.mark.parametrize("name", NAMES)
def test_both_systems_agree(name: str) -> None:
    """Converted formulas to the digits; formulas printed twice within the rounding of the printed coefficients."""
    values = required(name)
    si = PROVISIONS[name](**values)
    us = PROVISIONS[name](**in_us(name, values), units="US")
    rounding = 0.025 if "simple" in name else 0.015 if "aci318" in name else 1e-6
    unit_kind = {"mm": "length", "mm2": "area", "MPa": "stress", "N": "force", "N mm": "moment", "": "number"}[si.unit]
    assert us.unit == {"mm": "in", "mm2": "in2", "MPa": "psi", "N": "lbf", "N mm": "lbf in", "": ""}[si.unit]
    assert us.value == pytest.approx(si.value * TO_US[unit_kind], rel=rounding)


@pytest.mark.parametrize("name", NAMES)
def test_numbers_out_of_the_question_are_refused(name: str) -> None:
    """All of them at once, with the clause in front."""
    numbers = [k for k in required(name) if k in kinds(name)]
    with pytest.raises(InputFault) as caught:
        PROVISIONS[name](**{**required(name), **{k: -1.0 for k in numbers}})
    assert {f.path for f in caught.value.faults} == set(numbers)
    assert PROVISIONS[name](**required(name)).clause in str(caught.value)
    with pytest.raises(InputFault):
        PROVISIONS[name](**{**required(name), numbers[0]: math.nan})
    with pytest.raises(InputFault, match="units"):
        PROVISIONS[name](**required(name), units="cgs")


@pytest.mark.parametrize("name", [n for n in NAMES if any(w in n for w in ("hook_development", "lap_", "splice"))])
def test_laps_of_hooked_bars_are_outside_every_scope(name: str) -> None:
    assert "outside the scope of" in PROVISIONS[name](**required(name)).scope_note


@pytest.mark.parametrize(
    "name",
    ["ku_hook_2018.hook_stress", "aci408r_03.splice_stress", "orangun_1977.splice_stress", "aci318_19.lap_splice"],
)
def test_memory_is_owned_up_to(name: str) -> None:
    assert "from memory" in PROVISIONS[name](**required(name)).scope_note


def test_what_a_document_forbids_is_refused() -> None:
    for module in (aci318_19, aci318_14, aashto_lrfd_9):
        with pytest.raises(InputFault, match="No. 11"):
            module.lap_splice(1000.0, 43.0)
    with pytest.raises(InputFault, match="least length"):
        aci318_19.hook_stress(140.0, 35.0, 12.7, 1.0)
    with pytest.raises(InputFault, match="allowed: 1, 1.6"):
        aci318_19.hook_development(35.0, 420.0, 28.7, 1.3)
    with pytest.raises(InputFault, match="do not yield"):
        aci318_19.nominal_moment(20.0, 500.0, 200.0, 300.0, 6000.0)
    with pytest.raises(InputFault, match="allowed: row, partner"):
        aci318_19.psi_r(28.7, 200.0, 100.0, "both")  # type: ignore[arg-type]


def test_what_a_document_limits_is_remarked() -> None:
    assert "25.4.1.4" in aci318_19.hook_development(100.0, 420.0, 28.7, 1.0).scope_note
    assert "below 16" in aci408r_03.splice_stress(35.0, 19.1, 284.0, 280.0, 45.0, 45.0).scope_note
    assert "above 4" in aci408r_03.splice_stress(35.0, 28.7, 645.0, 460.0, 45.0, 45.0, 20.0, 400.0).scope_note
    assert "f_cm outside" in mc2010.lap_stress(120.0, 16.0, 300.0, 20.0, 40.0).scope_note
    assert "C60/75" in ec2_2004.design_bond(80.0, 16.0).scope_note
    assert "0.4 A_b" in ku.hook_stress(35.0, 28.7, 645.0, 460.0, 300.0, 300.0, "row", 600.0).scope_note
    assert "limited to 2.5" in orangun_1977.splice_stress(35.0, 20.0, 400.0, 80.0).scope_note


def test_the_spacing_reading_is_the_callers() -> None:
    """Close partner, wide row: the two readings differ by 1.6; ties make them one."""

    def length(reading: aci318_19.Reading, A_th: float = 0.0, A_hs: float = 0.0) -> float:
        factor = aci318_19.psi_r(28.7, 6.1 * 28.7, 100.0, reading, A_th, A_hs).value
        return aci318_19.hook_development(35.0, 420.0, 28.7, factor).value

    assert length("partner") / length("row") == pytest.approx(1.6)
    assert length("partner", 600.0, 1290.0) == length("row", 600.0, 1290.0) == length("row")
    hooks = ku.hook_stress_readings(35.0, 28.7, 645.0, 460.0, 10 * 28.7, 100.0)
    assert hooks["partner"].value < hooks["row"].value
    assert "reading = partner" in hooks["partner"].scope_note


def test_editions_are_not_mixed() -> None:
    """Same hook, two editions: other exponents of the diameter (1.5 and 1), each named as its own."""
    new = [aci318_19.hook_development(35.0, 420.0, d, 1.0) for d in (20.0, 32.0)]
    old = [aci318_14.hook_development(35.0, 420.0, d) for d in (20.0, 32.0)]
    assert new[1].value / new[0].value == pytest.approx(1.6**1.5)
    assert old[1].value / old[0].value == pytest.approx(1.6)
    assert {c.edition for c in new} == {"2019"} and {c.edition for c in old} == {"2014"}


stresses = st.floats(15.0, 68.0)
diameters = st.floats(9.5, 35.0)


@settings(max_examples=60, deadline=None)
@given(stresses, diameters, st.floats(1.001, 1.5))
def test_lengths_fall_with_strength_and_grow_with_the_bar(fc: float, db: float, more: float) -> None:
    lengths = (
        lambda f, d: aci318_14.hook_development(f, 420.0, d),
        lambda f, d: aashto_lrfd_9.hook_development(f, 420.0, d),
        lambda f, d: aashto_lrfd_9.straight_development(f, 420.0, d, 40.0),
        lambda f, d: aci318_14.straight_development(f, 420.0, d, 40.0),
        lambda f, d: mc2010.lap_length(400.0, f, d, 40.0, 60.0),
    )
    for length in lengths:
        assert length(fc * more, db).value <= length(fc, db).value * (1 + 1e-12)
        assert length(fc, db * more).value >= length(fc, db).value * (1 - 1e-12)


@settings(max_examples=60, deadline=None)
@given(stresses, diameters, st.floats(200.0, 900.0), st.floats(1.001, 1.5), st.floats(25.0, 70.0))
def test_stresses_grow_with_length_strength_and_spacing(fc: float, db: float, l: float, more: float, c: float) -> None:
    def hook(f: float, length: float, s: float) -> float:
        return ku.hook_stress(f, db, 0.785 * db * db, length, s, s, "row").value

    assert hook(fc, l * more, 100.0) > hook(fc, l, 100.0)
    assert hook(fc * more, l, 100.0) > hook(fc, l, 100.0)
    assert hook(fc, l, 100.0 * more) >= hook(fc, l, 100.0)
    for stress in (
        lambda f, length: mc2010.lap_stress(f, db, length, c, c).value,
        lambda f, length: aci408r_03.splice_stress(f, db, 0.785 * db * db, length, c, c).value,
        lambda f, length: orangun_1977.splice_stress(f, db, length, c).value,
    ):
        assert stress(fc, l * more) > stress(fc, l)
        assert stress(fc * more, l) > stress(fc, l)


@settings(max_examples=60, deadline=None)
@given(stresses, diameters, st.floats(1.0, 3.0), st.sampled_from([1.0, 1.6]))
def test_solved_forms_invert(fc: float, db: float, longer: float, psi: float) -> None:
    least = max(8.0 * db, 150.0)
    for stress_of, length_of in (
        (lambda l: aci318_19.hook_stress(l, fc, db, psi), lambda f: aci318_19.hook_development(fc, f, db, psi)),
        (lambda l: aci318_14.hook_stress(l, fc, db), lambda f: aci318_14.hook_development(fc, f, db)),
        (lambda l: aashto_lrfd_9.hook_stress(1.02 * l, fc, db), lambda f: aashto_lrfd_9.hook_development(fc, f, db)),
    ):
        l = longer * least * 1.02
        stress = stress_of(l).value
        factor = 1.02 if stress_of(l).document.startswith("AASHTO") else 1.0
        assert length_of(stress).value == pytest.approx(l * factor, rel=1e-9)
    f = mc2010.lap_stress(fc, db, least, 30.0, 60.0).value
    assert mc2010.lap_length(f, fc, db, 30.0, 60.0).value == pytest.approx(least)
