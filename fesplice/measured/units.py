"""Units as loggers write them: what one of them counts in the inner units of the package."""

from __future__ import annotations

from fesplice.units import KINDS, factor

#: Spellings of headings, and how the package writes them.
_SPELLED = {
    "um/m": "ue", "µm/m": "ue", "μm/m": "ue", "ustrain": "ue", "µstrain": "ue", "μstrain": "ue", "µε": "ue", "με": "ue",
    "µe": "ue", "ustr": "ue", "microstrains": "ue", "ppm": "ue", "mm/m": "permille", "‰": "permille", "in/in": "",
    "-": "", "m/m": "", "mm/mm": "", "strain": "", "°": "deg", "degree": "deg", "degrees": "deg", "kn": "kN",
    "KN": "kN", "n": "N", "KIP": "kip", "Kip": "kip", "MM": "mm", "Mm": "mm", "lbs": "lb", '"': "in", "mrad": "mrad",
}  # fmt: skip
#: Units of columns that are not read as a quantity of the specimen, known only as units.
_OTHER = frozenset({"s", "sec", "ms", "min", "h", "mv/v", "v", "mv", "°c", "c", "degc", "hz", "%", "-", "bar", "psi"})
_TIMES = {
    "": 1.0, "s": 1.0, "sec": 1.0, "seconds": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0,
    "day": 86400.0,
}  # fmt: skip
_KINDS = ("strain", "length", "force", "angle", "stress")


def unit_factor(unit: str, kind: str) -> float:
    """What one ``unit`` of a log counts in the inner unit of ``kind``; :class:`UnitFault` for what is none."""
    spelled = _SPELLED.get(unit, unit)
    if kind == "angle" and spelled == "mrad":
        return 1e-3 * factor("rad", "angle")
    return factor(spelled, kind)


def time_factor(unit: str) -> float:
    """Seconds in one ``unit`` of a time column; KeyError for what is none."""
    return _TIMES[unit.strip().lower()]


def is_unit(text: str) -> bool:
    """Whether a heading is a unit known here; names that a unit library would make one of are not asked about."""
    if not text or text.lower() in _OTHER or text in _SPELLED:
        return bool(text)
    return any(text in KINDS[kind].factors for kind in _KINDS)
