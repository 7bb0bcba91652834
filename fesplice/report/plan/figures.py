"""Figures of a plan by name, each with its caption, in the order of its page."""

from __future__ import annotations

from fesplice.report.figure import SPECIMEN, Figure
from fesplice.report.plan.curves import plan_load, plan_sides, plan_ties
from fesplice.report.plan.fields import plan_cracks, plan_struts

FIGURES: dict[str, Figure] = {
    "specimen": SPECIMEN,
    "plan-load": Figure(
        "Load and bar stress against extension",
        "Load of all bars of a side against how far the faces of the slab move apart, and the stress of every bar "
        "where it enters. Dots are accepted steps, hollow marks the stages of the other figures.",
        plan_load,
    ),
    "plan-cracks": Figure(
        "Cracks of the slab at bar level",
        "Weight and colour of a line tell how far its crack is open, in classes that are the same for every specimen; "
        "bars to scale (a ring: the tail of its hook, upright), steel across as grey lines. The opening is crack "
        "strain times crack-band width, as a mean over each element.",
        plan_cracks,
    ),
    "plan-struts": Figure(
        "Compression, struts and ties",
        "Left: lines along the principal compression, as heavy as it is large, over the main cracks. Right: the "
        "strut-and-tie model that the stresses amount to, forces in kN; each strut is drawn as wide as the "
        "compression would be if it were even. Its ends are where its line meets the bars, which need not be where "
        "they hand over their force. What the body above and the joint faces hold is drawn where it acts. Small "
        "arrows beside a strut: what passes from bar to bar as shear, without compression across. The title tells the "
        "worst balance of the members at a node as share of the bar force; members below a fiftieth of it stand in "
        "the CSV alone.",
        plan_struts,
    ),
    "plan-ties": Figure(
        "Steel across the bars, and what holds the edge bars",
        "Largest strain of every tie, leg or bar across at its place along the lap. Shares of the side thrust on both "
        "edge bars: they sum to the whole but for what is out of balance; what pushes outwards with the thrust stands "
        "left of zero.",
        plan_ties,
    ),
    "plan-sides": Figure(
        "Side faces, and side thrust over the load",
        "Outward movement of both side faces along the beam; thrust on the edge bars, summed over the compression in "
        "the cut beside each.",
        plan_sides,
    ),
}
