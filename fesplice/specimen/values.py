"""Kinds of value a file may hold, and the frozen table that refuses unknown keys.

Lengths mm, stresses MPa, forces N, energies N/mm, densities kg/m3. In a file every dimensional
value is a text with its unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any, Protocol, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, Strict

from fesplice.specimen.sizes import lookup
from fesplice.units import KINDS, UnitFault, parse, show

UNSET = math.nan
"""Not given. Comparisons with it are false, so no rule ever fires on a missing number."""


#: Lengths given twice must agree this well [mm], which leaves room for rounded inches.
TOLERANCE = 0.5


class TellFault(Protocol):
    """Takes one fault: key path and what is allowed."""

    def __call__(self, path: str, allowed: str) -> None: ...


class _Mended:
    """Stands where a faulty value was taken out, so that the other checks still run."""

    def __repr__(self) -> str:
        return "MENDED"


MENDED = _Mended()


# ------------------------------------------------------------------ kinds of value
@dataclass(frozen=True)
class Quantity:
    """Reads a value of one kind within low..high (inner units); ``above`` leaves ``low`` itself out."""

    kind: str
    low: float = -math.inf
    high: float = math.inf
    above: bool = False

    def __call__(self, value: Any) -> float:
        if value is MENDED:
            return UNSET
        number = parse(value, self.kind)
        if number < self.low or number > self.high or (self.above and number == self.low):
            raise UnitFault(self.allowed)
        return number

    @property
    def allowed(self) -> str:
        low, high = show(self.low, self.kind), show(self.high, self.kind)
        if math.isinf(self.high):
            return f"must be above {low}" if self.above else f"must not be below {low}"
        return f"must be above {low} and at most {high}" if self.above else f"must lie between {low} and {high}"

    @property
    def example(self) -> str:
        """As written in a file."""
        what = KINDS[self.kind]
        return what.example if what.bare and " " not in what.example else f'"{what.example}"'


def _spacing(value: Any) -> float:
    """A length, or the word "contact" (kept as 0 until the diameters are known)."""
    if isinstance(value, str) and value.strip().lower() == "contact":
        return 0.0
    try:
        return Quantity("length", 0.0, above=True)(value)
    except UnitFault as fault:
        raise UnitFault(f'{fault}, or "contact"') from None


def _bend_angle(value: Any) -> float:
    angle = UNSET if value is MENDED else parse(value, "angle")
    if angle not in (90.0, 180.0) and not math.isnan(angle):
        raise UnitFault("allowed: 90 or 180 (degrees)")
    return angle


def _size(value: Any) -> str:
    return "?" if value is MENDED else lookup(value).name


def _text(value: Any) -> Any:
    if value in ("", "?"):
        raise UnitFault("must not be empty")
    return "?" if value is MENDED else value


def _count(value: Any) -> Any:
    return 1 if value is MENDED else value


Length = Annotated[float, BeforeValidator(Quantity("length", 0.0, above=True))]
Distance = Annotated[float, BeforeValidator(Quantity("length", 0.0))]
Position = Annotated[float, BeforeValidator(Quantity("length"))]
Spacing = Annotated[float, BeforeValidator(_spacing)]
Area = Annotated[float, BeforeValidator(Quantity("area", 0.0, above=True))]
Force = Annotated[float, BeforeValidator(Quantity("force", 0.0))]
Stress = Annotated[float, BeforeValidator(Quantity("stress", 0.0, above=True))]
Strength = Annotated[float, BeforeValidator(Quantity("stress", 5.0, 150.0))]
Modulus = Annotated[float, BeforeValidator(Quantity("stress", 5e3, 80e3))]
SteelStress = Annotated[float, BeforeValidator(Quantity("stress", 100.0, 2500.0))]
SteelModulus = Annotated[float, BeforeValidator(Quantity("stress", 50e3, 250e3))]
Energy = Annotated[float, BeforeValidator(Quantity("energy", 0.0, above=True))]
Density = Annotated[float, BeforeValidator(Quantity("density", 500.0, 8000.0))]
Strain = Annotated[float, BeforeValidator(Quantity("strain", 0.0, 0.5, above=True))]
Angle = Annotated[float, BeforeValidator(_bend_angle)]
RibAngle = Annotated[float, BeforeValidator(Quantity("angle", 0.0, 75.0, above=True))]
Ratio = Annotated[float, BeforeValidator(Quantity("number", 0.0, 10.0))]
WidthRatio = Annotated[float, BeforeValidator(Quantity("number", 1.5, 50.0))]
Poisson = Annotated[float, BeforeValidator(Quantity("number", 0.0, 0.45))]
Share = Annotated[float, BeforeValidator(Quantity("number", 0.01, 0.99))]
Fraction = Annotated[float, BeforeValidator(Quantity("number", 0.0, 1.0))]
Size = Annotated[str, BeforeValidator(_size)]
Text = Annotated[str, BeforeValidator(_text), Strict()]
Name = Annotated[Text, Field(pattern=r"^(\?|\w[\w .,()+-]{0,79})$")]
Count = Annotated[int, BeforeValidator(_count), Strict(), Field(ge=1, le=10000)]
Flag = Annotated[bool, Strict()]


class Part(BaseModel):
    """A table of the specimen file. Frozen; an unknown key is a fault.

    ``model_fields_set`` stays the set of keys that the file gave, also after filling.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", protected_namespaces=())

    def filled(self, **values: Any) -> Self:
        """A copy with ``values`` (already checked) in place of what was not given."""
        return type(self).model_construct(_fields_set=set(self.model_fields_set), **{**dict(self), **values})


class Sized(Part):
    """Bars of one size: give ``size`` or ``diameter``; ``area`` [mm2] of one bar only if unusual."""

    size: Size = Field(default="", description="bar designation or diameter")
    diameter: Length = Field(default=UNSET, description="bar diameter, instead of a size")
    area: Area = Field(default=UNSET, description="area of one bar")
