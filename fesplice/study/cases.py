"""Study -> cases: one specimen each, with an identity from its content and its hand values, or why it is dropped."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import product
from pathlib import Path
from typing import Any

from fesplice.contracts import Fault, FespliceError, InputFault
from fesplice.geometry import elevation
from fesplice.pipeline import manifest
from fesplice.specimen import Specimen, read_text, vary_many
from fesplice.specimen.toml import LINE, lines
from fesplice.study.description import Factor, Level, Measured, Study
from fesplice.study.hand import hand_values, quantities
from fesplice.study.keys import Key, held
from fesplice.units import UnitFault, parse


@dataclass(frozen=True)
class Case:
    """One specimen of a study.

    ``id`` from the content alone, so that a case keeps its run when the study grows; empty for a dropped one,
    whose ``reason`` tells why. ``levels``: column -> number or text of what was varied; ``sample`` number or None.
    """

    number: int
    label: str
    text: str
    id: str = ""
    reason: str = ""
    sample: int | None = None
    levels: dict[str, Any] = field(default_factory=dict)
    quantities: dict[str, float] = field(default_factory=dict)
    hand: dict[str, float] = field(default_factory=dict)
    measured: Measured | None = None

    @property
    def dropped(self) -> bool:
        """True for a specimen that cannot be built or stands in the study already."""
        return not self.id


def identity(s: Specimen) -> str:
    """Identity of a computation: the values of the specimen and what steers the march; 16 hexadecimal digits.

    Views stand apart below it, so that a view can be added to a study without computing the other again.
    """
    settings = {k: v for k, v in manifest.settings(s).items() if k in ("tolerances", "steps_to_peak")}
    text = json.dumps([s.digest, settings], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def cases(study: Study, told: Callable[[int, int], None] | None = None) -> list[Case]:
    """All cases in the order of the file: listed cases, grid and lists, and for each of these the sample.

    ``told`` hears how many of how many are read and judged by hand.
    """
    total = math.prod(len(f.levels) for f in study.factors) * (len(study.sample.shares) if study.sample else 1)
    out: list[Case] = []
    seen: dict[str, int] = {}
    for number, (levels, row) in enumerate(_combinations(study), start=1):
        case = _case(study, number, levels, row)
        if not case.dropped and case.id in seen:
            reason = f"the same specimen as case {seen[case.id]}"
            case = replace(case, id="", reason=reason)
        elif not case.dropped:
            seen[case.id] = number
        out.append(case)
        if told is not None:
            told(number, total)
    return out


def _combinations(study: Study) -> Iterator[tuple[tuple[Level, ...], int | None]]:
    rows: list[int | None] = list(range(len(study.sample.shares))) if study.sample else [None]
    for levels in product(*(f.levels for f in study.factors)):
        for row in rows:
            yield levels, row


def _case(study: Study, number: int, levels: tuple[Level, ...], row: int | None) -> Case:
    base, source, measured = study.base, study.base_source, None
    changes = dict(study.fixed)
    told: dict[str, Any] = {}
    for factor, level in zip(study.factors, levels):
        changes |= level.changes
        told |= _level(factor, level)
        base, source, measured = level.base or base, level.source or source, level.measured or measured
    words = [_word(factor, level) for factor, level in zip(study.factors, levels)]
    label = ", ".join(words + ([f"sample {row + 1}"] if row is not None else [])) or f"case {number}"
    case = Case(number, label, base, sample=None if row is None else row + 1, levels=told, measured=measured)
    try:
        specimen = vary_many(base, changes) if changes else read_text(base, source)
        if study.sample is not None and row is not None:
            specimen = _scatter(study, specimen, row)
        elevation(specimen)
    except InputFault as fault:
        return replace(case, reason="; ".join(_said(f, study, changes, source, base) for f in fault.faults))
    except FespliceError as fault:
        return replace(case, reason=str(fault))
    told |= _numbers(specimen, _keys(study))
    return replace(
        case, text=specimen.text, id=identity(specimen), levels=told,
        quantities=quantities(specimen), hand=hand_values(specimen),
    )  # fmt: skip


def _said(fault: Fault, study: Study, changes: Mapping[str, Any], source: str, base: str) -> str:
    """A fault of a case with the file and the line that the user wrote: the study, or the specimen it starts from."""
    place, path = "", fault.path
    own = [
        key for key in changes if path == key or path.startswith((f"{key}.", f"{key}[")) or key.startswith(f"{path}.")
    ]
    if path and own:
        at = [n for written, n in lines(study.text).items() if written == own[0] or written.endswith(f".{own[0]}")]
        place = f" ({Path(study.source).name}, line {at[0]})" if at else f" ({Path(study.source).name})"
    elif path:
        known, within = lines(base), path.partition("[")[0]
        while within and within not in known:
            within = within.rpartition(".")[0]
        place = f" ({Path(source).name}, line {known[within]})" if within else ""
    shown = replace(fault, allowed=LINE.sub("", fault.allowed) + place) if place else fault
    return str(shown).removeprefix(": ")


def _scatter(study: Study, specimen: Specimen, row: int) -> Specimen:
    sample = study.sample
    assert sample is not None
    values: dict[str, Any] = {}
    for key, law, share in zip(sample.keys, sample.distributions, sample.shares[row]):
        own = held(specimen, key.path)
        value = law.at(float(share), float(own) if isinstance(own, (int, float)) else math.nan)
        if math.isnan(value):
            raise InputFault(study.source, f"{key.path}: no mean is given, and the specimen holds no number there")
        values[key.path] = key.text(value)
    return vary_many(specimen, values)


def _keys(study: Study) -> list[Key]:
    """Keys that hold a number of their own: for the columns of the table."""
    sampled = study.sample.keys if study.sample else ()
    return [key for f in study.factors for key in f.keys] + list(sampled)


def _numbers(specimen: Specimen, keys: list[Key]) -> dict[str, Any]:
    found = {key.column: held(specimen, key.path) for key in keys}
    return {column: value for column, value in found.items() if value is not None}


def _level(factor: Factor, level: Level) -> dict[str, Any]:
    """The column of a factor, known before the specimen is: the number asked for, or the label of a list."""
    if len(factor.keys) != 1 or factor.name != factor.keys[0].column or not factor.keys[0].kind:
        return {factor.name: level.label}
    try:
        return {factor.name: parse(level.changes[factor.keys[0].path], factor.keys[0].kind)}
    except UnitFault:
        return {}


def _word(factor: Factor, level: Level) -> str:
    """A level in words: ``spacing 100 mm``; a list keeps its own name."""
    single = len(factor.keys) == 1 and factor.name == factor.keys[0].column
    return f"{factor.keys[0].path.rpartition('.')[2] if single else factor.name} {level.label}"
