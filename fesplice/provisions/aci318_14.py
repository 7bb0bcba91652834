"""ACI 318-14 (SI edition 318M-14): hooked and straight development, laps.

Arguments: SI mm, mm2, MPa; US in, in2, psi. Symbols as printed: fc is f'c, db is d_b, lam is lambda.
Hook length found in public texts and recomputed; the refined straight length and the laps are from
memory. Kept apart from the 2019 edition: its hook factors have other meanings.
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
    Stress,
    Units,
    answer,
    choice,
    one_of,
    refused,
    within,
)

ACI318_14 = Document("ACI 318", "2014", ("SI", "US"))
clause = ACI318_14.clause


def _root(fc: float, units: str) -> float:
    """sqrt f'c with the limit of 25.4.1.4."""
    return min(math.sqrt(fc), 8.3 if units == "SI" else 100.0)


def _per_stress(fc: float, db: float, psi: float, lam: float, units: str) -> float:
    within("lam", lam, 0.75, 1.0)
    lead = 0.24 if units == "SI" else 1.0 / 50.0
    return lead * psi / (lam * _root(fc, units)) * db


def _factors(psi_e: float, psi_c: float, psi_r: float, db: float, units: str) -> float:
    one_of("psi_e", psi_e, (1.0, 1.2))
    one_of("psi_c", psi_c, (1.0, 0.7))
    one_of("psi_r", psi_r, (1.0, 0.8))
    if (psi_c < 1.0 or psi_r < 1.0) and db > (36.5 if units == "SI" else 1.437):
        raise refused("db", db, "psi_c and psi_r are 1.0 for bars above No. 11 (No. 36)")
    return psi_e * psi_c * psi_r


@clause("25.4.3.1", "l_dh", "length", lap=True)
def hook_development(
    fc: Stress,
    fy: Stress,
    db: Length,
    psi_c: Number = 1.0,
    psi_r: Number = 1.0,
    psi_e: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Development length of a standard hook [mm | in], not below 8 db and 150 mm (6 in).

    fc, fy [MPa | psi]; db [mm | in]; psi_c 0.7 with side cover of 65 mm (2.5 in) and tail cover of 50 mm
    (2 in); psi_r 0.8 with ties at 3 db or closer; psi_e 1.2 coated; lam 0.75-1.
    """
    length = fy * _per_stress(fc, db, _factors(psi_e, psi_c, psi_r, db, units), lam, units)
    return answer(max(length, 8.0 * db, 150.0 if units == "SI" else 6.0))


@clause("25.4.3.1, solved for the stress", "f_s", "stress", lap=True)
def hook_stress(
    l_dh: Length,
    fc: Stress,
    db: Length,
    psi_c: Number = 1.0,
    psi_r: Number = 1.0,
    psi_e: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Bar stress that a hook of length l_dh develops [MPa | psi]; arguments as in :func:`hook_development`."""
    least = max(8.0 * db, 150.0 if units == "SI" else 6.0)
    if l_dh < least:
        raise refused("l_dh", l_dh, f"must not be below the least length {least:.4g}")
    return answer(l_dh / _per_stress(fc, db, _factors(psi_e, psi_c, psi_r, db, units), lam, units))


def _psi_s(db: float, units: str) -> float:
    return 0.8 if db <= (19.6 if units == "SI" else 0.772) else 1.0


@clause("25.4.2.3", "l_d", "length", lap=True, memory=True)
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
    """Development length of a straight bar [mm | in], not below 300 mm (12 in); psi_s follows from db.

    fc, fy [MPa | psi]; db, c_b (to the bar's centre), K_tr [mm | in]; psi_t 1.0 or 1.3, psi_e 1.0, 1.2 or 1.5.
    """
    one_of("psi_t", psi_t, (1.0, 1.3))
    one_of("psi_e", psi_e, (1.0, 1.2, 1.5))
    within("lam", lam, 0.75, 1.0)
    lead = 1.0 / 1.1 if units == "SI" else 3.0 / 40.0
    psi = min(psi_t * psi_e, 1.7) * _psi_s(db, units)
    length = lead * fy / (lam * _root(fc, units)) * psi / min((c_b + K_tr) / db, 2.5) * db
    return answer(max(length, 300.0 if units == "SI" else 12.0))


@clause("25.4.2.2", "l_d", "length", lap=True)
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
    small = _psi_s(db, units) < 1.0
    good, poor = ((2.1, 1.4) if small else (1.7, 1.1)) if units == "SI" else ((25, 50 / 3) if small else (20, 40 / 3))
    length = fy * min(psi_t * psi_e, 1.7) / ((good if favourable else poor) * lam * _root(fc, units)) * db
    return answer(max(length, 300.0 if units == "SI" else 12.0))


@clause("25.4.2.3 (K_tr)", "K_tr", "length", lap=True, memory=True)
def transverse_index(A_tr: Area, s: Length, n: Number, *, units: Units = "SI") -> Answer:
    """K_tr = 40 A_tr / (s n) [mm | in]: ties A_tr [mm2 | in2] at s [mm | in] across the plane of n bars."""
    return answer(40.0 * A_tr / (s * n))


@clause("25.5.2.1", "l_st", "length", lap=True, memory=True)
def lap_splice(l_d: Length, db: Length, splice_class: Literal["A", "B"] = "B", *, units: Units = "SI") -> Answer:
    """Tension lap length [mm | in]: 1.0 (class A) or 1.3 (class B) l_d, not below 300 mm (12 in). l_d, db [mm | in]."""
    choice("splice_class", splice_class, ("A", "B"))
    if db > (36.5 if units == "SI" else 1.437):
        raise refused("db", db, "lap splices of bars above No. 11 (No. 36) are not permitted (25.5.1.1)")
    return answer(max((1.0 if splice_class == "A" else 1.3) * l_d, 300.0 if units == "SI" else 12.0))
