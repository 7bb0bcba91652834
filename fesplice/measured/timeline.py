"""Logs -> one axis of time and the mapped channels on it, raw: parts put end to end, loggers joined by their clocks.

Logs that hold the same mapped channels are parts of one. Another logger's channels are read at the times of the
one that reads the load, on straight lines between its own readings, and nowhere outside them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import numpy as np
import pyarrow as pa

from fesplice.contracts import Fault, Floats, InputFault
from fesplice.measured.dialect import Dialect, find_dialect
from fesplice.measured.ledger import Ledger
from fesplice.measured.log import Passed, batches
from fesplice.measured.rig import Rig
from fesplice.measured.spool import Spool
from fesplice.measured.stamps import DAY, Break, StampKind, kind_of, seconds, unrolled
from fesplice.measured.units import time_factor
from fesplice.specimen.gauges import Gauge

#: A column of stamps by its name, where the rig file names none (common practice, no source).
TIME_NAMES = (
    "time", "time_s", "t", "t_s", "timestamp", "time stamp", "datetime", "date time", "date/time", "zeit", "datum/zeit",
    "elapsed", "elapsed time", "seconds", "sec", "clock", "date", "datum", "temps", "uhrzeit",
)  # fmt: skip
DATE_NAMES, CLOCK_NAMES = ("date", "datum"), ("time", "zeit", "uhrzeit", "clock", "time of day")
#: Readings of another logger further apart than this many of its intervals are not bridged (judgement).
BRIDGE = 5.0


@dataclass(frozen=True)
class Log:
    """One file: how it is written, its stamps, the mapped channels in it, its bytes and readings."""

    path: Path
    dialect: Dialect
    stamps: StampKind
    channels: tuple[str, ...]
    size: int
    rows: int = 0


@dataclass(frozen=True)
class Axis:
    """One axis of time: seconds from the first reading (n,), breaks of it, units found in the headings."""

    t: Floats
    breaks: tuple[Break, ...]
    units: dict[str, str]
    logs: tuple[Log, ...]


def read_logs(
    paths: Sequence[Path], rig: Rig, gauges: dict[str, Gauge], rig_source: str, spool: Spool, ledger: Ledger
) -> Axis:
    """Read all logs into ``spool`` (raw numbers by channel) on one axis of time; :class:`InputFault` on any fault."""
    logs = [_log(path, rig, ledger) for path in paths]
    _all_there(logs, rig, rig_source)
    groups = _groups(logs)
    load = next(name for name, g in gauges.items() if g.kind == "load")
    groups.sort(key=lambda group: load not in group[0].channels)
    whole: list[Log] = []
    first = groups[0]
    clock, read = _parts(first, spool, ledger)
    whole += read
    start = float(clock[0])
    t, breaks = unrolled(clock)
    t -= start
    for b in breaks:
        ledger("read", first[0].path.name, b.what, value=round(b.t, 6), unit="s", reason=f"reading {b.row + 1}")
    for group in groups[1:]:
        whole += _joined(group, rig, spool, ledger, t, start, first[0])
    units = {n: log.dialect.units[log.dialect.names.index(n)] for log in logs for n in log.channels}
    return Axis(t, tuple(breaks), units, tuple(sorted(whole, key=lambda log: paths.index(log.path))))


# ------------------------------------------------------------------ one file
def _log(path: Path, rig: Rig, ledger: Ledger) -> Log:
    if not path.is_file():
        raise InputFault(str(path), "no such file" if not path.exists() else "is not a file; give a log (text)")
    asked = rig.log
    stamp_names = {rig.time.column, rig.time.clock} - {""}
    dialect = find_dialect(
        path, {*rig.channel, *stamp_names}, delimiter=asked.delimiter, decimal=asked.decimal, encoding=asked.encoding
    )
    ledger("read", path.name, dialect.words)
    for told in dialect.told:
        ledger("read", path.name, told)
    channels = tuple(name for name in rig.channel if name in dialect.names)
    stamps = stamps_of(path, rig, dialect)
    words = {"seconds": "seconds of a counter", "clock": "time of day", "moment": "date and time", "rows": "a rate"}
    named = " and ".join(stamps.columns) or "none"
    ledger("read", path.name, f"time by {words[stamps.kind]}", reason=f"column {named}")
    if not stamps.sure:
        ledger("read", path.name, "day and month cannot be told apart: read with the day first", reason="time.order")
    other = [n for n in dialect.names if n and n not in channels and n not in stamps.columns]
    if other:
        ledger("map", path.name, f"columns not mapped, left out: {', '.join(other)}")
    return Log(path, dialect, stamps, channels, path.stat().st_size)


def stamps_of(path: Path, rig: Rig, dialect: Dialect) -> StampKind:
    """Kind of the stamps of a log, from its first readings."""
    asked = rig.time
    if asked.rate == asked.rate:
        return StampKind("rows", factor=1.0 / asked.rate)
    names = _columns(path, rig, dialect)
    rows = _first_rows(path, dialect)
    samples = [[row[dialect.names.index(name)] for row in rows] for name in names]
    unit = asked.unit or (dialect.units[dialect.names.index(names[0])] if len(names) == 1 else "")
    try:
        factor = time_factor(unit)
    except KeyError:
        factor = 1.0
    try:
        return kind_of(names, samples, asked.order, factor)
    except ValueError as fault:
        raise InputFault(f"{path}, column {dialect.names.index(names[0]) + 1}", f"{names[0]!r} {fault}") from None


def _columns(path: Path, rig: Rig, dialect: Dialect) -> tuple[str, ...]:
    """Names of the column, or the two columns, of the stamps."""
    asked, lower = rig.time, [name.lower() for name in dialect.names]
    if asked.column:
        named = (asked.column, *((asked.clock,) if asked.clock else ()))
        for name in named:
            if name not in dialect.names:
                near = get_close_matches(name, dialect.names, n=1)
                hint = f"did you mean {near[0]!r}? " if near else ""
                raise InputFault(
                    str(path), [Fault("time.column", name, f"no such column; {hint}known: {', '.join(dialect.names)}")]
                )
        return named
    dates = [k for k, name in enumerate(lower) if name in DATE_NAMES]
    clocks = [k for k, name in enumerate(lower) if name in CLOCK_NAMES]
    if dates and clocks:
        return dialect.names[dates[0]], dialect.names[clocks[0]]
    named = [k for name in TIME_NAMES for k, other in enumerate(lower) if other == name]
    at = named[0] if named else 0
    if dialect.names[at] in rig.channel:
        raise InputFault(
            str(path), "no column of time stamps found; name it in the rig file, [time] column = ..., or give its rate"
        )
    return (dialect.names[at],)


def _first_rows(path: Path, dialect: Dialect, number: int = 50) -> list[list[str]]:
    rows: list[list[str]] = []
    with path.open(encoding=dialect.encoding, errors="replace", newline="") as stream:
        for k, text in enumerate(stream, start=1):
            if k >= dialect.first and dialect.is_reading(cells := dialect.split(text)):
                rows.append(cells)
            if len(rows) == number:
                break
    return rows


# ------------------------------------------------------------------ several files
def _all_there(logs: list[Log], rig: Rig, source: str) -> None:
    """Every channel of the rig file stands in a log."""
    known = list(dict.fromkeys(name for log in logs for name in log.dialect.names))
    faults = []
    for name in rig.channel:
        if name not in known:
            near = get_close_matches(name, known, n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            faults.append(Fault(f"channel.{name}", None, f"no column of that name; {hint}columns: {', '.join(known)}"))
    if faults:
        raise InputFault(source, faults)


def _groups(logs: list[Log]) -> list[list[Log]]:
    """Logs with the same channels together, in the order of their first readings where clocks tell it."""
    found: dict[frozenset[str], list[Log]] = {}
    for log in logs:
        if not log.channels:
            raise InputFault(str(log.path), f"holds no mapped channel; columns: {', '.join(log.dialect.names)}")
        found.setdefault(frozenset(log.channels), []).append(log)
    groups = list(found.values())
    for k, group in enumerate(groups):
        for other in groups[k + 1 :]:
            if twice := set(group[0].channels) & set(other[0].channels):
                told = f"channel {sorted(twice)[0]!r} stands in {group[0].path.name} too, beside others"
                raise InputFault(str(other[0].path), told)
        if all(log.stamps.kind == "moment" for log in group):
            group.sort(key=_begin)
    return groups


def _begin(log: Log) -> float:
    rows = _first_rows(log.path, log.dialect, 1)
    at = [log.dialect.names.index(name) for name in log.stamps.columns]
    return float(seconds(log.stamps, [pa.array([rows[0][k]]) for k in at], log.dialect.decimal)[0])


def _parts(group: list[Log], spool: Spool | dict[str, list[Floats]], ledger: Ledger) -> tuple[Floats, list[Log]]:
    """Clock (n,) of the parts of a log put end to end; values go to ``spool``, unstamped lines nowhere."""
    clocks: list[Floats] = []
    read: list[Log] = []
    for log in group:
        passed, rows = Passed(), 0
        for batch in batches(log.path, log.dialect, log.stamps.columns, log.channels, passed):
            n = len(batch.lines)
            if log.stamps.kind == "rows":
                clock = log.stamps.factor * np.arange(rows, rows + n, dtype=float)
            else:
                clock = seconds(log.stamps, batch.stamps, log.dialect.decimal)
            good = np.isfinite(clock)
            for line in batch.lines[~good]:
                passed(int(line), "no time stamp")
            clocks.append(clock[good])
            for name in log.channels:
                values = batch.values[name][good] if not good.all() else batch.values[name]
                if isinstance(spool, Spool):
                    spool.append(name, values)
                else:
                    spool.setdefault(name, []).append(values)
            rows += int(good.sum())
        for why, count in passed.count.items():
            told = f"first: line {passed.first[why]}"
            ledger("read", log.path.name, f"lines passed over: {why}", rows=count, reason=told)
        if not rows:
            raise InputFault(str(log.path), "holds no line of readings")
        ledger("read", log.path.name, "readings", rows=rows)
        read.append(Log(log.path, log.dialect, log.stamps, log.channels, log.size, rows))
    if len(group) > 1:
        names = ", ".join(log.path.name for log in group)
        ledger("read", group[0].path.name, f"parts of one log, in the order {names}")
    return np.concatenate(clocks), read


def _joined(group: list[Log], rig: Rig, spool: Spool, ledger: Ledger, t: Floats, start: float, first: Log) -> list[Log]:
    """Channels of another logger at the times ``t`` of the first."""
    held: dict[str, list[Floats]] = {}
    clock, read = _parts(group, held, ledger)
    own, breaks = unrolled(clock)
    log = group[0]
    for b in breaks:
        ledger("read", log.path.name, b.what, value=round(b.t, 6), unit="s", reason=f"reading {b.row + 1}")
    kinds = {log.stamps.kind, first.stamps.kind}
    if kinds == {"moment"} or kinds == {"clock"}:
        own = own - start
        how = "by the clocks"
    elif kinds == {"moment", "clock"}:
        own = own % DAY - start % DAY
        how = "by the time of day"
    else:
        own = own - own[0]
        how = "first readings taken as simultaneous: the stamps are counters"
    lag = rig.log.offset.get(log.path.name, 0.0)
    own = own + lag
    interval = float(np.median(np.diff(own))) if len(own) > 1 else 0.0
    near = np.clip(np.searchsorted(own, t), 1, max(len(own) - 1, 1))
    wide = (own[near] - own[near - 1] > BRIDGE * interval) if len(own) > 1 else np.ones(len(t), bool)
    out = (t < own[0]) | (t > own[-1]) | wide
    for name in log.channels:
        values = np.interp(t, own, np.concatenate(held[name]))
        spool.put(name, np.where(out, np.nan, values))
    told = f"joined to {first.path.name} {how}, straight lines between readings {interval:.4g} s apart"
    ledger("read", log.path.name, told, rows=int((~out).sum()), value=lag or None, unit="s" if lag else "")
    if out.all():
        raise InputFault(str(log.path), f"shares no time with {first.path.name}; see log.offset of the rig file")
    return read
