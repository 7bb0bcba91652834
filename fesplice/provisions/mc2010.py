"""fib Model Code 2010: bond strength, splitting strength, stress developed by a lap or anchorage.

Printed in mm and MPa; the US form converts arguments and answers exactly (in, in2, psi). Formulas and
ranges found in the source of structuralcodes (fib-international); k_m, the etas of the design bond and the
worth of a hook are from memory, and the values say so. The bond formulas that laws and planes share stand in
:mod:`fesplice.formulas.bond`; here they get the names, units and limits of a clause.
"""

from __future__ import annotations

import math
from typing import Literal

from fesplice.formulas import bond
from fesplice.provisions.clause import (
    Answer,
    Area,
    Document,
    Length,
    Number,
    Stress,
    Units,
    answer,
    choice,
    one_of,
    within,
)

MC2010 = Document("fib Model Code", "2010", ("SI",))
clause = MC2010.clause
Condition = Literal["good", "other"]
_LIMITED = "K_tr limited to 0.05"


def _range(f_cm: float, phi: float, c_min: float, c_max: float) -> str:
    """Remark on the tests behind 6.1-19."""
    out: list[str] = []
    if not 15.0 < f_cm < 110.0:
        out.append("f_cm outside 15-110 MPa")
    if not 0.5 < c_min / phi < 3.5:
        out.append("c_min/phi outside 0.5-3.5")
    if not 1.0 <= c_max / c_min < 5.0:
        out.append("c_max/c_min outside 1-5")
    return "outside the tests of the formula: " + ", ".join(out) if out else ""


def _k_m(k_m: float, K_tr: float) -> tuple[float, tuple[str, ...]]:
    """k_m K_tr and remarks on it."""
    one_of("k_m", k_m, (0.0, bond.KM_FAR, bond.KM_NEAR))
    notes = ("k_m from memory",) if k_m and K_tr else ()
    return k_m * bond.limited(K_tr), notes + ((_LIMITED,) if K_tr > bond.KTR_LIMIT else ())


def _cover(c_min: float, c_max: float, phi: float, power: float) -> float:
    within("c_max", c_max, c_min, math.inf)
    return bond.cover_term(c_min, c_max, phi, power)


@clause("6.1-6", "K_tr")
def transverse_index(n_t: Number, A_st: Area, n_b: Number, phi: Length, s_t: Length, *, units: Units = "SI") -> Answer:
    """K_tr = n_t A_st / (n_b phi s_t), at most 0.05.

    n_t legs crossing the splitting surface at a section, A_st one leg [mm2 | in2], n_b anchored bars or lapped
    pairs in it, phi bar diameter and s_t spacing of the legs [mm | in].
    """
    value = bond.k_tr(n_t, A_st, n_b, phi, s_t)
    return answer(bond.limited(value), _LIMITED if value > bond.KTR_LIMIT else "")


@clause("6.1-19", "f_stm", "stress", lap=True)
def lap_stress(
    f_cm: Stress,
    phi: Length,
    l_b: Length,
    c_min: Length,
    c_max: Length,
    k_m: Number = 0.0,
    K_tr: Number = 0.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Mean stress developed by a straight bar or lap of bond length l_b [MPa | psi].

    f_cm mean strength [MPa | psi]; phi, l_b, c_min, c_max (Figure 6.1-2) [mm | in]; k_m 12, 6 or 0 by the
    place of the legs (from memory); K_tr at most 0.05. The yield stress is a limit of its own.
    """
    ties, notes = _k_m(k_m, K_tr)
    shape = _cover(c_min, c_max, phi, bond.MEAN) + ties
    stress = 54.0 * (f_cm / 25.0) ** 0.25 * (25.0 / phi) ** 0.2 * (l_b / phi) ** 0.55 * shape
    return answer(stress, _range(f_cm, phi, c_min, c_max), *notes)


@clause("6.1-19, solved for the length", "l_b", "length", lap=True)
def lap_length(
    f_stm: Stress,
    f_cm: Stress,
    phi: Length,
    c_min: Length,
    c_max: Length,
    k_m: Number = 0.0,
    K_tr: Number = 0.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Bond length that develops the mean stress f_stm [mm | in]; arguments as in :func:`lap_stress`."""
    ties, notes = _k_m(k_m, K_tr)
    shape = _cover(c_min, c_max, phi, bond.MEAN) + ties
    base = 54.0 * (f_cm / 25.0) ** 0.25 * (25.0 / phi) ** 0.2 * shape
    return answer(phi * (f_stm / base) ** (1.0 / 0.55), _range(f_cm, phi, c_min, c_max), *notes)


@clause("Table 6.1-1", "tau_bmax", "stress")
def pull_out_strength(f_cm: Stress, condition: Condition = "good", *, units: Units = "SI") -> Answer:
    """Local bond strength of a pull-out, 2.5 or 1.25 sqrt f_cm [MPa | psi]. f_cm [MPa | psi]."""
    choice("condition", condition, ("good", "other"))
    return answer(bond.tau_max(f_cm, condition))


@clause("6.1-5", "tau_bu,split", "stress")
def splitting_strength(
    f_cm: Stress,
    phi: Length,
    c_min: Length,
    c_max: Length,
    k_m: Number = 0.0,
    K_tr: Number = 0.0,
    condition: Condition = "good",
    *,
    units: Units = "SI",
) -> Answer:
    """Local bond strength at splitting [MPa | psi]; arguments as in :func:`lap_stress`, condition good or other."""
    choice("condition", condition, ("good", "other"))
    ties, notes = _k_m(k_m, K_tr)
    within("c_max", c_max, c_min, math.inf)
    return answer(bond.tau_split(f_cm, phi, c_min, c_max, ties, condition), *notes)


@clause("6.1.4.2", "f_bd,0", "stress", memory=True)
def basic_design_bond(
    f_ck: Stress,
    phi: Length,
    f_yk: Stress,
    condition: Condition = "good",
    coated: bool = False,
    gamma_c: Number = 1.5,
    *,
    units: Units = "SI",
) -> Answer:
    """f_bd,0 = eta_1 eta_2 eta_3 eta_4 sqrt(f_ck/25)/gamma_c, eta_1 = 1.75 (ribbed) [MPa | psi].

    f_ck [MPa | psi]; eta_3 = (25/phi)^0.3 above 25 mm, else 1, phi [mm | in]; eta_4 = 1.2 (400), 1.0 (500), 0.85
    (600), 0.75 (700), 0.68 (800 MPa), straight lines between, f_yk [MPa | psi]; coated bars: eta_1 = 1.4.
    """
    choice("condition", condition, ("good", "other"))
    grades = ((400.0, 1.2), (500.0, 1.0), (600.0, 0.85), (700.0, 0.75), (800.0, 0.68))
    within("f_yk", f_yk, 400.0, 800.0)
    eta_4 = next(
        v0 + (v1 - v0) * (f_yk - g0) / (g1 - g0) for (g0, v0), (g1, v1) in zip(grades, grades[1:]) if f_yk <= g1
    )
    eta_3 = (25.0 / phi) ** 0.3 if phi > 25.0 else 1.0
    eta_1 = 1.4 if coated else 1.75
    return answer(eta_1 * bond.ETA_2[condition] * eta_3 * eta_4 * math.sqrt(f_ck / 25.0) / gamma_c)


@clause("6.1.4.4, bends and hooks", "f_hook", "stress", lap=True, memory=True)
def hook_stress(f_bd: Stress, *, units: Units = "SI") -> Answer:
    """Bar stress that a standard bend or hook takes beside the bond of the straight part: 60 f_bd [MPa | psi].

    The same as 15 phi of bond length. f_bd design bond strength [MPa | psi].
    """
    return answer(60.0 * f_bd)
