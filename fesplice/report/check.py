"""The check of a specimen as a table for the terminal and as an HTML page; every value in both unit systems."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from fesplice.sizing.band import Estimate
from fesplice.sizing.check import NOT_CHECKED
from fesplice.sizing.lengths import Length, Limit
from fesplice.sizing.margins import Margin
from fesplice.units import both, told

if TYPE_CHECKING:
    from fesplice.sizing import SpecimenCheck
    from fesplice.specimen import Specimen

CAUTION = (
    "Research aid: not a design check and not a safety system. Local codes and licensed engineers decide. "
    "The formulas disagree; the band is no interval of confidence."
)
_SENSE = {"<=": "≤", ">=": "≥", "<": "<"}
Row = tuple[str, ...]


# ------------------------------------------------------------------ rows, shared by text and page
def verdict(c: SpecimenCheck) -> str:
    """One sentence: whether anchorage may be expected to govern, and if not, why."""
    if c.placing.faults:
        return f"cannot be built: {len(c.placing.faults)} clash" + ("es" if len(c.placing.faults) > 1 else "")
    if own := [m for m in c.missed if m.key.startswith("own ")]:
        return f"DOES NOT HOLD BEFORE ANY LOAD: {own[0].note} ({own[0].formula} = {own[0].value:.2f})"
    if c.missed:
        return f"{len(c.missed)} of {sum(m.counts for m in c.margins)} margins missed: " + ", ".join(
            m.name for m in c.missed
        )
    return "all margins met"


def margin_value(m: Margin) -> tuple[str, str]:
    """Value and limit of a margin as text."""
    if m.key == "strut":
        return f"{m.value:.1f}°", f"{_SENSE[m.sense]} {m.limit:.0f}°"
    if m.key == "strain":
        return f"{m.value:.5f}", f"{_SENSE[m.sense]} {m.limit:g}"
    return f"{m.value:.2f}", f"{_SENSE[m.sense]} {m.limit:g}"


def met(m: Margin) -> str:
    """ "met", "MISSED", or what advice says."""
    if m.counts:
        return "met" if m.met else "MISSED"
    return "fine" if m.met else "note"


def numbers(m: Margin) -> str:
    """Numbers put into a margin's formula, both systems."""
    return ", ".join(f"{name} {both(value, kind)}" for name, value, kind in m.numbers)


def estimates(c: SpecimenCheck) -> list[tuple[Estimate, str]]:
    """Estimates with the lines they hold for: equal ones of both rows stand once; band first, by stress."""
    kept: list[tuple[Estimate, list[str]]] = []
    for e in c.band.estimates:
        for other, lines in kept:
            same = (other.source, other.reading, other.role) == (e.source, e.reading, e.role)
            near = math.isclose(other.stress, e.stress, rel_tol=1e-6) or (
                math.isnan(other.stress) and math.isnan(e.stress)
            )
            if same and near:
                lines.append(e.line)
                break
        else:
            kept.append((e, [e.line]))
    order = {"band": 0, "comparison": 1, "refused": 2}
    kept.sort(key=lambda pair: (order[pair[0].role], pair[0].stress if math.isfinite(pair[0].stress) else 0.0))
    return [(e, ", ".join(lines)) for e, lines in kept]


def lengths(c: SpecimenCheck) -> list[tuple[Length, str]]:
    """Lengths with the lines they hold for."""
    kept: list[tuple[Length, list[str]]] = []
    for x in c.lengths:
        for other, lines in kept:
            key = (x.document, x.clause, x.kind, x.reading)
            if key == (other.document, other.clause, other.kind, other.reading) and (
                math.isnan(x.required) or math.isclose(x.required, other.required, rel_tol=1e-6)
            ):
                lines.append(x.line)
                break
        else:
            kept.append((x, [x.line]))
    return [(x, ", ".join(lines)) for x, lines in kept]


def loads(c: SpecimenCheck) -> list[Row]:
    """Event, moment at the critical section, load per ram."""
    at = c.loads
    central, low, high = c.band.central, c.band.low, c.band.high
    rows: list[Row] = [("own weight and equipment", both(at.own, "moment"), "–")]
    if math.isfinite(at.joint_opening):
        rows.append(("joint face reaches its tensile strength", both(at.joint_opening, "moment"), _load(at.joint_load)))
    rows.append(("first crack of the beam, M_cr", both(at.cracking, "moment"), _load(at.cracking_load)))
    if not c.band.yields:
        rows += [
            ("prediction, low end of the band", both(low.moment, "moment"), _load(low.load)),
            ("prediction, central", both(central.moment, "moment"), _load(central.load)),
            ("prediction, high end of the band", both(high.moment, "moment"), _load(high.load)),
        ]
    rows += [
        ("bars yield, M_y", both(at.yielding, "moment"), _load(at.yield_load)),
        ("stress block, M_n", both(at.block, "moment"), "–"),
        ("bars harden, M_max (bound for rams and frame)", both(at.largest, "moment"), _load(at.largest_load)),
    ]
    return rows


def _load(value: float) -> str:
    if not math.isfinite(value):
        return "–"
    return both(value, "force") if value >= 0.0 else "none: own weight alone goes beyond"


def limit_text(x: Limit) -> tuple[str, str]:
    """Value and limit of a document's limit."""
    value = both(x.value, "length") if math.isfinite(x.value) else "none"
    return value, both(x.limit, "length")


def crossed(c: SpecimenCheck) -> list[Limit]:
    """Limits of documents that the specimen exceeds."""
    return [x for x in c.limits if not x.kept]


# ------------------------------------------------------------------ terminal
def check_text(s: Specimen, c: SpecimenCheck) -> str:
    """The check as one screen after another of plain text."""
    title, said = f"{s.name}{': ' + s.note if s.note else ''}", f"check before casting: {verdict(c)}"
    parts = [title, said] if c.ok else [said, title]
    if c.doubts:
        parts.append(_block("WARNING: read, but hardly meant", [(doubt,) for doubt in c.doubts]))
    if c.placing.faults:
        parts.append(_block("Cannot be built", [(str(f),) for f in c.placing.faults]))
    rows: list[Row] = []
    for m in c.margins:
        rows.append((m.name, *margin_value(m), met(m)))
        rows.append((f"  {m.formula}; {numbers(m)}",))
        if m.note:
            rows.append((f"  {m.note}",))
    parts.append(_block("Margins", rows))
    low, mid, high = c.band.low, c.band.central, c.band.high
    if not c.band.yields:
        head = (
            f"Band of bar stress at anchorage failure: {both(low.stress, 'stress')} to {both(high.stress, 'stress')}, "
            f"central {both(mid.stress, 'stress')}\n"
            f"Load per ram, weights deducted: {_load(low.load)} to {_load(high.load)}, central {_load(mid.load)}"
        )
        rows = [
            (
                lines, e.reading or "–", _or_dash(e.stress, "stress"), _load(e.load),
                "CENTRAL" if e.central else e.role, "; ".join((e.formula, e.source, *e.notes)),
            )
            for e, lines in estimates(c)
        ]  # fmt: skip
        parts.append(_block(head, [("bars", "reading", "bar stress", "load per ram", "", "formula"), *rows]))
    parts.append(_block("Moments at the critical section and loads per ram", loads(c)))
    if c.lengths:
        head = f"Lengths at a bar stress of {both(c.stress, 'stress')}"
        names = ("bars", "document", "quantity", "reading", "required", "provided", "")
        parts.append(_block(head, [names, *_lengths(c)]))
    limits = [(x.document, x.clause, x.what, *limit_text(x), x.note) for x in crossed(c)]
    if limits:
        parts.append(_block("Limits exceeded (value, limit)", limits))
    short = [f for f in c.placing.fits if not f.kept]
    rows = [(f.what, both(f.value, "length"), f"at least {both(f.least, 'length')}", f.source) for f in short]
    parts.append(_block("Cage: below common practice", rows or [("nothing",)]))
    parts.append(_block("Computing it (good to a factor of three)", [(view,) for view in c.effort]))
    parts.append(_block("Notes", [(n,) for n in (*c.notes, CAUTION, NOT_CHECKED)]))
    return "\n\n".join(parts)


def _lengths(c: SpecimenCheck) -> list[Row]:
    return [
        (
            lines, f"{x.document}, {x.clause}", x.kind, x.reading or "–", _or_dash(x.required, "length"),
            f"{x.measure} {both(x.provided, 'length')}" if math.isfinite(x.provided) else "–",
            "; ".join(("enough" if x.enough else "short", *x.notes) if math.isfinite(x.required) else x.notes),
        )
        for x, lines in lengths(c)
    ]  # fmt: skip


def _or_dash(value: float, kind: str) -> str:
    return both(value, kind) if math.isfinite(value) else "–"


def _block(title: str, rows: list[Row]) -> str:
    """A titled table in columns; a row of one cell runs on freely, and the last column is not padded."""
    wide: dict[int, int] = {}
    rows = [tuple(map(told, row)) for row in rows]
    for row in rows:
        for k, cell in enumerate(row[:-1]):
            wide[k] = max(wide.get(k, 0), len(cell))
    out = [title]
    for row in rows:
        cells = [f"{cell:<{wide[k]}}" for k, cell in enumerate(row[:-1])]
        out.append("  " + "  ".join([*cells, row[-1]]).rstrip())
    return "\n".join(out)


# ------------------------------------------------------------------ page
def check_page(s: Specimen, c: SpecimenCheck, path: str | Path) -> Path:
    """Write the check as one HTML file; raises :class:`FolderFault` when the disk refuses."""
    from fesplice.report.paper import write

    return write(
        "check.html", path, specimen=s, check=c, verdict=verdict(c), margins=[
            (m, *margin_value(m), met(m), numbers(m)) for m in c.margins
        ],
        estimates=[(e, lines, _or_dash(e.stress, "stress"), _load(e.load)) for e, lines in estimates(c)],
        loads=loads(c), lengths=_lengths(c), limits=[(x, *limit_text(x)) for x in c.limits],
        fits=[(f, both(f.value, "length"), both(f.least, "length")) for f in c.placing.fits],
        caution=CAUTION, not_checked=NOT_CHECKED, both=both, load=_load,
    )  # fmt: skip
