"""Bar designations and standard hooks as data.

Inch-pound and soft-metric sizes: ASTM A615/A706, nominal diameters and areas. EN sizes: round
bars of the nominal diameter. Standard hooks: ACI 318-19 Table 25.3.1 (bend diameters and
straight extensions; from memory).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from fesplice.units import UnitFault, parse

_IN = parse("1 in", "length")
_IN2 = parse("1 in2", "area")

# number: (diameter [in], area [in2])
INCH_POUND: dict[int, tuple[float, float]] = {
    3: (0.375, 0.11),
    4: (0.500, 0.20),
    5: (0.625, 0.31),
    6: (0.750, 0.44),
    7: (0.875, 0.60),
    8: (1.000, 0.79),
    9: (1.128, 1.00),
    10: (1.270, 1.27),
    11: (1.410, 1.56),
    14: (1.693, 2.25),
    18: (2.257, 4.00),
}
# number: (diameter [mm], area [mm2])
SOFT_METRIC: dict[int, tuple[float, float]] = {
    10: (9.5, 71.0),
    13: (12.7, 129.0),
    16: (15.9, 199.0),
    19: (19.1, 284.0),
    22: (22.2, 387.0),
    25: (25.4, 510.0),
    29: (28.7, 645.0),
    32: (32.3, 819.0),
    36: (35.8, 1006.0),
    43: (43.0, 1452.0),
    57: (57.3, 2581.0),
}
EN: tuple[int, ...] = (6, 8, 10, 12, 14, 16, 20, 25, 28, 32, 40)

ALLOWED = (
    f'"No. n" or "#n" with n = {", ".join(map(str, INCH_POUND))} (inch-pound); '
    f'"n" or "Dn" with n = {", ".join(map(str, SOFT_METRIC))} (soft metric); '
    f'"phi n" with n = {", ".join(map(str, EN))} (EN); or a diameter such as "28.7 mm"'
)

_NUMBERED = re.compile(r"(?P<mark>no\.?|#|d|phi|ø|φ)?\s*(?P<number>\d{1,2})", re.IGNORECASE)


@dataclass(frozen=True)
class Size:
    """One bar: designation as given, diameter [mm], area [mm2]."""

    name: str
    diameter: float
    area: float


def round_bar(diameter: float, name: str = "") -> Size:
    """A bar of full circular section with the given diameter [mm]."""
    return Size(name or f"{diameter:g} mm", diameter, math.pi / 4 * diameter**2)


def lookup(text: str) -> Size:
    """Size of a designation: "No. 9", "#9", "29", "D10", "phi 28" or a diameter with unit.

    "No. n" means the inch-pound number where one exists, else the soft-metric one, so "No. 10"
    is 32.3 mm and "No. 13" is 12.7 mm. Raises :class:`UnitFault` with the list of known sizes.
    """
    if not isinstance(text, str):
        raise UnitFault(f"unknown bar size; write a text: {ALLOWED}")
    match = _NUMBERED.fullmatch(text.strip())
    if match is None:
        return _by_diameter(text)
    mark, number = (match["mark"] or "").lower().rstrip("."), int(match["number"])
    if mark in ("no", "#") and number in INCH_POUND:
        diameter, area = INCH_POUND[number]
        return Size(text.strip(), diameter * _IN, area * _IN2)
    if mark in ("no", "#", "d", "") and number in SOFT_METRIC:
        diameter, area = SOFT_METRIC[number]
        return Size(text.strip(), diameter, area)
    if mark in ("phi", "ø", "φ") and number in EN:
        return round_bar(float(number), text.strip())
    raise UnitFault(f"unknown bar size; known: {ALLOWED}")


def _by_diameter(text: str) -> Size:
    try:
        diameter = parse(text, "length")
    except UnitFault:
        raise UnitFault(f"unknown bar size; known: {ALLOWED}") from None
    if not 3.0 <= diameter <= 80.0:
        raise UnitFault(f"a bar diameter lies between 3 and 80 mm; known sizes: {ALLOWED}")
    return round_bar(diameter, text.strip())


def bend_diameter(diameter: float) -> float:
    """Inside diameter of a standard hook [mm]: 6 d_b to 25 mm, 8 d_b to 36 mm, 10 d_b above (ACI 318-19 25.3.1)."""
    if diameter <= 26.0:
        return 6.0 * diameter
    return (8.0 if diameter <= 36.5 else 10.0) * diameter


def hook_tail(diameter: float, angle: float) -> float:
    """Straight extension of a standard hook [mm]: 12 d_b at 90 deg, max(4 d_b, 65 mm) at 180 (ACI 318-19 25.3.1)."""
    if angle == 90.0:
        return 12.0 * diameter
    return max(4.0 * diameter, 65.0) if angle == 180.0 else math.nan
