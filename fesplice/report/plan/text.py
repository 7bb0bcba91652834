"""The findings of a plan as rows of plain text."""

from __future__ import annotations

from fesplice.post.plan.cracks import OPEN
from fesplice.post.plan.findings import PlanFindings
from fesplice.report.parts import percent
from fesplice.report.plan.slab import slab_of
from fesplice.report.view import View
from fesplice.units import both

Rows = list[tuple[str, str]]
_PLANE = {
    "cohesive": "softens",
    "intact": "never softens",
    "cracked": "open all over, steel across alone",
    "none": "there is none",
}


def loads(view: View) -> Rows:
    """Plane, loads, bar stresses: what stands before the failure."""
    f = slab_of(view).found
    return [
        ("plane to the body", f"{_PLANE[f.interface]}; {percent(f.interface_lost)} of it past its peak at strength"),
        ("largest load", f"{both(f.peak_load, 'force')} per side at {both(f.peak_deflection, 'length')} extension"),
        ("strength", f"{_strength(f)}, bars at the face {_stresses(f.first_bar_stress)}"),
    ]


def details(view: View) -> Rows:
    """Struts, side thrust, steel across, cracks, side faces, balance: what stands after the failure."""
    f = slab_of(view).found
    return [
        *_struts(f),
        *(
            (
                f"thrust on {t.line}",
                f"{t.force / 1e3:.0f} kN: ties {percent(t.tied)}, concrete {percent(t.concrete)}, "
                f"body {percent(t.body)}, bars where they enter {percent(t.hold)}",
            )
            for t in f.thrusts
        ),
        *(
            (
                f"transverse {t.line}",
                f"{t.stress:.0f} MPa, {percent(t.utilisation)} of yield, at x = {t.x:.0f}, y = {t.y:.0f} mm",
            )
            for t in f.ties
        ),
        *(
            (
                f"cracks {c.place}",
                f"along the bars {c.opening:.2f} mm, wider than {OPEN} mm over {c.length:.0f} mm; "
                f"widest of all {c.widest:.2f} mm at x = {c.widest_x:.0f}, y = {c.widest_y:.0f} mm",
            )
            for c in f.splitting
        ),
        ("side faces", f"moved out by {f.side_displacement:.2f} mm at most"),
        (
            "balance",
            f"strips between cuts {percent(f.residual)} of the bar force at worst, nodes of struts and ties "
            f"{percent(f.left_out)}",
        ),
    ]


def _strength(f: PlanFindings) -> str:
    bound = "" if f.strength.exact else "at least "
    return f"{bound}{both(f.strength.value, 'force')} per side (step {f.strength_step}, {f.strength.kind.words})"


def _stresses(by: dict[str, float]) -> str:
    return ", ".join(f"{name} {v:.0f}" for name, v in by.items() if len(name) == 1) + " MPa"


def _struts(f: PlanFindings) -> Rows:
    return [
        (
            f"strut {c.gap}",
            f"{c.force / 1e3:.0f} kN at {c.inclination:.0f} degrees, {c.width:.0f} mm wide, {c.stress:.1f} MPa; "
            f"across {c.across / 1e3:.0f} kN, by hand {f.hand_thrust[c.gap] / 1e3:.0f} kN",
        )
        for c in f.struts
        if c.gap in f.hand_thrust and c.force > 0.0
    ]
