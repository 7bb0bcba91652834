"""What every gauge of a specimen reads at every step of a prediction, with its band: the table gauges.csv.

Readings come from the elevation, zeroed under own weight (step 0); steel across the bars from the coupled plan at the
bar stress of the step. The band of a reading at a load P takes the load at which the model cracks, slips and opens
to be off by a factor f within ``OFF``: it reads the computed curve at P / f, so from P / 1.2 to P / 0.8.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats, FolderFault, Ints
from fesplice.mesh import BEND, Mesh
from fesplice.post.elevation.bars import BarProfile, face_arcs, profile
from fesplice.post.elevation.gauges import GAUGE, mean_strain
from fesplice.post.elevation.layout import Layout, layout
from fesplice.post.plan.layout import plan_layout
from fesplice.post.points import Fields, concrete_groups
from fesplice.post.runs import bar_columns
from fesplice.specimen.gauges import Gauge, arc
from fesplice.store.folder import reason

if TYPE_CHECKING:
    from fesplice.specimen.schema import Specimen
    from fesplice.store.run import Run

#: File of the table in the folder of a prediction.
GAUGES = "gauges.csv"
#: Units that people read gauges in, and how many of them an inner unit is.
UNITS = {"strain": ("microstrain", 1e6), "length": ("mm", 1.0), "force": ("kN", 1e-3), "angle": ("mrad", 1e3)}
#: Ends of the factor by which loads of events below the strength may be off: judgement values of the plan, one at a
#: time, move it by -15 to +22 % (models/studies/TRENDS.md). The strength scatters more (post/scatter.py).
OFF = (0.8, 1.2)
#: Points at which the band looks along the curve between both ends.
_BETWEEN = 9


@dataclass(frozen=True)
class GaugeTable:
    """Readings of gauges ``ids`` (m,) over the steps (n,): load per ram [N], bar stress [MPa] at the joint face.

    ``reading``, ``low``, ``high`` (n, m) in inner units (strain, mm, N, rad); nan where a view does not show it.
    ``quantities`` (m,) kinds of value; ``sources`` (m,) what each is read from.
    """

    step: Ints
    load: Floats
    bar_stress: Floats
    ids: tuple[str, ...]
    quantities: tuple[str, ...]
    sources: tuple[str, ...]
    reading: Floats
    low: Floats
    high: Floats

    def column(self, gauge: str) -> int:
        """Place of a gauge; KeyError where it is not in the table."""
        if gauge not in self.ids:
            raise KeyError(gauge)
        return self.ids.index(gauge)

    def at(self, loads: Sequence[float] | Floats, which: str = "reading") -> Floats:
        """``reading``, ``low`` or ``high`` (k, m) where the loads [N] are first reached; nan above the largest."""
        rows, wanted = rising(self.load), np.asarray(loads, float)
        values = getattr(self, which)
        out = np.array([np.interp(wanted, self.load[rows], v[rows], right=math.nan) for v in values.T])
        return out.reshape(len(self.ids), len(wanted)).T

    @property
    def largest(self) -> float:
        """Largest load [N] per ram of the elevation."""
        return float(np.nanmax(self.load))

    # -------------------------------------------------------------- file
    def to_csv(self) -> str:
        """One line per step; every gauge has its reading, and the low and high end of its band."""
        text = io.StringIO()
        out = csv.writer(text, lineterminator="\n")
        heads = ["step", "load_N", "bar_stress_MPa"]
        for name, quantity in zip(self.ids, self.quantities, strict=True):
            heads += [f"{name}{end} [{UNITS[quantity][0]}]" for end in ("", " low", " high")]
        out.writerow(heads)
        factors = [UNITS[q][1] for q in self.quantities]
        for k, step in enumerate(self.step):
            cells = [f"{step}", f"{self.load[k]:.1f}", f"{self.bar_stress[k]:.3f}"]
            for j, factor in enumerate(factors):
                cells += [_cell(v[k, j] * factor) for v in (self.reading, self.low, self.high)]
            out.writerow(cells)
        return text.getvalue()

    @classmethod
    def read(cls, folder: str | Path) -> GaugeTable:
        """The table in the folder of a prediction. Raises :class:`FolderFault` where there is none or it is damaged."""
        path = Path(folder) / GAUGES
        try:
            with path.open(encoding="utf-8", newline="") as stream:
                heads, *rows = list(csv.reader(stream))
        except FileNotFoundError:
            raise FolderFault(str(folder), f"holds no {GAUGES}: predict the specimen with its gauges") from None
        except (OSError, ValueError, csv.Error) as error:
            raise FolderFault(str(path), f"cannot be read: {reason(error)}") from error
        try:
            values = [[float(c) if c else math.nan for c in row] for row in rows]
            table = np.array(values, float).reshape(-1, len(heads))
            named = [re.fullmatch(r"(.*) \[(\w+)\]", h) for h in heads[3::3]]
            kinds = {unit: kind for kind, (unit, _) in UNITS.items()}
            ids = tuple(m[1] for m in named if m is not None)
            quantities = tuple(kinds[m[2]] for m in named if m is not None)
            if heads[:3] != ["step", "load_N", "bar_stress_MPa"] or 3 * len(ids) + 3 != len(heads):
                raise ValueError("its header is not that of a table of gauges")
        except (KeyError, ValueError) as error:
            raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
        factor = np.array([UNITS[q][1] for q in quantities])
        parts = [table[:, 3 + k :: 3] / factor for k in range(3)]
        return cls(table[:, 0].astype(np.int32), table[:, 1], table[:, 2], ids, quantities, ("",) * len(ids), *parts)


def _cell(value: float) -> str:
    return f"{value:.6g}" if math.isfinite(value) else ""


def rising(load: Floats) -> Ints:
    """Rows whose load was never reached before: what an interpolation over the load needs."""
    highest = np.maximum.accumulate(np.asarray(load, float))
    return np.concatenate([[0], np.flatnonzero(np.diff(highest) > 0.0) + 1]).astype(np.int32)


def with_band(
    load: Floats, reading: Floats, factors: tuple[float, float], certain: Sequence[bool]
) -> tuple[Floats, Floats]:
    """Band (n, m) of readings (n, m) at loads (n,) for a strength off by a factor between ``factors``.

    Rows behind the largest load have none, and columns that are ``certain`` (m,), the load itself, none but themselves.
    """
    rows = rising(load)
    low, high = np.full_like(reading, math.nan), np.full_like(reading, math.nan)
    shares = 1.0 / np.linspace(factors[1], factors[0], _BETWEEN)
    for j, fixed in enumerate(certain):
        values = reading[rows, j]
        if fixed:
            low[rows, j] = high[rows, j] = values
            continue
        seen = np.array([np.interp(load[rows] * s, load[rows], values) for s in shares])
        low[rows, j], high[rows, j] = np.minimum(seen.min(axis=0), values), np.maximum(seen.max(axis=0), values)
    return low, high


def gauge_table(
    s: Specimen, gauges: Sequence[Gauge], side: Run, top: Run | None, factors: tuple[float, float] = OFF
) -> GaugeTable:
    """Read ``gauges`` of the specimen at every step of the elevation ``side`` and the coupled plan ``top``.

    ``factors``: ends of the factor that the band of a reading takes.
    """
    mesh, curve = side.mesh, side.curve
    laid = layout(mesh)
    readers = [_reader(s, g, mesh, laid) for g in gauges]
    rows = []
    for step in side.steps():
        state = _State(mesh, step.fields)
        rows.append([r(state) if r is not None else math.nan for r, _ in readers])
    reading = np.array(rows, float).reshape(len(rows), len(gauges))
    load = np.asarray(curve["load_N"], float)
    stress = np.max(list(bar_columns(curve).values()), axis=0)
    sources = [where for _, where in readers]
    for j, g in enumerate(gauges):
        if g.kind == "load":
            reading[:, j] = load
        elif g.kind == "deflection" and abs(g.x) < 1e-6 and g.face != "compression":
            reading[:, j] = np.asarray(curve["deflection_mm"], float)
        elif g.kind == "joint_opening":
            reading[:, j] = np.asarray(curve[f"joint_{g.joint}_mm"], float)
    if top is not None:
        for j, values in _across(s, gauges, top, stress).items():
            reading[:, j], sources[j] = values, f"plan, {top.folder.name}"
    loads = [g.kind == "load" for g in gauges]
    if len(reading):
        reading = np.where(loads, reading, reading - reading[0])
    low, high = with_band(load, reading, factors, loads)
    return GaugeTable(
        np.asarray(side.indices, np.int32), load, stress, tuple(g.id for g in gauges),
        tuple(g.quantity for g in gauges), tuple(sources), reading, low, high,
    )  # fmt: skip


# ------------------------------------------------------------------ the elevation
class _State:
    """One step of the elevation: its bar profiles, each made once, and the movements of its points (n, 2)."""

    def __init__(self, mesh: Mesh, fields: Fields):
        self.mesh, self.fields = mesh, fields
        self.u = np.asarray(fields["u"][: 2 * len(mesh.points)], float).reshape(-1, 2)
        self._profiles: dict[str, BarProfile] = {}

    def bar(self, line: str) -> BarProfile:
        if line not in self._profiles:
            self._profiles[line] = profile(self.mesh, self.fields, line)
        return self._profiles[line]


def _reader(s: Specimen, g: Gauge, mesh: Mesh, laid: Layout):
    """What reads a gauge off a state (None: not in this view), and the words for where it is read."""
    length = g.length if g.length > 0.0 else GAUGE
    if g.kind in ("bar_strain", "slip") and g.bar[:1] in mesh.lines:
        line = g.bar[:1]
        along = arc(s, g)
        at = face_arcs(mesh, line, laid)[0] + (0.0 if math.isnan(along) else along)
        if g.kind == "slip":
            return (lambda state: abs(state.bar(line).slip_at(at))), "elevation"
        bend = _bending(mesh, line, at, g.side)
        return (lambda state: mean_strain(state.bar(line), at, length) + bend(state)), "elevation"
    if g.kind == "tie_strain" and s.confinement.upright:
        return _leg(mesh, laid, g, length)
    if g.kind in ("joint_opening", "load"):
        return None, "elevation"
    if g.kind in ("deflection", "lift", "rotation", "concrete_strain"):
        return _moved(g, mesh, laid, length), "elevation"
    return None, "not shown by either view"


def _bending(mesh: Mesh, line: str, at: float, side: str):
    """Strain of the surface of a bend inside or outside, above its axis: elastic, from the moment of the frame there.

    A moment that bends it further in the sense of its turn stretches the outside.
    """
    bar = mesh.lines[line]
    frames = [n for n in bar.groups if mesh.groups[n].kind == "frame2"]
    k = int(np.clip(np.searchsorted(bar.arc, at), 1, len(bar.arc) - 1))
    if side not in ("inside", "outside") or not frames or BEND not in (bar.zone[k - 1], bar.zone[k]):
        return lambda state: 0.0
    (name,) = frames
    cells, place = mesh.groups[name].cells, {int(n): i for i, n in enumerate(bar.nodes)}
    ends = np.array([[place[int(n)] for n in c[:2]] for c in cells])
    order = int(np.argmin(np.abs(bar.arc[ends].mean(axis=1) - at)))
    d = np.diff(mesh.points[bar.nodes], axis=0)
    turn = np.sign(float(sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(d[:-1], d[1:]))))
    # the frame counts along its own cells
    turn *= np.sign(ends[order, 1] - ends[order, 0])
    d_b, n = bar.diameter, bar.number
    flexibility = 1.0 / (n * math.pi * d_b**3 / 32.0)
    out = 1.0 if side == "outside" else -1.0

    def read(state: _State) -> float:
        stress = np.asarray(state.fields[f"{name}/moment"], float).reshape(-1)[order] * flexibility
        return out * turn * float(stress) / _MODULUS

    return read


#: Modulus of elasticity of bars [MPa], for the bending of hooks alone (EN 1992-1-1, 3.2.7(4)).
_MODULUS = 200e3


def _leg(mesh: Mesh, laid: Layout, g: Gauge, length: float):
    """A leg of an upright set in the elevation: where the gauge says, or where the leg works hardest."""
    legs = sorted(
        (n for n, line in mesh.lines.items() if line.role == "confinement"),
        key=lambda n: float(mesh.points[mesh.lines[n].nodes, 0].mean()),
    )
    if g.tie is None or g.tie > len(legs):
        return None, "not shown by either view"
    name = legs[g.tie - 1]
    bar = mesh.lines[name]

    def read(state: _State) -> float:
        seen = state.bar(name)
        if math.isfinite(g.level):
            heights = mesh.points[bar.nodes, 1]
            at = float(bar.arc[int(np.argmin(np.abs(heights - laid.y[0] - g.level)))])
            return mean_strain(seen, at, length)
        return float(seen.strain[int(np.argmax(np.abs(seen.strain)))])

    return read, "elevation, leg"


def _moved(g: Gauge, mesh: Mesh, laid: Layout, length: float):
    """Readings made of the movements of points on the faces."""
    used = np.unique(np.concatenate([mesh.groups[n].cells.ravel() for n in concrete_groups(mesh)]))
    faces = {}
    for name, y in (("tension", laid.y[0]), ("compression", laid.y[1])):
        nodes = used[np.abs(mesh.points[used, 1] - y) < 1e-6]
        faces[name] = nodes[np.argsort(mesh.points[nodes, 0], kind="stable")]

    def on(face: str, direction: int, x: float):
        nodes = faces[face]
        return lambda state: float(np.interp(x, mesh.points[nodes, 0], state.u[nodes, direction]))

    if g.kind == "deflection":
        read = on(g.face if g.face in faces else "tension", 1, g.x)
        return lambda state: -read(state)
    if g.kind == "lift":
        # the tension face moves away from the compression face
        up, down = on("compression", 1, g.x), on("tension", 1, g.x)
        return lambda state: up(state) - down(state)
    if g.kind == "rotation":
        top, bottom = on("compression", 0, g.x), on("tension", 0, g.x)
        return lambda state: (bottom(state) - top(state)) / (laid.y[1] - laid.y[0]) * (1.0 if g.x >= 0.0 else -1.0)
    return _along(g, mesh, laid, used, length)


def _along(g: Gauge, mesh: Mesh, laid: Layout, used: Ints, length: float):
    """Concrete strain along the beam over the gauge length, between the nearest points at its height."""
    y = {"tension": laid.y[0], "compression": laid.y[1]}.get(g.face)
    if y is None:
        y = laid.y[0] + (g.level if math.isfinite(g.level) else 0.5 * (laid.y[1] - laid.y[0]))
    heights = np.unique(mesh.points[used, 1].round(4))
    row = used[np.abs(mesh.points[used, 1] - heights[np.argmin(np.abs(heights - y))]) < 1e-3]
    row = row[np.argsort(mesh.points[row, 0], kind="stable")]
    x: Floats = np.asarray(mesh.points[row, 0], float)
    gaps: Floats = np.diff(np.unique(x.round(4)))
    gap = float(np.median(gaps)) if len(gaps) else length
    half = 0.5 * max(length, gap)

    def read(state: _State) -> float:
        a, b = np.interp([g.x - half, g.x + half], x, state.u[row, 0])
        return float(b - a) / (2.0 * half)

    return read


# ------------------------------------------------------------------ the plan
def _across(s: Specimen, gauges: Sequence[Gauge], top: Run, wanted: Floats) -> dict[int, Floats]:
    """Readings (n,) of gauges on steel across the bars at the bar stress of each step of the elevation, by place.

    Each is read where its leg works hardest; behind the strength of the plan and of the elevation there is none.
    """
    asked = [j for j, g in enumerate(gauges) if g.kind == "tie_strain" and not s.confinement.upright]
    if not asked:
        return {}
    mesh = top.mesh
    laid = plan_layout(mesh)
    centre = {n: mesh.points[mesh.lines[n].nodes].mean(axis=0) for n in laid.across}
    places = sorted({round(float(c[0]), 1) for c in centre.values()})
    lines = {}
    for j in asked:
        tie = gauges[j].tie
        if tie is not None and tie <= len(places):
            here = [n for n in laid.across if abs(centre[n][0] - places[tie - 1]) < 0.2]
            here.sort(key=lambda n: float(centre[n][1]))
            lines[j] = here[min(gauges[j].about, len(here)) - 1]
    stress = np.maximum.accumulate(np.max(list(bar_columns(top.curve).values()), axis=0))
    rows = rising(stress)
    seen: dict[int, list[Floats]] = {j: [] for j in lines}
    for k in rows:
        fields = top.step(top.indices[int(k)]).fields
        for j, name in lines.items():
            parts = [np.asarray(fields[f"{group}/strain"], float).reshape(-1) for group in mesh.lines[name].groups]
            seen[j].append(np.concatenate(parts))
    highest = np.maximum.accumulate(wanted)
    found = {}
    for j, strains in seen.items():
        whole = np.array(strains)
        at = int(np.argmax(whole[-1] - whole[0]))
        found[j] = np.interp(highest, stress[rows], whole[:, at], right=math.nan)
    return found
