"""Virtual gauges: what a strain gauge or a displacement sensor will read, and where a gauge reads best.

A gauge averages the bar's strain over its length. Readings are zeroed in the state under own weight
(step 0), as on the day. A good place has a high signal, changes little when the gauge sits a few
millimetres off, and is clear of cracks, at which a gauge reads high and bond is disturbed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import Mesh
from fesplice.post.concrete import VISIBLE, crack_pattern
from fesplice.post.elevation.bars import BarProfile, arc_at, face_arcs, profile
from fesplice.post.elevation.layout import Layout, layout, main_lines, stations_of
from fesplice.post.points import Fields

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: Length of an ordinary gauge [mm], and how far it may sit from its mark [mm] (common practice, no source).
GAUGE, OFF = 5.0, 5.0
#: Half of the stretch searched round a wanted place, in bar diameters; within its own zone of the bar.
SEARCH = 1.5
#: Readings below this are lost in drift and bending (judgement).
SMALL = 50e-6
#: A gauge within this many bar diameters of a crack reads the crack (judgement).
CLEAR = 1.5


@dataclass(frozen=True)
class Gauge:
    """A gauge on a bar line: place wanted, place advised (both x, y [mm]) and what it will read.

    ``strain`` (n,) at the loads asked for [-], from zero under own weight; ``change`` share by which the reading
    changes when it sits ``OFF`` mm away, ``to_crack`` distance to the nearest visible crack [mm] (infinite without).
    """

    name: str
    line: str
    role: str
    wanted: tuple[float, float]
    xy: tuple[float, float]
    moved: float
    strain: Floats
    change: float
    to_crack: float
    advice: str


@dataclass(frozen=True)
class Sensor:
    """A displacement sensor and its readings (n,) [mm] at the loads, from zero under own weight."""

    name: str
    place: str
    reading: Floats


@dataclass(frozen=True)
class Readings:
    """Readings of a run at ``loads`` [N] per ram; a load above ``reached`` is read at the largest load."""

    loads: tuple[float, ...]
    reached: float
    gauges: tuple[Gauge, ...]
    sensors: tuple[Sensor, ...]


def mean_strain(state: BarProfile, arc: float, length: float = GAUGE) -> float:
    """Mean strain of a bar over a gauge of ``length`` centred at ``arc`` [mm]; straight between elements."""
    at = arc + 0.5 * length * np.linspace(-1.0, 1.0, 21)
    values = np.interp(at, state.middle, state.strain)
    return float(np.trapezoid(values, at) / length)


def read_gauges(run: Run, loads: Sequence[float], length: float = GAUGE) -> Readings:
    """Gauges and sensors of a run at the loads per ram [N].

    Loads are looked up on the way to the largest one, between steps on a straight line.
    """
    curve, mesh = run.curve, run.mesh
    load = np.asarray(curve["load_N"], float)
    peak = int(np.nanargmax(load))
    rows = [_between(load[: peak + 1], wanted) for wanted in loads]
    needed = sorted({0, *(k for k, _ in rows), *(min(k + 1, peak) for k, _ in rows)})
    fields = {k: run.step(run.indices[k]).fields for k in needed}

    def blend(values: dict[int, Floats]) -> Floats:
        out = [(1.0 - t) * values[k] + t * values[min(k + 1, peak)] - values[0] for k, t in rows]
        return np.array(out)

    plan = layout(mesh)
    cracked = fields[rows[-1][0]] if rows else fields[0]
    gauges = [*_bar_gauges(mesh, plan, fields, blend, cracked, length), *_legs(mesh, plan, fields, blend, length)]
    sensors = _sensors(run, mesh, plan, fields, blend, rows, peak)
    return Readings(tuple(loads), float(load[peak]), tuple(gauges), tuple(sensors))


def _between(load: Floats, wanted: float) -> tuple[int, float]:
    """Row and share of the way to the next at which ``wanted`` is first reached; the last row above all loads."""
    above = np.flatnonzero(load >= wanted)
    if not len(above):
        return len(load) - 1, 0.0
    k = int(above[0])
    if k == 0:
        return 0, 0.0
    step = load[k] - load[k - 1]
    return k - 1, float((wanted - load[k - 1]) / step) if step > 0.0 else 1.0


# ------------------------------------------------------------------ main bars
def _bar_gauges(mesh: Mesh, plan: Layout, fields, blend, cracked: Fields, length: float) -> list[Gauge]:
    found = []
    cracks = crack_pattern(mesh, cracked, VISIBLE)
    for name, line in main_lines(mesh).items():
        states = {k: profile(mesh, f, name) for k, f in fields.items()}
        xy = states[0].xy
        near = [p for p in cracks.xy if np.hypot(*(xy - p).T).min() <= 1.5 * line.diameter]
        spots = np.array([arc_at(mesh, name, (float(p[0]), float(p[1]))) for p in near] + [
            a for a in face_arcs(mesh, name, plan) if plan.joints
        ])  # fmt: skip
        for label, wanted in _places(mesh, name, plan):
            found.append(_advised(name, label, wanted, states, spots, blend, length, line.diameter))
    return found


def _places(mesh: Mesh, line: str, plan: Layout) -> list[tuple[str, float]]:
    """Names and arc lengths of the places every main line is gauged at."""
    faces = face_arcs(mesh, line, plan)
    places = [("joint face" if plan.joints else "critical section", faces[0])]
    at = {k: arc_at(mesh, line, s.xy) for k, s in stations_of(mesh, line).items()}
    anchor = plan.anchors.get(line)
    if at:
        places += [("mid lead", at["lead"]), ("tangent point", at["tangent"]), ("mid bend", at["mid-bend"])]
        places += [("tail", 0.5 * (at["bend-end"] + at["tail-end"]))]
    elif anchor is not None:
        end = arc_at(mesh, line, (anchor.tip, anchor.level))
        places += [("mid lap", 0.5 * (faces[0] + end)), ("near the end", faces[0] + 0.85 * (end - faces[0]))]
    elif len(faces) > 1:
        places += [("midspan", 0.5 * (faces[0] + faces[1])), ("other joint face", faces[1])]
    return places


def _advised(
    line: str, label: str, wanted: float, states: dict[int, BarProfile], spots: Floats, blend, length: float, d: float
) -> Gauge:
    """The best place within ``SEARCH`` diameters of the wanted one, by the reading at the last load."""
    one = states[0]
    span = wanted + d * np.linspace(-SEARCH, SEARCH, 41)
    span = np.unique(np.clip(span, one.middle[0] + OFF, one.middle[-1] - OFF))
    # a gauge of the bend that slid into the lead would no longer be one
    zone = one.zone[np.abs(one.arc[:, None] - span).argmin(axis=0)]
    own = int(one.zone[np.abs(one.arc - wanted).argmin()])

    def read(arc: float) -> Floats:
        return blend({k: np.array(mean_strain(s, arc, length)) for k, s in states.items()})

    values = np.array([read(a)[-1] for a in span])
    slope = np.abs(np.gradient(values, span, edge_order=1)) if len(span) > 1 else np.zeros(1)
    top = max(float(np.abs(values).max()), 1e-9)
    change = OFF * slope / np.maximum(np.abs(values), 0.02 * top)
    gap = np.abs(span[:, None] - spots).min(axis=1) if len(spots) else np.full(len(span), np.inf)
    # some signal, little change when the gauge sits off its mark, room to the next crack, near the wanted place
    score = np.sqrt(np.abs(values) / top) / (1.0 + 10.0 * change) * np.clip(0.2 + 0.8 * gap / (CLEAR * d), 0.2, 1.0)
    score *= (1.0 - 0.4 * np.abs(span - wanted) / (SEARCH * d)) * (zone == own)
    k = int(np.argmax(score))
    places = [_at(one, float(a)) for a in (wanted, span[k])]
    moved = float(span[k] - wanted)
    return Gauge(
        f"{line} {label}", line, "bar", places[0], places[1], moved, read(float(span[k])), float(change[k]),
        float(gap[k]), _words(label, moved, float(change[k]), float(gap[k]), d, top),
    )  # fmt: skip


def _at(state: BarProfile, arc: float) -> tuple[float, float]:
    """Place (x, y) [mm] at an arc length."""
    return float(np.interp(arc, state.arc, state.xy[:, 0])), float(np.interp(arc, state.arc, state.xy[:, 1]))


def _words(label: str, moved: float, change: float, gap: float, d: float, top: float) -> str:
    out = []
    if abs(moved) > 4.0:
        out.append(f"{abs(moved):.0f} mm along the bar from the mark")
    out.append(f"changes {100.0 * change:.0f} % in {OFF:.0f} mm" if top >= SMALL else "small reading")
    if gap < CLEAR * d:
        out.append(f"{gap:.0f} mm from a crack: reads high once it opens")
    if label == "mid bend":
        out.append("use a pair: the bend also bends")
    return "; ".join(out)


# ------------------------------------------------------------------ legs across the bars
def _legs(mesh: Mesh, plan: Layout, fields, blend, length: float) -> list[Gauge]:
    """Confinement legs, and the first stirrup of each half: where they work hardest at the last load."""
    names = [n for n, line in mesh.lines.items() if line.role == "confinement"]
    found = []
    for name in _hardest(mesh, names, fields):
        states = {k: profile(mesh, f, name) for k, f in fields.items()}
        last = max(states)
        inner = slice(1, -1) if len(states[last].middle) > 3 else slice(None)
        arc = float(states[last].middle[inner][np.argmax(np.abs(states[last].strain[inner]))])
        strain = blend({k: np.array(mean_strain(s, arc, length)) for k, s in states.items()})
        one = states[0]
        xy = _at(one, arc)
        text = "small until the splitting crack, then it jumps"
        found.append(Gauge(f"leg {name}", name, "leg", xy, xy, 0.0, strain, 0.0, np.inf, text))
    return found


def _hardest(mesh: Mesh, names: list[str], fields) -> list[str]:
    """Up to three legs with the largest strain at the last load."""
    last = fields[max(fields)]

    def work(name: str) -> float:
        return float(np.abs(profile(mesh, last, name).strain).max())

    chosen = sorted(names, key=work, reverse=True)[:3]
    return sorted(chosen, key=lambda n: float(mesh.points[mesh.lines[n].nodes, 0][0]))


# ------------------------------------------------------------------ displacement sensors
def _sensors(run: Run, mesh: Mesh, plan: Layout, fields, blend, rows, peak: int) -> list[Sensor]:
    curve = run.curve

    def column(name: str) -> Floats:
        values = np.asarray(curve[name], float)
        return np.array([(1 - t) * values[k] + t * values[min(k + 1, peak)] - values[0] for k, t in rows])

    out = [Sensor("midspan deflection", "soffit at x = 0", column("deflection_mm"))]
    out.append(Sensor("deflection at the loads", "mean of the load points", column("load_point_mm")))
    for side in ("left", "right"):
        if plan.joints:
            x = plan.joints[0 if side == "left" else -1]
            out.append(Sensor(f"{side} joint opening", f"across x = {x:.0f}, tension face", column(f"joint_{side}_mm")))
    base = 0.5 * (plan.y[1] - plan.y[0])
    for face, y in (("tension", plan.y[0]), ("compression", plan.y[1])):
        ends = [_nearest(mesh, sign * base, y) for sign in (-1.0, 1.0)]
        n = len(mesh.points)
        values = {k: np.array(_longer(f["u"], ends, n)) for k, f in fields.items()}
        length = float(mesh.points[ends[1], 0] - mesh.points[ends[0], 0])
        out.append(Sensor(f"curvature pair, {face} face", f"base {length:.0f} mm about x = 0", blend(values)))
    return out


def _nearest(mesh: Mesh, x: float, y: float) -> int:
    return int(np.argmin(np.hypot(*(mesh.points - (x, y)).T)))


def _longer(u: Floats, ends: list[int], n: int) -> float:
    along = np.asarray(u[: 2 * n : 2], float)
    return float(along[ends[1]] - along[ends[0]])
