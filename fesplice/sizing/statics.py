"""Bending and shear of a specimen by hand formulas: weights, section, moments, loads per ram, deflection.

Units N, mm, MPa. Moments are those of the section asked for, own weight and loading equipment included;
a load is the force of one ram. With the tension face up the rams push upwards, so that the beam's
weight and the equipment between cell and beam are deducted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import InputFault
from fesplice.formulas.section import (
    Cracked,
    Layer,
    MomentCurvature,
    Section,
    cracked,
    moment_at,
    moment_curvature,
    nominal,
    parabola,
)
from fesplice.formulas.steel import bilinear
from fesplice.provisions import aci318_19

if TYPE_CHECKING:
    from fesplice.specimen import BarRow, Concrete, Specimen, Steel

#: Stirrup stress that shear may count [MPa], 420 (60 ksi) for deformed bars; ACI 318-19 20.2.2.4, from memory.
STIRRUP_LIMIT = 420.0
#: Strain at which the compression face gives up in the bound on the moment: above the 0.003-0.0035 of design,
#: since a bound for rams and frame must not be too low (engineering judgement).
CRUSHING = 0.005


@dataclass(frozen=True)
class Statics:
    """Hand statics of a specimen at one row of main bars (the other row of a lap may differ)."""

    specimen: Specimen
    row: BarRow

    # -------------------------------------------------------------- section
    @property
    def concrete(self) -> Concrete:
        """Concrete around the critical section: the closure's, or that of a beam without joints."""
        return self.specimen.concrete.closure or self.specimen.concrete.precast

    @property
    def steel(self) -> Steel:
        return self.specimen.steel[self.row.steel]

    @property
    def area(self) -> float:
        """All bars of the row [mm2]."""
        return self.row.area * self.row.number

    @property
    def face(self) -> float:
        """x of the critical section [mm]: joint face, or midspan of a beam without joints."""
        return 0.5 * self.specimen.body.closure

    @cached_property
    def section(self) -> Section:
        """The section at the joint face; compression bars count where they run through it."""
        s, c = self.specimen, self.specimen.compression_bars
        layers = [Layer(self.row.depth, self.area, self.steel.monotonic.fibres(), self.steel.elastic_modulus)]
        if c is not None and (c.through_closure or s.body.closure == 0.0):
            steel = s.steel[c.steel]
            level = c.cover + 0.5 * c.diameter
            layers.append(Layer(level, c.area * c.number, steel.monotonic.fibres(), steel.elastic_modulus))
        return Section.rectangle(s.body.width, s.body.depth, *layers)

    @cached_property
    def elastic(self) -> Cracked:
        """Cracked elastic section."""
        return cracked(self.section, self.concrete.elastic_modulus)

    @cached_property
    def fibres(self) -> MomentCurvature:
        """Moment-curvature with the bar's own curve, concrete as a parabola to f_cm."""
        # half the usual number of curvatures: the answer must come at once
        row = 0.08 / self.row.depth * np.linspace(1 / 120, 1.0, 120) ** 2
        return moment_curvature(self.section, parabola(self.concrete.strength, crushing=CRUSHING), row)

    @cached_property
    def modulus(self) -> float:
        """Section modulus of the gross section b h^2/6 [mm3]."""
        return self.specimen.body.width * self.specimen.body.depth**2 / 6.0

    # -------------------------------------------------------------- moments
    @property
    def yielding(self) -> float:
        """M_y [N mm]: the bars reach f_y, cracked elastic."""
        return self.elastic.moment(self.steel.yield_strength, self.row.depth)

    @cached_property
    def block(self) -> float:
        """M_n [N mm] by the stress block of ACI 318-19 22.2, measured strengths, bars without hardening."""
        s, fc, fy = self.specimen, self.concrete.strength, self.steel.yield_strength
        flat = bilinear(fy, modulus=self.steel.elastic_modulus, rupture=1.0)
        layer = Layer(self.row.depth, self.area, flat)
        return nominal(Section.rectangle(s.body.width, s.body.depth, layer), fc, aci318_19.beta_1(fc).value).moment

    @property
    def largest(self) -> float:
        """M_max [N mm]: the bars harden; the bound for rams, cells and frame."""
        return float(self.fibres.moment.max())

    @property
    def rupture_modulus(self) -> float:
        """f_r [MPa]: the lower of both concretes, ACI 318-19 19.2.3.1."""
        both = (self.concrete.strength, self.specimen.concrete.precast.strength)
        return min(aci318_19.rupture_modulus(fc).value for fc in both)

    @property
    def cracking(self) -> float:
        """M_cr = f_r b h^2/6 [N mm]."""
        return self.rupture_modulus * self.modulus

    @property
    def joint_opening(self) -> float:
        """Moment at which the joint face reaches its tensile strength, f_jt b h^2/6 [N mm]; NaN without joints."""
        s = self.specimen
        return s.joint.tensile_strength * self.modulus if s.body.closure > 0.0 else float("nan")

    def moment(self, stress: float) -> float:
        """Moment [N mm] at which the bars have ``stress`` [MPa], cracked elastic up to f_y, by fibres above."""
        if stress <= self.steel.yield_strength:
            return self.elastic.moment(stress, self.row.depth)
        rise = slice(0, self.fibres.peak + 1)
        return float(np.interp(stress, np.maximum.accumulate(self.fibres.stress[rise]), self.fibres.moment[rise]))

    def strains(self, moment: float) -> tuple[float, float, float]:
        """Curvature [1/mm], bar strain and compressive strain of the face (as a size) at ``moment`` [N mm]."""
        f = self.fibres
        rise = slice(0, f.peak + 1)
        m = np.concatenate([[0.0], np.maximum.accumulate(f.moment[rise])])

        def at(values: np.ndarray) -> float:
            return float(np.interp(moment, m, np.concatenate([[0.0], values[rise]])))

        return at(f.curvature), at(f.steel), -at(f.top)

    # -------------------------------------------------------------- loads
    @property
    def rams(self) -> int:
        """Two rams, or one at midspan."""
        body = self.specimen.body
        return 1 if body.shear_span >= 0.5 * body.span - 1e-6 else 2

    @property
    def part(self) -> float:
        """Share of a ram's force that goes to one support: a central ram feeds both."""
        return 1.0 if self.rams == 2 else 0.5

    @property
    def weight(self) -> tuple[float, float]:
        """Weight per length [N/mm] of the precast halves and of the closure; zero where self-weight is off."""
        s = self.specimen
        if not s.loading.self_weight:
            return 0.0, 0.0
        area = s.body.width * s.body.depth
        return s.concrete.precast.unit_weight * area, self.concrete.unit_weight * area

    def own_moment(self, x: float) -> float:
        """Moment [N mm] at ``x`` [mm] from midspan by own weight and equipment, positive towards the tension face."""
        s = self.specimen
        halves, cast = self.weight
        size = moment_at(
            x, 0.0, span=s.body.span, shear_span=s.body.shear_span, overhang=s.body.overhang, weight=halves,
            gear=self.part * s.loading.equipment_weight,
        )  # fmt: skip
        # the closure may weigh more or less than the halves
        c, to_support = s.body.closure, 0.5 * s.body.span - abs(x)
        more = (cast - halves) * 0.5 * c
        size += more * to_support - 0.5 * (cast - halves) * max(0.0, 0.5 * c - abs(x)) ** 2
        return size if s.loading.tension_face == "down" else -size

    def moment_of_load(self, load: float, x: float | None = None) -> float:
        """Moment [N mm] at ``x`` (the critical section) under ``load`` [N] per ram."""
        at = self.face if x is None else x
        arm = self.part * min(self.specimen.body.shear_span, 0.5 * self.specimen.body.span - abs(at))
        return load * arm + self.own_moment(at)

    def load(self, moment: float, x: float | None = None) -> float:
        """Load per ram [N] that brings ``moment`` [N mm] at ``x`` (the critical section); negative below own weight."""
        at = self.face if x is None else x
        arm = self.part * min(self.specimen.body.shear_span, 0.5 * self.specimen.body.span - abs(at))
        return (moment - self.own_moment(at)) / arm

    @property
    def least_under_own_weight(self) -> tuple[float, tuple[float, str]]:
        """The larger moment [N mm] of weight and equipment alone at the joint face and at midspan, and the least
        strength against it with its name.

        With the tension face up that moment bends the other way (it is negative): then only compression bars that run
        through, or the tensile strength of joint and concrete, carry it.
        """
        s = self.specimen
        own = max(self.own_moment(self.face), self.own_moment(0.0), key=abs)
        if own >= 0.0:
            least = min((self.yielding, "M_y"), (self.block, "M_n"), (self.largest, "M_max"))
            return own, least
        bars = s.compression_bars
        if bars is not None and (bars.through_closure or s.body.closure == 0.0):
            arm = 0.9 * (s.body.depth - bars.cover - 0.5 * bars.diameter)
            return own, (bars.area * bars.number * s.steel[bars.steel].yield_strength * arm, "A_s' f_y 0.9 d'")
        plain = [(self.cracking, "M_cr, no bars cross")]
        if s.body.closure > 0.0:
            plain.append((self.joint_opening, "M of the opening joint, no bars cross it there"))
        return own, min(plain)

    # -------------------------------------------------------------- shear
    def shear(self, load: float) -> float:
        """Largest shear [N] of the shear span at d from the support, own weight and equipment with their sense."""
        s = self.specimen
        reach = max(0.0, 0.5 * s.body.span - self.row.depth)
        down = self.part * s.loading.equipment_weight + self.weight[0] * reach
        return self.part * load + (down if s.loading.tension_face == "down" else -down)

    @cached_property
    def shear_parts(self) -> tuple[float, float, float, float, str]:
        """V_c, V_s [N], A_v and A_v,min [mm2] of the shear spans (ACI 318-19 22.5), and remarks."""
        s, fc = self.specimen, self.specimen.concrete.precast.strength
        b, d = s.body.width, self.row.depth
        if s.stirrups is None:
            v_c = aci318_19.concrete_shear(fc, b, d, self.area, False).value
            return v_c, 0.0, 0.0, 0.0, "no stirrups: V_c with the size effect"
        v = s.stirrups
        f_y = s.steel[v.steel].yield_strength
        counted = min(f_y, STIRRUP_LIMIT)
        least = aci318_19.least_stirrups(fc, counted, b, v.spacing).value
        a_v = v.legs * v.area
        enough = a_v >= least
        v_c = aci318_19.concrete_shear(fc, b, d, self.area, enough).value
        v_s = aci318_19.stirrup_shear(fc, a_v, counted, b, d, v.spacing).value
        notes = []
        if counted < f_y:
            notes.append(f"stirrups of {f_y:.0f} MPa counted with {counted:.0f} MPa (20.2.2.4, from memory)")
        if not enough:
            notes.append(f"A_v {a_v:.0f} mm2 below A_v,min {least:.0f} mm2: V_c with the size effect")
        if v.spacing > 0.5 * d:
            notes.append(f"stirrup spacing above d/2 = {0.5 * d:.0f} mm")
        return v_c, v_s, a_v, least, "; ".join(notes)

    # -------------------------------------------------------------- deflection
    def deflection(self, load: float, *, cracked_from: float | None = None) -> float:
        """Midspan deflection [mm] by ``load`` [N] per ram, own weight not counted.

        Curvatures by fibres where the whole moment exceeds M_cr (or ``cracked_from`` [N mm]), else of
        the gross section; tension stiffening left out, so an upper value once cracked.
        """
        s = self.specimen
        half = 0.5 * s.body.span
        x = np.linspace(0.0, half, 201)
        limit = self.cracking if cracked_from is None else cracked_from
        gross = self.concrete.elastic_modulus * s.body.width * s.body.depth**3 / 12.0

        def curvature(moment: float) -> float:
            return self.strains(moment)[0] if moment > limit else moment / gross

        own = np.array([self.own_moment(float(p)) for p in x])
        arms = self.part * np.minimum(s.body.shear_span, half - x)
        total = np.array([curvature(float(m)) for m in own + load * arms])
        alone = np.array([curvature(float(m)) for m in own])
        # unit load at midspan: moment (half - x)/2 on both halves
        return float(np.trapezoid((total - alone) * (half - x), x))


def statics(specimen: Specimen) -> dict[str, Statics]:
    """Statics by line: "A" for the left bars (or continuous ones), "B" for the right; InputFault as for sections."""
    rows = {"A": specimen.bars.left}
    if specimen.bars.right is not None:
        rows["B"] = specimen.bars.right
    for row in rows.values():
        if row.depth >= specimen.body.depth:
            raise InputFault(specimen.name, "bars outside the section")
    found: dict[str, Statics] = {}
    for name, row in rows.items():
        # rows that mirror each other share their section, and with it the work of bending it
        same = next((st for st in found.values() if _alike(st.row, row)), None)
        found[name] = same or Statics(specimen, row)
    return found


def _alike(a: BarRow, b: BarRow) -> bool:
    keys = ("area", "number", "depth", "diameter", "steel")
    return all(getattr(a, key) == getattr(b, key) for key in keys)
