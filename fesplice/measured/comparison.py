"""Tests laid over the prediction of their specimen: curves, bar stress along the bars, events, ratios, sentences.

Everything computed is read from the runs of the prediction at the loads of the test; everything measured from the
folder of the reduced test. Channels that the reduction calls suspect are shown as such and left out of every ratio.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.answers import Chart, Drawable, Line, Tabular
from fesplice.contracts import Floats, FolderFault, InputFault
from fesplice.measured import claims, onsets
from fesplice.measured.channels import ACCURACY
from fesplice.measured.claims import Claim, Mode, Pair, Reached
from fesplice.measured.courses import Agreement, Course, Seen, agreement, over_load, thinned
from fesplice.measured.readings import at_row, row_at
from fesplice.measured.record import CAUTION, READINGS, REDUCED, RIG, SPECIMEN, ChannelRecord, Crack, Test
from fesplice.measured.rig import Rig, gauges_of, read_rig
from fesplice.post.elevation.bars import BarProfile, face_arcs, profile
from fesplice.post.elevation.layout import layout
from fesplice.post.prediction import Prediction
from fesplice.post.readings import OFF, UNITS, GaugeTable, gauge_table, rising
from fesplice.specimen import Specimen, read
from fesplice.specimen.gauges import Gauge, arc, row_of
from fesplice.store.folder import plain

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: Shares of the test's largest load at which bar stress is laid along the bars.
ALONG = (0.5, 0.75, 1.0)
_INNER = {"": "strain", "mm": "mm", "N": "N", "deg": "deg"}


@dataclass(frozen=True)
class Point:
    """Bar stress by gauges at one place: arc from the joint face [mm], stress and standard uncertainty [MPa]."""

    gauge: str
    arc: float
    stress: float
    uncertainty: float
    doubt: str


@dataclass(frozen=True)
class Along:
    """Stress along a line of bars at a load per ram [N]: computed (n,) [MPa] over the arc (n,) [mm], and points.

    ``held`` False where the load lies above the largest of the elevation, and the computed line is that of the largest.
    """

    test: str
    line: str
    load: float
    arc: Floats
    stress: Floats
    points: tuple[Point, ...]
    held: bool


@dataclass(frozen=True)
class Ratio:
    """A quantity of the test over that of the prediction; ``inside`` the band of the prediction, None without one."""

    quantity: str
    unit: str
    test: float
    uncertainty: float
    predicted: float
    inside: bool | None
    note: str = ""

    @property
    def ratio(self) -> float:
        """Test over prediction."""
        return self.test / self.predicted if self.predicted else math.nan


@dataclass(frozen=True)
class Compared:
    """One test against the prediction. ``date`` as the rig file says it; ``remarks`` what hinders the comparison."""

    name: str
    test: Test
    date: str
    courses: tuple[Course, ...]
    along: tuple[Along, ...]
    cracks: tuple[Crack, ...]
    ratios: tuple[Ratio, ...]
    pairs: tuple[Pair, ...]
    mode: Mode
    claims: tuple[Claim, ...]
    remarks: tuple[str, ...]

    @property
    def agreements(self) -> tuple[tuple[Course, Agreement], ...]:
        """Every measured curve over the load against the computed one."""
        return tuple((c, agreement(c, s)) for c in self.courses if not c.turned for s in c.seen)


@dataclass(frozen=True)
class Comparison(Drawable, Tabular):
    """Tests of one specimen against its prediction in ``folder``.

    ``frozen``: what verifying the freeze of the prediction gave; ``age``: whether it was older than each test.
    """

    folder: str
    found: Prediction
    tests: tuple[Compared, ...]
    frozen: str
    age: tuple[str, ...]

    def __repr__(self) -> str:
        return f"Comparison({self.found.specimen}: {len(self.tests)} tests, {self.frozen})"

    def chart(self, course: str = "") -> Chart:
        """A computed course and what the tests saw of it: load over deflection unless another is named."""
        kept = [c for t in self.tests for c in t.courses]
        names = list(dict.fromkeys(c.name for c in kept))
        wanted = course or next((c.name for c in kept if c.turned), names[0] if names else "")
        chosen = [c for c in kept if c.name == wanted]
        if not chosen:
            raise InputFault("plot", f"course = {course!r}; there are {', '.join(names) or 'none'}")
        first = chosen[0]
        pairs = [("computed", first.x, first.y), *((s.name, s.x, s.y) for c in chosen for s in c.seen)]
        lines = tuple(Line(name, *((y, x) if first.turned else (x, y))) for name, x, y in pairs)
        across, up = (first.y_axis, first.x_axis) if first.turned else (first.x_axis, first.y_axis)
        return Chart(f"{self.found.specimen}: {wanted}", across, up, lines)

    def columns(self) -> dict[str, list[Any]]:
        """Test over prediction: one row per test and quantity."""
        rows = [(t.name, r) for t in self.tests for r in t.ratios]
        return {
            "test": [name for name, _ in rows], "quantity": [r.quantity for _, r in rows],
            "unit": [r.unit for _, r in rows], "measured": [r.test for _, r in rows],
            "uncertainty": [r.uncertainty for _, r in rows], "predicted": [r.predicted for _, r in rows],
            "ratio": [r.ratio for _, r in rows], "inside": [r.inside for _, r in rows],
        }  # fmt: skip

    def to_dict(self) -> dict[str, Any]:
        """All but the curves, fit for JSON; None where a value is not known."""
        rows = [
            {
                "test": t.name, "date": t.date,
                "ratios": [{**asdict(r), "ratio": r.ratio} for r in t.ratios],
                "events": [asdict(p) for p in t.pairs], "mode": asdict(t.mode),
                "sentences": [asdict(c) for c in t.claims],
                "gauges": [{"gauge": c.name, "kind": c.kind, **asdict(a)} for c, a in t.agreements],
                "remarks": list(t.remarks),
            }
            for t in self.tests
        ]  # fmt: skip
        head = {"specimen": self.found.specimen, "prediction": self.found.sentence, "frozen": self.frozen}
        return plain({"caution": CAUTION, **head, "age": list(self.age), "tests": rows})


@dataclass(frozen=True)
class _Material:
    """What a comparison of one test is made from."""

    s: Specimen
    test: Test
    rig: Rig
    gauges: Mapping[str, Gauge]
    readings: Mapping[str, Floats]
    reduced: Mapping[str, Floats]
    table: GaugeTable
    found: Prediction
    peak: int

    @property
    def load(self) -> Floats:
        return self.reduced["load_N"]

    def channels(self, kind: str) -> list[tuple[ChannelRecord, Gauge]]:
        return [(c, self.gauges[c.name]) for c in self.test.channels if self.gauges[c.name].kind == kind]

    def column(self, c: ChannelRecord) -> Floats:
        values = self.readings[f"{c.name} [{_INNER[c.unit]}]"]
        return np.radians(values) if c.unit == "deg" else values

    def doubt(self, gauge: str) -> str:
        return "; ".join(x.fault for x in self.test.suspects if x.gauge == gauge)

    def noise(self, c: ChannelRecord, value: float) -> float:
        """Standard uncertainty of a reading: accuracy of the channel and noise of one reading."""
        given = self.rig.channel[c.name].accuracy
        share = given if math.isfinite(given) else ACCURACY[self.gauges[c.name].quantity]
        return math.hypot(share * value, c.noise)


class Predicted:
    """A prediction with its runs, each step read once for all tests that are laid over it."""

    def __init__(self, found: Prediction, side: Run, top: Run | None):
        self.found, self.side, self.top = found, side, top
        self._tables: dict[tuple[str, tuple[Gauge, ...]], GaugeTable] = {}
        self._profiles: dict[tuple[int, str], BarProfile] = {}

    def table(self, s: Specimen, gauges: Sequence[Gauge]) -> GaugeTable:
        """What gauges read at every step; repeats of a test have the same."""
        key = (s.digest, tuple(gauges))
        if key not in self._tables:
            self._tables[key] = gauge_table(s, gauges, self.side, self.top)
        return self._tables[key]

    def profile(self, index: int, line: str) -> BarProfile:
        """Stress along a line of bars at a step."""
        if (index, line) not in self._profiles:
            self._profiles[index, line] = profile(self.side.mesh, self.side.step(index).fields, line)
        return self._profiles[index, line]


def compare_test(folder: str | Path, predicted: Predicted) -> Compared:
    """The test in ``folder`` over the prediction of its specimen; :class:`InputFault` for another specimen."""
    place, found, side = Path(folder), predicted.found, predicted.side
    test = Test.read(place)
    if test.specimen != found.specimen:
        raise InputFault(str(place), f"is a test of {test.specimen}; the prediction is of {found.specimen}")
    rig, s = read_rig(place / RIG), read(place / SPECIMEN)
    gauges = gauges_of(s, rig, str(place / RIG))
    table = predicted.table(s, tuple(gauges.values()))
    readings, reduced = test.series(READINGS), test.series()
    _whole(place / f"{REDUCED}.parquet", reduced, ["load_N"])
    _whole(place / f"{READINGS}.parquet", readings, ["t_s", *(f"{c.name} [{_INNER[c.unit]}]" for c in test.channels)])
    if len({len(v) for v in (*readings.values(), *reduced.values())}) != 1:
        raise FolderFault(str(place), "is damaged: readings and what was reduced from them have not the same rows")
    m = _Material(s, test, rig, gauges, readings, reduced, table, found, onsets.peak_row(reduced["load_N"]))
    reached = _reached(m)
    yielding = min(s.steel[row.steel].yield_strength for row in (s.bars.left, s.bars.right) if row is not None)
    mode = claims.mode_of(found, test, rig.test.mode, rig.test.mode_evidence, float(yielding))
    remarks = list(test.remarks)
    if found.made is not None and found.made.specimen != test.specimen_digest:
        remarks.insert(0, "the specimen file of the test differs from that of the prediction (values as built?)")
    return Compared(
        place.name, test, rig.test.date, _courses(m, side, place.name), _along(m, predicted, place.name), test.cracks,
        _ratios(m, side), claims.pairs(found, test, reached), mode, claims.claims(found, test, reached, mode),
        tuple(remarks),
    )  # fmt: skip


def _whole(path: Path, columns: Mapping[str, np.ndarray], needed: Sequence[str]) -> None:
    """Refuse a table of a test that lacks a column, or holds anything but numbers, or nothing."""
    if gone := [name for name in needed if name not in columns]:
        raise FolderFault(str(path), f"is damaged: no column {gone[0]!r}")
    if odd := [name for name, values in columns.items() if np.asarray(values).dtype.kind not in "fiu"]:
        raise FolderFault(str(path), f"is damaged: column {odd[0]!r} holds something other than numbers")
    if not all(np.isfinite(columns[name]).any() for name in needed[:1]):
        raise FolderFault(str(path), f"is damaged: column {needed[0]!r} holds nothing")


# ------------------------------------------------------------------ curves
def _courses(m: _Material, side: Run, name: str) -> tuple[Course, ...]:
    """Load over deflection, then every gauge but those of load, over the load."""
    t = m.table
    out = []
    middle = m.reduced.get("deflection_midspan_mm")
    if middle is not None:
        deflection = np.asarray(side.curve["deflection_mm"], float)
        computed = deflection - deflection[0]
        x, y = thinned(m.load / 1e3, middle)
        nothing = np.full(len(t.load), math.nan)
        low, high = _deflection_band(t, m.gauges, nothing)
        out.append(
            Course("midspan deflection", "deflection", "load per ram (kN)", "midspan deflection (mm)", t.load / 1e3,
                   computed, low, high, (Seen(name, x, y),), turned=True)
        )  # fmt: skip
    rows = rising(t.load)
    for c in m.test.channels:
        gauge = m.gauges[c.name]
        j = t.column(gauge.id)
        if _aside(m.s, gauge) or not np.isfinite(t.reading[:, j]).any():
            continue
        unit, factor = UNITS[gauge.quantity]
        x, y = over_load(m.load, m.column(c), m.peak)
        seen = Seen(name, x / 1e3, y * factor, doubt=m.doubt(gauge.id))
        out.append(
            Course(gauge.id, gauge.kind, "load per ram (kN)", unit, t.load[rows] / 1e3, t.reading[rows, j] * factor,
                   t.low[rows, j] * factor, t.high[rows, j] * factor, (seen,))
        )  # fmt: skip
    return tuple(out)


def _aside(s: Specimen, gauge: Gauge) -> bool:
    """Loads, and the settlement of supports, which stand still in the model."""
    return gauge.kind == "load" or (gauge.kind == "deflection" and abs(abs(gauge.x) - 0.5 * s.body.span) < 50.0)


def _deflection_band(t: GaugeTable, gauges: Mapping[str, Gauge], none: Floats) -> tuple[Floats, Floats]:
    """Band of the midspan deflection, from a gauge that sits there."""
    at = next((g.id for g in gauges.values() if g.kind == "deflection" and abs(g.x) < 1.0), "")
    return (t.low[:, t.column(at)], t.high[:, t.column(at)]) if at else (none, none)


def _along(m: _Material, predicted: Predicted, name: str) -> tuple[Along, ...]:
    """Stress along each line of bars at shares of the test's largest load."""
    side = predicted.side
    mesh, curve = side.mesh, np.asarray(side.curve["load_N"], float)
    laid, rows = layout(mesh), rising(curve)
    out = []
    for share in ALONG:
        row = row_at(m.load, m.peak, share)
        load = float(m.load[row])
        k = int(np.clip(np.searchsorted(curve[rows], load), 1, len(rows) - 1))
        part = float(np.clip((load - curve[rows[k - 1]]) / (curve[rows[k]] - curve[rows[k - 1]]), 0.0, 1.0))
        before, after = (side.indices[int(rows[i])] for i in (k - 1, k))
        for line in ("A", "B"):
            points = _points(m, line, row, {})
            if line not in mesh.lines or not points:
                continue
            face = face_arcs(mesh, line, laid)[0]
            own, a, b = (predicted.profile(index, line) for index in (side.indices[0], before, after))
            own_at = {p.gauge: float(np.interp(face + p.arc, own.middle, own.strain)) for p in points}
            stress = (1.0 - part) * a.stress + part * b.stress
            held = load <= float(curve.max()) * (1.0 + 1e-9)
            out.append(Along(name, line, load, a.middle - face, stress, _points(m, line, row, own_at), held))
    return tuple(out)


def _points(m: _Material, line: str, row: int, own: Mapping[str, float]) -> tuple[Point, ...]:
    """Bar stress at every gauged place of a line; both gauges of a pair are averaged. ``own`` strain by place."""
    places: dict[tuple[str, float], list[tuple[ChannelRecord, Gauge]]] = {}
    for c, g in m.channels("bar_strain"):
        if g.bar.startswith(line):
            places.setdefault((g.bar, round(arc(m.s, g), 1)), []).append((c, g))
    out = []
    for (bar, at), both in sorted(places.items()):
        bars = row_of(m.s, bar)
        values = [at_row(m.column(c), row, m.peak) for c, _ in both]
        name = " + ".join(g.id for _, g in both)
        if bars is None or not np.isfinite(values).all():
            continue
        steel = m.s.steel[bars.steel]
        strain = float(np.mean(values)) + own.get(name, 0.0)
        stress = float(steel.monotonic.fibres()(np.array([strain]))[0])
        u = float(np.sqrt(np.sum([m.noise(c, v) ** 2 for (c, _), v in zip(both, values)]))) / len(both)
        doubt = "; ".join(d for _, g in both if (d := m.doubt(g.id)))
        out.append(Point(name, at, stress, u * float(steel.elastic_modulus), doubt))
    return tuple(out)


# ------------------------------------------------------------------ what the test reached
def _reached(m: _Material) -> Reached:
    rise = slice(0, m.peak + 1)
    load = m.load[rise]

    def first(values: Floats, limit: float) -> float:
        with np.errstate(invalid="ignore"):
            rows = np.flatnonzero(values[rise] >= limit)
        return float(load[rows[0]]) if len(rows) else math.inf

    joints = [c for c, g in m.channels("joint_opening") if not m.doubt(g.id)]
    opened = min((first(m.column(c), claims.SEEN_OPEN) for c in joints), default=math.nan)
    yields = []
    for c, g in m.channels("bar_strain"):
        row = row_of(m.s, g.bar)
        if row is not None and not m.doubt(g.id) and abs(arc(m.s, g)) <= row.diameter:
            steel = m.s.steel[row.steel]
            yields.append(first(m.column(c), float(steel.yield_strength / steel.elastic_modulus)))
    stress = max((b.fibre for b in m.test.bar_stress if b.share >= 1.0), default=math.nan)
    middle = m.reduced.get("deflection_midspan_mm")
    curve = None
    if middle is not None:
        good = np.isfinite(middle[rise]) & np.isfinite(load)
        curve = (load[good], middle[rise][good])
    return Reached(
        float(m.load[m.peak]), opened if math.isfinite(opened) else math.nan,
        min((y for y in yields if math.isfinite(y)), default=math.nan), stress, curve,
    )  # fmt: skip


# ------------------------------------------------------------------ ratios
def _ratios(m: _Material, side: Run) -> tuple[Ratio, ...]:
    found, t, results = m.found, m.table, m.test.results
    low, high = found.factors
    least = "" if found.exact else "the prediction is a lower bound"
    out = []

    def put(name: str, key: str, predicted: float, band: tuple[float, float] | None, note: str = "") -> None:
        value = results.get(key)
        if value is None or not (math.isfinite(value.value) and math.isfinite(predicted)):
            return
        inside = None if band is None else bool(band[0] <= value.value and (value.value <= band[1] or bool(note)))
        out.append(Ratio(name, value.unit, value.value, value.uncertainty, predicted, inside, note))

    put("largest load per ram", "largest load", found.load, (low * found.load, high * found.load), least)
    for line in ("A", "B"):
        for place in ("joint face", "critical section"):
            put(f"bar stress {line} at the {place}", f"bar stress {line} at the {place}, at the peak",
                found.bar_stress, found.band, least)  # fmt: skip
    shows = found.expected
    if shows is not None:
        put("load at the first crack", "load: first crack", shows.first_crack,
            (OFF[0] * shows.first_crack, OFF[1] * shows.first_crack))  # fmt: skip
        put("midspan deflection at the largest load", "midspan deflection at the peak", shows.deflection, None,
            "each at its own largest load")  # fmt: skip
    deflection = np.asarray(side.curve["deflection_mm"], float)
    peak_load = float(m.load[m.peak])
    put("stiffness", "stiffness", _slope(t.load, deflection - deflection[0], peak_load), None,
        "slope of the rise from 0.2 to 0.6 of the test's largest load")  # fmt: skip
    share = min(1.0, t.largest / peak_load)
    row = row_at(m.load, m.peak, share)
    at = [min(float(m.load[row]), t.largest)]
    read, lows, highs = (t.at(at, which)[0] for which in ("reading", "low", "high"))
    for c in m.test.channels:
        gauge = m.gauges[c.name]
        j = t.column(gauge.id)
        value = at_row(m.column(c), row, m.peak)
        if _aside(m.s, gauge) or m.doubt(gauge.id) or not (math.isfinite(value) and math.isfinite(read[j])):
            continue
        unit, factor = UNITS[gauge.quantity]
        inside = bool(lows[j] <= value <= highs[j]) if math.isfinite(lows[j]) else None
        out.append(
            Ratio(f"{gauge.id} at {at[0] / 1e3:.0f} kN", unit, value * factor, m.noise(c, value) * factor,
                  float(read[j]) * factor, inside)
        )  # fmt: skip
    return tuple(out)


def _slope(load: Floats, deflection: Floats, largest: float) -> float:
    """Least squares slope of the computed rise between the same shares of the test's largest load [N/mm].

    Not a number where the computed load ends within the first quarter of that range.
    """
    rows = rising(load)
    low, high = onsets.STIFF
    end = min(high, float(load.max()) / largest)
    if end < low + 0.25 * (high - low):
        return math.nan
    at = np.linspace(low, end, 50) * largest
    return float(np.polyfit(np.interp(at, load[rows], deflection[rows]), at, 1)[0])


# ------------------------------------------------------------------ dates
def older(made: str, day: str) -> str:
    """Whether a prediction made at ``made`` (ISO time, UTC) is older than a test of ``day``, in words."""
    if not day:
        return "the rig file gives no date of the test: whether the prediction is older cannot be said"
    try:
        on = date.fromisoformat(day.strip()[:10])
    except ValueError:
        return f"the date of the test, {day!r}, is no YYYY-MM-DD: whether the prediction is older cannot be said"
    at = datetime.fromisoformat(made).date()
    if at == on:
        return f"the prediction was made on the day of the test, {day}: which came first cannot be said by the day"
    told = "older than" if at < on else "NOT older than"
    return f"the prediction of {at} is {told} the test of {on}"


def dates(tests: Sequence[Compared], made: str) -> tuple[str, ...]:
    """:func:`older` for every test, by its name."""
    return tuple(f"{t.name}: {older(made, t.date)}" for t in tests)
