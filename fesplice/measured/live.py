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

from fesplice.contracts import Floats
from fesplice.measured.rig import Rig, gauges_of
from fesplice.measured.source import Channel
from fesplice.measured.steel import fibre_stress
from fesplice.measured.stream import Stream
from fesplice.measured.usual import doubts
from fesplice.post.prediction import Prediction
from fesplice.post.readings import UNITS, GaugeTable, rising
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
    how often a log began anew.
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


class Computed:
    """Midspan deflection [mm] of the prediction over the load [N] up to its largest; empty without a gauge there."""

    def __init__(self, table: GaugeTable, gauges: Mapping[str, Gauge], predicted: float):
        at = next((g.id for g in gauges.values() if g.kind == "deflection" and abs(g.x) < 1.0), None)
        rows = rising(table.load) if at is not None else []
        self.load = np.asarray(table.load[rows] if at is not None else [], float)
        self.deflection = np.asarray(table.reading[rows, table.column(at)] if at is not None else [], float)
        self.predicted = max(self.at(predicted), 1.0) if len(self.load) else math.nan

    def at(self, load: float) -> float:
        """Deflection at a load; nan without a curve."""
        return float(np.interp(load, self.load, self.deflection)) if len(self.load) else math.nan

    def stiffness(self, points: Sequence[tuple[float, float]]) -> float:
        """Slope of the last measured points (load, deflection) over the computed one at the same loads; nan before.

        What the model has stiff may be a little softer: less than a hundredth of the deflection at the predicted load
        is not told apart.
        """
        if len(points) <= OVER or not len(self.load) or points[-1][0] > self.load[-1]:
            return math.nan
        (p0, d0), (p1, d1) = points[-1 - OVER], points[-1]
        least = 0.01 * self.predicted
        return max(self.at(p1) - self.at(p0), least) / (d1 - d0) if d1 - d0 > least else math.nan


class Live:
    """A test as far as its logs go; ``look`` reads what is new and answers what the screen shows."""

    def __init__(
        self,
        logs: Sequence[Path],
        rig: Rig,
        s: Specimen,
        found: Prediction,
        table: GaugeTable,
        source: str = "rig",
    ):
        self.specimen, self.found, self.table = s, found, table
        self.gauges: Mapping[str, Gauge] = gauges_of(s, rig, source)
        self.doubts = doubts(rig, self.gauges)
        self.stream = Stream(logs, rig, [Channel(n, g) for n, g in self.gauges.items() if rig.channel[n].use])
        self._statics = next(iter(statics(s).values()))
        self._last: deque[Floats] = deque(maxlen=MEAN)
        self._t = math.nan
        self._largest = 0.0
        self._at_largest = math.nan
        self._points: list[tuple[float, float]] = []
        self._since_out: dict[str, int] = {}
        self._signals: list[Signal] = []
        self._told: set[str] = set()
        self._computed = Computed(table, self.gauges, found.load)

    # -------------------------------------------------------------- reading
    def look(self, last: bool = False) -> Now:
        """Read what is new; ``last``: without waiting for a logger that lags."""
        for t, values in self.stream.look(last):
            self._count(t, values)
        return self._now(self.stream.state)

    def close(self) -> None:
        """Let the log go."""
        self.stream.close()

    def _count(self, t: float, values: Floats) -> None:
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
        found = [
            mean[k] for k, c in enumerate(self.stream.channels) if c.gauge.kind == "load" and math.isfinite(mean[k])
        ]
        return float(np.mean(found)) if found else math.nan

    def _deflection(self, mean: Floats) -> float:
        """Midspan deflection less the settlement of the supports where it is read."""
        half = 0.5 * self.specimen.body.span
        read = [(abs(c.gauge.x), mean[k]) for k, c in enumerate(self.stream.channels) if c.gauge.kind == "deflection"]
        middle = [v for x, v in read if x < 1.0]
        ends = [v for x, v in read if abs(x - half) < 50.0 and math.isfinite(v)]
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
        if (now := self._computed.stiffness(self._points)) < LOST:
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
        return deflection > self._at_largest + 0.1 * self._computed.predicted

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
        for k, c in enumerate(self.stream.channels):
            j = self.table.column(c.gauge.id)
            slack = SLACK * float(np.nanmax(np.abs(self.table.high[:, j]), initial=0.0))
            value = float(mean[k])
            if c.gauge.kind == "load" or not (math.isfinite(value) and math.isfinite(low[j])):
                continue
            if low[j] - slack <= value <= high[j] + slack:
                self._since_out.pop(c.gauge.id, None)
                continue
            first = self._since_out.setdefault(c.gauge.id, self.stream.rows)
            if self.stream.rows - first >= OUT:
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
        counts = self.stream.rows, self.stream.passed, self.stream.begun
        if not self._last:
            held = len(self.stream.held)
            state = f"{state}; zero is being read ({held} readings)" if held else state
            coming, ahead = self._coming(0.0)
            nan = math.nan
            return Now(state, nan, nan, nan, nan, nan, nan, nan, (), 0, coming, ahead, (), *counts)
        if self.stream.without:
            state += f"; NO ZERO was read for {', '.join(self.stream.without)}"
        mean = self._mean()
        load = self._load(mean)
        st = self._statics
        moment = load * (st.moment_of_load(1.0) - st.moment_of_load(0.0)) + st.own_moment(st.face)
        stress = float(fibre_stress(st, np.array([moment]))[0]) if math.isfinite(load) else math.nan
        count = sum(c.gauge.kind != "load" for c in self.stream.here)
        coming, ahead = self._coming(self._largest)
        return Now(
            state, self._t, load, self._largest, load / self.found.load, stress, self._deflection(mean),
            self._computed.stiffness(self._points), self._outside(load, mean), count, coming, ahead,
            tuple(self._signals), *counts,
        )  # fmt: skip
