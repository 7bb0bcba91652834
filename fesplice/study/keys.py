"""Key paths of a specimen file: which exist, of what kind their values are, and what a specimen holds there.

A study changes a specimen by key path (``bars.spacing``, ``steel.main.yield_strength``) and later
sorts its results by the numbers found at the same place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, get_args, get_origin

from fesplice.specimen.renamed import RENAMED
from fesplice.specimen.schema import Specimen
from fesplice.specimen.values import Part, Quantity
from fesplice.units import KINDS

#: Keys whose values are read by a rule of their own, and the kind of number they come to.
_SPECIAL = {"bars.spacing": "length"}
_SUFFIX = {"mm2": "mm2", "MPa": "MPa", "mm": "mm", "N": "N", "N/mm": "N_per_mm", "kg/m3": "kg_per_m3"}


@dataclass(frozen=True)
class Key:
    """A key path of the specimen file; ``kind`` of its number (see :mod:`fesplice.units`), empty for other values."""

    path: str
    kind: str = ""

    @property
    def unit(self) -> str:
        """Unit a number counts inside the program: what texts made for this key carry."""
        return next(u for u, f in KINDS[self.kind].factors.items() if f == 1.0) if self.kind else ""

    @property
    def column(self) -> str:
        """Name of the column of a table that holds it: the path, with the unit behind it."""
        return f"{self.path}_{_SUFFIX[self.unit]}" if self.unit in _SUFFIX else self.path

    def text(self, value: float) -> str | float:
        """A number as the specimen file says it, to six significant digits so that a case keeps its identity."""
        return f"{value:.6g} {self.unit}" if self.unit else float(f"{value:.6g}")


def key(path: str) -> Key:
    """The key of ``path``; ValueError with the nearest known path when the specimen file has no such place."""
    part: type[Part] | None = Specimen
    steps, walked = path.split("."), ""
    field = None
    while steps:
        step = steps.pop(0)
        known = [] if part is None else list(part.model_fields)
        if part is None or step not in part.model_fields:
            near = get_close_matches(step[:40].lower(), known, n=1)
            hint = f"did you mean {walked}{near[0]}? " if near else ""
            if (new := RENAMED.get(walked + step)) is not None:
                raise ValueError(f"is now called {new}")
            raise ValueError(f"no such key in a specimen file; {hint}known here: {', '.join(known) or 'none'}")
        field, walked = part.model_fields[step], f"{walked}{step}."
        if get_origin(field.annotation) is dict:
            if not steps:
                raise ValueError(f"a table of tables; name one of them, {walked}NAME.KEY")
            walked += steps.pop(0) + "."
            part = _part_in(field.annotation)
            field = field if steps else None
        else:
            part = _part_in(field.annotation)
    return Key(path, _kind(path, field))


def _kind(path: str, field: Any) -> str:
    if path in _SPECIAL or field is None:
        return _SPECIAL.get(path, "")
    rules = [getattr(m, "func", None) for m in _metadata(field)]
    return next((rule.kind for rule in rules if isinstance(rule, Quantity)), "")


def _metadata(field: Any) -> list[Any]:
    """Rules of a field, also where it may be None and so holds them one level down."""
    inner = [m for arg in get_args(field.annotation) for m in getattr(arg, "__metadata__", ())]
    return [*field.metadata, *(inner if get_origin(field.annotation) is not tuple else ())]


def _part_in(annotation: Any) -> type[Part] | None:
    if isinstance(annotation, type) and issubclass(annotation, Part):
        return annotation
    return next((found for arg in get_args(annotation) if (found := _part_in(arg))), None)


def held(specimen: Specimen, path: str) -> Any:
    """What the complete specimen holds at ``path``: a number in inner units, a text, a flag; None where nothing is."""
    value: Any = specimen
    for step in path.split("."):
        value = value.get(step) if isinstance(value, dict) else getattr(value, step, None)
    if isinstance(value, float):
        return None if math.isnan(value) else value
    return value if value is None or isinstance(value, (bool, int, str)) else None
