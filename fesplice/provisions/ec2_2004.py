"""EN 1992-1-1:2004 (recommended values): anchorage, laps, shear without stirrups, nodes.

Printed in mm and MPa; the US form converts arguments and answers exactly (in, in2, psi, lbf). f_bd,
l_b,rqd and l_bd found in public texts and recomputed; alphas of bends, the rules of laps and the nodes
are from memory, and the values say so. Hooked laps are reached only through alpha_1 in l_0.
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

EC2_2004 = Document("EN 1992-1-1", "2004", ("SI",))
clause = EC2_2004.clause


def _f_ctk(f_ck: float) -> float:
    """5 % tensile strength [MPa], Table 3.1."""
    return 0.7 * (0.3 * f_ck ** (2.0 / 3.0) if f_ck <= 50.0 else 2.12 * math.log(1.0 + (f_ck + 8.0) / 10.0))


@clause("3.1.6 (2)", "f_ctd", "stress")
def design_tensile_strength(f_ck: Stress, gamma_c: Number = 1.5, *, units: Units = "SI") -> Answer:
    """f_ctd = f_ctk,0.05 / gamma_c, alpha_ct = 1 [MPa | psi]. f_ck [MPa | psi], at most 90 MPa."""
    within("f_ck", f_ck, 12.0, 90.0)
    return answer(_f_ctk(f_ck) / gamma_c)


@clause("8.4.2", "f_bd", "stress")
def design_bond(
    f_ck: Stress,
    phi: Length,
    condition: Literal["good", "poor"] = "good",
    gamma_c: Number = 1.5,
    *,
    units: Units = "SI",
) -> Answer:
    """f_bd = 2.25 eta_1 eta_2 f_ctd [MPa | psi]; f_ctk is limited to that of C60/75.

    f_ck [MPa | psi]; phi [mm | in]: eta_2 = (132 - phi)/100 above 32 mm; condition good (1.0) or poor (0.7).
    """
    choice("condition", condition, ("good", "poor"))
    within("f_ck", f_ck, 12.0, 90.0)
    eta_2 = 1.0 if phi <= 32.0 else (132.0 - phi) / 100.0
    strength = min(_f_ctk(f_ck), _f_ctk(60.0)) / gamma_c
    note = "f_ctk limited to that of C60/75" if f_ck > 60.0 else ""
    return answer(2.25 * (1.0 if condition == "good" else 0.7) * eta_2 * strength, note)


@clause("8.4.3", "l_b,rqd", "length")
def basic_anchorage(phi: Length, sigma_sd: Stress, f_bd: Stress, *, units: Units = "SI") -> Answer:
    """l_b,rqd = phi/4 sigma_sd/f_bd [mm | in]. phi [mm | in]; sigma_sd, f_bd [MPa | psi]."""
    return answer(phi / 4.0 * sigma_sd / f_bd)


@clause("Table 8.2 (alpha_1)", "alpha_1", memory=True)
def alpha_1(c_d: Length, phi: Length, bent: bool, *, units: Units = "SI") -> Answer:
    """Form of the bar: 0.7 for a bend, hook or loop with c_d above 3 phi, else 1. c_d, phi [mm | in]."""
    return answer(0.7 if bent and c_d > 3.0 * phi else 1.0)


@clause("Table 8.2 (alpha_2)", "alpha_2", memory=True)
def alpha_2(c_d: Length, phi: Length, bent: bool = False, *, units: Units = "SI") -> Answer:
    """Concrete cover: 1 - 0.15 (c_d - phi)/phi, bent bars (c_d - 3 phi); within 0.7-1. c_d, phi [mm | in]."""
    return answer(min(1.0, max(0.7, 1.0 - 0.15 * (c_d - (3.0 if bent else 1.0) * phi) / phi)))


@clause("Table 8.2 (alpha_3)", "alpha_3", memory=True)
def alpha_3(A_st: Area, A_s: Area, K: Number, A_st_min: Area = 0.0, *, units: Units = "SI") -> Answer:
    """Transverse bars not welded: 1 - K lambda, lambda = (sum A_st - sum A_st,min)/A_s; within 0.7-1.

    A_st along the length, A_st_min (0.25 A_s of beams at anchorages, A_s at laps), A_s one bar [mm2 | in2];
    K 0.1, 0.05 or 0 by the bar's place (Figure 8.4).
    """
    one_of("K", K, (0.1, 0.05, 0.0))
    return answer(min(1.0, max(0.7, 1.0 - K * (A_st - A_st_min) / A_s)))


@clause("Table 8.2 (alpha_5)", "alpha_5", memory=True)
def alpha_5(p: Stress, *, units: Units = "SI") -> Answer:
    """Pressure across the splitting plane: 1 - 0.04 p, within 0.7-1. p [MPa | psi]."""
    return answer(min(1.0, max(0.7, 1.0 - 0.04 * p)))


def _product(a2: float, a3: float, a5: float) -> tuple[float, str]:
    for name, value in (("alpha_2", a2), ("alpha_3", a3), ("alpha_5", a5)):
        within(name, value, 0.7, 1.0)
    product = a2 * a3 * a5
    return max(product, 0.7), "alpha_2 alpha_3 alpha_5 limited to 0.7" if product < 0.7 else ""


@clause("8.4.4", "l_bd", "length", lap=True)
def anchorage_length(
    l_b_rqd: Length,
    phi: Length,
    alpha_1: Number = 1.0,
    alpha_2: Number = 1.0,
    alpha_3: Number = 1.0,
    alpha_4: Number = 1.0,
    alpha_5: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """l_bd = alpha_1 … alpha_5 l_b,rqd, not below 0.3 l_b,rqd, 10 phi and 100 mm [mm | in].

    l_b_rqd, phi [mm | in]; alpha_1 0.7 or 1, alpha_4 0.7 (welded) or 1, others 0.7-1 with a product of at least 0.7.
    """
    one_of("alpha_1", alpha_1, (0.7, 1.0))
    one_of("alpha_4", alpha_4, (0.7, 1.0))
    product, note = _product(alpha_2, alpha_3, alpha_5)
    return answer(max(alpha_1 * product * alpha_4 * l_b_rqd, 0.3 * l_b_rqd, 10.0 * phi, 100.0), note)


def _alpha_6(percent: float) -> float:
    """sqrt(rho_1/25) within 1-1.5."""
    return min(1.5, max(1.0, math.sqrt(percent / 25.0)))


@clause("8.7.3 (alpha_6)", "alpha_6")
def alpha_6(percent: Number, *, units: Units = "SI") -> Answer:
    """Share of bars lapped within 0.65 l_0: sqrt(percent/25), 1 to 1.5; percent 0-100."""
    within("percent", percent, 0.0, 100.0)
    return answer(_alpha_6(percent))


@clause("8.7.3", "l_0", "length", lap=True, memory=True)
def lap_length(
    l_b_rqd: Length,
    phi: Length,
    percent: Number,
    alpha_1: Number = 1.0,
    alpha_2: Number = 1.0,
    alpha_3: Number = 1.0,
    alpha_5: Number = 1.0,
    clear_gap: Length = 0.0,
    *,
    units: Units = "SI",
) -> Answer:
    """l_0 = alpha_1 alpha_2 alpha_3 alpha_5 alpha_6 l_b,rqd [mm | in], not below 0.3 alpha_6 l_b,rqd, 15 phi, 200 mm.

    percent of bars lapped; a clear gap between the lapped bars above 4 phi or 50 mm lengthens the lap by the
    gap (8.7.2). l_b_rqd, phi, clear_gap [mm | in].
    """
    one_of("alpha_1", alpha_1, (0.7, 1.0))
    within("percent", percent, 0.0, 100.0)
    product, note = _product(alpha_2, alpha_3, alpha_5)
    a6 = _alpha_6(percent)
    length = max(alpha_1 * product * a6 * l_b_rqd, 0.3 * a6 * l_b_rqd, 15.0 * phi, 200.0)
    wide = clear_gap > min(4.0 * phi, 50.0)
    return answer(length + (clear_gap if wide else 0.0), note, "lengthened by the clear gap (8.7.2)" if wide else "")


@clause("8.7.3, solved for the stress", "sigma_sd", "stress", lap=True, memory=True)
def lap_stress(
    lap: Length,
    f_ck: Stress,
    phi: Length,
    c_d: Length,
    bent: bool,
    percent: Number = 100.0,
    clear_gap: Length = 0.0,
    gamma_c: Number = 1.5,
    *,
    units: Units = "SI",
) -> Answer:
    """Design bar stress of a lap in good bond [MPa | psi]: alpha_1, alpha_2 and alpha_6 as in :func:`lap_length`.

    lap, phi, c_d, clear_gap [mm | in]; f_ck [MPa | psi]; ``bent``: hooks, whose worth needs c_d above 3 phi; percent
    of bars lapped. A wide gap is taken off the lap first (8.7.2).
    """
    within("f_ck", f_ck, 12.0, 90.0)
    within("percent", percent, 0.0, 100.0)
    wide = clear_gap > min(4.0 * phi, 50.0)
    length = lap - (clear_gap if wide else 0.0)
    if length <= 0.0:
        raise refused("lap", lap, "must exceed the clear gap, which is taken off it (8.7.2)")
    f_bd = 2.25 * (1.0 if phi <= 32.0 else (132.0 - phi) / 100.0) * min(_f_ctk(f_ck), _f_ctk(60.0)) / gamma_c
    a1 = 0.7 if bent and c_d > 3.0 * phi else 1.0
    a2 = min(1.0, max(0.7, 1.0 - 0.15 * (c_d - (3.0 if bent else 1.0) * phi) / phi))
    least = max(15.0 * phi, 200.0)
    return answer(
        4.0 * f_bd * length / (phi * a1 * a2 * _alpha_6(percent)),
        "clear gap taken off the lap (8.7.2)" if wide else "",
        f"lap below {least:.0f} mm, the least" if lap < least else "",
    )


@clause("8.3 (Table 8.1N)", "mandrel diameter", "length")
def mandrel(phi: Length, *, units: Units = "SI") -> Answer:
    """Least mandrel diameter: 4 phi to 16 mm, 7 phi above [mm | in]. phi [mm | in]."""
    return answer((4.0 if phi <= 16.0 else 7.0) * phi)


@clause("6.2.2", "V_Rd,c", "force")
def concrete_shear(
    f_ck: Stress,
    b_w: Length,
    d: Length,
    A_sl: Area,
    N_Ed: Signed = 0.0,
    A_c: Area = 0.0,
    gamma_c: Number = 1.5,
    alpha_cc: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Shear of a member without stirrups [N | lbf], not below the v_min form.

    f_ck [MPa | psi]; b_w, d [mm | in]; A_sl, A_c [mm2 | in2]; N_Ed [N | lbf], compression positive as printed.
    """
    k = min(2.0, 1.0 + math.sqrt(200.0 / d))
    rho = min(0.02, A_sl / (b_w * d))
    if N_Ed and not A_c:
        raise refused("A_c", A_c, "the concrete area is needed beside N_Ed")
    sigma = min(N_Ed / A_c, 0.2 * alpha_cc * f_ck / gamma_c) if N_Ed else 0.0
    main = 0.18 / gamma_c * k * (100.0 * rho * f_ck) ** (1.0 / 3.0)
    least = 0.035 * k**1.5 * math.sqrt(f_ck)
    return answer(max(0.0, max(main, least) + 0.15 * sigma) * b_w * d)


@clause("6.5.4", "sigma_Rd,max of a node", "stress", memory=True)
def node_strength(
    f_ck: Stress,
    node: Literal["CCC", "CCT", "CTT"],
    alpha_cc: Number = 0.85,
    gamma_c: Number = 1.5,
    *,
    units: Units = "SI",
) -> Answer:
    """k nu' f_cd, nu' = 1 - f_ck/250; k 1.0, 0.85, 0.75 for no, one, several ties [MPa | psi]. f_ck [MPa | psi]."""
    choice("node", node, ("CCC", "CCT", "CTT"))
    k = {"CCC": 1.0, "CCT": 0.85, "CTT": 0.75}[node]
    return answer(k * (1.0 - f_ck / 250.0) * alpha_cc * f_ck / gamma_c)
