"""Text with a unit <-> floats in N, mm, MPa. The only place that knows the name of a unit.

Everyday units sit in a table of exact factors, so that reading a specimen does not wait for
pint; any other spelling ("kN/cm^2", "dm", "tonf/m**2") is handed to pint.

Kinds and what a float of that kind counts inside the package:

``length`` mm     ``area`` mm2      ``stress`` MPa      ``force`` N     ``moment`` N mm
``energy`` N/mm (per crack area)    ``density`` kg/m3   ``strain`` 1    ``angle`` deg   ``number`` 1

What people read is composed in SI, some of it with US units in brackets, and stored so. Which units are *shown* is
decided once, by :func:`shown_in`; whoever puts text before people passes it through :func:`told`. Stored words, JSON
and CSV never go that way.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from typing import Any

GRAVITY = 9.80665  # m/s2, standard acceleration of free fall
_INCH = 25.4  # mm, exact
_FOOT = 12 * _INCH
_LBF = 0.45359237 * GRAVITY  # N, exact
_PSI = _LBF / _INCH**2  # MPa
_PCF = 0.45359237 / 0.3048**3  # kg/m3


class UnitFault(ValueError):
    """A text that is not a value of the wanted kind; the message says what would be."""


@dataclass(frozen=True)
class Kind:
    """A physical quantity: its factors to the inner unit, and how it is shown."""

    noun: str
    example: str
    factors: dict[str, float]
    metric: str
    customary: str
    pint: str = ""
    bare: bool = False


KINDS: dict[str, Kind] = {
    "length": Kind(
        "a length",
        "460 mm",
        {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": _INCH, "inch": _INCH, "inches": _INCH, "ft": _FOOT},
        "mm",
        "in",
        "mm",
    ),
    "area": Kind(
        "an area",
        "645 mm2",
        {"mm2": 1.0, "cm2": 100.0, "m2": 1e6, "in2": _INCH**2, "ft2": _FOOT**2},
        "mm2",
        "in2",
        "mm**2",
    ),
    "stress": Kind(
        "a stress",
        "35 MPa",
        {"MPa": 1.0, "N/mm2": 1.0, "GPa": 1e3, "kPa": 1e-3, "Pa": 1e-6, "psi": _PSI, "ksi": 1e3 * _PSI},
        "MPa",
        "ksi",
        "MPa",
    ),
    # "lb" beside a force or an energy means pound-force, as written in practice
    "force": Kind(
        "a force",
        "120 kN",
        {"N": 1.0, "kN": 1e3, "MN": 1e6, "lbf": _LBF, "lb": _LBF, "kip": 1e3 * _LBF, "kips": 1e3 * _LBF},
        "kN",
        "kip",
        "N",
    ),
    "moment": Kind(
        "a moment",
        "222 kNm",
        {
            "Nmm": 1.0,
            "Nm": 1e3,
            "kNm": 1e6,
            "kN*m": 1e6,
            "kip-ft": 1e3 * _LBF * _FOOT,
            "kip-in": 1e3 * _LBF * _INCH,
            "lb-ft": _LBF * _FOOT,
        },
        "kNm",
        "kip-ft",
        "N*mm",
    ),
    "energy": Kind(
        "a fracture energy",
        "0.14 N/mm",
        {"N/mm": 1.0, "N/m": 1e-3, "J/m2": 1e-3, "kJ/m2": 1.0, "lbf/in": _LBF / _INCH, "lb/in": _LBF / _INCH},
        "N/mm",
        "lbf/in",
        "N/mm",
    ),
    "density": Kind(
        "a density or unit weight",
        "2400 kg/m3",
        {
            "kg/m3": 1.0,
            "t/m3": 1e3,
            "kN/m3": 1e3 / GRAVITY,
            "N/m3": 1 / GRAVITY,
            "lb/ft3": _PCF,
            "lbf/ft3": _PCF,
            "pcf": _PCF,
        },
        "kg/m3",
        "lb/ft3",
        "kg/m**3",
    ),
    "strain": Kind(
        "a strain",
        "0.05",
        {"": 1.0, "%": 1e-2, "permille": 1e-3, "ue": 1e-6, "microstrain": 1e-6},
        "",
        "",
        bare=True,
    ),
    "angle": Kind("an angle", "90 deg", {"": 1.0, "deg": 1.0, "rad": 180 / math.pi}, "deg", "", "deg", bare=True),
    "number": Kind("a plain number", "0.9", {"": 1.0}, "", "", bare=True),
}

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_FRACTION = r"(?:(?P<whole>\d+)[ -])?(?P<over>\d+)/(?P<under>\d+)"
_TEXT = re.compile(rf"\s*(?:{_FRACTION}(?=\s|[A-Za-z])|(?P<number>{_NUMBER}))\s*(?P<unit>\S.*?)?\s*", re.DOTALL)
# What may reach pint: unit names joined by * and /, powers of one digit. Nothing to evaluate.
_UNIT = re.compile(r"[A-Za-z]+(?:\*\*-?[1-4])?(?:[*/][A-Za-z]+(?:\*\*-?[1-4])?){0,3}")
_SPELLING = str.maketrans({"²": "2", "³": "3", "·": "*", "μ": "u", "µ": "u", "‰": " permille", "ε": "e"})


def parse(value: Any, kind: str) -> float:
    """``"18 in"`` -> 457.2; a plain number passes only for kinds without a unit.

    Raises :class:`UnitFault` on a missing, unknown or unfitting unit and on numbers that are
    not finite. Fractions as on drawings ("5/8 in", "1 1/2 in") are read.
    """
    what = KINDS[kind]
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise UnitFault(_wanted(what))
    if isinstance(value, (int, float)):
        if not what.bare:
            raise UnitFault(f"the unit is missing; write {_wanted(what)}")
        return _finite(value)
    text = value.translate(_SPELLING)
    if re.match(r"\s*[+-]?\d+,\d", text):
        raise UnitFault(f"a comma in the number is ambiguous; write {_wanted(what)}")
    match = _TEXT.fullmatch(text) if len(text) < 80 else None
    if match is None:
        if re.match(r"\s*[+-]?(nan|inf)", text, re.IGNORECASE):
            raise UnitFault(f"not a finite number; write {_wanted(what)}")
        raise UnitFault(f"not a number with a unit; write {_wanted(what)}")
    unit = (match["unit"] or "").strip()
    if not unit and not what.bare:
        raise UnitFault(f"the unit is missing; write {_wanted(what)}")
    return _finite(_magnitude(match) * factor(unit, kind))


def factor(unit: str, kind: str) -> float:
    """What one ``unit`` counts in the inner unit of ``kind``: ``factor("kip", "force")`` -> 4448.22 (N)."""
    what = KINDS[kind]
    name = re.sub(r"\s*([*/^])\s*", r"\1", unit.translate(_SPELLING).strip())
    name = re.sub(r"(?:\^|\*\*)(-?\d)", r"\1", name)
    if name in what.factors:
        return what.factors[name]
    if not what.pint:
        raise UnitFault(f"{unit!r} is no unit of {what.noun}; write {_wanted(what)}")
    return _asked(re.sub(r"([A-Za-z])(-?\d)", r"\1**\2", name), unit, kind)


def show(value: float, kind: str, *, customary: bool = False, digits: int | None = None) -> str:
    """``show(131500, "force")`` -> "131.5 kN"; with ``customary`` "29.6 kip"."""
    what = KINDS[kind]
    unit = what.customary if customary else what.metric
    if kind == "stress" and not customary and abs(value) >= 1e4:
        unit = "GPa"
    number = value / what.factors.get(unit, 1.0)
    text = f"{number:.{digits or (3 if customary else 4)}g}"
    if "e" in text:
        text = f"{number:.0f}" if 1.0 <= abs(number) < 1e9 else text
    return f"{text} {unit}".rstrip()


def both(value: float, kind: str) -> str:
    """The value in both systems: ``both(460, "length")`` -> "460 mm (18.1 in)"."""
    if not KINDS[kind].customary:
        return show(value, kind)
    return f"{show(value, kind)} ({show(value, kind, customary=True)})"


# ------------------------------------------------------------------ what people are shown
#: Units that may be shown: metric ones, US customary ones, metric ones with the others in brackets.
SYSTEMS = ("si", "us", "both")
_SHOWN: ContextVar[str] = ContextVar("units shown", default="")

#: Unit as it is written, its kind, and the unit shown for it in the US.
_TWIN: dict[str, tuple[str, str]] = {
    "N/mm2": ("stress", "ksi"), "kN/mm": ("stiffness", "kip/in"), "N/mm": ("energy", "lbf/in"),
    "kg/m3": ("density", "lb/ft3"), "mm2": ("area", "in2"), "mm": ("length", "in"), "MPa": ("stress", "ksi"),
    "GPa": ("stress", "ksi"), "kNm": ("moment", "kip-ft"), "kN": ("force", "kip"), "N": ("force", "lbf"),
}  # fmt: skip
_UNITS = "|".join(sorted(_TWIN, key=len, reverse=True))
_US = "|".join(sorted({unit for _, unit in _TWIN.values()}, key=len, reverse=True))
_PLAIN = r"\d+(?:\.\d+)?(?:e[-+]?\d+)?"
# Numbers that share the unit of the last: "300 to 410 MPa", "x = 120, y = 45 mm", "A 441, B 432 MPa".
_JOINED = r"(?: to | of | and | or | -> |[-–/]|, [A-Za-z]{1,2}(?: =)? )"
_IN_US = rf"(?P<us>[-−]?{_PLAIN}(?:(?:{_JOINED}|, )[-−]?{_PLAIN})* (?:{_US}))"
# "20, 40 kN (4.5, 9 kip)": a list of bare numbers is one only where both systems have it
_LISTED = re.compile(rf"(?P<si>{_PLAIN}(?:, {_PLAIN})+ (?:{_UNITS})) \({_IN_US}\)")
_QUANTITY = re.compile(
    # what is an exponent, a part of a name or of a fraction is no quantity
    rf"(?<![\w.^/*−+-])(?P<each>[-−+]?{_PLAIN}(?:{_JOINED}[-−]?{_PLAIN})*) (?P<unit>{_UNITS})"
    # a limit that a document states in both systems stays as it is
    rf"(?![\w/*·^²³])(?! or {_PLAIN} in\b)(?: \({_IN_US}\))?"
)
_TAG = re.compile(r"(<[^>]*>)")
#: Elements of a page whose text is no prose.
_VERBATIM = ("script", "style", "pre", "code")


@contextmanager
def shown_in(system: str) -> Iterator[None]:
    """Within this, texts, pages and figures show the units of ``system``: "si", "us" or "both"; "" as written.

    Raises :class:`UnitFault` for another word. CSV, JSON and stored words stay in N, mm, MPa.
    """
    if system and system not in SYSTEMS:
        raise UnitFault(f"allowed: {', '.join(SYSTEMS)}")
    before = _SHOWN.set(system)
    try:
        yield
    finally:
        _SHOWN.reset(before)


def shown() -> str:
    """The units that are shown now: one of :data:`SYSTEMS`, or "" for texts as they are written."""
    return _SHOWN.get()


def twin(unit: str) -> tuple[str, float]:
    """The US unit shown for a metric one, and how many of it one metric unit is: ``twin("kN")`` -> ("kip", 0.2248)."""
    kind, us = _TWIN[unit]
    if kind == "stiffness":
        return us, factor("kN", "force") / factor("kip", "force") * _INCH
    return us, factor(unit, kind) / factor(us, kind)


def rounded(value: float, digits: int = 3) -> str:
    """A converted number as people read it: ``digits`` significant figures, never in powers of ten."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def told(text: str, system: str | None = None) -> str:
    """``text`` with its quantities in the units shown, or in ``system``: "441 MPa" -> "64 ksi".

    A quantity is a number, or several that share a unit ("300 to 410 MPa"), a space and a metric unit, with or
    without the same in US units in brackets. Everything else stands as it is.
    """
    wanted = shown() if system is None else system
    if not wanted:
        return text

    def turned(found: re.Match[str]) -> str:
        metric = found[0].partition(" (")[0] if found["us"] else found[0]
        if wanted == "si":
            return metric
        us = found["us"]
        if us is None:
            unit, one = twin(found["unit"])
            us = re.sub(_PLAIN, lambda n: rounded(float(n[0]) * one), found["each"]) + f" {unit}"
        return us if wanted == "us" else f"{metric} ({us})"

    if wanted != "both":
        text = _LISTED.sub(lambda found: found["us" if wanted == "us" else "si"], text)
    return _QUANTITY.sub(turned, text)


def told_page(html: str) -> str:
    """A page with its quantities in the units shown; scripts, styles and what stands verbatim are left alone."""
    if not shown():
        return html
    parts, closed_by = _TAG.split(html), ""
    for k, part in enumerate(parts):
        if k % 2:
            name = part.strip("</> \n").split(" ", 1)[0].lower()
            if closed_by:
                closed_by = "" if part.startswith(f"</{closed_by}") else closed_by
            elif name in _VERBATIM and not part.startswith("</"):
                closed_by = name
        elif not closed_by:
            # a caption of numbers that the figure turns
            parts[k] = told(part.replace("forces in kN", "forces in kip") if shown() == "us" else part)
    return "".join(parts)


def _wanted(what: Kind) -> str:
    example = what.example if what.bare and " " not in what.example else f'"{what.example}"'
    units = [u for u in what.factors if u]
    listed = f" (units: {', '.join(units)})" if units else ""
    return f"{what.noun}, e.g. {example}{listed}"


def _magnitude(match: re.Match[str]) -> float:
    if match["number"] is not None:
        return float(match["number"])
    if int(match["under"]) == 0:
        raise UnitFault("division by zero in the fraction")
    return int(match["whole"] or 0) + int(match["over"]) / int(match["under"])


def _finite(value: float) -> float:
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise UnitFault("must be a finite number")
    return number


@cache
def _registry() -> Any:
    import pint  # late, because building its registry takes longer than reading a specimen

    return pint.UnitRegistry()


@cache
def _asked(spelling: str, unit: str, kind: str) -> float:
    """Factor from pint, for spellings outside the table."""
    what = KINDS[kind]
    fault = UnitFault(f"{unit!r} is no unit of {what.noun}; write {_wanted(what)}")
    if not _UNIT.fullmatch(spelling):
        raise fault
    try:
        return float(_registry().Quantity(1.0, spelling).to(what.pint).magnitude)
    except Exception:  # pint raises several unrelated families for bad names and dimensions
        raise fault from None
