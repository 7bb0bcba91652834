"""Numbers of a specimen against each other: what is read but hardly meant.

Each rule compares two values of which at least one was given; comparisons with a number that is not set are false. The
proportions are common practice (no source) unless a document stands beside them. What cannot be built is refused by
``rules.py``; here it is only told.
"""

from __future__ import annotations

import math

from fesplice.specimen import estimates
from fesplice.specimen.fill import TellFault
from fesplice.specimen.schema import Specimen
from fesplice.specimen.values import Sized
from fesplice.units import both, show


def disproportions(s: Specimen, doubt: TellFault) -> None:
    """Tell ``doubt`` every two values of the filled ``s`` that hardly belong together."""
    _body(s, doubt)
    _concrete(s, doubt)
    _joint(s, doubt)
    _bars(s, doubt)
    _settings(s, doubt)
    _own_weight(s, doubt)


def _ratio(doubt: TellFault, path: str, value: float, unit: float, least: float, most: float, of: str) -> None:
    """Doubt ``value`` where it is not ``least`` to ``most`` times ``unit``, which is called ``of``."""
    if unit > 0.0 and not math.isnan(value) and not least <= value / unit <= most:
        doubt(path, f"{value / unit:.3g} times {of}, usually {least:g} to {most:g}: is the unit right?")


def _body(s: Specimen, doubt: TellFault) -> None:
    b = s.body
    _ratio(doubt, "body.width", b.width, b.depth, 0.25, 6.0, "the depth")
    _ratio(doubt, "body.span", b.span, b.depth, 3.0, 30.0, "the depth")
    _ratio(doubt, "body.shear_span", b.shear_span, b.depth, 0.8, 12.0, "the depth")
    if "overhang" in b.model_fields_set:
        _ratio(doubt, "body.overhang", b.overhang, b.span, 0.01, 0.25, "the span")
    if "plate_length" in b.model_fields_set:
        _ratio(doubt, "body.plate_length", b.plate_length, b.span, 0.006, 0.12, "the span")
    if "plate_thickness" in b.model_fields_set:
        _ratio(doubt, "body.plate_thickness", b.plate_thickness, b.plate_length, 0.06, 1.0, "the plate's length")


def _concrete(s: Specimen, doubt: TellFault) -> None:
    for name, c in (("precast", s.concrete.precast), ("closure", s.concrete.closure)):
        if c is None:
            continue
        given = c.model_fields_set
        rules = (
            ("elastic_modulus", estimates.elastic_modulus(c.strength, c.aggregate), 0.5, 1.6, "fib MC2010 5.1-21"),
            ("tensile_strength", estimates.tensile_strength(c.strength)[0], 0.35, 1.8, "that of its strength"),
            ("fracture_energy", estimates.fracture_energy(c.strength), 0.33, 3.2, "that of its strength"),
            ("crushing_energy", estimates.crushing_energy(c.strength), 0.25, 3.2, "that of its strength"),
        )
        for key, unit, least, most, of in rules:
            if key in given:
                of = f"that of its strength, {show(unit, 'energy' if 'energy' in key else 'stress')}"
                _ratio(doubt, f"concrete.{name}.{key}", getattr(c, key), unit, least, most, of)


def _joint(s: Specimen, doubt: TellFault) -> None:
    j, c = s.joint, s.concrete.closure or s.concrete.precast
    if "tensile_strength" in j.model_fields_set:
        _ratio(doubt, "joint.tensile_strength", j.tensile_strength, c.tensile_strength, 0.12, 1.2, "the concrete's")
    if j.model_fields_set & {"tensile_strength", "fracture_energy"}:
        opening = j.fracture_energy / j.tensile_strength
        if not 0.003 <= opening <= 0.15:
            doubt(
                "joint.fracture_energy" if "fracture_energy" in j.model_fields_set else "joint.tensile_strength",
                f"energy over strength is {show(opening, 'length')}, usually 0.003 to 0.15 mm: is the unit right?",
            )
    if "cohesion" in j.model_fields_set:
        _ratio(doubt, "joint.cohesion", j.cohesion, j.tensile_strength, 0.4, 5.0, "the joint's tensile strength")


def _area(part: Sized, path: str, doubt: TellFault) -> None:
    if "area" in part.model_fields_set:
        round_area = 0.25 * math.pi * part.diameter**2
        _ratio(doubt, f"{path}.area", part.area, round_area, 0.9, 1.1, "that of its diameter")


def _bars(s: Specimen, doubt: TellFault) -> None:
    bars = s.bars
    rows = [("bars.left", bars.left)]
    if bars.right is not None and "right" in bars.model_fields_set:
        rows.append(("bars.right", bars.right))
    for path, row in rows:
        _area(row, path, doubt)
        d = row.diameter
        if "embedment" in row.model_fields_set:
            _ratio(doubt, f"{path}.embedment", row.embedment, d, 4.0, 80.0, "the bar diameter")
        if row.hook is not None:
            if "bend_diameter" in row.hook.model_fields_set:
                _ratio(doubt, f"{path}.hook.bend_diameter", row.hook.bend_diameter, d, 2.5, 16.0, "the bar diameter")
            if "tail" in row.hook.model_fields_set:
                _ratio(doubt, f"{path}.hook.tail", row.hook.tail, d, 2.5, 25.0, "the bar diameter")
        share = row.number * row.area / (s.body.width * row.depth) if row.depth > 0.0 else math.nan
        if share < 8e-4 or share > 0.06:
            doubt(f"{path}.number", f"steel is {100.0 * share:.2g} % of width times depth, usually 0.08 to 6 %")
    if bars.right is not None and "lap" in bars.model_fields_set:
        _ratio(doubt, "bars.lap", bars.lap, bars.left.diameter, 4.0, 80.0, "the bar diameter")
    for path, part in (("compression_bars", s.compression_bars), ("stirrups", s.stirrups)):
        if part is not None:
            _area(part, path, doubt)
    if s.stirrups is not None:
        _ratio(doubt, "stirrups.spacing", s.stirrups.spacing, s.body.depth, 0.08, 1.2, "the depth")
    if s.confinement.there:
        _area(s.confinement, "confinement", doubt)
        if s.confinement.in_sets:
            d = bars.left.diameter
            _ratio(doubt, "confinement.spacing", s.confinement.spacing, d, 1.0, 15.0, "the bar diameter")


def _settings(s: Specimen, doubt: TellFault) -> None:
    d, p, b = s.bars.left.diameter, s.plan, s.bond
    if "grip_length" in p.model_fields_set:
        _ratio(doubt, "plan.grip_length", p.grip_length, d, 1.5, 30.0, "the bar diameter")
    if "element" in p.model_fields_set:
        _ratio(doubt, "plan.element", p.element, d, 0.15, 3.0, "the bar diameter")
    if "interface_depth" in p.model_fields_set:
        _ratio(doubt, "plan.interface_depth", p.interface_depth, s.body.depth, 0.1, 1.0, "the depth")
    if "interface_energy" in p.model_fields_set:
        concrete = s.concrete.closure or s.concrete.precast
        unit = estimates.fracture_energy(concrete.strength)
        of = f"that of its concrete's strength, {show(unit, 'energy')}"
        _ratio(doubt, "plan.interface_energy", p.interface_energy, unit, 0.15, 5.0, of)
    if "clear_rib_spacing" in b.model_fields_set:
        _ratio(doubt, "bond.clear_rib_spacing", b.clear_rib_spacing, d, 0.15, 1.5, "the bar diameter")
    if s.analysis.end_deflection is not None:
        _ratio(doubt, "analysis.end_deflection", s.analysis.end_deflection, s.body.span, 1e-3, 0.05, "the span")
    if s.analysis.step is not None:
        _ratio(doubt, "analysis.step", s.analysis.step, s.body.span, 1e-5, 4e-4, "the span")


def _own_weight(s: Specimen, doubt: TellFault) -> None:
    """Moment of own weight and equipment at midspan against the one that cracks the gross section (statics)."""
    b, c = s.body, s.concrete.closure or s.concrete.precast
    weight = max(s.concrete.precast.unit_weight, c.unit_weight) * b.width * b.depth if s.loading.self_weight else 0.0
    own = weight * (b.span**2 / 8.0 - b.overhang**2 / 2.0)
    gear = s.loading.equipment_weight * b.shear_span
    cracking = c.tensile_strength * b.width * b.depth**2 / 6.0
    if s.loading.tension_face == "down" and own + gear > cracking:
        key = "body.span" if own >= gear else "loading.equipment_weight"
        doubt(
            key,
            f"own weight and equipment give {both(own + gear, 'moment')} at midspan, which cracks the section "
            f"({both(cracking, 'moment')}) before any load",
        )
