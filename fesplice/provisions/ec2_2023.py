"""EN 1992-1-1:2023: anchorage and laps by the formula of 11.4-11.5, all from memory.

Printed in mm and MPa; the US form converts arguments and answers exactly (in, in2, psi). The formula is
that of the second generation, without f_bd: do not mix it with the alphas of the 2004 edition.
"""

from __future__ import annotations

import math
from typing import Literal

from fesplice.provisions.clause import Answer, Document, Length, Stress, Units, answer, choice, within

EC2_2023 = Document("EN 1992-1-1", "2023", ("SI",))
clause = EC2_2023.clause
Condition = Literal["good", "poor"]
#: Factor of the bond condition on the length (from memory).
K_CP = {"good": 1.0, "poor": 1.2}
#: A standard bend or hook shortens the length by this many diameters (from memory).
HOOK_WORTH = 15.0
#: Laps over anchorages (from memory).
LAP = 1.2


def _ratio(f_ck: float, phi: float, c_d: float, condition: str) -> tuple[float, tuple[str, ...]]:
    """l_bd/phi at 435 MPa, and remarks on limits."""
    choice("condition", condition, ("good", "poor"))
    within("f_ck", f_ck, 12.0, 100.0)
    cover = min(c_d, 3.75 * phi)
    size = max(phi, 20.0) / 20.0
    ratio = 50.0 * K_CP[condition] * math.sqrt(25.0 / f_ck) * size ** (1.0 / 3.0) * math.sqrt(1.5 * phi / cover)
    return ratio, ("c_d limited to 3.75 phi",) if c_d > cover else ()


@clause("11.4.2", "l_bd", "length", lap=True, memory=True)
def anchorage_length(
    sigma_sd: Stress,
    f_ck: Stress,
    phi: Length,
    c_d: Length,
    hooked: bool = False,
    condition: Condition = "good",
    *,
    units: Units = "SI",
) -> Answer:
    """l_bd = 50 k_cp phi (sigma_sd/435)^1.5 (25/f_ck)^0.5 (phi/20)^(1/3) (1.5 phi/c_d)^0.5 >= 10 phi [mm | in].

    sigma_sd, f_ck [MPa | psi]; phi (at least 20 mm in the size term), c_d least of covers and half the clear
    spacing, at most 3.75 phi [mm | in]; ``hooked``: a bend or hook takes 15 phi off.
    """
    ratio, notes = _ratio(f_ck, phi, c_d, condition)
    straight = ratio * phi * (sigma_sd / 435.0) ** 1.5
    return answer(max(straight - (HOOK_WORTH * phi if hooked else 0.0), 10.0 * phi), *notes)


@clause("11.5.2", "l_sd", "length", lap=True, memory=True)
def lap_length(
    sigma_sd: Stress,
    f_ck: Stress,
    phi: Length,
    c_d: Length,
    hooked: bool = False,
    condition: Condition = "good",
    *,
    units: Units = "SI",
) -> Answer:
    """Lap length 1.2 l_bd, not below 15 phi and 200 mm [mm | in]; arguments as in :func:`anchorage_length`."""
    ratio, notes = _ratio(f_ck, phi, c_d, condition)
    straight = ratio * phi * (sigma_sd / 435.0) ** 1.5
    length = LAP * (straight - (HOOK_WORTH * phi if hooked else 0.0))
    return answer(max(length, 15.0 * phi, 200.0), *notes)


@clause("11.5.2, solved for the stress", "sigma_sd", "stress", lap=True, memory=True)
def lap_stress(
    lap: Length,
    f_ck: Stress,
    phi: Length,
    c_d: Length,
    hooked: bool = False,
    condition: Condition = "good",
    *,
    units: Units = "SI",
) -> Answer:
    """Design bar stress of a lap [MPa | psi]: characteristic strengths, partial factors inside the 50.

    lap, phi, c_d [mm | in]; f_ck [MPa | psi]; the rest as in :func:`anchorage_length`.
    """
    ratio, notes = _ratio(f_ck, phi, c_d, condition)
    length = lap / LAP + (HOOK_WORTH * phi if hooked else 0.0)
    short = f"lap below {max(15.0 * phi, 200.0):.0f} mm, the least" if lap < max(15.0 * phi, 200.0) else ""
    return answer(435.0 * (length / (ratio * phi)) ** (2.0 / 3.0), short, *notes)
