"""Signs of every mechanism in the plan, followed over the steps of a run.

Limits are judgement where no source is named. The plan sees bars, struts and transverse steel at bar level; what needs
the depth of the beam (prying, flexure, shear) it cannot show.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fesplice.post.mechanisms import Reading, Sign, read_plane

if TYPE_CHECKING:
    from fesplice.post.elevation.findings import Strength
    from fesplice.post.plan.findings import PlanTrace
    from fesplice.specimen.schema import Specimen

#: Crack openings that count [mm]: twice what the eye sees, and the usual limit in service.
SPLIT, WIDE = 0.1, 0.3
#: Outward movement of a side face at which the edge strip has come loose [mm]: the opening at which the plane it
#: hangs on, with the fracture energy of the concrete, holds no more.
LOOSE = 0.15
#: Slip of a hook at which its resistance is read in tests of single hooks [mm].
HOOK_SLIP = 1.0
#: Share of a lead past its bond peak that counts as lost.
LOST = 0.5
#: Strength of a bottle-shaped strut as share of f_c: 0.85 x 0.75 (ACI 318-19, 23.4.3; from memory).
STRUT = 0.64
#: Least angle between a strut and the bars [degree]: below it the force passes by bond shear, and no strut is judged
#: (ACI 318-19, 23.2.7; from memory).
STEEP = 25.0


def plan_reading(history: PlanTrace, held: Strength, specimen: Specimen) -> Reading:
    """The plan judged by the rules of :mod:`fesplice.post.mechanisms`."""
    low = held.lowest_row if held.dropped else None
    return read_plane(
        "plan", history.bar_stress, history.load, held.first_row, low, plan_signs(history, specimen), unseen(specimen)
    )


def plan_signs(history: PlanTrace, specimen: Specimen) -> list[Sign]:
    """One sign or more for every mechanism the plan shows."""
    row, concrete = specimen.bars.left, specimen.concrete.closure or specimen.concrete.precast
    gaps = list(history.gaps)
    lapped = [k for k, name in enumerate(gaps) if name.split("-")[0][0] != name.split("-")[1][0]]
    between = history.splitting[:, lapped].max(axis=1) if lapped else np.zeros(len(history.step))
    strut = np.where(np.nan_to_num(history.strut_angle) >= STEEP, history.strut_stress, 0.0)
    found = [
        Sign("side_thrust", "crack along the bars of a pair opened", between, SPLIT, "mm", "twice the visible width"),
        Sign("side_thrust", "side face moved out", history.side, LOOSE, "mm", "opening at which the plane is lost"),
        Sign("side_thrust", "crack beside the edge bar", history.side_crack.max(axis=1), WIDE, "mm", "usual limit"),
        Sign(
            "strut_crushing", "mean stress of a strut of 25 degrees or more", strut, STRUT * concrete.strength, "MPa",
            "0.85 x 0.75 f_c, ACI 318-19 23.4.3", growing=False,
        ),
        Sign(
            "yielding", "bar stress over yield", history.yield_usage, 1.0, "", "yield strength", growing=False,
        ),
    ]  # fmt: skip
    past = history.bond_past.max(axis=1)
    match specimen.bond.splitting:
        case "branch":
            split = "share of a lead past its bond peak (splitting branch)"
            found.append(Sign("bond_splitting", split, past, LOST, "", "half of the lead"))
        case "wedging":
            opening, halved = history.bond_opening, specimen.bond.wedge_opening
            found.append(Sign("bond_splitting", "opening beside a lead", opening, halved, "mm", "halves bond"))
        case _:
            found.append(Sign("bond_pullout", "share of a lead past its bond peak", past, LOST, "", "half of the lead"))
    if row.hook is not None:
        slip = history.hook_slip.max(axis=1)
        # slip alone is how a hook takes up load; it fails where it slips further without taking more
        basis = "twice the slip at which hooks are compared"
        found.append(Sign("hook_bearing", "slip of a hook", slip, 2.0 * HOOK_SLIP, "mm", basis))
    if history.tie_usage.max(initial=0.0) > 0.0:
        what = "stress over yield of transverse steel"
        found.append(Sign("tie_yielding", what, history.tie_usage, 1.0, "", "yield strength", growing=False))
    return found


def unseen(specimen: Specimen) -> tuple[str, ...]:
    """Mechanisms a plan does not show, with what drives them."""
    hooked = specimen.bars.left.hook is not None
    lifts = "prying at the hook" if hooked else "lifting of the cover over the lap"
    out = [f"{lifts}: only through the vertical stress that the elevation gives the plane"]
    out.append("splitting of the cover below the bars: the plan's crack is upright")
    if hooked and specimen.plan.plane_tails and specimen.confinement.about_pairs:
        out.append(
            "how far the tails of hooks clamp the plane (plan.plane_tails, judgement): with ties alone the strength "
            "rests on it, without it computed cases lost up to 43 % (models/studies/TRENDS.md)"
        )
    if hooked:
        out.append("side blow-out at the bends: the hooks stand out of this plane")
    return tuple(out)
