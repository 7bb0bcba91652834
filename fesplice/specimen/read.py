"""Specimen file -> Specimen, or one report of everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from os import PathLike
from pathlib import Path
from typing import Any

from fesplice.contracts import Fault, InputFault
from fesplice.specimen import toml
from fesplice.specimen.built import forget, lay_over
from fesplice.specimen.effort import heavy, refuse_effort
from fesplice.specimen.fill import fill
from fesplice.specimen.proportions import disproportions
from fesplice.specimen.ranges import Doubt, refuse, unusual
from fesplice.specimen.rules import check
from fesplice.specimen.schema import Specimen
from fesplice.specimen.strict import Report, parsed, toml_text, validated

_LARGEST = 1_000_000  # bytes; a specimen file has a few thousand
_LONGEST = 10_000  # characters of a line; the parser takes the square of a dotted key's length


def read(path: str | PathLike[str]) -> Specimen:
    """The specimen described by the TOML file ``path``.

    Raises :class:`InputFault` with every fault found: unreadable file, wrong or missing unit,
    unknown key (with the nearest known one), value out of range, parts that do not fit.
    """
    return read_text(toml_text(path, "specimen"), str(Path(path)))


def read_text(text: str, source: str = "specimen") -> Specimen:
    """The specimen described by TOML ``text``; ``source`` names it in a fault."""
    tree = parsed(text, source)
    report = Report(tree, toml.lines(text))
    try:
        tree, built = lay_over(tree, report)
        report.lay(tree, [entry.path for entry in built])
        specimen = validated(tree, report, Specimen)
    except RecursionError:
        raise InputFault(source, "not a specimen file: nested too deeply") from None
    if specimen is not None:
        refuse(specimen, report)
        specimen = fill(specimen, report)
        check(specimen, report)
        if not report.faults:
            refuse_effort(specimen, report)
    if report.faults or specimen is None:
        raise InputFault(source, report.faults)
    specimen._text, specimen._built = text, built
    specimen._doubts = _doubts(specimen, report)
    return specimen


def _doubts(specimen: Specimen, report: Report) -> tuple[Doubt, ...]:
    """What the specimen says but hardly means: numbers outside their usual range first, one doubt for a key."""
    found: dict[str, Doubt] = {}

    def doubt(path: str, allowed: str) -> None:
        place, given, where = report.locate(path)
        found.setdefault(path, Doubt(place, given, allowed + where))

    unusual(specimen, doubt)
    disproportions(specimen, doubt)
    heavy(specimen, doubt)
    return tuple(found.values())


def vary(specimen: Specimen | str, path: str, value: Any) -> Specimen:
    """The specimen with one key of its file changed, read afresh: ``vary(s, "bars.spacing", "150 mm")``.

    ``value`` is what the file would say; None takes the key out. The new text has no comments.
    """
    return vary_many(specimen, {path: value})


def vary_many(specimen: Specimen | str, changes: Mapping[str, Any]) -> Specimen:
    """As :func:`vary`, several keys at once, so that no half-changed specimen is judged."""
    text = specimen if isinstance(specimen, str) else specimen.text
    source = f"specimen with {', '.join(f'{path} = {value!r}' for path, value in changes.items())}"
    tree = parsed(text, source)
    for path, value in changes.items():
        *tables, key = path.split(".")
        place: Any = tree
        for table in tables:
            place = place.setdefault(table, {}) if isinstance(place, dict) else None
        if not isinstance(place, dict):
            raise InputFault(source, [Fault(path, value, "no such key: it runs through a value, not a table")])
        if value is None:
            place.pop(key, None)
        else:
            place[key] = deepcopy(value)
        forget(tree, path)
    try:
        text = toml.dump(tree)
    except TypeError as fault:
        raise InputFault(source, str(fault)) from None
    return read_text(text, source)
