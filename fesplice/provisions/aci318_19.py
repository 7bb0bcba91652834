"""ACI 318-19 (SI edition 318M-19): development, laps, hooks, flexure, one-way shear, strut-and-tie.

Arguments: SI mm, mm2, MPa, N; US in, in2, psi, lbf. Symbols as printed: fc is f'c, db is d_b, lam is
lambda. Hook and straight lengths (25.4) were found in public texts and recomputed; the rest is from
memory, and each value says so. The document gives no length for a lap of hooked bars.
"""

from __future__ import annotations

import math
from typing import Literal

from fesplice.provisions.clause import (
    Answer,
    Area,
    Document,
    Length,
    Number,
    Signed,
    Stress,
    Units,
    answer,
    choice,
    one_of,
    refused,
    within,
)

ACI318_19 = Document("ACI 318", "2019", ("SI", "US"))
clause = ACI318_19.clause
Reading = Literal["row", "partner"]


def _root(fc: float, units: str) -> tuple[float, str]:
    """sqrt f'c with the limit of 25.4.1.4, and a remark where the limit rules."""
    limit = 8.3 if units == "SI" else 100.0
    root = math.sqrt(fc)
    return min(root, limit), "sqrt f'c limited by 25.4.1.4" if root > limit else ""


def _beyond_no11(db: float, units: str) -> bool:
    return db > (36.5 if units == "SI" else 1.437)


# ------------------------------------------------------------------ hooked bars
@clause("25.4.3.2 (psi_r)", "psi_r", lap=True)
def psi_r(
    db: Length,
    s_row: Length,
    s_partner: Length,
    reading: Reading,
    A_th: Area = 0.0,
    A_hs: Area = 0.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Factor of confining reinforcement: 1.0, or 1.6 for hooks that are close and without ties.

    db bar diameter [mm | in]; s_row centre spacing of neighbouring hooks of the same row, s_partner of a
    hook and the bar it laps with [mm | in]; A_th ties (25.4.3.3), A_hs hooked bars developed [mm2 | in2].
    ``reading`` says which spacing is meant: the text was written for hooks in one row.
    """
    choice("reading", reading, ("row", "partner"))
    s = s_row if reading == "row" else s_partner
    tied = A_hs > 0.0 and A_th >= 0.4 * A_hs
    return answer(1.0 if not _beyond_no11(db, units) and (tied or s >= 6.0 * db) else 1.6)


@clause("25.4.3.2 (psi_o)", "psi_o")
def psi_o(db: Length, side_cover: Length, in_column_core: bool = False, *, units: Units = "SI") -> Answer:
    """Location factor: 1.0 in a column core with 65 mm (2.5 in) side cover, or with 6 db; else 1.25.

    db, side_cover [mm | in]. ``in_column_core``: the hook ends inside the core of a column.
    """
    enough = 65.0 if units == "SI" else 2.5
    inside = (in_column_core and side_cover >= enough) or side_cover >= 6.0 * db
    return answer(1.0 if inside and not _beyond_no11(db, units) else 1.25)


@clause("25.4.3.2 (psi_c)", "psi_c")
def psi_c(fc: Stress, *, units: Units = "SI") -> Answer:
    """Strength factor: f'c/105 + 0.6 below 42 MPa (f'c/15000 + 0.6 below 6000 psi), else 1. fc [MPa | psi]."""
    return answer(_psi_c(fc, units))


def _psi_c(fc: float, units: str) -> float:
    divisor, limit = (105.0, 42.0) if units == "SI" else (15000.0, 6000.0)
    return fc / divisor + 0.6 if fc < limit else 1.0


def _per_stress(fc: float, db: float, psi: float, lam: float, units: str) -> tuple[float, str]:
    """Length of a hook for a unit of bar stress, without the least lengths."""
    within("lam", lam, 0.75, 1.0)
    root, note = _root(fc, units)
    return psi * _psi_c(fc, units) * db**1.5 / ((23.0 if units == "SI" else 55.0) * lam * root), note


def _hook_factors(psi_r: float, psi_o: float, psi_e: float) -> float:
    one_of("psi_r", psi_r, (1.0, 1.6))
    one_of("psi_o", psi_o, (1.0, 1.25))
    one_of("psi_e", psi_e, (1.0, 1.2))
    return psi_r * psi_o * psi_e


@clause("25.4.3.1", "l_dh", "length", lap=True)
def hook_development(
    fc: Stress,
    fy: Stress,
    db: Length,
    psi_r: Number,
    psi_o: Number = 1.25,
    psi_e: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Development length of a standard hook [mm | in]; psi_c follows from f'c.

    fc, fy [MPa | psi]; db [mm | in]; psi_r 1.0 or 1.6, psi_o 1.0 or 1.25, psi_e 1.0 or 1.2 (coated); lam 0.75-1.
    """
    per, note = _per_stress(fc, db, _hook_factors(psi_r, psi_o, psi_e), lam, units)
    return answer(max(fy * per, 8.0 * db, 150.0 if units == "SI" else 6.0), note)


@clause("25.4.3.1, solved for the stress", "f_s", "stress", lap=True)
def hook_stress(
    l_dh: Length,
    fc: Stress,
    db: Length,
    psi_r: Number,
    psi_o: Number = 1.25,
    psi_e: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Bar stress that a hook of length l_dh develops [MPa | psi]: a design value, not a mean strength.

    l_dh, db [mm | in]; fc [MPa | psi]; factors as in :func:`hook_development`. Lengths below 8 db and
    150 mm (6 in) are refused, as the document does not let them develop anything.
    """
    least = max(8.0 * db, 150.0 if units == "SI" else 6.0)
    if l_dh < least:
        raise refused("l_dh", l_dh, f"must not be below the least length {least:.4g}")
    per, note = _per_stress(fc, db, _hook_factors(psi_r, psi_o, psi_e), lam, units)
    return answer(l_dh / per, note)


@clause("25.3.1", "bend diameter", "length", memory=True)
def bend_diameter(db: Length, *, units: Units = "SI") -> Answer:
    """Least inside diameter of a standard hook [mm | in]: 6, 8 or 10 db. db [mm | in]."""
    small, middle = (26.0, 36.5) if units == "SI" else (1.024, 1.437)
    return answer((6.0 if db <= small else 8.0 if db <= middle else 10.0) * db)


@clause("25.3.1", "l_ext", "length", memory=True)
def hook_extension(db: Length, angle: Number = 90.0, *, units: Units = "SI") -> Answer:
    """Straight extension of a 90 or 180 degree hook [mm | in]: 12 db; max(4 db, 65 mm or 2.5 in). db [mm | in]."""
    one_of("angle", angle, (90.0, 180.0))
    return answer(12.0 * db if angle == 90.0 else max(4.0 * db, 65.0 if units == "SI" else 2.5))


# ------------------------------------------------------------------ straight bars and laps
@clause("25.4.2.4 (K_tr)", "K_tr", "length", lap=True)
def transverse_index(A_tr: Area, s: Length, n: Number, *, units: Units = "SI") -> Answer:
    """K_tr = 40 A_tr / (s n) [mm | in]: ties A_tr [mm2 | in2] at s [mm | in] across the plane of n bars."""
    return answer(40.0 * A_tr / (s * n))


def _grade(fy: float, units: str) -> float:
    """psi_g of the bar's grade."""
    for limit, value in zip((421.0, 553.0, 691.0) if units == "SI" else (60e3, 80e3, 100e3), (1.0, 1.15, 1.3)):
        if fy <= limit * 1.0001:
            return value
    raise refused("fy", fy, "at most grade 690 MPa (100 ksi)")


@clause("25.4.2.4", "l_d", "length", lap=True)
def straight_development(
    fc: Stress,
    fy: Stress,
    db: Length,
    c_b: Length,
    K_tr: Length = 0.0,
    psi_t: Number = 1.0,
    psi_e: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Development length of a straight deformed bar in tension [mm | in]; psi_s and psi_g follow from db and fy.

    fc, fy [MPa | psi]; db, c_b (to the bar's centre), K_tr [mm | in]; psi_t 1.0 or 1.3 (more than 300 mm of
    fresh concrete below), psi_e 1.0, 1.2 or 1.5; lam 0.75-1.
    """
    one_of("psi_t", psi_t, (1.0, 1.3))
    one_of("psi_e", psi_e, (1.0, 1.2, 1.5))
    within("lam", lam, 0.75, 1.0)
    root, note = _root(fc, units)
    confinement = min((c_b + K_tr) / db, 2.5)
    psi_s = 0.8 if db <= (19.6 if units == "SI" else 0.772) else 1.0
    lead = 1.0 / 1.1 if units == "SI" else 3.0 / 40.0
    psi = min(psi_t * psi_e, 1.7) * psi_s * _grade(fy, units)
    return answer(max(lead * fy / (lam * root) * psi / confinement * db, 300.0 if units == "SI" else 12.0), note)


@clause("25.4.2.3", "l_d", "length", lap=True)
def straight_development_simple(
    fc: Stress,
    fy: Stress,
    db: Length,
    favourable: bool = True,
    psi_t: Number = 1.0,
    psi_e: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Development length of a straight bar by the table [mm | in].

    ``favourable``: clear spacing and cover of db with least ties, or clear spacing 2 db and cover db.
    Other arguments as in :func:`straight_development`.
    """
    within("lam", lam, 0.75, 1.0)
    root, note = _root(fc, units)
    small = db <= (19.6 if units == "SI" else 0.772)
    good, poor = ((2.1, 1.4) if small else (1.7, 1.1)) if units == "SI" else ((25, 50 / 3) if small else (20, 40 / 3))
    psi = min(psi_t * psi_e, 1.7) * _grade(fy, units)
    length = fy * psi / ((good if favourable else poor) * lam * root) * db
    return answer(max(length, 300.0 if units == "SI" else 12.0), note)


@clause("25.5.2.1", "l_st", "length", lap=True, memory=True)
def lap_splice(l_d: Length, db: Length, splice_class: Literal["A", "B"] = "B", *, units: Units = "SI") -> Answer:
    """Tension lap length [mm | in]: 1.0 (class A) or 1.3 (class B) l_d of the straight bar, not below 300 mm (12 in).

    l_d, db [mm | in]. Bars above No. 11 (No. 36) are refused: 25.5.1.1 forbids their laps.
    """
    choice("splice_class", splice_class, ("A", "B"))
    if _beyond_no11(db, units):
        raise refused("db", db, "lap splices of bars above No. 11 (No. 36) are not permitted (25.5.1.1)")
    return answer(max((1.0 if splice_class == "A" else 1.3) * l_d, 300.0 if units == "SI" else 12.0))


@clause("25.5.1.3", "s", "length", lap=True)
def noncontact_spacing(l_st: Length, *, units: Units = "SI") -> Answer:
    """Largest transverse centre spacing of a noncontact lap in flexure [mm | in]: l_st/5, 150 mm (6 in)."""
    return answer(min(l_st / 5.0, 150.0 if units == "SI" else 6.0))


# ------------------------------------------------------------------ flexure
@clause("22.2.2.4.3", "beta_1", memory=True)
def beta_1(fc: Stress, *, units: Units = "SI") -> Answer:
    """Depth of the stress block over that of the neutral axis, for the block of 0.85 f'c, 0.85 to 0.65.

    fc [MPa | psi]: 0.85 to 28 MPa (4000 psi), then less 0.05 per 7 MPa (1000 psi).
    """
    return answer(_beta_1(fc, units))


def _beta_1(fc: float, units: str) -> float:
    start, per = (28.0, 7.0) if units == "SI" else (4000.0, 1000.0)
    return min(0.85, max(0.65, 0.85 - 0.05 * (fc - start) / per))


@clause("19.2.2.1", "E_c", "stress", memory=True)
def elastic_modulus(fc: Stress, *, units: Units = "SI") -> Answer:
    """E_c = 4700 sqrt f'c (57000 sqrt f'c) of normal-weight concrete. fc, answer [MPa | psi]."""
    return answer((4700.0 if units == "SI" else 57000.0) * math.sqrt(fc))


@clause("19.2.3.1", "f_r", "stress", memory=True)
def rupture_modulus(fc: Stress, lam: Number = 1.0, *, units: Units = "SI") -> Answer:
    """f_r = 0.62 lam sqrt f'c (7.5 lam sqrt f'c). fc, answer [MPa | psi]."""
    within("lam", lam, 0.75, 1.0)
    return answer((0.62 if units == "SI" else 7.5) * lam * math.sqrt(fc))


@clause("22.2", "M_n", "moment", memory=True)
def nominal_moment(fc: Stress, fy: Stress, b: Length, d: Length, A_s: Area, *, units: Units = "SI") -> Answer:
    """Nominal moment of a rectangle with tension bars in one layer [N mm | lbf in], by the stress block.

    fc, fy [MPa | psi]; b, d [mm | in]; A_s [mm2 | in2]. Sections whose bars do not yield are refused.
    """
    a = A_s * fy / (0.85 * fc * b)
    c = a / _beta_1(fc, units)
    strain = 0.003 * (d - c) / c
    if strain < fy / (200e3 if units == "SI" else 29e6):
        raise refused("A_s", A_s, f"the bars do not yield (strain {strain:.4f} at crushing)")
    return answer(A_s * fy * (d - a / 2.0))


# ------------------------------------------------------------------ one-way shear
@clause("22.5.5.1.3", "lambda_s", memory=True)
def size_effect(d: Length, *, units: Units = "SI") -> Answer:
    """lambda_s = sqrt(2/(1 + 0.004 d)) (d/10 in inches), at most 1. d [mm | in]."""
    return answer(_size_effect(d, units))


def _size_effect(d: float, units: str) -> float:
    return min(1.0, math.sqrt(2.0 / (1.0 + (0.004 if units == "SI" else 0.1) * d)))


@clause("22.5.5.1", "V_c", "force", memory=True)
def concrete_shear(
    fc: Stress,
    b_w: Length,
    d: Length,
    A_s: Area,
    least_stirrups: bool,
    N_u: Signed = 0.0,
    A_g: Area = 0.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """One-way shear of the concrete [N | lbf], Table 22.5.5.1.

    fc [MPa | psi]; b_w, d [mm | in]; A_s, A_g [mm2 | in2]; N_u [N | lbf], compression positive here as printed;
    ``least_stirrups``: A_v is at least A_v,min (else lambda_s applies).
    """
    si = units == "SI"
    root = min(math.sqrt(fc), 8.3 if si else 100.0)
    axial = min(N_u / (6.0 * A_g), 0.05 * fc) if N_u and A_g else 0.0
    rho = A_s / (b_w * d)
    refined = (0.66 if si else 8.0) * lam * rho ** (1 / 3) * root
    if least_stirrups:
        stress = max((0.17 if si else 2.0) * lam * root, refined)
    else:
        stress = _size_effect(d, units) * refined
    return answer(max(0.0, min(stress + axial, (0.42 if si else 5.0) * lam * root)) * b_w * d)


@clause("22.5.8.5.3", "V_s", "force", memory=True)
def stirrup_shear(
    fc: Stress, A_v: Area, f_yt: Stress, b_w: Length, d: Length, s: Length, *, units: Units = "SI"
) -> Answer:
    """Shear of stirrups A_v f_yt d / s, at most 0.66 sqrt f'c b_w d (8 sqrt f'c b_w d) [N | lbf].

    fc, f_yt [MPa | psi]; A_v all legs [mm2 | in2]; b_w, d, s [mm | in].
    """
    most = (0.66 if units == "SI" else 8.0) * min(math.sqrt(fc), 8.3 if units == "SI" else 100.0) * b_w * d
    shear = A_v * f_yt * d / s
    return answer(min(shear, most), "limited by 22.5.1.2" if shear > most else "")


@clause("9.6.3.4", "A_v,min", "area", memory=True)
def least_stirrups(fc: Stress, f_yt: Stress, b_w: Length, s: Length, *, units: Units = "SI") -> Answer:
    """Least area of stirrups at spacing s [mm2 | in2]. fc, f_yt [MPa | psi]; b_w, s [mm | in]."""
    stress = max(0.062 * math.sqrt(fc), 0.35) if units == "SI" else max(0.75 * math.sqrt(fc), 50.0)
    return answer(stress * b_w * s / f_yt)


# ------------------------------------------------------------------ strut-and-tie
@clause("23.4.3", "f_ce of a strut", "stress", memory=True)
def strut_strength(fc: Stress, beta_s: Number, beta_c: Number = 1.0, *, units: Units = "SI") -> Answer:
    """f_ce = 0.85 beta_c beta_s f'c. fc [MPa | psi]; beta_s 1.0 at a boundary, 0.75 with spread steel, 0.4 without."""
    one_of("beta_s", beta_s, (1.0, 0.75, 0.4))
    within("beta_c", beta_c, 1.0, 2.0)
    return answer(0.85 * beta_c * beta_s * fc)


@clause("23.9.2", "f_ce of a node", "stress", memory=True)
def node_strength(
    fc: Stress, node: Literal["CCC", "CCT", "CTT"], beta_c: Number = 1.0, *, units: Units = "SI"
) -> Answer:
    """f_ce = 0.85 beta_c beta_n f'c; beta_n 1.0, 0.80, 0.60 for no, one, several ties at the node. fc [MPa | psi]."""
    choice("node", node, ("CCC", "CCT", "CTT"))
    within("beta_c", beta_c, 1.0, 2.0)
    return answer(0.85 * beta_c * {"CCC": 1.0, "CCT": 0.80, "CTT": 0.60}[node] * fc)


@clause("23.10", "r_b", "length", memory=True)
def curved_bar_radius(A_ts: Area, fy: Stress, b_s: Length, fc: Stress, *, units: Units = "SI") -> Answer:
    """Least inside bend radius at a curved-bar node [mm | in]: 2 A_ts fy / (b_s f'c).

    A_ts [mm2 | in2]; fy, fc [MPa | psi]; b_s width of the strut across the bend's plane [mm | in].
    """
    return answer(2.0 * A_ts * fy / (b_s * fc))
