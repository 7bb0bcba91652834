"""A test while it runs, against its prediction: load, bar stress, stiffness, gauges beside their band, signals.

Readings go through the rig file as in the reduction (factor, unit, sign, zero); nothing is filtered and nothing is kept
but what the screen shows. A signal says what the readings say, once; no signal says nothing about safety.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from fesplice.contracts import Floats, InputFault
from fesplice.measured.channels import FIRST, HUGE
from fesplice.measured.dialect import Dialect, find_dialect
from fesplice.measured.follow import Tail
from fesplice.measured.rig import Rig, gauges_of
from fesplice.measured.stamps import StampKind, seconds
from fesplice.measured.steel import fibre_stress
from fesplice.measured.timeline import stamps_of
from fesplice.measured.units import unit_factor
from fesplice.post.prediction import Prediction
from fesplice.post.readings import UNITS, GaugeTable
from fesplice.sizing.statics import statics
from fesplice.specimen import Specimen
from fesplice.specimen.gauges import Gauge
from fesplice.store.folder import plain

NO_SAFETY = (
    "No safety system: it shows readings beside a prediction. It stops no pump and warns nobody in time; a splice "
    "breaks without warning."
)
#: Shares of the predicted load at which a signal is given.
SHARES = (0.60, 0.80, 0.95)
#: Stiffness is lost where it falls below this share of the computed one at the same load (judgement).
LOST = 0.5
#: A point of the curve is kept for every rise of the largest load by ``RISE`` of the predicted one; stiffness is read
#: over ``OVER`` such points; a fall by ``FALLEN`` of the largest load is told (judgement).
RISE, OVER, FALLEN = 0.005, 10, 0.05
#: Readings averaged for what is shown, and most of them in a row out of the band before a gauge is called out.
MEAN, OUT = 5, 10
#: Below this share of the predicted load, and within this share of a gauge's largest expected reading of its band, a
#: gauge is not called out (zero and noise, judgement).
EARLY, SLACK = 0.05, 0.03


@dataclass(frozen=True)
class Signal:
    """Something told once: ``level`` "share", "stiffness" or "fall"; words; time [s]; load per ram [N]."""

    level: str
    text: str
    t: float
    load: float


@dataclass(frozen=True)
class Outside:
    """A gauge outside its band at the present load: reading and ends of the band in ``unit``."""

    gauge: str
    reading: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True)
class Now:
    """What the screen shows; nan where nothing is known. Loads per ram [N], stress [MPa], deflection [mm].

    ``stiffness`` over the computed one at that load; ``share`` of the predicted load; ``coming`` what the prediction
    has next and ``ahead`` how far its load lies above; ``readings`` so far, ``passed`` lines that were none, ``begun``
    how often the log began anew.
    """

    state: str
    t: float
    load: float
    largest: float
    share: float
    bar_stress: float
    deflection: float
    stiffness: float
    outside: tuple[Outside, ...]
    gauges: int
    coming: str
    ahead: float
    signals: tuple[Signal, ...]
    readings: int
    passed: int
    begun: int

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {"caution": NO_SAFETY, **plain(asdict(self))}


@dataclass
class _Channel:
    name: str
    gauge: Gauge
    place: int = -1
    per: float = 1.0
    zero: float = 0.0
    window: tuple[float, float] | None = None
    known: bool = False


class Live:
    """A test as far as its log goes; ``look`` reads what is new and answers what the screen shows."""

    def __init__(
        self, log: str | Path, rig: Rig, s: Specimen, found: Prediction, table: GaugeTable, source: str = "rig"
    ):
        self.path, self.rig, self.specimen, self.found, self.table = Path(log), rig, s, found, table
        self.gauges: Mapping[str, Gauge] = gauges_of(s, rig, source)
        self.tail: Tail | None = None
        self._statics = next(iter(statics(s).values()))
        self._channels = [_Channel(n, g) for n, g in self.gauges.items() if rig.channel[n].use]
        self._dialect: Dialect | None = None
        self._kind = StampKind("rows")
        self._start = math.nan
        self.rows = self.passed = self.begun = 0
        self._held: list[tuple[float, Floats]] = []
        self._without: list[str] = []
        self._here: list[_Channel] = []
        self._last: deque[Floats] = deque(maxlen=MEAN)
        self._t = math.nan
        self._largest = 0.0
        self._at_largest = math.nan
        self._points: list[tuple[float, float]] = []
        self._since_out: dict[str, int] = {}
        self._signals: list[Signal] = []
        self._told: set[str] = set()
        self._computed = _computed(table, self.gauges)

    # -------------------------------------------------------------- reading
    def look(self) -> Now:
        """Read what is new."""
        if self.tail is None and not self._open():
            return self._now("waiting for readings")
        assert self.tail is not None
        more = True
        while more:
            grown = self.tail.look()
            if grown.anew:
                self._anew()
            self._take(grown.lines)
            more = grown.more
        return self._now("the log is gone; waiting for it" if self.tail.gone else "following")

    def close(self) -> None:
        """Let the log go."""
        if self.tail is not None:
            self.tail.close()

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
        here = [c for c in self._channels if c.name in dialect.names]
        if not any(c.gauge.kind == "load" for c in here):
            loads = ", ".join(c.name for c in self._channels if c.gauge.kind == "load")
            raise InputFault(str(self.path), f"no column reads the load ({loads}); columns: {', '.join(dialect.names)}")
        for c in here:
            c.place = dialect.names.index(c.name)
            given = self.rig.channel[c.name]
            unit = given.unit or dialect.units[c.place]
            c.per = given.factor * unit_factor(unit, c.gauge.quantity) * given.sign
            window = given.zero_window or self.rig.test.zero_window
            c.window = window if window[1] > 0.0 else None
            c.known = given.zero == "none"
        self._here = here
        self._dialect, self._kind = dialect, kind
        self.tail = Tail(self.path, dialect.encoding)
        return True

    def _anew(self) -> None:
        """The log was replaced or cut: zeros and the largest load stay, they are of the same test."""
        self.begun += 1

    def _take(self, lines: Sequence[str]) -> None:
        assert self._dialect is not None
        cells = [self._dialect.split(line) for line in lines]
        good = [row for row in cells if self._dialect.is_reading(row)]
        self.passed += sum(bool(row) for row in cells) - len(good)
        if not good:
            return
        for t, row in zip(self._times(good), good, strict=True):
            values = np.array([self._number(row[c.place]) * c.per for c in self._here])
            self.rows += 1
            self._reading(float(t), values)

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

    def _reading(self, t: float, values: Floats) -> None:
        """One line: held back until every zero is known, then counted."""
        if not all(c.known for c in self._here):
            self._held.append((t, values))
            self._zero(t)
            if not all(c.known for c in self._here):
                return
            held, self._held = self._held, []
            for before, row in held:
                self._count(before, row)
            return
        self._count(t, values)

    def _zero(self, t: float) -> None:
        """Zeros of the channels whose window has passed: mean of the readings in it, as the reduction takes it."""
        times = np.array([at for at, _ in self._held])
        table = np.array([row for _, row in self._held])
        for k, c in enumerate(self._here):
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
                self._without.append(c.name)

    def _count(self, t: float, values: Floats) -> None:
        values = values - np.array([c.zero for c in self._here])
        self._last.append(values)
        self._t = t
        mean = self._mean()
        load = self._load(mean)
        if not math.isfinite(load):
            return
        if load > self._largest:
            self._largest = load
            self._at_largest = self._deflection(mean)
        self._watch(t, load, mean)

    # -------------------------------------------------------------- what readings say
    def _mean(self) -> Floats:
        table = np.array(self._last)
        with np.errstate(invalid="ignore"):
            count = np.isfinite(table).sum(axis=0)
            return np.where(count > 0, np.nansum(table, axis=0) / np.maximum(count, 1), np.nan)

    def _load(self, mean: Floats) -> float:
        found = [mean[k] for k, c in enumerate(self._here) if c.gauge.kind == "load" and math.isfinite(mean[k])]
        return float(np.mean(found)) if found else math.nan

    def _deflection(self, mean: Floats) -> float:
        """Midspan deflection less the settlement of the supports where it is read."""
        half = 0.5 * self.specimen.body.span
        middle = [mean[k] for k, c in enumerate(self._here) if c.gauge.kind == "deflection" and abs(c.gauge.x) < 1.0]
        ends = [
            mean[k] for k, c in enumerate(self._here)
            if c.gauge.kind == "deflection" and abs(abs(c.gauge.x) - half) < 50.0 and math.isfinite(mean[k])
        ]  # fmt: skip
        return float(np.mean(middle) - (np.mean(ends) if ends else 0.0)) if middle else math.nan

    def _watch(self, t: float, load: float, mean: Floats) -> None:
        """Signals: shares of the predicted load, loss of stiffness, a load that falls."""
        for share in SHARES:
            if load >= share * self.found.load:
                self._tell("share", f"{100 * share:.0f} % of the predicted load", t, load)
        deflection = self._deflection(mean)
        step = RISE * self.found.load
        if math.isfinite(deflection) and (not self._points or load >= self._points[-1][0] + step):
            self._points.append((load, deflection))
        if (now := self._stiffness()) < LOST:
            self._tell("stiffness", f"stiffness {now:.2f} of the computed one at this load", t, load)
        if self._creeps(load, deflection):
            self._tell("stiffness", "deflection grows while the load does not", t, load)
        if load < (1.0 - FALLEN) * self._largest and self._largest > EARLY * self.found.load:
            # taken back by the pump, the deflection falls with the load
            back = math.isfinite(deflection) and deflection < 0.97 * self._at_largest
            if not back:
                self._tell("fall", f"load down by {100 * (1 - load / self._largest):.0f} % of its largest", t, load)

    def _creeps(self, load: float, deflection: float) -> bool:
        if not (math.isfinite(deflection) and math.isfinite(self._at_largest) and self._largest > 0.0):
            return False
        if load < (1.0 - FALLEN) * self._largest or self._largest < 4.0 * EARLY * self.found.load:
            return False
        allowed = 0.1 * max(self._computed_at(self.found.load), 1.0)
        return deflection > self._at_largest + allowed

    def _computed_at(self, load: float) -> float:
        x, y = self._computed
        return float(np.interp(load, x, y)) if len(x) else math.nan

    def _stiffness(self) -> float:
        """Slope of the last points of the curve over that of the computed curve between the same loads; nan before."""
        if len(self._points) <= OVER or not len(self._computed[0]):
            return math.nan
        (p0, d0), (p1, d1) = self._points[-1 - OVER], self._points[-1]
        computed = self._computed_at(p1) - self._computed_at(p0)
        if p1 > self._computed[0][-1]:
            return math.nan
        # what the model has stiff may be a little softer: a step of the computed curve is not read to its last micron
        least = 0.01 * max(self._computed_at(self.found.load), 1.0)
        return max(computed, least) / max(d1 - d0, 1e-9) if d1 - d0 > least else math.nan

    def _tell(self, level: str, text: str, t: float, load: float) -> None:
        key = text if level == "share" else level
        if key not in self._told:
            self._told.add(key)
            self._signals.append(Signal(level, text, t, load))

    def _outside(self, load: float, mean: Floats) -> tuple[Outside, ...]:
        if not load > EARLY * self.found.load or load > self.table.largest:
            return ()
        low, high = (self.table.at([load], which)[0] for which in ("low", "high"))
        out = []
        for k, c in enumerate(self._here):
            j = self.table.column(c.gauge.id)
            slack = SLACK * float(np.nanmax(np.abs(self.table.high[:, j]), initial=0.0))
            value = float(mean[k])
            if c.gauge.kind == "load" or not (math.isfinite(value) and math.isfinite(low[j])):
                continue
            if low[j] - slack <= value <= high[j] + slack:
                self._since_out.pop(c.gauge.id, None)
                continue
            first = self._since_out.setdefault(c.gauge.id, self.rows)
            if self.rows - first >= OUT:
                unit, factor = UNITS[c.gauge.quantity]
                out.append(Outside(c.gauge.id, value * factor, float(low[j]) * factor, float(high[j]) * factor, unit))
        return tuple(out)

    def _coming(self, load: float) -> tuple[str, float]:
        """What the prediction has next above the largest load so far, and how far off it is [N]."""
        shows = self.found.expected
        ahead = [] if shows is None else [(h.load, f"{h.view}: {h.what}") for h in shows.happenings]
        if shows is not None:
            ahead.append((shows.first_crack, "first crack"))
        ahead.append((self.found.load, f"predicted failure: {self.found.headline}"))
        after = min((e for e in ahead if e[0] > load), default=None)
        return ("", math.nan) if after is None else (after[1], after[0] - load)

    def _now(self, state: str) -> Now:
        if not self._last:
            held = len(self._held)
            state = f"{state}; zero is being read ({held} readings)" if held else state
            coming, ahead = self._coming(0.0)
            nan = math.nan
            return Now(
                state, nan, nan, nan, nan, nan, nan, nan, (), 0, coming, ahead, (), self.rows, self.passed, self.begun
            )
        if self._without:
            state += f"; NO ZERO was read for {', '.join(self._without)}"
        mean = self._mean()
        load = self._load(mean)
        st = self._statics
        moment = load * (st.moment_of_load(1.0) - st.moment_of_load(0.0)) + st.own_moment(st.face)
        stress = float(fibre_stress(st, np.array([moment]))[0]) if math.isfinite(load) else math.nan
        count = sum(c.gauge.kind != "load" for c in self._here)
        coming, ahead = self._coming(self._largest)
        return Now(
            state, self._t, load, self._largest, load / self.found.load, stress, self._deflection(mean),
            self._stiffness(), self._outside(load, mean), count, coming, ahead, tuple(self._signals),
            self.rows, self.passed, self.begun,
        )  # fmt: skip


def _computed(table: GaugeTable, gauges: Mapping[str, Gauge]) -> tuple[Floats, Floats]:
    """Loads and midspan deflections of the prediction up to its largest load; empty where no gauge sits there."""
    at = next((g.id for g in gauges.values() if g.kind == "deflection" and abs(g.x) < 1.0), None)
    if at is None:
        return np.zeros(0), np.zeros(0)
    from fesplice.post.readings import rising

    rows = rising(table.load)
    return table.load[rows], table.reading[rows, table.column(at)]
