"""Frozen description of a beam-splice specimen: what a specimen file may say, part by part.

Lengths mm, stresses MPa, forces N, energies N/mm, densities kg/m3. In a file every dimensional
value is a text with its unit. Numbers that may be left out start as ``UNSET`` (not a number) and
are given a value by ``fill.py``; a Specimen handed out by ``read`` holds no UNSET.
"""

from __future__ import annotations

import hashlib
import json
from typing import Literal

from pydantic import Field, PrivateAttr

from fesplice.formulas.steel import Curve, idealised
from fesplice.specimen.built import Built
from fesplice.specimen.confinement import Confinement
from fesplice.specimen.gauges import Gauge
from fesplice.specimen.ranges import Doubt
from fesplice.specimen.values import (
    UNSET,
    Angle,
    Count,
    Density,
    Distance,
    Energy,
    Flag,
    Force,
    Fraction,
    Length,
    Modulus,
    Name,
    Part,
    Poisson,
    Position,
    Ratio,
    RibAngle,
    Share,
    Sized,
    Spacing,
    SteelModulus,
    SteelStress,
    Strain,
    Strength,
    Stress,
    Text,
    WidthRatio,
)
from fesplice.units import GRAVITY


# ------------------------------------------------------------------ body and materials
class Body(Part):
    """Outline of the beam, its supports and loads, and the length of the cast closure."""

    width: Length = Field(default=UNSET, description="width of the beam; left out: covers, spacing and gap decide")
    depth: Length = Field(description="overall depth")
    span: Length = Field(description="distance between the support centres")
    shear_span: Length = Field(description="support centre to load centre; span/2 is one central load")
    closure: Distance = Field(description="length of the cast closure between the faces; 0 mm is a beam without joints")
    overhang: Distance = Field(default=200.0, description="beam end beyond the support centre")
    plate_length: Length = Field(default=150.0, description="length of the bearing plates along the beam")
    plate_thickness: Length = Field(default=30.0, description="thickness of the bearing plates")


class Concrete(Part):
    """One concrete. ``estimated`` names the formula behind every quantity that was not given."""

    strength: Strength = Field(description="mean cylinder strength f_cm at the time of the test")
    elastic_modulus: Modulus = Field(default=UNSET, description="secant modulus E_c")
    tensile_strength: Stress = Field(default=UNSET, description="mean axial tensile strength f_ct")
    fracture_energy: Energy = Field(default=UNSET, description="tensile fracture energy G_F")
    crushing_energy: Energy = Field(default=UNSET, description="compressive fracture energy G_c")
    peak_strain: Strain = Field(default=UNSET, description="strain at the compressive strength")
    poisson: Poisson = Field(default=0.2, description="Poisson's ratio")
    density: Density = Field(default=2400.0, description="density or unit weight, with the reinforcement")
    aggregate: Literal["basalt", "quartzite", "limestone", "sandstone"] = "quartzite"

    _estimated: dict[str, str] = PrivateAttr(default_factory=dict)

    @property
    def estimated(self) -> dict[str, str]:
        """Quantity -> formula and source, for the quantities not given in the file."""
        return dict(self._estimated)

    def estimate(self, values: dict[str, float], sources: dict[str, str]) -> Concrete:
        """A copy with ``values`` in place of what was not given, and the ``sources`` they came from."""
        copy = self.filled(**values)
        copy._estimated = dict(sources)
        return copy

    @property
    def unit_weight(self) -> float:
        """Weight per volume [N/mm3]."""
        return self.density * GRAVITY * 1e-9


class Concretes(Part):
    """Concrete of the precast halves and of the closure; a beam without closure has no ``closure`` table."""

    precast: Concrete
    closure: Concrete | None = None


class Steel(Part):
    """Bar steel by a name of your own: idealised curve, or a measured one from the yield point on."""

    yield_strength: SteelStress = Field(description="yield strength")
    ultimate_strength: SteelStress = Field(description="ultimate strength")
    elastic_modulus: SteelModulus = Field(default=200e3, description="elastic modulus")
    rupture_strain: Strain = Field(default=0.05, description="strain at the ultimate strength")
    hardening_strain: Strain = Field(default=UNSET, description="end of the yield plateau; left out: no plateau")
    curve: tuple[tuple[Strain, SteelStress], ...] = Field(
        default=(), description="measured [strain, stress], from yield on"
    )

    @property
    def monotonic(self) -> Curve:
        """Stress of strain: the measured curve where given, otherwise elastic, plateau, straight hardening."""
        if self.curve:
            return Curve.through(self.elastic_modulus, self.curve)
        strengths = self.yield_strength, self.ultimate_strength
        return idealised(self.elastic_modulus, *strengths, self.hardening_strain, self.rupture_strain)


# ------------------------------------------------------------------ reinforcement
class Hook(Part):
    """Hooked end of a bar row, bent in the plane of the elevation."""

    angle: Angle = Field(default=90.0, description="angle of the bend, 90 or 180")
    bend_diameter: Length = Field(default=UNSET, description="inside diameter of the bend; left out: standard hook")
    tail: Length = Field(default=UNSET, description="straight extension after the bend; left out: standard hook")
    orientation: Literal["compression", "tension"] = Field(default="compression", description="face the tail points to")


class Head(Part):
    """Head of a headed bar."""

    width: Length = Field(description="width of the head across the bar, b_h1")


class BarRow(Sized):
    """Main bars of one half (all of them in one layer). ``positions`` are measured from the centre line."""

    number: Count = Field(description="number of bars")
    steel: Text = Field(description="key of a [steel.*] table")
    depth: Length = Field(default=UNSET, description="effective depth d: compression face to bar centre")
    cover: Distance = Field(default=UNSET, description="clear cover to the tension face, instead of a depth")
    embedment: Length = Field(default=UNSET, description="joint face to the outside of the hook (or the bar end)")
    positions: tuple[Position, ...] = Field(default=(), description="lateral bar centres; left out: by bars.layout")
    hook: Hook | None = None
    head: Head | None = None


class Bars(Part):
    """Main bars and their lap; ``right`` left out mirrors ``left``."""

    splice: Literal["hooked", "straight", "continuous", "looped", "headed"] = Field(description="kind of splice")
    lap: Distance = Field(default=UNSET, description="lap length: hook outside to hook outside, or bar end to bar end")
    spacing: Spacing = Field(default=UNSET, description='centre to centre of a lapped pair, or "contact"')
    layout: Literal["mirrored", "alternating"] = Field(
        default="mirrored", description="order of pairs across the beam: A B | B A, or A B A B"
    )
    gap: Length = Field(
        default=UNSET, description="centre to centre of facing bars of two pairs; left out: pairs share the width"
    )
    side_cover: Distance = Field(
        default=UNSET, description="clear side cover of the outer bars; left out: the clear cover"
    )
    left: BarRow
    right: BarRow | None = None


class CompressionBars(Sized):
    """Bars near the compression face of the precast halves, or running through the closure."""

    number: Count = Field(description="number of bars")
    steel: Text = Field(description="key of a [steel.*] table")
    cover: Distance = Field(description="clear cover to the compression face")
    through_closure: Flag = Field(default=False, description="true: the bars run through the closure")


class Stirrups(Sized):
    """Closed stirrups of the precast halves; ``size`` and ``area`` are those of one leg."""

    spacing: Length = Field(description="centre to centre along the beam")
    legs: Count = Field(default=2, description="vertical legs of one stirrup")
    steel: Text = Field(description="key of a [steel.*] table")
    cover: Distance = Field(description="clear cover, all faces")


# ------------------------------------------------------------------ interfaces, loading, settings
class Joint(Part):
    """The two cold joints between precast and closure."""

    tensile_strength: Stress = Field(default=1.0, description="tensile strength of the joint")
    fracture_energy: Energy = Field(default=0.02, description="fracture energy of the joint")
    friction: Ratio = Field(default=0.9, description="coefficient of friction once open")
    cohesion: Stress = Field(default=UNSET, description="shear strength at no normal stress; left out: 1.5 x tensile")
    roughness: str = Field(default="", description="note on the preparation of the face")


class Bond(Part):
    """Bond between the main bars and the concrete."""

    law: Text = Field(default="mc2010", description="bond law: mc2010, linear, or one of an installed package")
    condition: Literal["good", "other"] = Field(default="good", description="casting position, MC2010 6.1")
    slip: Flag = Field(default=True, description="false: bars and concrete move together along the bar (comparisons)")
    splitting: Literal["branch", "wedging", "none"] = Field(
        default="branch", description="how bond splits the concrete: branch of the bond law, wedging, none"
    )
    wedge_angle: RibAngle = Field(default=45.0, description="angle of the ribs' pressure to the bar axis (wedging)")
    wedge_opening: Length = Field(default=0.05, description="opening beside the bar that halves bond (wedging)")
    effective_width: WidthRatio | None = Field(
        default=None, description="concrete at bar level per bar, in bar diameters (wedging); left out: from the table"
    )
    hook_plane: Literal["fracture", "whole"] = Field(
        default="fracture", description="the plane of a hook that no ties or stirrups cross: it splits, or never does"
    )
    cover_share: Fraction = Field(
        default=0.5, description="share of that plane between bar and near face, lost with the cover (judgement)"
    )
    bearing_coefficient: Ratio = Field(default=0.8, description="c1 of the bearing stiffness in the bend")
    clear_rib_spacing: Length = Field(default=UNSET, description="clear rib spacing; left out: 0.5 bar diameters")


class Loading(Part):
    """Four-point bending (three-point when the shear span is half the span)."""

    kind: Literal["four_point"] = "four_point"
    self_weight: Flag = Field(default=True, description="true: the weight of the beam acts")
    equipment_weight: Force = Field(default=0.0, description="weight of the loading equipment per ram")
    tension_face: Literal["down", "up"] = "down"


class PlanPlane(Part):
    """The plan: a slab at bar level that hangs on the body above it. Values not from a source are judgement."""

    thickness: Length = Field(
        default=UNSET, description="of the slab; left out: cover + bar diameter + inside bend radius"
    )
    element: Length = Field(default=UNSET, description="element size in the plan; left out: 15 mm, at most 0.55 bars")
    grip_length: Length = Field(
        default=UNSET, description="free bar length that stands for slip in the precast; left out: 7 bar diameters"
    )
    interface: Literal["cohesive", "intact", "cracked", "none"] = Field(
        default="cohesive",
        description="interface of slab and body: softens, never does, steel across it alone, none",
    )
    interface_depth: Length = Field(default=200.0, description="depth of body that shears with the plane (judgement)")
    interface_energy: Energy = Field(default=UNSET, description="fracture energy of it; left out: the concrete's")
    interface_friction: Ratio = Field(default=0.9, description="friction in it once cracked (rough joint, EN 1992-1-1)")
    interface_dilation: Ratio = Field(default=0.3, description="opening per slip once cracked (Li & Maekawa 1989)")
    tie_ends: Literal["held", "bent"] = Field(
        default="held", description="ends of steel across: held without slip, or by a bend with a tail of 6 diameters"
    )
    interface_tails: Flag = Field(default=True, description="true: tails of hooks clamp it as far as they are anchored")
    interface_along: Fraction = Field(default=1.0, description="share of the plane along the bars (judgement)")


class MeshSettings(Part):
    """Wanted element sizes."""

    splice: Length = Field(default=18.0, description="in the closure and one depth beyond")
    elsewhere: Length = Field(default=50.0, description="in the rest of the beam")


class AnalysisSettings(Part):
    """How the load is marched and when to stop."""

    step: Length | None = Field(default=None, description="midspan deflection increment; left out: estimated")
    drop: Share = Field(default=0.30, description="stop when the load has fallen by this share of the peak")
    max_steps: Count = Field(default=400, description="most steps")
    concrete_law: Text = Field(
        default="smeared", description="concrete law: smeared, elastic, or one of an installed package"
    )
    crack_model: Literal["rotating", "fixed"] = "rotating"
    tension_stiffening: Flag = Field(
        default=True, description="true: concrete between unresolved cracks takes its share of tension"
    )
    end_deflection: Length | None = Field(default=None, description="stop at this midspan deflection")
    control: Literal["deflection", "crack_opening", "arc_length", "dissipation"] = "deflection"
    stepping: Literal["adaptive", "constant"] = Field(
        default="adaptive", description="increments that grow where iteration is easy, or of one size throughout"
    )


class Specimen(Part):
    """A specimen, complete: every number given in the file or filled by a named rule."""

    name: Name = Field(description="name of the specimen")
    note: str = ""
    body: Body
    concrete: Concretes
    steel: dict[str, Steel]
    bars: Bars
    compression_bars: CompressionBars | None = None
    stirrups: Stirrups | None = None
    confinement: Confinement = Confinement()
    joint: Joint = Joint()
    bond: Bond = Bond()
    loading: Loading = Loading()
    plan: PlanPlane = PlanPlane()
    mesh: MeshSettings = MeshSettings()
    analysis: AnalysisSettings = AnalysisSettings()
    gauges: tuple[Gauge, ...] = ()

    _text: str = PrivateAttr("")
    _built: tuple[Built, ...] = PrivateAttr(())
    _doubts: tuple[Doubt, ...] = PrivateAttr(())

    @property
    def text(self) -> str:
        """The TOML text this specimen was read from."""
        return self._text

    @property
    def built(self) -> tuple[Built, ...]:
        """Values that ``[as_built]`` put in place of planned ones."""
        return self._built

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """Values that were read but are hardly meant: outside their usual range, or out of proportion."""
        return self._doubts

    @property
    def digest(self) -> str:
        """SHA-256 of the values (the note, the gauges and the wording of the file do not count)."""
        values = self.model_dump(mode="json", exclude={"note", "gauges"})
        return hashlib.sha256(json.dumps(values, sort_keys=True, separators=(",", ":")).encode()).hexdigest()
