"""Orangun, Jirsa & Breen (1977), ACI Journal 74(3), 114-122: splitting strength of developed and spliced bars.

In psi and inches; the SI form converts arguments and answers exactly. Arguments: SI mm, mm2, MPa; US in,
in2, psi. Formula from memory. A mean strength: the fit's own scatter stays with it.
"""

from __future__ import annotations

import math

from fesplice.provisions.clause import Answer, Area, Document, Length, Stress, Units, answer

ORANGUN = Document("Orangun, Jirsa & Breen", "1977", ("US",))
clause = ORANGUN.clause


def _bond(
    fc: float, db: float, l_d: float, c: float, A_tr: float, f_yt: float, s: float
) -> tuple[float, tuple[str, ...]]:
    """Mean bond stress [psi] and remarks."""
    cover = min(c / db, 2.5)
    ties = A_tr * f_yt / (500.0 * s * db) if A_tr and s else 0.0
    stress = (1.2 + 3.0 * cover + 50.0 * db / l_d + min(ties, 3.0)) * math.sqrt(fc)
    notes = ("c/d_b limited to 2.5",) if c > 2.5 * db else ()
    return stress, notes + (("transverse term limited to 3",) if ties > 3.0 else ())


@clause("eq. 4", "u", "stress", lap=True, memory=True)
def bond_strength(
    fc: Stress,
    db: Length,
    l_d: Length,
    c: Length,
    A_tr: Area = 0.0,
    f_yt: Stress = 0.0,
    s: Length = 0.0,
    *,
    units: Units = "SI",
) -> Answer:
    """u = [1.2 + 3 c/db + 50 db/l_d + A_tr f_yt/(500 s db)] sqrt f'c [MPa | psi]; c/db <= 2.5, last term <= 3.

    fc, f_yt [MPa | psi]; db, l_d, c (least of clear cover and half clear spacing), s [mm | in]; A_tr ties at one
    section for each bar [mm2 | in2].
    """
    stress, notes = _bond(fc, db, l_d, c, A_tr, f_yt, s)
    return answer(stress, *notes)


@clause("eq. 4, as bar stress", "f_s", "stress", lap=True, memory=True)
def splice_stress(
    fc: Stress,
    db: Length,
    l_d: Length,
    c: Length,
    A_tr: Area = 0.0,
    f_yt: Stress = 0.0,
    s: Length = 0.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Mean bar stress 4 u l_d/db at splitting [MPa | psi]; arguments as in :func:`bond_strength`."""
    stress, notes = _bond(fc, db, l_d, c, A_tr, f_yt, s)
    return answer(4.0 * stress * l_d / db, *notes)
