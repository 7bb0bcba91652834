"""What one specimen must satisfy beyond the range of each single value: does everything fit?

Only numbers of the one specimen are compared here; bars that meet in space are found by
``geometry/bars.py``. Every rule is written so that a comparison with UNSET does not fire.
"""

from __future__ import annotations

from difflib import get_close_matches

from fesplice.specimen.gauges import check_gauges
from fesplice.specimen.schema import BarRow, Specimen, Steel
from fesplice.specimen.values import Sized, TellFault
from fesplice.units import both, show

MIN_COVER = 10.0  # mm: less concrete than this cannot be placed (common practice, no source)
_SLACK = 0.01  # mm


def check(s: Specimen, report: TellFault) -> None:
    """Tell ``report`` every way in which the filled specimen ``s`` cannot be built or tested."""
    _body(s, report)
    _concrete(s, report)
    for key, steel in s.steel.items():
        _steel(steel, f"steel.{key}", report)
    _steel_keys(s, report)
    _lap(s, report)
    for path, row in _rows(s):
        _row(s, row, path, report)
        _hook(s, row, path, report)
    _layer(s, report)
    _stirrups(s, report)
    _compression_bars(s, report)
    _confinement(s, report)
    _mesh(s, report)
    _plan(s, report)
    check_gauges(s, report)


def _rows(s: Specimen) -> list[tuple[str, BarRow]]:
    rows = [("bars.left", s.bars.left)]
    # a mirrored copy would only repeat the faults of the left row
    if s.bars.right is not None and "right" in s.bars.model_fields_set:
        rows.append(("bars.right", s.bars.right))
    return rows


# ------------------------------------------------------------------ body and materials
def _body(s: Specimen, report: TellFault) -> None:
    b = s.body
    if b.shear_span > b.span / 2 + _SLACK:
        report("body.shear_span", f"must not exceed half the span, {both(b.span / 2, 'length')}")
    elif b.shear_span < b.plate_length:
        report("body.shear_span", f"must not be below the plate length, {both(b.plate_length, 'length')}")
    between = b.span - 2 * b.shear_span
    if _SLACK < between < b.plate_length:
        report(
            "body.shear_span",
            f"brings the two load plates to overlap: at most {both((b.span - b.plate_length) / 2, 'length')}, "
            f"or half the span for one central load",
        )
    if b.overhang < b.plate_length / 2:
        report("body.overhang", f"must hold half a bearing plate, {both(b.plate_length / 2, 'length')}")
    if b.closure >= b.span:
        report("body.closure", f"must be shorter than the span, {both(b.span, 'length')}")


def _concrete(s: Specimen, report: TellFault) -> None:
    if s.concrete.closure is None and s.body.closure > 0:
        report(
            "concrete.closure", f"missing; the closure is {both(s.body.closure, 'length')} long and needs a concrete"
        )
    if s.concrete.closure is not None and s.body.closure == 0:
        report("concrete.closure", "a beam without closure (body.closure 0 mm) is all precast concrete: leave it out")
    for key, c in (("precast", s.concrete.precast), ("closure", s.concrete.closure)):
        if c is None:
            continue
        if c.tensile_strength > 0.25 * c.strength:
            limit = both(0.25 * c.strength, "stress")
            report(f"concrete.{key}.tensile_strength", f"must not exceed a quarter of the strength, {limit}")
        if c.peak_strain < 1.05 * c.strength / c.elastic_modulus:
            report(
                f"concrete.{key}.peak_strain",
                f"must exceed strength/elastic_modulus = {c.strength / c.elastic_modulus:.5f} by 5 % at least",
            )


def _steel(steel: Steel, path: str, report: TellFault) -> None:
    at_yield = steel.yield_strength / steel.elastic_modulus
    if steel.ultimate_strength < steel.yield_strength:
        report(
            f"{path}.ultimate_strength", f"must not be below the yield strength, {show(steel.yield_strength, 'stress')}"
        )
    if steel.rupture_strain <= at_yield:
        report(f"{path}.rupture_strain", f"must exceed the yield strain, {at_yield:.5f}")
    if steel.hardening_strain < at_yield * (1 - 1e-9):
        report(f"{path}.hardening_strain", f"must not be below the yield strain, {at_yield:.5f}")
    if steel.hardening_strain >= steel.rupture_strain:
        report(f"{path}.hardening_strain", f"must be below the rupture strain, {steel.rupture_strain:g}")
    if not steel.curve:
        return
    strains = [e for e, _ in steel.curve]
    if len(strains) < 2:
        report(f"{path}.curve", "needs at least two points")
    if any(b <= a for a, b in zip(strains, strains[1:])):
        report(f"{path}.curve", "strains must rise from point to point")
    if any(stress > 1.001 * steel.elastic_modulus * strain for strain, stress in steel.curve):
        report(f"{path}.curve", f"no point may lie above the elastic line, {show(steel.elastic_modulus, 'stress')}")


def _steel_keys(s: Specimen, report: TellFault) -> None:
    users: list[tuple[str, str]] = [(path, row.steel) for path, row in _rows(s)]
    if s.compression_bars:
        users.append(("compression_bars", s.compression_bars.steel))
    if s.stirrups:
        users.append(("stirrups", s.stirrups.steel))
    if s.confinement.there:
        users.append(("confinement", s.confinement.steel))
    for path, key in users:
        if key in s.steel or key in ("?", ""):
            continue
        near = get_close_matches(key, s.steel, n=1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        report(f"{path}.steel", f"no such steel; {hint}known: {', '.join(f'[steel.{k}]' for k in s.steel) or 'none'}")


# ------------------------------------------------------------------ main bars
def _lap(s: Specimen, report: TellFault) -> None:
    if s.bars.splice == "continuous":
        return
    closure = s.body.closure
    if s.bars.lap > closure:
        report("bars.lap", f"must not be longer than the closure, {both(closure, 'length')}")
    elif s.bars.lap <= 0:
        report("bars.lap", f"must be above 0 and at most the closure, {both(closure, 'length')}")
    for path, row in _rows(s):
        if row.embedment > closure - MIN_COVER and s.bars.lap <= closure:
            report(
                f"{path}.embedment" if "embedment" in row.model_fields_set else "bars.lap",
                f"leaves no concrete between the bar and the opposite face: the embedment of "
                f"{both(row.embedment, 'length')} must not exceed {both(closure - MIN_COVER, 'length')}",
            )


def _row(s: Specimen, row: BarRow, path: str, report: TellFault) -> None:
    level = "depth" if "depth" in row.model_fields_set else "cover"
    if row.cover < MIN_COVER:
        report(
            f"{path}.{level}",
            f"leaves a clear cover of {show(row.cover, 'length')} to the tension face; "
            f"at least {both(MIN_COVER, 'length')}",
        )
    elif row.depth < s.body.depth / 2:
        report(f"{path}.{level}", "puts the main bars on the compression side of mid-depth")
    if not _within(s, row):
        reach = s.body.width / 2 - MIN_COVER - row.diameter / 2
        report(
            _placing(s, path, row),
            f"puts a bar outside the width: bar centres must stay within {both(reach, 'length')} of the centre line",
        )


def _within(s: Specimen, row: BarRow) -> bool:
    """False where a bar of the row lies outside the width, or too near to a side face."""
    reach = s.body.width / 2 - MIN_COVER - row.diameter / 2
    return not any(abs(z) > reach + _SLACK for z in row.positions)


def _placing(s: Specimen, path: str, row: BarRow) -> str:
    """The key that decides where the bars of a row lie across the width."""
    if "positions" in row.model_fields_set:
        return f"{path}.positions"
    return "bars.side_cover" if "side_cover" in s.bars.model_fields_set else "bars.spacing"


def _hook(s: Specimen, row: BarRow, path: str, report: TellFault) -> None:
    hook, d = row.hook, row.diameter
    if (row.head is None) == (s.bars.splice == "headed"):
        told = 'missing; the width of the head, e.g. "60 mm"' if row.head is None else f"{s.bars.splice} bars have none"
        report(f"{path}.head", told)
    elif row.head is not None and row.head.width < 1.5 * d:
        report(f"{path}.head.width", f"must not be below 1.5 bar diameters, {both(1.5 * d, 'length')}")
    if hook is None:
        return
    if s.bars.splice == "looped" and hook.angle != 180:
        report(f"{path}.hook.angle", "a loop turns back on itself: 180, or leave it out")
        return
    if s.bars.splice not in ("hooked", "looped"):
        report(f"{path}.hook", f"{s.bars.splice} bars have no hook: leave it out")
        return
    outer = hook.bend_diameter / 2 + d
    if hook.bend_diameter < 2 * d:
        report(f"{path}.hook.bend_diameter", f"must not be below two bar diameters, {both(2 * d, 'length')}")
    if row.embedment < outer:
        report(
            f"{path}.embedment" if "embedment" in row.model_fields_set else "bars.lap",
            f"too short for the bend: the embedment of {both(row.embedment, 'length')} must hold "
            f"half the bend diameter and the bar, {both(outer, 'length')}",
        )
    height = outer + hook.tail if hook.angle == 90 else 2 * outer
    room = row.depth + d / 2 if hook.orientation == "compression" else s.body.depth - row.depth + d / 2
    if height > room - MIN_COVER:
        blamed = "tail" if "tail" in hook.model_fields_set and hook.angle == 90 else "bend_diameter"
        if blamed not in hook.model_fields_set:
            blamed = "tail" if hook.angle == 90 else "bend_diameter"
        face = "compression" if hook.orientation == "compression" else "tension"
        report(
            f"{path}.hook.{blamed}",
            f"the hook does not fit the depth: it is {both(height, 'length')} high, between bar and {face} face "
            f"there is room for {both(room - MIN_COVER, 'length')} (with {show(MIN_COVER, 'length')} of cover)",
        )


def _layer(s: Specimen, report: TellFault) -> None:
    left, right = s.bars.left, s.bars.right
    told: set[str] = set()
    for path, row in (("bars.left", left), ("bars.right", right)):
        z = sorted(row.positions) if row else []
        if row and any(b - a < row.diameter - _SLACK for a, b in zip(z, z[1:])) and _placing(s, path, row) not in told:
            told.add(_placing(s, path, row))
            report(
                _placing(s, path, row),
                f"bars of one row overlap: centres must be at least {both(row.diameter, 'length')} apart",
            )
    if right is None:
        return
    if abs(left.depth - right.depth) > min(left.diameter, right.diameter) / 2:
        report("bars.right.depth", "the two rows must lie in one layer: depths within half a bar diameter")
    if "right" not in s.bars.model_fields_set and _within(s, left) and not _within(s, right):
        place = _placing(s, "bars.left", left)
        report(place, "puts a mirrored bar of the right half outside the width")
    apart = (left.diameter + right.diameter) / 2
    if s.bars.spacing < apart - _SLACK:
        report("bars.spacing", f'lapped bars overlap: at least {both(apart, "length")}, or "contact"')
    elif any(abs(a - b) < apart - _SLACK for a in left.positions for b in right.positions):
        report(_placing(s, "bars.left", left), "a left and a right bar overlap in the lap")


# ------------------------------------------------------------------ other reinforcement
def _inside(s: Specimen, part: Sized, cover: float, path: str, report: TellFault) -> None:
    """A closed stirrup must go round the main bars and inside the section."""
    if 2 * (cover + part.diameter) >= min(s.body.width, s.body.depth):
        report(f"{path}.cover", "the stirrup does not fit the section")
        return
    room = min(min(row.cover for _, row in _rows(s)), s.bars.side_cover)
    if room < MIN_COVER:
        return  # the main bars themselves lie wrong, which is told elsewhere
    if cover + part.diameter > room + _SLACK:
        key = "cover" if "cover" in part.model_fields_set else "size"
        report(
            f"{path}.{key}",
            f"the stirrup does not go round the main bars: cover + diameter = {both(cover + part.diameter, 'length')}, "
            f"their clear cover is {both(room, 'length')}",
        )


def _stirrups(s: Specimen, report: TellFault) -> None:
    if s.stirrups is None:
        return
    _inside(s, s.stirrups, s.stirrups.cover, "stirrups", report)
    if s.stirrups.spacing <= s.stirrups.diameter:
        report("stirrups.spacing", f"must exceed the bar diameter, {both(s.stirrups.diameter, 'length')}")
    if s.stirrups.spacing > s.body.shear_span:
        report("stirrups.spacing", f"must not exceed the shear span, {both(s.body.shear_span, 'length')}")


def _compression_bars(s: Specimen, report: TellFault) -> None:
    c = s.compression_bars
    if c is None:
        return
    around = s.stirrups.cover + s.stirrups.diameter if s.stirrups else 0.0
    if c.cover < around - _SLACK:
        report("compression_bars.cover", f"lies outside the stirrups: at least {both(around, 'length')}")
    if c.cover + c.diameter > s.body.depth / 2:
        report("compression_bars.cover", f"must keep the bars above mid-depth, {both(s.body.depth / 2, 'length')}")
    room = s.body.width - 2 * max(around, MIN_COVER)
    if c.number * c.diameter > room:
        report("compression_bars.number", f"the bars do not fit side by side into {both(room, 'length')}")


def _confinement(s: Specimen, report: TellFault) -> None:
    c = s.confinement
    if not c.there:
        return
    if s.body.closure == 0:
        report("confinement.kind", "a beam without closure has no confinement: leave the table out")
    if c.in_bends:
        hooks = [row.hook for _, row in _rows(s) if row.hook]
        if s.bars.splice not in ("hooked", "looped"):
            report("confinement.kind", "a hooked transverse bar lies inside bends: only with hooked bars")
        elif any(c.diameter > hook.bend_diameter for hook in hooks):
            report("confinement.size", f"must fit the bend, {both(min(h.bend_diameter for h in hooks), 'length')}")
        return
    if c.upright:
        _inside(s, c, c.cover, "confinement", report)
    if c.spacing <= c.diameter:
        report("confinement.spacing", f"must exceed the bar diameter, {both(c.diameter, 'length')}")
    length, room = (c.number - 1) * c.spacing + c.diameter, s.body.closure - 2 * MIN_COVER
    if s.body.closure > 0 and length > room:
        report(
            "confinement.number",
            f"{c.number} sets take {both(length, 'length')}, the closure has room for {both(room, 'length')}",
        )


def _mesh(s: Specimen, report: TellFault) -> None:
    if s.mesh.splice > s.body.depth / 8:
        report("mesh.splice", f"too coarse: at most an eighth of the depth, {both(s.body.depth / 8, 'length')}")
    if s.mesh.splice < s.body.depth / 400:
        report("mesh.splice", f"too fine: at least {both(s.body.depth / 400, 'length')} (400 elements over the depth)")
    if s.mesh.elsewhere < s.mesh.splice:
        report("mesh.elsewhere", f"must not be finer than at the splice, {both(s.mesh.splice, 'length')}")
    elif s.mesh.elsewhere > s.body.depth / 3:
        report("mesh.elsewhere", f"too coarse: at most a third of the depth, {both(s.body.depth / 3, 'length')}")


def _plan(s: Specimen, report: TellFault) -> None:
    if s.bars.splice == "continuous" or not s.body.closure > 0:
        return
    given, least = s.plan.model_fields_set, min(s.body.closure, s.body.width)
    bar = max(row.diameter for _, row in _rows(s))
    if "thickness" in given and not bar <= s.plan.thickness <= s.body.depth:
        limits = f"{both(bar, 'length')} to {both(s.body.depth, 'length')}"
        report("plan.thickness", f"must hold the bars and lie in the beam: {limits}")
    if s.plan.element > least / 6:
        report("plan.element", f"too coarse: at most a sixth of the slab, {both(least / 6, 'length')}")
