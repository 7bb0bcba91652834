"""One growing log as the rig file maps it: whole new lines to readings on a clock that never goes back."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa

from fesplice.contracts import Floats, InputFault
from fesplice.measured.channels import HUGE
from fesplice.measured.dialect import Dialect, find_dialect
from fesplice.measured.follow import Tail
from fesplice.measured.rig import Rig
from fesplice.measured.stamps import StampKind, seconds, unrolled
from fesplice.measured.timeline import stamps_of
from fesplice.measured.units import unit_factor
from fesplice.specimen.gauges import Gauge

#: Last stamps kept, by which a step back of the clock is judged.
KEPT = 50


@dataclass
class Channel:
    """A mapped column: its place in its log (-1: in none so far), what one of it counts inside, its zero.

    ``window`` seconds in which it reads zero; None: its first readings. ``known``: the zero is.
    """

    name: str
    gauge: Gauge
    place: int = -1
    per: float = 1.0
    zero: float = 0.0
    window: tuple[float, float] | None = None
    known: bool = False

    @property
    def here(self) -> bool:
        """Whether a log has it."""
        return self.place >= 0


class Source:
    """Follows a log; ``look`` answers what is new: clock [s] (n,) and raw values (n, channels) in inner units.

    ``rows`` read, ``passed`` lines that were no readings, ``begun`` how often the log began anew.
    """

    def __init__(self, path: Path, rig: Rig):
        self.path, self.rig = path, rig
        self.channels: tuple[Channel, ...] = ()
        self.rows = self.passed = self.begun = 0
        self.kind = StampKind("rows")
        self._tail: Tail | None = None
        self._dialect: Dialect | None = None
        self._stamps = np.empty(0)
        self._clock = math.nan

    @property
    def open(self) -> bool:
        """Whether it is known how the log is written."""
        return self._tail is not None

    @property
    def gone(self) -> bool:
        """Whether the file has been there and is not there now."""
        return self._tail is not None and self._tail.gone

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns; none before it is open."""
        return self._dialect.names if self._dialect is not None else ()

    def begin(self, channels: Sequence[Channel]) -> bool:
        """Find out how the log is written, once it holds readings; those of ``channels`` in it become its own.

        :class:`InputFault` where another log has one of them already.
        """
        asked, time = self.rig.log, self.rig.time
        wanted = {*self.rig.channel, time.column, time.clock} - {""}
        try:
            dialect = find_dialect(
                self.path, wanted, delimiter=asked.delimiter, decimal=asked.decimal, encoding=asked.encoding
            )
            kind = stamps_of(self.path, self.rig, dialect)
        except (InputFault, OSError):
            return False
        own = tuple(c for c in channels if c.name in dialect.names)
        if twice := [c.name for c in own if c.here]:
            told = f"channel {twice[0]!r} stands in another log too; of parts of one log give the one that grows"
            raise InputFault(str(self.path), told)
        for c in own:
            c.place = dialect.names.index(c.name)
            given = self.rig.channel[c.name]
            unit = given.unit or dialect.units[c.place]
            c.per = given.factor * unit_factor(unit, c.gauge.quantity) * given.sign
            window = given.zero_window or self.rig.test.zero_window
            c.window = window if window[1] > 0.0 else None
            c.known = given.zero == "none"
        self.channels, self._dialect, self.kind = own, dialect, kind
        self._tail = Tail(self.path, dialect.encoding)
        return True

    def look(self) -> tuple[Floats, Floats]:
        """Readings since the last look."""
        assert self._tail is not None
        clocks, tables, more = [np.empty(0)], [np.empty((0, len(self.channels)))], True
        while more:
            grown = self._tail.look()
            self.begun += grown.anew
            clock, table = self._read(grown.lines)
            clocks.append(clock)
            tables.append(table)
            more = grown.more
        return np.concatenate(clocks), np.concatenate(tables)

    def close(self) -> None:
        """Let the log go."""
        if self._tail is not None:
            self._tail.close()

    def _read(self, lines: Sequence[str]) -> tuple[Floats, Floats]:
        assert self._dialect is not None
        cells = [row for line in lines if (row := self._dialect.split(line))]
        good = [row for row in cells if self._dialect.is_reading(row)]
        self.passed += len(cells) - len(good)
        stamps = self._stamped(good) if good else np.empty(0)
        clear = np.isfinite(stamps)
        self.passed += len(good) - int(clear.sum())
        self.rows += int(clear.sum())
        table = [[self._number(row[c.place]) * c.per for c in self.channels] for row in good]
        return self._onward(stamps[clear]), np.array(table, float).reshape(len(good), len(self.channels))[clear]

    def _number(self, text: str) -> float:
        assert self._dialect is not None
        value = self._dialect.number(text)
        none = value is None or abs(value) >= HUGE or abs(value) in self.rig.test.no_reading
        return math.nan if none or value is None else value

    def _stamped(self, rows: Sequence[Sequence[str]]) -> Floats:
        assert self._dialect is not None
        if self.kind.kind == "rows":
            return np.asarray((self.rows + np.arange(len(rows))) * self.kind.factor, float)
        at = [self._dialect.names.index(n) for n in self.kind.columns]
        return seconds(self.kind, [pa.array([row[k] for row in rows], pa.string()) for k in at], self._dialect.decimal)

    def _onward(self, stamps: Floats) -> Floats:
        """The clock counted on where the stamps roll over or start again, as the reduction counts it."""
        if not len(stamps):
            return stamps
        before = len(self._stamps)
        whole = np.concatenate([self._stamps, stamps])
        on = unrolled(whole)[0]
        clock = on if not before else self._clock + (on[before:] - on[before - 1])
        self._stamps, self._clock = whole[-KEPT:], float(clock[-1])
        return clock
