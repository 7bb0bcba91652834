"""Indicators of every mechanism in the plan, followed over the steps of a run.

Limits are judgement where no source is named. The plan sees bars, struts and transverse steel at bar level; what needs
the depth of the beam (prying, flexure, shear) it cannot show.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fesplice.post.limits import HOOK_SLIP, LOOSE, LOST, SPLIT, STEEP, STRUT, WIDE
from fesplice.post.mechanisms import Assessment, Indicator, Mechanism, assess

if TYPE_CHECKING:
    from fesplice.contracts import Floats
    from fesplice.post.plan.trace import PlanTrace
    from fesplice.post.strength import Strength
    from fesplice.specimen.schema import Specimen


def assess_plan(history: PlanTrace, held: Strength, specimen: Specimen) -> Assessment:
    """The plan judged by the rules of :mod:`fesplice.post.mechanisms`; ``held`` is its strength."""
    carried = held.at(history.load, np.maximum.accumulate(history.bar_stress)), held.value
    return assess(
        "plan", history.bar_stress, history.load, held.top_row, held.low_row if held.exact else None,
        plan_indicators(history, specimen), unseen(specimen), history.step.astype(np.int32), carried,
    )  # fmt: skip


def assess_joint(
    load: Floats, stress: Floats, held: Strength, crack: Floats, side: Floats, slip: Floats, yield_strength: float
) -> Assessment:
    """A joint seen in plan, judged as a plan is, by what such a row follows over its steps, each (n,).

    ``load`` [N] and bar ``stress`` [MPa]; ``crack`` along the bars, movement of the ``side`` face and ``slip`` of the
    hooks [mm], the largest of each; ``yield_strength`` [MPa].
    """
    m = Mechanism
    return assess(
        "plan", stress, load, held.top_row, held.low_row if held.exact else None, [
            Indicator(m.side_splitting, "crack along the bars", crack, SPLIT, "mm", "twice the visible width"),
            Indicator(m.side_thrust, "side face moved out", side, LOOSE, "mm", "opening at which the plane is lost"),
            Indicator(m.hook_bearing, "slip of a hook", slip, 2.0 * HOOK_SLIP, "mm", "twice that of comparisons"),
            Indicator(m.yielding, "bar stress over yield", stress / yield_strength, 1.0, "", "yield strength", False),
        ],
    )  # fmt: skip


def plan_indicators(history: PlanTrace, specimen: Specimen) -> list[Indicator]:
    """One indicator or more for every mechanism the plan shows."""
    row, concrete = specimen.bars.left, specimen.concrete.closure or specimen.concrete.precast
    gaps = list(history.gaps)
    lapped = [k for k, name in enumerate(gaps) if name.split("-")[0][0] != name.split("-")[1][0]]
    between = history.splitting[:, lapped].max(axis=1) if lapped else np.zeros(len(history.step))
    strut = np.where(np.nan_to_num(history.strut_angle) >= STEEP, history.strut_stress, 0.0)
    m = Mechanism
    found = [
        Indicator(m.side_thrust, "crack along the bars of a pair opened", between, SPLIT, "mm",
                  "twice the visible width"),
        Indicator(m.side_thrust, "side face moved out", history.side, LOOSE, "mm",
                  "opening at which the plane is lost"),
        Indicator(m.side_thrust, "crack beside the edge bar", history.side_crack.max(axis=1), WIDE, "mm",
                  "usual limit"),
        Indicator(m.strut_crushing, "mean stress of a strut of 25 degrees or more", strut, STRUT * concrete.strength,
                  "MPa", "0.85 x 0.75 f_c, ACI 318-19 23.4.3", False),
        Indicator(m.yielding, "bar stress over yield", history.yield_utilisation, 1.0, "", "yield strength", False),
    ]  # fmt: skip
    past, by_bar = history.bond_past.max(axis=1), _by_bar(history, history.bond_past)
    match specimen.bond.splitting:
        case "branch":
            split = "share of a lead past its splitting peak"
            found.append(Indicator(m.bond_splitting, split, past, LOST, "", "half of the lead", by=by_bar))
        case "wedging":
            opening, halved = history.bond_opening, specimen.bond.wedge_opening
            found.append(Indicator(m.bond_splitting, "opening beside a lead", opening, halved, "mm", "halves bond"))
        case _:
            pulled = "share of a lead past its bond peak"
            found.append(Indicator(m.bond_pullout, pulled, past, LOST, "", "half of the lead", by=by_bar))
    if row.hook is not None:
        slip, by_bar = history.hook_slip.max(axis=1), _by_bar(history, history.hook_slip)
        # slip alone is how a hook takes up load; it fails where it slips further without taking more
        basis = "twice the slip at which hooks are compared"
        found.append(Indicator(m.hook_bearing, "slip of a hook", slip, 2.0 * HOOK_SLIP, "mm", basis, by=by_bar))
    if history.tie_utilisation.max(initial=0.0) > 0.0:
        what = "stress over yield of transverse steel"
        found.append(Indicator(m.tie_yielding, what, history.tie_utilisation, 1.0, "", "yield strength", False))
    return found


def unseen(specimen: Specimen) -> tuple[str, ...]:
    """Mechanisms a plan does not show, with what drives them."""
    hooked = specimen.bars.left.hook is not None
    lifts = Mechanism.prying.words if hooked else "lifting of the cover over the lap"
    out = [f"{lifts}: only through the vertical stress that the elevation gives the plane"]
    out.append("splitting of the cover below the bars: the plan's crack is upright")
    if hooked and specimen.plan.interface_tails and specimen.confinement.about_pairs:
        out.append(
            "how far the tails of hooks clamp the plane: by a free body of the slab and their bond in it "
            "(plan.interface_tails); with ties alone the strength rests on it (models/studies/TRENDS.md)"
        )
    if hooked:
        out.append("side blow-out at the bends: the hooks stand out of this plane")
    return tuple(out)


def _by_bar(history: PlanTrace, values: Floats) -> dict[str, Floats]:
    """Columns (n,) of ``values`` (n, m) by bar."""
    return dict(zip(history.bars, values.T))
