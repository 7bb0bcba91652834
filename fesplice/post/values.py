"""Findings to JSON and back: one codec for every record, so that what is read is what was found.

JSON knows no nan: a number that is not known is null there and nan here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from html import escape
from typing import Annotated, Any, TypeVar

from pydantic import BeforeValidator, PlainSerializer, TypeAdapter, ValidationError

from fesplice.answers import Tabular
from fesplice.contracts import FolderFault, Outcome

T = TypeVar("T")

#: A number that may be unknown: nan here, null in JSON.
Known = Annotated[
    float,
    BeforeValidator(lambda value: math.nan if value is None else value),
    PlainSerializer(lambda value: value if math.isfinite(value) else None),
]

#: How a run ended: its sentence is for people, its name is the one spelling in files.
Ended = Annotated[
    Outcome,
    BeforeValidator(lambda value: Outcome[value] if value in Outcome.__members__ else value),
    PlainSerializer(lambda value: value.name),
]


@cache
def _adapter(kind: type) -> TypeAdapter:
    return TypeAdapter(kind)


def to_dict(record: Any) -> dict[str, Any]:
    """A record as plain numbers, texts, lists and dicts, fit for JSON."""
    return _adapter(type(record)).dump_python(record, mode="json")


def from_dict(kind: type[T], values: Any, source: str) -> T:
    """The record that :func:`to_dict` made ``values`` from. Raises :class:`FolderFault` naming ``source`` and key."""
    try:
        return _adapter(kind).validate_python(values)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the whole"
        said = first["msg"][:1].lower() + first["msg"][1:]
        raise FolderFault(source, f"is no record of this program: {where}: {said}") from error


def shown(title: str, first: str, lines: Sequence[str]) -> str:
    """A record in a notebook: its title, the sentence that matters, the others as a list."""
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<div><b>{escape(title)}</b><p>{escape(first)}</p><ul>{items}</ul></div>"


class Told(Tabular):
    """How findings of a view show themselves: one line, one screen, a notebook's cell, plain values."""

    specimen: str
    assessment: Any

    def to_dict(self) -> dict[str, Any]:
        """The findings as plain values; None where a value is not known."""
        return to_dict(self)

    def columns(self) -> dict[str, list[Any]]:
        """One row per mechanism: where it was reached, and how far it was used at the strength."""
        states = self.assessment.states
        return {
            "mechanism": [s.name for s in states], "reached_at_MPa": [s.reached_at for s in states],
            "load_N": [s.load for s in states], "step": [s.step for s in states],
            "utilisation": [s.utilisation for s in states],
            "evidence": [s.evidence[0].text if s.evidence else "" for s in states],
        }  # fmt: skip

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.specimen}, {self.assessment.sentence})"

    def __str__(self) -> str:
        return "\n".join([f"{self.specimen}, {self.assessment.sentence}", *self.assessment.evidence])

    def _repr_html_(self) -> str:
        return shown(self.specimen, self.assessment.sentence, self.assessment.evidence)
