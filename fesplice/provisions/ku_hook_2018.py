"""Descriptive equation of hooked-bar strength, Ajaam, Yasso, Darwin, O'Reilly & Sperry (2018), ACI Structural Journal.

In lb, in, psi; the SI form converts arguments and answers exactly. Arguments: SI mm, mm2, MPa, N; US in,
in2, psi, lbf. Coefficients from memory (the development length of ACI 318-19, derived from the equation,
is met with the same margin for three bar sizes and two spacings). Fitted to hooks of beam-column joints,
one row, mean strength: a reference line for a lap, no more.
"""

from __future__ import annotations

from typing import Literal

from fesplice.contracts import Check
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
    within,
)

KU2018 = Document("Ajaam et al., hooked-bar equation", "2018", ("US",))
clause = KU2018.clause
Reading = Literal["row", "partner"]
OUTSIDE_CORE = 0.80
"""Strength outside a column core over that inside, 0.80-0.85 (from memory); the lower is used for closures."""


def _spacing_factor(s: float, db: float, tied: bool) -> float:
    ratio = s / db
    return min(1.0, 0.0516 * ratio + 0.6572 if tied else 0.0974 * ratio + 0.391)


@clause("spacing factor", "spacing factor", lap=True, memory=True)
def spacing_factor(
    db: Length,
    s_row: Length,
    s_partner: Length,
    reading: Reading,
    tied: bool = False,
    *,
    units: Units = "SI",
) -> Answer:
    """Factor of closely spaced hooks, at most 1: 0.0974 s/db + 0.391; with ties 0.0516 s/db + 0.6572.

    db; s_row centre spacing of neighbouring hooks of one row, s_partner of a hook and its lapped bar [mm | in];
    ``reading`` says which is meant: the tests had one row.
    """
    choice("reading", reading, ("row", "partner"))
    return answer(_spacing_factor(s_row if reading == "row" else s_partner, db, tied))


@clause("hook strength", "T_h", "force", lap=True, memory=True)
def hook_force(
    f_cm: Stress,
    db: Length,
    A_b: Area,
    l_eh: Length,
    s_row: Length,
    s_partner: Length,
    reading: Reading,
    A_th: Area = 0.0,
    n: Number = 1.0,
    location: Number = OUTSIDE_CORE,
    *,
    units: Units = "SI",
) -> Answer:
    """Mean force of one hooked bar at anchorage failure [N | lbf].

    (294 f_cm^0.295 l_eh^1.0845 db^0.47 + 55050 (A_th/n)^1.0175 db^0.73) x spacing factor x location.
    f_cm [MPa | psi]; db, l_eh, s_row, s_partner [mm | in]; A_b, A_th ties of n hooked bars [mm2 | in2];
    location 1 in a column core, 0.80-0.85 outside. A_th/n above 0.4 A_b is not counted.
    """
    choice("reading", reading, ("row", "partner"))
    within("location", location, 0.5, 1.0)
    ties = A_th / n
    counted = min(ties, 0.4 * A_b)
    force = 294.0 * f_cm**0.295 * l_eh**1.0845 * db**0.47 + 55050.0 * counted**1.0175 * db**0.73
    factor = _spacing_factor(s_row if reading == "row" else s_partner, db, counted > 0.0) * location
    return answer(force * factor, "A_th/n counted up to 0.4 A_b" if ties > counted else "")


@clause("hook strength, as bar stress", "f_s", "stress", lap=True, memory=True)
def hook_stress(
    f_cm: Stress,
    db: Length,
    A_b: Area,
    l_eh: Length,
    s_row: Length,
    s_partner: Length,
    reading: Reading,
    A_th: Area = 0.0,
    n: Number = 1.0,
    location: Number = OUTSIDE_CORE,
    *,
    units: Units = "SI",
) -> Answer:
    """Mean bar stress at anchorage failure T_h/A_b [MPa | psi]; arguments as in :func:`hook_force`."""
    force = hook_force(f_cm, db, A_b, l_eh, s_row, s_partner, reading, A_th, n, location, units="US")
    over = "A_th/n counted up to 0.4 A_b" if A_th / n > 0.4 * A_b else ""
    return answer(force.value / A_b, over)


def hook_stress_readings(
    f_cm: Stress,
    db: Length,
    A_b: Area,
    l_eh: Length,
    s_row: Length,
    s_partner: Length,
    A_th: Area = 0.0,
    n: Number = 1.0,
    *,
    units: Units = "SI",
) -> dict[str, Check]:
    """The bar stress in both readings of the spacing: {"row": …, "partner": …}; arguments as above."""
    readings: tuple[Reading, ...] = ("row", "partner")
    return {r: hook_stress(f_cm, db, A_b, l_eh, s_row, s_partner, r, A_th, n, units=units) for r in readings}
