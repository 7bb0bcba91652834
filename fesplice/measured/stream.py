"""Readings of a growing log as the rig file maps them: factor, unit, sign, zero; nothing is filtered."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa

from fesplice.contracts import Floats, InputFault
from fesplice.measured.channels import FIRST, HUGE
from fesplice.measured.dialect import Dialect, find_dialect
from fesplice.measured.follow import Tail
from fesplice.measured.rig import Rig
from fesplice.measured.stamps import StampKind, seconds
from fesplice.measured.timeline import stamps_of
from fesplice.measured.units import unit_factor
from fesplice.specimen.gauges import Gauge


@dataclass
class Channel:
    """A mapped column: its place, what one of it counts inside, its zero and whether that is known.

    ``window`` seconds in which it reads zero; None: its first readings.
    """

    name: str
    gauge: Gauge
    place: int = -1
    per: float = 1.0
    zero: float = 0.0
    window: tuple[float, float] | None = None
    known: bool = False


class Stream:
    """Follows a log; ``look`` answers what is new as (time [s], values by ``here``), zeroed.

    Zeros are those of the test: they stay where the log is rotated or cut. ``rows`` read, ``passed`` lines that were no
    readings, ``begun`` how often the log began anew, ``held`` readings until every zero is known, ``without`` channels
    whose window held no reading.
    """

    def __init__(self, path: Path, rig: Rig, channels: Sequence[Channel]):
        self.path, self.rig, self.channels = path, rig, tuple(channels)
        self.here: list[Channel] = []
        self.rows = self.passed = self.begun = 0
        self.held: list[tuple[float, Floats]] = []
        self.without: list[str] = []
        self._tail: Tail | None = None
        self._dialect: Dialect | None = None
        self._kind = StampKind("rows")
        self._start = math.nan

    @property
    def state(self) -> str:
        """What it is doing, in words."""
        if self._tail is None:
            return "waiting for readings"
        return "the log is gone; waiting for it" if self._tail.gone else "following"

    def look(self) -> list[tuple[float, Floats]]:
        """Readings since the last look; none while a zero is still being read."""
        if self._tail is None and not self._open():
            return []
        assert self._tail is not None
        out: list[tuple[float, Floats]] = []
        more = True
        while more:
            grown = self._tail.look()
            self.begun += grown.anew
            out += self._take(grown.lines)
            more = grown.more
        return out

    def close(self) -> None:
        """Let the log go."""
        if self._tail is not None:
            self._tail.close()

    def _open(self) -> bool:
        """Find out how the log is written, once it holds readings."""
        asked, time = self.rig.log, self.rig.time
        wanted = {*self.rig.channel, time.column, time.clock} - {""}
        try:
            dialect = find_dialect(
                self.path, wanted, delimiter=asked.delimiter, decimal=asked.decimal, encoding=asked.encoding
            )
            kind = stamps_of(self.path, self.rig, dialect)
        except (InputFault, OSError):
            return False
        here = [c for c in self.channels if c.name in dialect.names]
        if not any(c.gauge.kind == "load" for c in here):
            loads = ", ".join(c.name for c in self.channels if c.gauge.kind == "load")
            raise InputFault(str(self.path), f"no column reads the load ({loads}); columns: {', '.join(dialect.names)}")
        for c in here:
            c.place = dialect.names.index(c.name)
            given = self.rig.channel[c.name]
            unit = given.unit or dialect.units[c.place]
            c.per = given.factor * unit_factor(unit, c.gauge.quantity) * given.sign
            window = given.zero_window or self.rig.test.zero_window
            c.window = window if window[1] > 0.0 else None
            c.known = given.zero == "none"
        self.here = here
        self._dialect, self._kind = dialect, kind
        self._tail = Tail(self.path, dialect.encoding)
        return True

    def _take(self, lines: Sequence[str]) -> list[tuple[float, Floats]]:
        assert self._dialect is not None
        cells = [self._dialect.split(line) for line in lines]
        good = [row for row in cells if self._dialect.is_reading(row)]
        self.passed += sum(bool(row) for row in cells) - len(good)
        out: list[tuple[float, Floats]] = []
        for t, row in zip(self._times(good) if good else (), good, strict=True):
            self.rows += 1
            self.held.append((float(t), np.array([self._number(row[c.place]) * c.per for c in self.here])))
            if not all(c.known for c in self.here):
                self._zero(float(t))
            if all(c.known for c in self.here):
                zero = np.array([c.zero for c in self.here])
                out += [(at, values - zero) for at, values in self.held]
                self.held = []
        return out

    def _number(self, text: str) -> float:
        assert self._dialect is not None
        value = self._dialect.number(text)
        none = value is None or abs(value) >= HUGE or abs(value) in self.rig.test.no_reading
        return math.nan if none or value is None else value

    def _times(self, rows: Sequence[Sequence[str]]) -> Floats:
        assert self._dialect is not None
        if self._kind.kind == "rows":
            return np.asarray((self.rows + np.arange(len(rows))) * self._kind.factor, float)
        at = [self._dialect.names.index(n) for n in self._kind.columns]
        columns = [pa.array([row[k] for row in rows], pa.string()) for k in at]
        t = seconds(self._kind, columns, self._dialect.decimal)
        if math.isnan(self._start):
            known = t[np.isfinite(t)]
            self._start = float(known[0]) if len(known) else math.nan
        return t - self._start

    def _zero(self, t: float) -> None:
        """Zeros of the channels whose window has passed: mean of the readings in it, as the reduction takes it."""
        times = np.array([at for at, _ in self.held])
        table = np.array([row for _, row in self.held])
        for k, c in enumerate(self.here):
            if c.known:
                continue
            if c.window is not None:
                if not t > c.window[1]:
                    continue
                part = table[(times >= c.window[0]) & (times <= c.window[1]), k]
            elif len(table) >= FIRST:
                part = table[:FIRST, k]
            else:
                continue
            part = part[np.isfinite(part)]
            c.zero, c.known = (float(part.mean()) if len(part) else 0.0), True
            if not len(part):
                self.without.append(c.name)
