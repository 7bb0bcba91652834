"""What the page of a plan run shows of its findings: strength, bars, struts, side thrust, steel across, cracks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from fesplice.post.plan.cracks import OPEN
from fesplice.report.view import View
from fesplice.units import both

_PLANE = {"cohesive": "softens as it opens", "intact": "never gives way", "none": "there is none"}


def parts(view: View) -> dict[str, Any]:
    """Values of the plan's page that differ from those of an elevation."""
    f = view.findings
    tables = [_bars(view, f), _struts(f), _thrusts(f), _steel(f), _cracks(f)]
    return {"lead": _lead(f), "findings": _findings(view, f), "tables": [t for t in tables if t["rows"]]}


def _table(title: str, note: str, head: Sequence[str], rows: Sequence[Sequence[str]]) -> dict[str, Any]:
    return {"title": title, "note": note, "head": list(head), "rows": [list(r) for r in rows]}


# ------------------------------------------------------------------ numbers in words
def _is(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def share(value: float | None) -> str:
    """``0.123`` -> ``12 %``; a dash where there is no value."""
    return f"{100.0 * value:.0f} %" if value is not None and math.isfinite(value) else "–"


def quantity(value: float | None, kind: str) -> str:
    """A value in SI and US units; a dash where there is none."""
    return both(float(value), kind) if value is not None and math.isfinite(value) else "–"


def _fixed(value: float | None, places: int, unit: str) -> str:
    return f"{value:.{places}f} {unit}" if value is not None and math.isfinite(value) else "–"


def _kn(value: float | None) -> str:
    return _fixed(value / 1e3 if value is not None else None, 1, "kN")


# ------------------------------------------------------------------ parts
def _most(f: Mapping[str, Any]) -> float | None:
    return max((v for k, v in f["first_bar_stress"].items() if len(k) > 1 and _is(v)), default=None)


def _lead(f: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    strength = f["strength"]
    first = "before the first drop of 15 %" if strength["dropped"] else "largest so far, no drop of 15 %"
    strut = max((s["force"] for s in f["struts"] if s["gap"] in f["hand_thrust"]), default=None)
    return [
        ("Strength, load per side", quantity(strength["first"], "force"), first),
        ("Bar stress where the bars enter", quantity(_most(f), "stress"), "then, the most stressed bar"),
        ("Largest strut between two bars", quantity(strut, "force"), "then, resultant in the cut between them"),
        ("Failed first", f["verdict"]["kind"], f"side faces moved out by {_fixed(f['side_displacement'], 2, 'mm')}"),
    ]


def _left_out(f: Mapping[str, Any]) -> str:
    left = f.get("left_out")
    return "not stored" if left is None else f"{100.0 * left:.2f} % of the bar force"


def _findings(view: View, f: Mapping[str, Any]) -> list[tuple[str, str]]:
    strength, loose = f["strength"], f.get("loose_steps", 0)
    at = f"{quantity(strength['first'], 'force')} at {_fixed(strength['first_deflection'], 2, 'mm')} extension"
    rows = [
        ("Strength, load per side", f"{at}, step {f['strength_step']}"),
        ("Largest load per side", f"{quantity(f['peak_load'], 'force')}, step {f['peak_step']}"),
    ]
    if strength["dropped"]:
        rows.append(("After the drop", quantity(strength["lowest"], "force")))
    lost = f"; {share(f['plane_lost'])} of its area past its peak" if f["hanging"] == "cohesive" else ""
    rows += [
        ("Plane between slab and body", _PLANE.get(f["hanging"], f["hanging"]) + lost),
        ("Side faces moved out by at most", _fixed(f["side_displacement"], 3, "mm")),
        ("Out of balance, worst strip between two cuts", f"{100.0 * f['residual']:.2f} % of the bar force"),
        ("Out of balance, worst node of struts and ties", _left_out(f)),
        ("Accepted steps", f"{view.run.n_steps}, of which {loose} at the loose tolerance"),
    ]
    return rows


def _bars(view: View, f: Mapping[str, Any]) -> dict[str, Any]:
    edge = {bar.line for bar, _, _ in view.slab.laid.edges}
    rows = [
        (
            line, "edge" if line in edge else "inner", quantity(f["first_bar_stress"].get(line), "stress"), share(used),
            share(f["hook_share"].get(line)), _fixed(f["slip"].get(line), 3, "mm"),
        )
        for line, used in f["yield_share"].items()
    ]  # fmt: skip
    note = "Stress where the bar enters the slab; share of its force that is left at the hook, and the slip there."
    return _table("Bars", note, ("bar", "place", "stress", "of yield", "taken by the hook", "slip at the bend"), rows)


def _struts(f: Mapping[str, Any]) -> dict[str, Any]:
    rows = [
        (
            s["gap"], _kn(s["force"]), _fixed(s["inclination"], 0, "degrees"), _fixed(s["width"], 0, "mm"),
            _fixed(s["stress"], 1, "MPa"), _kn(s["across"]), _kn(f["hand_thrust"][s["gap"]]),
        )
        for s in f["struts"]
        if s["gap"] in f["hand_thrust"] and s["force"] > 0.0
    ]  # fmt: skip
    note = (
        "Compression that crosses the gap between two lapped bars; width and stress as if it were even. By hand: "
        "force across by T s / l, with the bar force T, spacing s and the distance l between the bends (or ends)."
    )
    head = ("between", "force", "to the bars", "width", "mean stress", "across", "across by hand")
    return _table("Struts", note, head, rows)


def _thrusts(f: Mapping[str, Any]) -> dict[str, Any]:
    rows = [
        (
            t["line"], _kn(t["force"]), share(sum(t["ties"].values())), share(t["concrete"]), share(t["body"]),
            share(t["hold"]),
        )
        for t in f["thrusts"]
    ]  # fmt: skip
    note = "What pushes an edge bar outwards, and what holds it; a negative share pushes outwards as well."
    head = ("edge bar", "thrust", "steel across", "tension of concrete", "body above", "bars where they enter")
    return _table("Side thrust", note, head, rows)


def _steel(f: Mapping[str, Any]) -> dict[str, Any]:
    rows = [
        (
            t["line"], _fixed(t["x"], 0, "mm"), _fixed(t["y"], 0, "mm"), _fixed(1e3 * t["strain"], 2, "‰"),
            _fixed(t["stress"], 0, "MPa"), share(t["usage"]),
        )
        for t in f["ties"]
    ]  # fmt: skip
    note = "Every tie, leg or bar across, where its strain is largest."
    return _table("Steel across", note, ("line", "x", "y", "strain", "stress", "of yield"), rows)


def _cracks(f: Mapping[str, Any]) -> dict[str, Any]:
    rows = [
        (
            _strip(c["place"]), _fixed(c["opening"], 3, "mm"),
            _fixed(c["length"], 0, "mm"), _fixed(c["widest"], 3, "mm"), f"{c['widest_x']:.0f}, {c['widest_y']:.0f}",
        )
        for c in f["splitting"]
    ]  # fmt: skip
    note = f"Openings along the bars summed across each strip, the length over which they exceed {OPEN} mm, and the "
    head = ("strip", "along the bars", "length", "widest crack", "at x, y (mm)")
    return _table("Cracks", note + "widest crack of any direction.", head, rows)


def _strip(place: str) -> str:
    return f"{place} side" if place in ("low", "high") else f"between {place.replace('-', ' and ')}"
