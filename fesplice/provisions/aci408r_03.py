"""ACI 408R-03: strength of straight developed and spliced bars (Zuo & Darwin 2000, as simplified there).

Printed in lb, in, psi; the SI form converts arguments and answers exactly. Arguments: SI mm, mm2, MPa; US
in, in2, psi. The formulas are from memory (the printed SI coefficients 1.43, 57.4, 8.9 and 558 are met by
conversion); the powers of f'c were found in a public copy. A mean strength, not a design value.
"""

from __future__ import annotations

from fesplice.provisions.clause import Answer, Area, Document, Length, Number, Stress, Units, answer, within

ACI408R = Document("ACI 408R", "2003", ("US",))
clause = ACI408R.clause


def _rib_factor(R_r: float) -> float:
    return min(9.6 * R_r + 0.28, 1.72)


def _concrete(fc: float, db: float, A_b: float, l_d: float, c_min: float, c_max: float) -> float:
    """T_c [lbf] of the concrete alone."""
    within("c_max", c_max, c_min, float("inf"))
    shape = min(0.1 * c_max / c_min + 0.9, 1.25)
    return fc**0.25 * (59.9 * l_d * (c_min + 0.5 * db) + 2400.0 * A_b) * shape


@clause("4.3 (K_tr)", "K_tr", "length", lap=True, memory=True)
def transverse_index(
    fc: Stress,
    db: Length,
    N: Number,
    A_tr: Area,
    n: Number,
    l_d: Length,
    R_r: Number = 0.0727,
    *,
    units: Units = "SI",
) -> Answer:
    """K_tr = 0.52 t_r t_d A_tr sqrt f'c / (s n), with N/l_d in the place of 1/s [mm | in].

    N sets of ties of A_tr [mm2 | in2] along l_d [mm | in] across n bars or laps; fc [MPa | psi]; db [mm | in];
    R_r relative rib area.
    """
    t_d = 0.78 * db + 0.22
    return answer(0.52 * _rib_factor(R_r) * t_d * A_tr * fc**0.5 * N / (l_d * n))


@clause("4.3", "f_s", "stress", lap=True, memory=True)
def splice_stress(
    fc: Stress,
    db: Length,
    A_b: Area,
    l_d: Length,
    c_min: Length,
    c_max: Length,
    N: Number = 0.0,
    A_tr: Area = 0.0,
    n: Number = 1.0,
    R_r: Number = 0.0727,
    *,
    units: Units = "SI",
) -> Answer:
    """Mean bar stress at splitting of a straight developed or spliced bar [MPa | psi].

    T = [59.9 l_d (c_min + 0.5 db) + 2400 A_b] (0.1 c_max/c_min + 0.9) f'c^(1/4)
      + (30.88 t_d t_r N A_tr/n + 3) f'c^(3/4), the second line only with ties.
    fc [MPa | psi]; db, l_d, c_min, c_max (clear covers, half clear spacing) [mm | in]; A_b bar, A_tr all legs of
    a set of ties [mm2 | in2]; N sets along l_d, n bars or laps in the splitting plane; R_r relative rib area.
    """
    force = _concrete(fc, db, A_b, l_d, c_min, c_max)
    t_d = 0.78 * db + 0.22
    k_tr = 0.0
    if N and A_tr:
        force += (30.88 * t_d * _rib_factor(R_r) * N * A_tr / n + 3.0) * fc**0.75
        k_tr = 0.52 * _rib_factor(R_r) * t_d * A_tr * fc**0.5 * N / (l_d * n)
    confinement = (c_min + 0.5 * db + k_tr) / db
    return answer(
        force / A_b,
        f"l_d/d_b = {l_d / db:.1f} below 16, outside the formula's range" if l_d < 16.0 * db else "",
        f"(c + K_tr)/d_b = {confinement:.2f} above 4, outside the formula's range" if confinement > 4.0 else "",
    )
