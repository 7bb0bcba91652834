"""A reduced test as text: one screen of results, what cannot be believed, what was found on the way."""

from __future__ import annotations

import math

from fesplice.measured.record import CAUTION, Test, Value
from fesplice.units import KINDS, show, told

_KIND = {"N": "force", "mm": "length", "MPa": "stress"}


def test_text(test: Test) -> str:
    """The record for a terminal."""
    rams = "two rams" if test.rams == 2 else "one ram"
    logs = f"{len(test.logs)} log{'s' if len(test.logs) > 1 else ''}"
    head = f"{test.specimen}: {len(test.channels)} channels of {logs}, load per ram ({rams})"
    parts = [head, *(f"  {log.name}: {log.rows} readings; {log.dialect}" for log in test.logs)]
    parts += ["", "Results", *table([(name, value_text(v), v.formula) for name, v in test.results.items()])]
    parts += _bar_stress(test) + _bond(test)
    if test.events:
        parts += ["", "In the order of the test"]
        parts += table([(f"{h.t:.0f} s", _load(h.load), h.what, h.how) for h in test.events])
    told = "Channels that cannot be believed (nothing was repaired)" if test.suspects else "No channel is suspect"
    parts += ["", f"{told}; expectations by {test.judged.source}"]
    parts += table([(s.channel, s.fault, s.reason) for s in test.suspects])
    parts += _seen(test)
    if test.remarks:
        parts += ["", "Remarks", *(f"  {text}" for text in test.remarks)]
    if test.materials:
        count = {mark: sum(m.mark == mark for m in test.materials) for mark in ("measured", "calibrated", "estimated")}
        told = ", ".join(f"{n} {mark}" for mark, n in count.items() if n)
        parts += ["", f"Values that differ from the plan or were estimated: {told}"]
        parts += table([(m.path, m.value, m.mark, m.source) for m in test.materials if m.mark != "estimated"])
    return "\n".join((*parts, "", CAUTION))


def value_text(value: Value) -> str:
    """A value with its uncertainty and unit, in both systems where it has two."""
    if not math.isfinite(value.value):
        return "not found"
    kind = _KIND.get(value.unit)
    if kind is None:
        return f"{value.value:.4g} {value.unit}".rstrip(" 1") if value.unit != "1" else f"{value.value:.3g}"
    if math.isfinite(value.uncertainty):
        unit = KINDS[kind].metric
        per = KINDS[kind].factors[unit]
        places = max(0, 1 - math.floor(math.log10(max(value.uncertainty / per, 1e-9))))
        text = f"{value.value / per:.{places}f} ± {value.uncertainty / per:.{places}f} {unit}"
        return f"{text} ({show(value.value, kind, customary=True)})"
    return f"{show(value.value, kind)} ({show(value.value, kind, customary=True)})"


def _seen(test: Test) -> list[str]:
    """Cracks by face and load, frames, photographs."""
    faces: dict[tuple[str, float], list[float]] = {}
    for c in test.cracks:
        faces.setdefault((c.face, c.load if math.isfinite(c.load) else -1.0), []).append(c.length)
    rows = [
        (f"face {face}", _load(load) if load >= 0.0 else "load not said", f"{len(v)} cracks, {sum(v):.0f} mm in all")
        for (face, load), v in faces.items()
    ]
    rows += [
        (f"frame {f.file}", f"{f.t:.0f} s" if math.isfinite(f.t) else "", f"{f.points} points") for f in test.frames
    ]
    if test.photographs:
        rows.append(("photographs", "", str(len(test.photographs))))
    return ["", "Seen", *table(rows)] if rows else []


def _load(load: float) -> str:
    return f"{load / 1e3:.1f} kN" if math.isfinite(load) else "–"


def _number(value: float) -> str:
    return f"{value:.0f}" if math.isfinite(value) else "–"


def _bar_stress(test: Test) -> list[str]:
    if not test.bar_stress:
        return []
    rows = [("line", "load", "elastic", "fibres", "", "gauges", "", "")]
    for b in test.bar_stress:
        by_gauge = f"± {b.gauge_uncertainty:.0f}" if math.isfinite(b.gauge) else ""
        ways = (_number(b.elastic), _number(b.fibre), f"± {b.uncertainty:.0f}", _number(b.gauge), by_gauge)
        rows.append((b.line, _load(b.load), *ways, b.flag))
    title = "Bar stress at the joint face three ways [MPa]: cracked elastic section, moment-curvature, gauges"
    return ["", title, *table(rows)]


def _bond(test: Test) -> list[str]:
    last = [b for b in test.bond if b.share >= 1.0]
    if not last:
        return []
    rows = [(b.bar, f"{b.between[0]} to {b.between[1]}", f"{b.value:.2f} ± {b.uncertainty:.2f}") for b in last]
    return ["", "Bond stress between neighbouring gauges at the peak [MPa]", *table(rows)]


def table(rows: list[tuple[str, ...]]) -> list[str]:
    """Rows as lines of a terminal, columns below one another; the last column is left ragged."""
    if not rows:
        return []
    rows = [tuple(map(told, row)) for row in rows]
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]) - 1)]
    return ["  " + "  ".join([*(c.ljust(w) for c, w in zip(row, widths)), row[-1]]).rstrip() for row in rows]
