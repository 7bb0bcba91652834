"""AASHTO LRFD Bridge Design Specifications, 9th edition: hooks, straight bars, laps, flexure, shear, nodes.

Printed in in and ksi only; the SI form converts arguments and answers exactly. Arguments: SI mm, mm2,
MPa, N; US in, in2, psi (not ksi), lbf. fc is f'c, db is d_b, lam is lambda. The 0.8 and 38.0 of the hook
and the limits 0.45-0.65 of the node were found in public texts; the rest is from memory and says so.
The hook rule of the 10th edition is not given: public accounts of it contradict each other.
"""

from __future__ import annotations

import math
from typing import Literal

from fesplice.provisions.clause import (
    Answer,
    Area,
    Document,
    Force,
    Length,
    Number,
    Strain,
    Stress,
    Units,
    answer,
    choice,
    one_of,
    refused,
    within,
)

LRFD9 = Document("AASHTO LRFD", "9th (2020)", ("US",))
clause = LRFD9.clause
KSI = 1000.0  # psi


def _above_15ksi(fc: float) -> str:
    return "f'c above 15 ksi (103 MPa), outside 5.10.8" if fc > 15.0 * KSI else ""


def _hook_per_stress(fc: float, db: float, factors: tuple[float, float, float], lam: float) -> float:
    """Length of a hook [in] for 1 psi."""
    l_rc, l_cw, l_er = factors
    one_of("l_rc", l_rc, (0.8, 1.0))
    one_of("l_cw", l_cw, (1.0, 1.2))
    within("l_er", l_er, 0.0, 1.0)
    within("lam", lam, 0.75, 1.0)
    return 38.0 * db / 60.0 / (lam * math.sqrt(fc / KSI)) / KSI * l_rc * l_cw * l_er


@clause("5.10.8.2.4", "l_dh", "length", lap=True)
def hook_development(
    fc: Stress,
    fy: Stress,
    db: Length,
    l_rc: Number = 1.0,
    l_cw: Number = 1.0,
    l_er: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Development length of a standard hook [mm | in]: l_hb = 38 db/60 fy/(lam sqrt f'c), not below 8 db and 6 in.

    fc, fy [MPa | psi]; db [mm | in]; l_rc 0.8 with covers of 2.5 and 2 in or ties at 3 db; l_cw 1.2 coated;
    l_er excess steel, at most 1; lam 0.75-1.
    """
    length = fy * _hook_per_stress(fc, db, (l_rc, l_cw, l_er), lam)
    recalled = "l_cw and l_er from memory" if l_cw > 1.0 or l_er < 1.0 else ""
    return answer(max(length, 8.0 * db, 6.0), _above_15ksi(fc), recalled)


@clause("5.10.8.2.4, solved for the stress", "f_s", "stress", lap=True)
def hook_stress(
    l_dh: Length,
    fc: Stress,
    db: Length,
    l_rc: Number = 1.0,
    l_cw: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Bar stress that a hook of length l_dh develops [MPa | psi]; arguments as in :func:`hook_development`."""
    least = max(8.0 * db, 6.0)
    if l_dh < least:
        raise refused("l_dh", l_dh, f"must not be below the least length {least:.4g} in")
    return answer(l_dh / _hook_per_stress(fc, db, (l_rc, l_cw, 1.0), lam), _above_15ksi(fc))


@clause("5.10.8.2.1", "l_d", "length", lap=True, memory=True)
def straight_development(
    fc: Stress,
    fy: Stress,
    db: Length,
    c_b: Length,
    k_tr: Length = 0.0,
    l_rl: Number = 1.0,
    l_cf: Number = 1.0,
    l_er: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Development length of a straight bar [mm | in]: 2.4 db fy/sqrt f'c with its factors, not below 12 in.

    fc, fy [MPa | psi]; db, c_b (smallest distance to a surface or half spacing, from the centre), k_tr [mm | in];
    l_rl 1.3 with more than 12 in below; l_cf 1.5 or 1.2 coated; l_er at most 1; lam 0.75-1.
    """
    one_of("l_rl", l_rl, (1.0, 1.3))
    one_of("l_cf", l_cf, (1.0, 1.2, 1.5))
    within("l_er", l_er, 0.0, 1.0)
    within("lam", lam, 0.75, 1.0)
    l_rc = min(1.0, max(0.4, db / (c_b + k_tr)))
    basic = 2.4 * db * fy / KSI / math.sqrt(fc / KSI)
    return answer(max(basic * min(l_rl * l_cf, 1.7) * l_rc * l_er / lam, 12.0), _above_15ksi(fc))


@clause("5.10.8.2.1c (k_tr)", "k_tr", "length", lap=True, memory=True)
def transverse_index(A_tr: Area, s: Length, n: Number, *, units: Units = "SI") -> Answer:
    """k_tr = 40 A_tr / (s n) [mm | in]: ties A_tr [mm2 | in2] at s [mm | in] across the plane of n bars."""
    return answer(40.0 * A_tr / (s * n))


@clause("5.10.8.4.3a", "lap", "length", lap=True, memory=True)
def lap_splice(l_d: Length, db: Length, splice_class: Literal["A", "B"] = "B", *, units: Units = "SI") -> Answer:
    """Tension lap length [mm | in]: 1.0 (class A) or 1.3 (class B) l_d, not below 12 in. l_d, db [mm | in]."""
    choice("splice_class", splice_class, ("A", "B"))
    if db > 1.437:
        raise refused("db", db, "lap splices of bars above No. 11 are not permitted in tension")
    return answer(max((1.0 if splice_class == "A" else 1.3) * l_d, 12.0))


@clause("5.10.8.4.3a, solved for the stress", "f_s", "stress", lap=True, memory=True)
def lap_stress(
    lap: Length,
    fc: Stress,
    db: Length,
    c_b: Length,
    k_tr: Length = 0.0,
    splice_class: Literal["A", "B"] = "B",
    l_rl: Number = 1.0,
    l_cf: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Bar stress that a straight lap develops [MPa | psi]; arguments as in :func:`straight_development`."""
    choice("splice_class", splice_class, ("A", "B"))
    within("lam", lam, 0.75, 1.0)
    l_rc = min(1.0, max(0.4, db / (c_b + k_tr)))
    per = 2.4 * db / KSI / math.sqrt(fc / KSI) * min(l_rl * l_cf, 1.7) * l_rc / lam
    short = "lap below 12 in (305 mm), the least" if lap < 12.0 else ""
    return answer(lap / ((1.0 if splice_class == "A" else 1.3) * per), _above_15ksi(fc), short)


@clause("5.10.8.4.2a", "s", "length", lap=True)
def noncontact_spacing(lap: Length, *, units: Units = "SI") -> Answer:
    """Largest transverse centre spacing of a noncontact lap in flexure [mm | in]: lap/5, 6 in. lap [mm | in]."""
    return answer(min(lap / 5.0, 6.0))


# ------------------------------------------------------------------ flexure
@clause("5.6.2.2", "alpha_1")
def alpha_1(fc: Stress, *, units: Units = "SI") -> Answer:
    """Stress of the block over f'c: 0.85 to 10 ksi, less 0.02 per ksi, not below 0.75. fc [MPa | psi]."""
    return answer(min(0.85, max(0.75, 0.85 - 0.02 * (fc / KSI - 10.0))))


@clause("5.6.2.2", "beta_1")
def beta_1(fc: Stress, *, units: Units = "SI") -> Answer:
    """Depth of the block over that of the neutral axis: 0.85 to 4 ksi, less 0.05 per ksi, not below 0.65."""
    return answer(min(0.85, max(0.65, 0.85 - 0.05 * (fc / KSI - 4.0))))


_GRADES = (60.0, 75.0, 80.0, 100.0)
_EPS_CL = (0.002, 0.0028, 0.003, 0.004)
_EPS_TL = (0.005, 0.005, 0.0056, 0.008)


def _between(fy: float, values: tuple[float, ...]) -> float:
    """Value at fy [psi], straight lines between the grades."""
    ksi = min(max(fy / KSI, _GRADES[0]), _GRADES[-1])
    for (g0, v0), (g1, v1) in zip(zip(_GRADES, values), zip(_GRADES[1:], values[1:])):
        if ksi <= g1:
            return v0 + (v1 - v0) * (ksi - g0) / (g1 - g0)
    return values[-1]


@clause("5.5.4.2", "phi of flexure")
def flexure_factor(fy: Stress, eps_t: Strain, *, units: Units = "SI") -> Answer:
    """Resistance factor 0.75 to 0.90 by net tensile strain eps_t, between the limits of grade fy [MPa | psi]."""
    low, high = _between(fy, _EPS_CL), _between(fy, _EPS_TL)
    return answer(min(0.9, max(0.75, 0.75 + 0.15 * (eps_t - low) / (high - low))))


# ------------------------------------------------------------------ shear and nodes
@clause("5.7.3.4.2", "theta")
def strut_angle(eps_s: Strain, *, units: Units = "SI") -> Answer:
    """Angle of the diagonal compression [deg]: 29 + 3500 eps_s; eps_s strain at the tension bars."""
    return answer(29.0 + 3500.0 * eps_s)


@clause("5.7.3.3", "V_c", "force")
def concrete_shear(
    fc: Stress,
    b_v: Length,
    d_v: Length,
    eps_s: Strain,
    s_xe: Length = 0.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """V_c = 0.0316 beta lam sqrt f'c b_v d_v [N | lbf]; beta = 4.8/(1+750 eps_s), times 51/(39+s_xe) without stirrups.

    fc [MPa | psi]; b_v, d_v [mm | in]; eps_s strain at the tension bars; s_xe crack spacing [mm | in], 0 with
    least stirrups, else 12 to 80 in.
    """
    beta = 4.8 / (1.0 + 750.0 * eps_s)
    if s_xe:
        within("s_xe", s_xe, 12.0, 80.0)
        beta *= 51.0 / (39.0 + s_xe)
    within("lam", lam, 0.75, 1.0)
    return answer(0.0316 * beta * lam * math.sqrt(fc / KSI) * b_v * d_v * KSI)


# surface: cohesion c [ksi], friction mu, K1, K2 [ksi] of 5.7.4.4
_SURFACES = {
    "monolithic": (0.40, 1.4, 0.25, 1.5),
    "roughened": (0.24, 1.0, 0.25, 1.5),
    "smooth": (0.075, 0.6, 0.2, 0.8),
}


@clause("5.7.4.3", "V_ni", "force", memory=True)
def interface_shear(
    fc: Stress,
    A_cv: Area,
    A_vf: Area,
    f_y: Stress,
    surface: Literal["monolithic", "roughened", "smooth"],
    P_c: Force = 0.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Shear across a joint c A_cv + mu (A_vf f_y + P_c), at most K1 f'c A_cv and K2 A_cv [N | lbf].

    fc of the weaker concrete, f_y (counted to 60 ksi) [MPa | psi]; A_cv, A_vf [mm2 | in2]; P_c permanent compression
    [N | lbf]; surface roughened to 1/4 in, smooth (clean, not roughened), or cast in one.
    """
    choice("surface", surface, tuple(_SURFACES))
    c, mu, k1, k2 = _SURFACES[surface]
    shear = c * KSI * A_cv + mu * (A_vf * min(f_y, 60.0 * KSI) + P_c)
    most = min(k1 * fc, k2 * KSI) * A_cv
    counted = "f_y counted with 60 ksi" if f_y > 60.0 * KSI else ""
    return answer(min(shear, most), "limited by K1 f'c A_cv or K2 A_cv" if shear > most else "", counted)


@clause("5.8.2.5.3", "nu f'c", "stress", memory=True)
def node_strength(fc: Stress, node: Literal["CCC", "CCT", "CTT"], m: Number = 1.0, *, units: Units = "SI") -> Answer:
    """Limiting stress m nu f'c of a node face with crack control steel [MPa | psi], at back and bearing faces.

    nu 0.85 (CCC), 0.70 (CCT), 0.85 - f'c/20 ksi within 0.45-0.65 (CTT); m confinement 1 to 2; fc [MPa | psi].
    """
    choice("node", node, ("CCC", "CCT", "CTT"))
    within("m", m, 1.0, 2.0)
    nu = {"CCC": 0.85, "CCT": 0.70, "CTT": min(0.65, max(0.45, 0.85 - fc / KSI / 20.0))}[node]
    return answer(m * nu * fc)


@clause("5.10.8.4.2a, shaft of a column", "s_max", "length", lap=True, memory=True)
def shaft_tie_spacing(
    n_tr: Number, A_tr: Area, f_ytr: Stress, lap: Length, A_l: Area, f_ul: Stress, *, units: Units = "SI"
) -> Answer:
    """Spacing of ties round a noncontact lap of column and shaft bars [mm | in] (McLean & Smith 1997).

    s_max = n_tr A_tr f_ytr lap / (A_l f_ul): tie legs n_tr of A_tr, all lapped bars A_l [mm2 | in2]; f_ytr,
    f_ul (ultimate, longitudinal) [MPa | psi]; lap [mm | in].
    """
    return answer(n_tr * A_tr * f_ytr * lap / (A_l * f_ul))


@clause("5.6.3.2", "M_n", "moment", memory=True)
def nominal_moment(fc: Stress, fy: Stress, b: Length, d: Length, A_s: Area, *, units: Units = "SI") -> Answer:
    """Nominal moment of a rectangle with yielding tension bars in one layer [N mm | lbf in].

    fc, fy [MPa | psi]; b, d [mm | in]; A_s [mm2 | in2]. Sections whose bars do not yield are refused.
    """
    stress = min(0.85, max(0.75, 0.85 - 0.02 * (fc / KSI - 10.0))) * fc
    a = A_s * fy / (stress * b)
    c = a / min(0.85, max(0.65, 0.85 - 0.05 * (fc / KSI - 4.0)))
    if 0.003 * (d - c) / c < fy / 29e6:
        raise refused("A_s", A_s, "the bars do not yield at crushing")
    return answer(A_s * fy * (d - a / 2.0))


@clause("5.7.3.3", "V_s", "force", memory=True)
def stirrup_shear(A_v: Area, f_y: Stress, d_v: Length, s: Length, eps_s: Strain, *, units: Units = "SI") -> Answer:
    """Shear of vertical stirrups A_v f_y d_v cot theta / s [N | lbf], theta = 29 + 3500 eps_s degrees.

    A_v all legs [mm2 | in2]; f_y [MPa | psi]; d_v, s [mm | in]; eps_s strain at the tension bars.
    """
    return answer(A_v * f_y * d_v / s / math.tan(math.radians(29.0 + 3500.0 * eps_s)))
