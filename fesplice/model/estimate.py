"""Rough hand values of a specimen that set step sizes and stop rules; never results.

Cracked elastic section (any textbook) of the constant-moment region.
"""

from __future__ import annotations

from dataclasses import dataclass

from fesplice.formulas.section import singly_reinforced
from fesplice.specimen.schema import Specimen


@dataclass(frozen=True)
class CrackedSection:
    """Cracked elastic section: neutral axis [mm], lever arm [mm], stiffness [N mm2], cracking moment [N mm]."""

    neutral_axis: float
    lever_arm: float
    stiffness: float
    stiffness_gross: float
    cracking_moment: float
    steel_area: float

    def moment(self, stress: float) -> float:
        """Moment [N mm] at the steel stress [MPa]."""
        return self.steel_area * stress * self.lever_arm


def section(specimen: Specimen) -> CrackedSection:
    """Section at the joint face, singly reinforced."""
    body, row = specimen.body, specimen.bars.left
    concrete = specimen.concrete.closure or specimen.concrete.precast
    area = row.number * row.area
    n = specimen.steel[row.steel].elastic_modulus / concrete.elastic_modulus
    cracked = singly_reinforced(body.width, row.depth, area, n)
    gross = body.width * body.depth**3 / 12
    return CrackedSection(
        neutral_axis=cracked.x,
        lever_arm=row.depth - cracked.x / 3,
        stiffness=concrete.elastic_modulus * cracked.inertia,
        stiffness_gross=concrete.elastic_modulus * gross,
        cracking_moment=concrete.tensile_strength * gross / (0.5 * body.depth),
        steel_area=area,
    )


def midspan_deflection(specimen: Specimen, moment: float, stiffness: float) -> float:
    """Deflection [mm] at midspan under two loads (or one) giving ``moment`` between them."""
    span, a = specimen.body.span, specimen.body.shear_span
    return moment * (3 * span**2 - 4 * a**2) / (24 * stiffness)


def expected_deflection(specimen: Specimen) -> float:
    """Deflection [mm] at which an anchorage failure may be expected: steel at yield, at most 450 MPa."""
    s = section(specimen)
    stress = min(specimen.steel[specimen.bars.left.steel].yield_strength, 450.0)
    return midspan_deflection(specimen, max(s.moment(stress), s.cracking_moment), s.stiffness)


def yield_deflection(specimen: Specimen) -> float:
    """Deflection [mm] at first yield by the cracked section; without slip, so the real one is larger."""
    s = section(specimen)
    return midspan_deflection(specimen, s.moment(specimen.steel[specimen.bars.left.steel].yield_strength), s.stiffness)


def cracking_deflection(specimen: Specimen) -> float:
    """Deflection [mm] at first cracking by the gross section."""
    s = section(specimen)
    return midspan_deflection(specimen, s.cracking_moment, s.stiffness_gross)


def dead_moment(specimen: Specimen, x: float) -> float:
    """Moment [N mm] at ``x`` (from midspan) from self-weight and loading equipment; positive adds to the load's."""
    body, loading = specimen.body, specimen.loading
    to_support = 0.5 * body.span - abs(x)
    # a single central ram sends half of its equipment to each support
    each = 0.5 if body.shear_span == 0.5 * body.span else 1.0
    moment = each * loading.equipment_weight * min(body.shear_span, to_support)
    if loading.self_weight:
        q = body.width * body.depth * specimen.concrete.precast.unit_weight
        to_end = 0.5 * body.span + body.overhang
        moment += q * to_end * to_support - 0.5 * q * (to_end - abs(x)) ** 2
    return moment if loading.tension_face == "down" else -moment
