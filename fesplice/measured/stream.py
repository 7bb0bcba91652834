"""Readings of growing logs on one axis of time, zeroed: nothing is filtered.

The log that reads the load gives the times. Channels of another logger are read at them on straight lines between its
own readings, and nowhere outside them, as the reduction does. A reading waits for the other loggers, but not long: one
that lags is told, and its channels are not known meanwhile.
"""

from __future__ import annotations

import math
import time
from collections import deque
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fesplice.contracts import Floats, InputFault
from fesplice.measured.channels import FIRST
from fesplice.measured.rig import Rig
from fesplice.measured.source import Channel, Source
from fesplice.measured.stamps import DAY
from fesplice.measured.timeline import BRIDGE

#: Seconds that a reading waits for those of other loggers (judgement: who watches sees the load as it is now).
WAIT = 2.0
#: Last readings of another logger by whose steps its interval is told.
STEPS = 200


class Beside:
    """Another logger: its last readings on the axis of time of the test, and how its clock goes with it."""

    def __init__(self, source: Source):
        self.source = source
        self.t = np.empty(0)
        self.values = np.empty((0, 0))
        self._shift = math.nan

    def look(self, main: Source, start: float) -> None:
        """Read what is new; ``start``: first stamp of the main log."""
        clock, values = self.source.look()
        if not len(clock):
            return
        if math.isnan(self._shift):
            kinds = {self.source.kind.kind, main.kind.kind}
            own = float(clock[0])
            if kinds in ({"moment"}, {"clock"}):
                self._shift = -start
            elif kinds == {"moment", "clock"}:
                self._shift = own % DAY - own - start % DAY
            else:
                # counters: first readings taken as simultaneous
                self._shift = -own
            self._shift += self.source.rig.log.offset.get(self.source.path.name, 0.0)
        self.t = np.concatenate([self.t, clock + self._shift])
        self.values = np.concatenate([self.values.reshape(-1, values.shape[1]), values])

    @property
    def last(self) -> float:
        """Time of the last reading; minus infinity before the first."""
        return float(self.t[-1]) if len(self.t) else -math.inf

    def at(self, t: Floats) -> Floats:
        """Values (n, channels) at times (n,): nan before, after and over a pause; older readings are let go."""
        if len(self.t) < 2:
            return np.full((len(t), len(self.source.channels)), np.nan)
        interval = float(np.median(np.diff(self.t[-STEPS:])))
        near = np.clip(np.searchsorted(self.t, t), 1, len(self.t) - 1)
        out = (t < self.t[0]) | (t > self.t[-1]) | (self.t[near] - self.t[near - 1] > BRIDGE * interval)
        found = np.stack([np.interp(t, self.t, column) for column in self.values.T], axis=1)
        found[out] = np.nan
        keep = max(min(int(near[-1]) - 1, len(self.t) - STEPS), 0)
        self.t, self.values = self.t[keep:], self.values[keep:]
        return found


class Stream:
    """Follows the logs of one test; ``look`` answers what is new as (time [s], values by ``channels``), zeroed.

    A value is nan where its channel is in no log, has no zero yet or no reading. Zeros are those of the test: they stay
    where a log is rotated or cut. ``held`` readings until the zeros are known, ``without`` channels whose window held
    no reading.
    """

    def __init__(self, paths: Sequence[Path], rig: Rig, channels: Sequence[Channel]):
        self.rig, self.channels = rig, tuple(channels)
        self.sources = [Source(path, rig) for path in paths]
        self.held: list[tuple[float, Floats]] = []
        self.without: list[str] = []
        self._main: Source | None = None
        self._beside: list[Beside] = []
        self._start = math.nan
        self._waiting: deque[tuple[float, float, Floats]] = deque()
        self._newest = -math.inf
        self._begun = False

    @property
    def here(self) -> list[Channel]:
        """Channels that a log has."""
        return [c for c in self.channels if c.here]

    @property
    def rows(self) -> int:
        """Readings of the log that gives the times."""
        return self._main.rows if self._main is not None else 0

    @property
    def passed(self) -> int:
        """Lines that were no readings."""
        return sum(source.passed for source in self.sources)

    @property
    def begun(self) -> int:
        """How often a log began anew."""
        return sum(source.begun for source in self.sources)

    @property
    def state(self) -> str:
        """What it is doing, in words."""
        if self._main is None:
            return "waiting for readings"
        if len(self.sources) == 1:
            return "the log is gone; waiting for it" if self._main.gone else "following"
        told = [f"{s.path.name} is gone; waiting for it" for s in self.sources if s.gone]
        told += [f"waiting for readings of {s.path.name}" for s in self.sources if not s.open]
        lag = ((b.source.path.name, self._newest - b.last) for b in self._beside if not b.source.gone)
        told += [f"{name} is {behind:.0f} s behind: its channels are left out" for name, behind in lag if behind > WAIT]
        return "; ".join(told) or "following"

    def look(self, last: bool = False) -> list[tuple[float, Floats]]:
        """Readings since the last look; none while a zero is still being read. ``last``: nothing is waited for."""
        if not all(source.open for source in self.sources):
            self._open()
        main = self._main
        if main is None:
            return []
        clock, values = main.look()
        if math.isnan(self._start) and len(clock):
            self._start = float(clock[0])
        if math.isnan(self._start):
            return []
        for other in self._beside:
            other.look(main, self._start)
        now = time.monotonic()
        self._waiting.extend((now, t, row) for t, row in zip((clock - self._start).tolist(), values, strict=True))
        if len(clock):
            self._newest = float(clock[-1]) - self._start
        # one that lags is not waited for: its place in the file may be minutes away
        reached = min((b.last for b in self._beside if self._newest - b.last <= WAIT), default=math.inf)
        out: list[tuple[float, Floats]] = []
        while self._waiting:
            came, t, _ = self._waiting[0]
            if not (last or t <= reached or t < self._newest - WAIT or now - came > WAIT):
                break
            out.append(self._waiting.popleft()[1:])
        return self._zeroed(out)

    def close(self) -> None:
        """Let the logs go."""
        for source in self.sources:
            source.close()

    def _open(self) -> None:
        """Find out how logs are written that hold readings by now."""
        for source in self.sources:
            if source.open or not source.begin(self.channels):
                continue
            if len(self.sources) > 1 and not source.channels:
                told = f"holds no mapped channel; columns: {', '.join(source.columns)}"
                raise InputFault(str(source.path), told)
            load = next(c for c in self.channels if c.gauge.kind == "load")
            if self._main is None and load in source.channels:
                self._main = source
        if self._main is None and all(source.open for source in self.sources):
            loads = ", ".join(c.name for c in self.channels if c.gauge.kind == "load")
            columns = ", ".join(name for source in self.sources for name in source.columns)
            names = ", ".join(str(source.path) for source in self.sources)
            raise InputFault(names, f"no column reads the load ({loads}); columns: {columns}")
        if self._main is not None:
            known = [b.source for b in self._beside]
            more = [s for s in self.sources if s.open and s is not self._main and s not in known]
            self._beside += [Beside(source) for source in more]

    # -------------------------------------------------------------- zeros
    def _zeroed(self, rows: Sequence[tuple[float, Floats]]) -> list[tuple[float, Floats]]:
        if not rows:
            return []
        assert self._main is not None
        t = np.array([at for at, _ in rows])
        whole = np.full((len(rows), len(self.channels)), np.nan)
        whole[:, self._places(self._main)] = [row for _, row in rows]
        for other in self._beside:
            whole[:, self._places(other.source)] = other.at(t)
        out: list[tuple[float, Floats]] = []
        for at, row in zip(t.tolist(), whole, strict=True):
            if all(c.known for c in self.here):
                out += [(at, row)]
                continue
            self.held.append((at, row))
            self._zero(at)
            done = all(c.known for c in self.here)
            if self._begun:
                # of a logger that came late: the others go on
                out.append((at, row))
            elif done:
                out += self.held
            if done:
                self.held, self._begun = [], True
        self._begun = self._begun or bool(out)
        zero = np.array([c.zero if c.known else np.nan for c in self.channels])
        return [(at, row - zero) for at, row in out]

    def _places(self, source: Source) -> list[int]:
        at = {c.name: k for k, c in enumerate(self.channels)}
        return [at[c.name] for c in source.channels]

    def _zero(self, t: float) -> None:
        """Zeros of the channels whose window has passed: mean of the readings in it, as the reduction takes it."""
        ripe = [
            k for k, c in enumerate(self.channels)
            if c.here and not c.known and (t > c.window[1] if c.window is not None else len(self.held) >= FIRST)
        ]  # fmt: skip
        if not ripe:
            return
        times = np.array([at for at, _ in self.held])
        table = np.array([row for _, row in self.held])
        for k in ripe:
            c = self.channels[k]
            inside = slice(FIRST) if c.window is None else (times >= c.window[0]) & (times <= c.window[1])
            part = table[inside, k]
            part = part[np.isfinite(part)]
            c.zero, c.known = (float(part.mean()) if len(part) else 0.0), True
            if not len(part):
                self.without.append(c.name)
