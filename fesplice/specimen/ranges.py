"""What every number of a specimen file may be, and what it usually is: one table, key by key.

The hard range is refused outside: no beam that anybody could cast or test lies there. The usual range is only told
outside, with the key, its value and the range; it is narrow enough that a number taken in another unit (by 10, 25.4
or 1000) leaves it or meets a rule of ``proportions.py``. Units N, mm, MPa, N/mm, kg/m3. Both ranges are common practice
of beam tests with reinforcement, no source; where a document bounds a property its name stands beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from fesplice.units import KINDS, both, show


@dataclass(frozen=True)
class Range:
    """A number of ``kind``: refused outside ``low`` to ``high``, told outside ``least`` to ``most``.

    ``zero``: 0 is neither (nothing of the kind is there).
    """

    kind: str
    low: float
    high: float
    least: float
    most: float
    zero: bool = False

    def allows(self, value: float) -> bool:
        """False outside the hard range; a number that is not set is allowed."""
        return math.isnan(value) or (self.zero and value == 0.0) or self.low <= value <= self.high

    def expects(self, value: float) -> bool:
        """False outside the usual range."""
        return math.isnan(value) or (self.zero and value == 0.0) or self.least <= value <= self.most

    @property
    def allowed(self) -> str:
        """The hard range in words."""
        zero = " or be 0" if self._or_zero else ""
        return f"must lie between {self._show(self.low)} and {self._show(self.high)}{zero}"

    @property
    def short(self) -> str:
        """The hard range as a table of keys says it."""
        return f"{self._show(self.low)} to {self._show(self.high)}{', or 0' if self._or_zero else ''}"

    @property
    def usual(self) -> str:
        """The usual range as a table of keys says it."""
        return f"{self._show(self.least)} to {self._show(self.most)}{', or 0' if self.zero and self.least > 0 else ''}"

    @property
    def _or_zero(self) -> bool:
        return self.zero and self.low > 0.0

    def _show(self, value: float) -> str:
        return f"{value:g}" if self.kind == "number" else show(value, self.kind)


@dataclass(frozen=True)
class Doubt:
    """A value that is read but hardly meant: its key path, what the file says, and what is usual."""

    path: str
    value: Any
    usual: str

    def __str__(self) -> str:
        given = "" if self.value is None else f" = {self.value!r}"
        return f"{self.path}{given}: {self.usual}"


def _length(low: float, high: float, least: float, most: float, zero: bool = False) -> Range:
    return Range("length", low, high, least, most, zero)


def _stress(low: float, high: float, least: float, most: float) -> Range:
    return Range("stress", low, high, least, most)


def _number(low: float, high: float, least: float, most: float, zero: bool = False) -> Range:
    return Range("number", low, high, least, most, zero)


_DIAMETER = _length(2.0, 100.0, 5.5, 58.0)  # wire of meshes to bars of 57 mm (ASTM A615 No. 18)
_AREA = Range("area", 3.0, 8000.0, 20.0, 2650.0)
_COVER = _length(0.0, 500.0, 12.0, 120.0)
_ENERGY = Range("energy", 1e-3, 5.0, 0.02, 0.5)
_ALONG = _length(-30e3, 30e3, -15e3, 15e3)
_ACROSS = _length(-5e3, 5e3, -1e3, 1e3)

#: Range of every number of the schema. ``*`` stands for one name of the path; list indices are left out.
RANGES: dict[str, Range] = {
    "body.width": _length(20, 5000, 120, 2000),
    "body.depth": _length(20, 5000, 120, 1600),
    "body.span": _length(100, 50e3, 900, 20e3),
    "body.shear_span": _length(20, 25e3, 250, 8000),
    "body.closure": _length(10, 10e3, 100, 3000, zero=True),
    "body.overhang": _length(0, 10e3, 50, 1500),
    "body.plate_length": _length(5, 1000, 40, 500),
    "body.plate_thickness": _length(1, 300, 8, 120),
    "concrete.*.strength": _stress(5, 150, 12, 120),  # f_ck up to 120 MPa: fib MC2010 5.1.4
    "concrete.*.elastic_modulus": _stress(5e3, 80e3, 15e3, 60e3),
    # next to none is asked for by who compares with a cracked section
    "concrete.*.tensile_strength": _stress(0.01, 15, 0.7, 7.5),
    "concrete.*.fracture_energy": _ENERGY,
    "concrete.*.crushing_energy": Range("energy", 0.5, 2000, 12, 250),
    "concrete.*.peak_strain": Range("strain", 2e-4, 0.05, 1.4e-3, 6e-3),
    "concrete.*.poisson": _number(0, 0.45, 0.1, 0.3, zero=True),
    "concrete.*.density": Range("density", 500, 8000, 1600, 2900),
    "steel.*.yield_strength": _stress(100, 2500, 200, 1000),
    "steel.*.ultimate_strength": _stress(100, 2500, 250, 1300),
    "steel.*.elastic_modulus": _stress(50e3, 250e3, 180e3, 220e3),
    "steel.*.rupture_strain": Range("strain", 1e-3, 0.5, 0.01, 0.25),
    "steel.*.hardening_strain": Range("strain", 1e-4, 0.5, 1e-3, 0.05),
    "bars.lap": _length(0, 10e3, 60, 3000, zero=True),
    "bars.spacing": _length(2, 5000, 10, 500, zero=True),
    "bars.side_cover": _COVER,
    "bars.gap": _length(2, 5000, 10, 600),
    "bars.*.head.width": _length(5, 500, 12, 200),
    "bars.*.diameter": _DIAMETER,
    "bars.*.area": _AREA,
    "bars.*.number": _number(1, 200, 1, 24),
    "bars.*.depth": _length(15, 5000, 80, 1600),
    "bars.*.cover": _COVER,
    "bars.*.embedment": _length(5, 10e3, 60, 3000),
    "bars.*.positions": _ACROSS,
    "bars.*.hook.angle": Range("angle", 90, 180, 90, 180),
    "bars.*.hook.bend_diameter": _length(4, 2000, 20, 600),
    "bars.*.hook.tail": _length(4, 5000, 40, 1200),
    "compression_bars.diameter": _DIAMETER,
    "compression_bars.area": _AREA,
    "compression_bars.number": _number(1, 200, 1, 24),
    "compression_bars.cover": _COVER,
    "stirrups.diameter": _length(2, 60, 3.5, 22),
    "stirrups.area": Range("area", 3, 3000, 8, 400),
    "stirrups.spacing": _length(5, 5000, 35, 650),
    "stirrups.legs": _number(1, 50, 1, 8),
    "stirrups.cover": _COVER,
    "confinement.diameter": _length(2, 60, 3.5, 30),
    "confinement.area": Range("area", 3, 3000, 8, 750),
    "confinement.spacing": _length(5, 5000, 20, 450),
    "confinement.legs": _number(1, 50, 1, 8),
    "confinement.number": _number(1, 500, 1, 40, zero=True),
    "confinement.cover": _COVER,
    "joint.tensile_strength": _stress(1e-3, 15, 0.15, 6),
    "joint.fracture_energy": Range("energy", 1e-5, 2, 0.003, 0.2),
    "joint.friction": _number(0, 10, 0.2, 1.8),
    "joint.cohesion": _stress(1e-3, 50, 0.2, 12),
    "bond.wedge_angle": Range("angle", 1, 75, 15, 75),
    "bond.wedge_opening": _length(1e-3, 5, 0.008, 0.4),
    "bond.effective_width": _number(1.5, 50, 1.5, 20),
    "bond.cover_share": _number(0, 1, 0, 0.8),
    "bond.bearing_coefficient": _number(0, 10, 0.1, 3, zero=True),
    "bond.clear_rib_spacing": _length(0.2, 100, 1.5, 40),
    "loading.equipment_weight": Range("force", 0, 2e6, 500, 50e3, zero=True),
    "plan.thickness": _length(2, 5000, 20, 800),
    "plan.element": _length(0.5, 500, 4, 60),
    "plan.grip_length": _length(1, 10e3, 20, 1000),
    "plan.interface_depth": _length(1, 5000, 40, 800),
    "plan.interface_energy": _ENERGY,
    "plan.interface_friction": _number(0, 10, 0.2, 1.8, zero=True),
    "plan.interface_dilation": _number(0, 10, 0, 1.2),
    "plan.interface_along": _number(0, 1, 0, 1),
    "mesh.splice": _length(0.5, 1000, 4, 90),
    "mesh.elsewhere": _length(0.5, 2000, 6, 200),
    "analysis.step": _length(1e-4, 500, 0.01, 5),
    "analysis.drop": _number(0.01, 0.99, 0.05, 0.8),
    "analysis.max_steps": _number(1, 10_000, 1, 5000),
    "analysis.end_deflection": _length(1e-3, 5000, 0.5, 400),
    "gauges.from_joint": _ALONG,
    "gauges.tie": _number(1, 500, 1, 40),
    "gauges.leg": _number(1, 50, 1, 8),
    "gauges.about": _number(1, 200, 1, 24),
    "gauges.x": _ALONG,
    "gauges.level": _length(-5e3, 5e3, -100, 1600),
    "gauges.across": _ACROSS,
    "gauges.length": _length(0.1, 5000, 0.5, 500),
}  # fmt: skip


def range_of(path: str) -> Range | None:
    """The range of the key at ``path`` (as in ``bars.left.depth``, ``[gauges].x``); None where it is no number."""
    steps = path.replace("[", "").replace("]", "").split(".")
    starred = (".".join("*" if k == at else step for k, step in enumerate(steps)) for at in (None, 1))
    return next((RANGES[name] for name in starred if name in RANGES), None)


def given_numbers(part: BaseModel, path: str = "") -> Iterator[tuple[str, str, float]]:
    """Every number that the file gave below ``part``: where it stands, the key of its range, its value."""
    for name in part.model_fields_set:
        place = f"{path}.{name}".lstrip(".")
        yield from _numbers(getattr(part, name), place, place)


def _numbers(value: Any, place: str, key: str) -> Iterator[tuple[str, str, float]]:
    if isinstance(value, BaseModel):
        for name in value.model_fields_set:
            yield from _numbers(getattr(value, name), f"{place}.{name}", f"{key}.{name}")
    elif isinstance(value, dict):
        for name, below in value.items():
            yield from _numbers(below, f"{place}.{name}", f"{key}.{name.replace('.', '_')}")
    elif isinstance(value, tuple):
        for k, below in enumerate(value):
            yield from _numbers(below, f"{place}[{k}]", key)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield place, key, float(value)


def refuse(part: BaseModel, report: Any) -> None:
    """Tell ``report`` every given number of a specimen outside its hard range."""
    for place, key, value in given_numbers(part):
        known = range_of(key)
        if known is not None and not known.allows(value):
            report(place, known.allowed)


def unusual(part: BaseModel, doubt: Any) -> None:
    """Tell ``doubt`` every given number of a specimen outside its usual range."""
    for place, key, value in given_numbers(part):
        known = range_of(key)
        if known is not None and not known.expects(value):
            read = f"read as {both(value, known.kind)}, " if KINDS[known.kind].customary else ""
            doubt(place, f"{read}usually {known.usual}: is the unit right?")
