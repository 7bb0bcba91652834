"""What the page of a plan shows of its findings: strength, bars, struts, side thrust, steel across, cracks."""

from __future__ import annotations

import math

from fesplice.post.plan.cracks import OPEN
from fesplice.post.plan.findings import PlanFindings
from fesplice.report.parts import Parts, Table, fixed, kilonewtons, percent, quantity, share
from fesplice.report.plan.slab import slab_of
from fesplice.report.view import View

_PLANE = {
    "cohesive": "softens as it opens",
    "intact": "never gives way",
    "cracked": "open all over, steel across alone",
    "none": "there is none",
}


def parts(view: View) -> Parts:
    """Lead, findings and tables of the page."""
    f = slab_of(view).found
    tables = (_bars(view, f), _struts(f), _thrusts(f), _steel(f), _cracks(f))
    return Parts(_lead(f), _findings(f), tuple(t for t in tables if t.rows))


def _lead(f: PlanFindings) -> tuple[tuple[str, str, str], ...]:
    first = f.strength.kind.words
    stress = max((v for k, v in f.first_bar_stress.items() if len(k) > 1 and math.isfinite(v)), default=math.nan)
    strut = max((s.force for s in f.struts if s.gap in f.hand_thrust), default=math.nan)
    return (
        ("Strength, load per side", quantity(f.strength.value, "force"), first),
        ("Bar stress where the bars enter", quantity(stress, "stress"), "then, the most stressed bar"),
        ("Largest strut between two bars", quantity(strut, "force"), "then, resultant in the cut between them"),
        ("Failed by", f.assessment.mode.words, f.assessment.failure),
    )


def _findings(f: PlanFindings) -> tuple[tuple[str, str], ...]:
    at = f"{quantity(f.strength.value, 'force')} at {fixed(f.strength.deflection, 2, 'mm')} extension"
    rows = [
        ("Strength, load per side", f"{at}, step {f.strength_step}"),
        ("Largest load per side", f"{quantity(f.peak_load, 'force')}, step {f.peak_step}"),
    ]
    if f.strength.exact:
        rows.append(("After the drop", quantity(f.strength.low, "force")))
    rows += [("On the way to it", text) for text in f.strength.told("mm extension")]
    lost = f"; {share(f.interface_lost)} of its area past its peak" if f.interface == "cohesive" else ""
    rows += [
        ("Plane between slab and body", _PLANE.get(f.interface, f.interface) + lost),
        ("Side faces moved out by at most", fixed(f.side_displacement, 3, "mm")),
        ("Out of balance, worst strip between two cuts", f"{percent(f.residual, 2)} of the bar force"),
        ("Out of balance, worst node of struts and ties", f"{percent(f.left_out, 2)} of the bar force"),
        ("Accepted steps", f"{f.steps}, of which {f.relaxed_steps} at the relaxed tolerance"),
    ]
    return tuple(rows)


def _bars(view: View, f: PlanFindings) -> Table:
    edge = {bar.line for bar, _, _ in slab_of(view).laid.edges}
    nan = math.nan
    rows = tuple(
        (
            line, "edge" if line in edge else "inner", quantity(f.first_bar_stress.get(line, nan), "stress"),
            share(used), share(f.hook_share.get(line, nan)), fixed(f.slip.get(line, nan), 3, "mm"),
        )
        for line, used in f.yield_share.items()
    )  # fmt: skip
    note = "Stress where the bar enters the slab; share of its force that is left at the hook, and the slip there."
    return Table("Bars", ("bar", "place", "stress", "of yield", "taken by the hook", "slip at the bend"), rows, note)


def _struts(f: PlanFindings) -> Table:
    rows = tuple(
        (
            s.gap, kilonewtons(s.force), fixed(s.inclination, 0, "degrees"), fixed(s.width, 0, "mm"),
            fixed(s.stress, 1, "MPa"), kilonewtons(s.across), kilonewtons(f.hand_thrust[s.gap]),
        )
        for s in f.struts
        if s.gap in f.hand_thrust and s.force > 0.0
    )  # fmt: skip
    note = (
        "Compression that crosses the gap between two lapped bars; width and stress as if it were even. By hand: "
        "force across by T s / l, with the bar force T, spacing s and the distance l between the bends (or ends)."
    )
    heads = ("between", "force", "to the bars", "width", "mean stress", "across", "across by hand")
    return Table("Struts", heads, rows, note)


def _thrusts(f: PlanFindings) -> Table:
    rows = tuple(
        (t.line, kilonewtons(t.force), share(t.tied), share(t.concrete), share(t.body), share(t.hold))
        for t in f.thrusts
    )
    note = "What pushes an edge bar outwards, and what holds it; a negative share pushes outwards as well."
    heads = ("edge bar", "thrust", "steel across", "tension of concrete", "body above", "bars where they enter")
    return Table("Side thrust", heads, rows, note)


def _steel(f: PlanFindings) -> Table:
    rows = tuple(
        (
            t.line, fixed(t.x, 0, "mm"), fixed(t.y, 0, "mm"), fixed(1e3 * t.strain, 2, "‰"), fixed(t.stress, 0, "MPa"),
            share(t.utilisation),
        )
        for t in f.ties
    )  # fmt: skip
    note = "Every tie, leg or bar across, where its strain is largest."
    return Table("Steel across", ("line", "x", "y", "strain", "stress", "of yield"), rows, note)


def _cracks(f: PlanFindings) -> Table:
    rows = tuple(
        (
            _strip(c.place), fixed(c.opening, 3, "mm"), fixed(c.length, 0, "mm"), fixed(c.widest, 3, "mm"),
            f"{c.widest_x:.0f} mm, {c.widest_y:.0f} mm",
        )
        for c in f.splitting
    )  # fmt: skip
    note = (
        f"Openings along the bars summed across each strip, the length over which they exceed {OPEN} mm, and the "
        "widest crack of any direction."
    )
    return Table("Cracks", ("strip", "along the bars", "length", "widest crack", "at x, y"), rows, note)


def _strip(place: str) -> str:
    return f"{place} side" if place in ("low", "high") else f"between {place.replace('-', ' and ')}"
