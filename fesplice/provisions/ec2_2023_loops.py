"""EN 1992-1-1:2023: laps of U-bar loops (11.13)-(11.16) and of headed bars (11.17)-(11.22).

Taken from an open library of formulas; the standard itself was not seen. Printed in N, mm, MPa; the US form
converts arguments and answers exactly (in, in2, psi, lbf).
"""

from __future__ import annotations

import math

from fesplice.provisions.clause import Answer, Area, Length, Number, Stress, Units, answer, within
from fesplice.provisions.ec2_2023 import EC2_2023

clause = EC2_2023.clause
SCOPE = "formula from an open library, the standard not seen"
#: Roughness of the aggregate enters as 16 mm plus the lower size, at most this [mm].
ROUGHEST = 40.0


def steel_factor(index: float) -> float:
    """k_st of (11.15) and (11.21): 4 w (1 - w) of the mechanical ratio w of transverse steel, 1 from w = 0.5 on."""
    return 4.0 * index * (1.0 - index) if index < 0.5 else 1.0


def _core(part: float, f_cd: float, a_c: float, d_dg: float, length: float, k_st: float, c_s: float) -> float:
    """Strength of the core between two anchors [N]: (11.13) with part 0.2, (11.17) with 0.6."""
    slope = c_s / length
    return part * f_cd * a_c * _size(d_dg, length) * (math.sqrt(k_st + slope * slope) - slope)


def _size(d_dg: float, length: float) -> float:
    return (d_dg / length) ** (1.0 / 3.0)


def _checked(f_cd: float, d_dg: float, c_s: float) -> None:
    within("f_cd", f_cd, 5.0, 100.0)
    within("d_dg", d_dg, 0.999 * 16.0, 1.001 * ROUGHEST)
    within("c_s", c_s, 0.0, 500.0)


@clause("11.14", "A_c", "area", scope=SCOPE)
def loop_core(phi: Length, phi_m: Length, l_s: Length, *, units: Units = "SI") -> Answer:
    """Area of the core of two lapped loops, A_c = (phi_m + phi)(l_s - 0.21 (phi_m + phi)) [mm2 | in2].

    ``phi`` of the bar, ``phi_m`` of the mandrel, ``l_s`` lap of the loops, outside to outside [mm | in].
    """
    across = phi_m + phi
    return answer(across * max(l_s - 0.21 * across, 0.0))


@clause("11.13", "T_Rd", "force", scope=SCOPE)
def loop_strength(
    f_cd: Stress, a_c: Area, d_dg: Length, l_s: Length, k_st: Number, c_s: Length = 0.0, *, units: Units = "SI"
) -> Answer:
    """Force of a lapped loop, T_Rd = 0.2 f_cd A_c g (sqrt(k_st + (c_s/l_s)^2) - c_s/l_s) [N | lbf].

    Without steel across the core (k_st = 0) nothing is left. g = (d_dg/l_s)^(1/3); ``c_s`` clear spacing of the two
    loops [mm | in]; ``k_st`` by :func:`loop_steel`.
    """
    _checked(f_cd, d_dg, c_s)
    return answer(_core(0.2, f_cd, a_c, d_dg, l_s, k_st, c_s))


@clause("11.15", "k_st", scope=SCOPE)
def loop_steel(
    f_yd: Stress, f_cd: Stress, a_c: Area, d_dg: Length, l_s: Length, a_st: Area, *, units: Units = "SI"
) -> Answer:
    """k_st = 4 w (1 - w), 1 from w = 0.5 on, w = A_st f_yd/(0.85 g A_c f_cd); A_st transverse steel in the core
    [mm2 | in2].
    """
    return answer(steel_factor(a_st * f_yd / (0.85 * _size(d_dg, l_s) * a_c * f_cd)))


@clause("11.18", "A_c", "area", scope=SCOPE)
def head_core(phi: Length, b_h1: Length, l_s: Length, *, units: Units = "SI") -> Answer:
    """Area of the core of two lapped heads, A_c = (l_s - 2 phi) b_h1, ``b_h1`` width of a head [mm2 | in2]."""
    return answer(max(l_s - 2.0 * phi, 0.0) * b_h1)


@clause("11.17", "T_Rd", "force", scope=SCOPE)
def head_strength(
    f_cd: Stress, a_c: Area, d_dg: Length, length: Length, k_st: Number, c_s: Length = 0.0, *, units: Units = "SI"
) -> Answer:
    """Force of a lapped headed bar, T_Rd = 0.6 f_cd A_c g (sqrt(k_st + (c_s/l)^2) - c_s/l) [N | lbf].

    g = (d_dg/l)^(1/3), ``length`` l = l_s - 2 phi; arguments as in :func:`loop_strength`.
    """
    _checked(f_cd, d_dg, c_s)
    return answer(_core(0.6, f_cd, a_c, d_dg, length, k_st, c_s))


@clause("11.21", "k_st", scope=SCOPE)
def head_steel(
    f_yd: Stress, f_cd: Stress, a_c: Area, d_dg: Length, length: Length, a_st: Area, *, units: Units = "SI"
) -> Answer:
    """k_st = 4 w (1 - w), 1 from w = 0.5 on, w = A_st f_yd/(1.3 g A_c f_cd); A_st transverse steel in the core
    [mm2 | in2].
    """
    return answer(steel_factor(a_st * f_yd / (1.3 * _size(d_dg, length) * a_c * f_cd)))


@clause("11.22", "A_st", "area", scope=SCOPE)
def tie_down(phi: Length, *, units: Units = "SI") -> Answer:
    """Steel that ties one loop or headed bar down against prying, at least 0.12 phi^2 [mm2 | in2]."""
    return answer(0.12 * phi * phi)
