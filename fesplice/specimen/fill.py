"""Missing numbers of a specimen, each by one named rule, so that the rest of the package meets none.

Values that contradict each other are told to ``report``; whatever depends on an unreadable
number stays UNSET and is reported once, at its source.
"""

from __future__ import annotations

from math import isnan, nan
from typing import Any, TypeVar

from fesplice.specimen import estimates
from fesplice.specimen.across import across
from fesplice.specimen.confinement import Confinement
from fesplice.specimen.schema import (
    BarRow,
    Bars,
    Body,
    Concrete,
    Hook,
    PlanPlane,
    Specimen,
    Steel,
)
from fesplice.specimen.sizes import bend_diameter, hook_tail, lookup, round_bar
from fesplice.specimen.values import TOLERANCE, Sized, TellFault
from fesplice.units import both, show

PLAN_ELEMENT, PLAN_SHARE = 15.0, 0.55  # widest element of a plan left to the rule: mm, and bar diameters

_Bar = TypeVar("_Bar", bound=Sized)


def fill(s: Specimen, report: TellFault) -> Specimen:
    """``s`` with every missing number filled; contradictions go to ``report``."""
    bars, body = _bars(s.bars, s.body, report)
    parts: dict[str, Any] = {
        "concrete": s.concrete.filled(
            precast=concrete(s.concrete.precast),
            closure=concrete(s.concrete.closure) if s.concrete.closure else None,
        ),
        "steel": {key: _steel(steel) for key, steel in s.steel.items()},
        "body": body,
        "bars": bars,
        "compression_bars": s.compression_bars and _sized(s.compression_bars, "compression_bars", report),
        "stirrups": s.stirrups and _sized(s.stirrups, "stirrups", report),
        "confinement": _confinement(s.confinement, bars.left, report),
    }
    parts["plan"] = _plan(s.plan, bars.left, parts["concrete"].closure or parts["concrete"].precast)
    if isnan(s.joint.cohesion):
        parts["joint"] = s.joint.filled(cohesion=1.5 * s.joint.tensile_strength)
    if isnan(s.bond.clear_rib_spacing):
        parts["bond"] = s.bond.filled(clear_rib_spacing=0.5 * bars.left.diameter)
    return s.filled(**parts)


# ------------------------------------------------------------------ materials
def concrete(c: Concrete) -> Concrete:
    """``c`` with its unmeasured properties estimated and each formula recorded."""
    tensile, source = estimates.tensile_strength(c.strength)
    values = {
        "elastic_modulus": estimates.elastic_modulus(c.strength, c.aggregate),
        "tensile_strength": tensile,
        "fracture_energy": estimates.fracture_energy(c.strength),
        "crushing_energy": estimates.crushing_energy(c.strength),
        "peak_strain": estimates.peak_strain(c.strength),
    }
    sources = {**estimates.SOURCES, "tensile_strength": source}
    missing = [key for key in values if key not in c.model_fields_set]
    return c.estimate({key: values[key] for key in missing}, {key: sources[key] for key in missing})


def _steel(steel: Steel) -> Steel:
    if isnan(steel.hardening_strain) and "hardening_strain" not in steel.model_fields_set:
        return steel.filled(hardening_strain=steel.yield_strength / steel.elastic_modulus)
    return steel


# ------------------------------------------------------------------ bars
def _sized(part: _Bar, path: str, report: TellFault) -> _Bar:
    """Diameter and area from the designation, or the area from the diameter."""
    if part.size and "diameter" in part.model_fields_set:
        report(f"{path}.diameter", "give size or diameter, not both")
        return part
    if not part.size and "diameter" not in part.model_fields_set:
        report(f"{path}.size", 'missing; a bar designation such as "No. 9", "29", "phi 28" or a diameter')
        return part
    if part.size == "?":
        return part
    size = lookup(part.size) if part.size else round_bar(part.diameter)
    area = size.area if "area" not in part.model_fields_set else part.area
    return part.filled(size=size.name, diameter=size.diameter, area=area)


def _bars(bars: Bars, body: Body, report: TellFault) -> tuple[Bars, Body]:
    lapped = bars.splice != "continuous"
    left = _row(bars.left, "bars.left", bars, body, report)
    right = None
    if lapped:
        right = _row(bars.right, "bars.right", bars, body, report) if bars.right else left.filled(positions=())
    elif bars.right:
        report("bars.right", "continuous bars are one row: give [bars.left] only")
    mirrored = bars.right is None
    bars = _lap(bars.filled(left=left, right=right), body, mirrored, report)
    return across(bars, body, report)


def _row(row: BarRow, path: str, bars: Bars, body: Body, report: TellFault) -> BarRow:
    row = _sized(row, path, report)
    given = row.model_fields_set & {"depth", "cover"}
    if len(given) == 2:
        report(f"{path}.depth", "give depth or cover, not both")
    elif not given:
        report(f"{path}.depth", 'missing; effective depth, e.g. "515 mm" (or cover, the clear cover)')
    depth = row.depth if "depth" in given else body.depth - row.cover - row.diameter / 2
    cover = body.depth - row.depth - row.diameter / 2 if "depth" in given else row.cover
    hook = row.hook
    if bars.splice in ("hooked", "looped"):
        # a loop is a bar that turns back on itself
        hook = _hook(row.hook or Hook(), row.diameter, 180.0 if bars.splice == "looped" else None)
    return row.filled(depth=depth, cover=cover, hook=hook)


def _hook(hook: Hook, diameter: float, angle: float | None) -> Hook:
    if angle is not None and "angle" not in hook.model_fields_set:
        hook = hook.filled(angle=angle)
    standard = {"bend_diameter": bend_diameter(diameter), "tail": hook_tail(diameter, hook.angle)}
    return hook.filled(**{k: v for k, v in standard.items() if k not in hook.model_fields_set})


def _lap(bars: Bars, body: Body, mirrored: bool, report: TellFault) -> Bars:
    """Lap and embedments: embedment left + embedment right = closure + lap."""
    left, right = bars.left, bars.right
    if right is None:
        if bars.lap > 0:
            report("bars.lap", "continuous bars have no lap: leave it out")
        if "embedment" in left.model_fields_set:
            report("bars.left.embedment", "continuous bars have no embedment: leave it out")
        return bars.filled(lap=0.0, left=left.filled(embedment=0.0))
    sides = [left] if mirrored else [left, right]
    given = [row.embedment for row in sides if "embedment" in row.model_fields_set]
    total = 2 * given[0] if mirrored and given else sum(given)
    lap = bars.lap
    if "lap" not in bars.model_fields_set:
        if len(given) < len(sides):
            report("bars.lap", 'missing; lap length, e.g. "460 mm" (or the embedment of both rows)')
        else:
            lap = total - body.closure
    elif len(given) == len(sides) and abs(total - body.closure - lap) > TOLERANCE:
        report(
            "bars.lap",
            f"disagrees with the embedments: they sum to {show(total, 'length')}, "
            f"closure + lap to {show(body.closure + lap, 'length')}",
        )
    whole = body.closure + lap

    def completed(row: BarRow, other: BarRow) -> BarRow:
        if "embedment" in row.model_fields_set:
            return row
        rest = whole / 2 if "embedment" not in other.model_fields_set else whole - other.embedment
        return row.filled(embedment=rest)

    return bars.filled(lap=lap, left=completed(left, right), right=completed(right, left))


# ------------------------------------------------------------------ plan
def _plan(p: PlanPlane, row: BarRow, concrete: Concrete) -> PlanPlane:
    """The slab reaches from the tension face to the inside of the bends, which push on it; a straight bar lies in
    its middle. Elements are about half as wide as the bars: between bars in contact coarser ones tear too early (19 mm
    bars: 440 MPa with 15 mm, 558 with 10 mm; runs by hand). Free length of the grips: 400 MPa carried in bond of
    7 MPa, straight, are worth 7 bar diameters.
    """
    deep = 0.5 * row.hook.bend_diameter if row.hook is not None else row.cover
    found = {
        "element": min(PLAN_ELEMENT, PLAN_SHARE * row.diameter),
        "thickness": row.cover + row.diameter + deep,
        "grip_length": 7.0 * row.diameter,
        "interface_energy": concrete.fracture_energy,
    }
    return p.filled(**{k: v for k, v in found.items() if k not in p.model_fields_set})


# ------------------------------------------------------------------ confinement
def _confinement(c: Confinement, row: BarRow, report: TellFault) -> Confinement:
    c, given = c.chosen(), c.model_fields_set - {"kind"}
    if not c.there:
        if given:
            report("confinement.kind", f'"none" takes no other key (given: {", ".join(sorted(given))})')
        nothing = {"diameter": 0.0, "area": 0.0, "spacing": 0.0, "legs": 0, "number": 0, "cover": 0.0}
        return c.filled(**nothing)
    c = _sized(c, "confinement", report)
    needed = {"steel": "key of a [steel.*] table", "number": "number of sets, e.g. 6"}
    if c.in_sets:
        needed["spacing"] = 'centre to centre of the sets, e.g. "85 mm"'
    for key, what in needed.items():
        if key not in given:
            report(f"confinement.{key}", f"missing; {what}")
    update: dict[str, Any] = {}
    if c.in_bends:
        update = {"spacing": 0.0, "legs": 1}
        if "spacing" in given:
            report("confinement.spacing", "a hooked transverse bar sits in the bend and has no spacing: leave it out")
    if "cover" not in given:
        update["cover"] = row.cover + row.diameter if c.in_bends else row.cover - c.diameter
        if update["cover"] < 0:
            report(
                "confinement.size",
                f"does not fit between the tension face and the main bars, whose clear cover is "
                f"{both(row.cover, 'length')}",
            )
            update["cover"] = nan
    return c.filled(**update)
