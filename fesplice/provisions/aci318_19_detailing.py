"""ACI 318-19 (318M-19), continued: hooks of ties, ties at hooks and laps, straight laps solved for stress, phi.

The same document as :mod:`fesplice.provisions.aci318_19`, in a file of its own for its length. Arguments:
SI mm, mm2, MPa, N; US in, in2, psi, lbf. All from memory, and each value says so.
"""

from __future__ import annotations

import math
from typing import Literal

from fesplice.provisions.aci318_19 import ACI318_19
from fesplice.provisions.clause import (
    Answer,
    Force,
    Length,
    Number,
    Strain,
    Stress,
    Units,
    answer,
    choice,
    one_of,
    within,
)

clause = ACI318_19.clause
_BEYOND = "25.3.2 covers ties up to No. 8 (No. 25)"


# ------------------------------------------------------------------ hooks of ties
@clause("25.3.2", "bend diameter of a tie", "length", memory=True)
def tie_bend_diameter(db: Length, *, units: Units = "SI") -> Answer:
    """Least inside bend diameter of stirrups, ties and hoops [mm | in]: 4 db to No. 5 (16), 6 db to No. 8 (25)."""
    small, most = (16.0, 26.0) if units == "SI" else (0.63, 1.024)
    return answer((4.0 if db <= small else 6.0) * db, _BEYOND if db > most else "")


@clause("25.3.2", "l_ext of a tie", "length", memory=True)
def tie_extension(db: Length, angle: Number = 135.0, *, units: Units = "SI") -> Answer:
    """Straight extension of a tie's hook [mm | in]: 90, 135 or 180 degrees.

    90: max(6 db, 75 mm or 3 in) to No. 5, 12 db above; 135: max(6 db, 75 mm or 3 in); 180: max(4 db, 65 mm or 2.5 in).
    """
    one_of("angle", angle, (90.0, 135.0, 180.0))
    small, most = (16.0, 26.0) if units == "SI" else (0.63, 1.024)
    note = _BEYOND if db > most else ""
    if angle == 180.0:
        return answer(max(4.0 * db, 65.0 if units == "SI" else 2.5), note)
    if angle == 90.0 and db > small:
        return answer(12.0 * db, note)
    return answer(max(6.0 * db, 75.0 if units == "SI" else 3.0), note)


# ------------------------------------------------------------------ ties that hooks and laps need
@clause("25.4.3.4", "largest tie spacing", "length", lap=True, memory=True)
def end_tie_spacing(db: Length, side_cover: Length, face_cover: Length, *, units: Units = "SI") -> Answer:
    """Ties across hooks at discontinuous ends of members [mm | in]: at most 3 db apart.

    Needed where both side cover and cover over top or bottom of the hook are below 65 mm (2.5 in); the
    first tie within 2 db of the outside of the bend; psi_r is then 1.0. db, side_cover, face_cover [mm | in].
    """
    thin = 65.0 if units == "SI" else 2.5
    applies = side_cover < thin and face_cover < thin
    return answer(3.0 * db, "applies: both covers are thin" if applies else "does not apply: one cover is enough")


@clause("25.5.1.5 and 25.4.2.2", "least K_tr", "length", lap=True, memory=True)
def least_transverse_index(db: Length, fy: Stress, s: Length, *, units: Units = "SI") -> Answer:
    """K_tr of at least 0.5 db for bars of fy 550 MPa (80 ksi) or more spaced closer than 150 mm (6 in) [mm | in].

    db, s centre spacing of the bars developed or lapped [mm | in]; fy [MPa | psi]. The note says whether it applies.
    """
    grade, near = (550.0, 150.0) if units == "SI" else (80e3, 6.0)
    applies = fy >= grade * 0.9999 and s < near
    return answer(0.5 * db, "applies" if applies else "does not apply: lower grade or wider spacing")


# ------------------------------------------------------------------ straight laps
@clause("25.5.2.1 and 25.4.2.4, solved for the stress", "f_s", "stress", lap=True, memory=True)
def lap_stress(
    lap: Length,
    fc: Stress,
    db: Length,
    c_b: Length,
    K_tr: Length = 0.0,
    psi_g: Number = 1.0,
    splice_class: Literal["A", "B"] = "B",
    psi_t: Number = 1.0,
    psi_e: Number = 1.0,
    lam: Number = 1.0,
    *,
    units: Units = "SI",
) -> Answer:
    """Bar stress that a straight lap develops [MPa | psi]: a design value, not a mean strength.

    lap, db, c_b (to the bar's centre), K_tr [mm | in]; fc [MPa | psi]; psi_g of the bar's grade 1.0, 1.15, 1.3; psi_t
    1.0 or 1.3; psi_e 1.0, 1.2 or 1.5; class B unless twice the steel needed is there.
    """
    choice("splice_class", splice_class, ("A", "B"))
    one_of("psi_g", psi_g, (1.0, 1.15, 1.3))
    one_of("psi_t", psi_t, (1.0, 1.3))
    one_of("psi_e", psi_e, (1.0, 1.2, 1.5))
    within("lam", lam, 0.75, 1.0)
    si = units == "SI"
    psi = min(psi_t * psi_e, 1.7) * psi_g * (0.8 if db <= (19.6 if si else 0.772) else 1.0)
    root = min(math.sqrt(fc), 8.3 if si else 100.0)
    per = (1.0 / 1.1 if si else 3.0 / 40.0) / (lam * root) * psi / min((c_b + K_tr) / db, 2.5) * db
    least = 300.0 if si else 12.0
    short = f"lap below the least length {least:.0f} {'mm' if si else 'in'}" if lap < least else ""
    return answer(lap / ((1.0 if splice_class == "A" else 1.3) * per), short)


# ------------------------------------------------------------------ strength reduction
@clause("21.2.2", "phi of flexure", memory=True)
def flexure_factor(eps_t: Strain, fy: Stress, *, units: Units = "SI") -> Answer:
    """phi 0.65 to 0.90 by the net tensile strain, members without spirals: 0.65 + 0.25 (eps_t - eps_ty)/0.003.

    eps_t at the nominal strength; fy [MPa | psi], eps_ty = fy/E_s.
    """
    at_yield = fy / (200e3 if units == "SI" else 29e6)
    return answer(min(0.90, max(0.65, 0.65 + 0.25 * (eps_t - at_yield) / 0.003)))


@clause("21.2.1 (b)", "phi V_n", "force", memory=True)
def design_shear(V_n: Force, *, units: Units = "SI") -> Answer:
    """Design shear, phi = 0.75. V_n [N | lbf]."""
    return answer(0.75 * V_n)


@clause("21.2.1 (g)", "phi F_n", "force", memory=True)
def design_strut_and_tie(F_n: Force, *, units: Units = "SI") -> Answer:
    """Design strength of struts, ties and nodes, phi = 0.75. F_n [N | lbf]."""
    return answer(0.75 * F_n)
