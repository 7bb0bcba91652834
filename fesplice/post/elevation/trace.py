"""One pass over the steps of an elevation: what every finding, figure and judgement of it reads.

For every step it notes the widest cracks by direction, joint openings, bond past its peak, slips, bar stress,
bearing in the bends, the least concrete strain, the vertical tension at the hooks, balance, and the plane over
the bars.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fesplice.algebra import principal
from fesplice.contracts import Floats, FolderFault
from fesplice.mesh import BEND, LEAD, BarLine, Mesh
from fesplice.post.concrete import FLAT
from fesplice.post.elevation.bars import arc_at, face_arcs, profile
from fesplice.post.elevation.forces import SectionCut, lay_ties, read_cut
from fesplice.post.elevation.hinge import WEB, Hinge, hinge, leaning
from fesplice.post.elevation.interface import InterfaceReader, InterfaceTrace
from fesplice.post.elevation.layout import Layout, layout, main_lines, stations_of
from fesplice.post.equilibrium import Balance, balance, run_loads
from fesplice.post.limits import PAST
from fesplice.post.points import Fields, Points, gather
from fesplice.post.runs import specimen_of
from fesplice.post.values import Known
from fesplice.store.run import believing

if TYPE_CHECKING:
    from fesplice.store.run import Run


#: Share of the depth beyond which the compression zone begins (judgement).
ZONE = 0.6


@dataclass(frozen=True)
class Spot:
    """A value at a place of the elevation [mm]."""

    value: Known
    x: Known
    y: Known


@dataclass(frozen=True)
class Snapshot:
    """What the trace notes of one step; openings and slips in mm, stresses in MPa, forces in N.

    ``strain``: largest crack strain by concrete; ``cracks``: widest crack by direction (``flat``,
    ``inclined``, ``upright``); ``outside``: widest inclined crack out of the splice, and ``diagonal`` the same where it
    is wider than every upright crack (else 0); ``hinge``: the cracks the beam may turn about; ``bar_level``: widest
    flat or inclined crack in the bar row or the row above, between joint face and hook; ``joint``: widest joint
    opening; ``compression``: least principal strain of the compression zone away from plates, positive, up to a depth
    beyond the loads; ``web`` that of the web beyond it. By main bar line: ``past`` share of the embedded lead
    past its bond peak, ``lead`` mean slip over it, ``slip`` largest of the anchored end, ``opening``
    beside a lead that wedges, ``bearing`` mean pressure of the concrete in the bend per bar diameter, ``stress`` at
    the joint face (the largest along bars that run through where there is no joint). ``legs`` largest strain of
    stirrups. ``split``: share of the plane of the hooks that has split, by line; none in runs of earlier versions or
    where no plane can.
    """

    step: int
    load: float
    deflection: float
    strain: Mapping[str, float]
    cracks: Mapping[str, Spot]
    outside: Spot
    diagonal: Spot
    bar_level: Spot
    joint: Spot
    compression: Spot
    web: Spot
    past: Mapping[str, float]
    lead: Mapping[str, float]
    slip: Mapping[str, float]
    opening: Mapping[str, float]
    bearing: Mapping[str, float]
    stress: Mapping[str, float]
    legs: float = 0.0
    split: Mapping[str, float] = field(default_factory=dict)
    hinge: Hinge = Hinge(0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class ElevationTrace:
    """All steps of an elevation run in order: ``snapshots``, ``balances``, ``ties`` (cuts at the bend by line, with the
    concrete's strength in them), and the plane over the bars; ``laid`` is what the mesh tells of the splice.
    """

    laid: Layout
    snapshots: tuple[Snapshot, ...]
    balances: tuple[Balance, ...]
    ties: tuple[Mapping[str, SectionCut], ...]
    interface: InterfaceTrace

    def series(self, read: Callable[[Snapshot], float]) -> Floats:
        """One number of every step (n,)."""
        return np.array([read(s) for s in self.snapshots], float)

    def by_bar(self, name: str) -> dict[str, Floats]:
        """A measure by bar line, each (n,)."""
        lines = getattr(self.snapshots[0], name)
        return {line: self.series(lambda s, line=line: getattr(s, name)[line]) for line in lines}

    def row_of(self, step: int) -> int:
        """Row of a step by its number."""
        return next(k for k, s in enumerate(self.snapshots) if s.step == step)

    @cached_property
    def load(self) -> Floats:
        """Load per ram (n,) [N]."""
        return self.series(lambda s: s.load)

    @cached_property
    def deflection(self) -> Floats:
        """Midspan deflection (n,) [mm]."""
        return self.series(lambda s: s.deflection)

    @property
    def bar_stress(self) -> Floats:
        """Bar stress at the joint face, larger of both families (n,) [MPa]."""
        return self.interface.bar_stress


@believing
def trace(run: Run) -> ElevationTrace:
    """Read every step of an elevation run once; raises :class:`FolderFault` when it has no step yet."""
    if not run.n_steps:
        raise FolderFault(str(run.folder), "no step is stored yet")
    mesh, curve, specimen = run.mesh, run.curve, specimen_of(run)
    laid = layout(mesh)
    concretes = {"precast": specimen.concrete.precast}
    concretes["closure"] = specimen.concrete.closure or specimen.concrete.precast
    f_ct = {name: float(c.tensile_strength) for name, c in concretes.items()}
    load, deflection = (np.asarray(curve[name], float) for name in ("load_N", "deflection_mm"))
    tracer, plane = Tracer(mesh, laid), InterfaceReader(mesh, laid)
    cuts, loads = lay_ties(mesh, laid, "bend"), run_loads(run)
    snapshots, balances, ties = [], [], []
    for row, step in enumerate(run.steps()):
        fields = step.fields
        snapshots.append(tracer.note(step.index, float(load[row]), float(deflection[row]), fields))
        balances.append(balance(mesh, fields["reactions"], loads.at(float(load[row]))))
        ties.append({name: read_cut(line, fields, f_ct) for name, line in cuts.items()})
        plane.note(fields)
    faces = np.fmax(*(np.asarray(curve[f"bar_stress_{name}_MPa"], float) for name in ("A", "B")))
    stress = faces[: len(snapshots)]
    return ElevationTrace(laid, tuple(snapshots), tuple(balances), tuple(ties), plane.gathered(stress))


class Tracer:
    """Notes one step after the other; holds what bond points have reached so far."""

    def __init__(self, mesh: Mesh, laid: Layout):
        self.mesh, self.laid, self.points = mesh, laid, gather(mesh)
        self._away = _away_from_plates(mesh, self.points, laid)
        self._row = _bar_rows(self.points, laid)
        x = self.points.xy[:, 0]
        # where all bars run through and nothing is cast against there is no splice to leave out
        through = not laid.anchors and not laid.joints
        self._through = through
        self.outside = through | (x < laid.cast[0]) | (x > laid.cast[1])
        self._zone, self._web = _zone_and_web(mesh, self.points, laid)
        self._main = main_lines(mesh)
        self._stirrups = [line.groups for line in mesh.lines.values() if line.role == "stirrup"]
        self._faces = {name: face_arcs(mesh, name, laid) for name in self._main}
        self._embedded = {name: _embedded(mesh, name, laid) for name in laid.anchors}
        self._highest = {name: np.zeros(len(mesh.lines[name].nodes)) for name in laid.anchors}
        self._furthest = {name: np.zeros(len(mesh.lines[name].nodes)) for name in laid.anchors}
        materials = [mesh.groups[name].material for name in self.points.names]
        self._of = {m: np.isin(self.points.group, [k for k, n in enumerate(materials) if n == m]) for m in materials}

    def note(self, number: int, load: float, deflection: float, fields: Fields) -> Snapshot:
        """What is seen at the next step."""
        points = self.points
        crack = points.values(fields, "crack")
        kinds = _widths(crack)
        past, lead, slip, stress = {}, {}, {}, {}
        for name, faces in self._faces.items():
            state = profile(self.mesh, fields, name)
            # without a joint or an anchor no section is named: the one that carries most counts
            stress[name] = float(state.stress.max()) if self._through else max(state.stress_at(arc) for arc in faces)
            if name not in self._embedded:
                continue
            length, anchored = self._embedded[name]
            tau, slid = np.abs(state.tau), np.abs(state.slip)
            over = (tau < PAST * self._highest[name]) & (slid >= self._furthest[name])
            self._highest[name] = np.maximum(self._highest[name], tau)
            self._furthest[name] = np.maximum(self._furthest[name], slid)
            total = max(float(length.sum()), 1e-300)
            past[name], lead[name] = float((length * over).sum()) / total, float((length * slid).sum()) / total
            slip[name] = float(slid[anchored].max(initial=0.0))
        e2 = principal(points.values(fields, "strain"), engineering=True)[1]
        level = np.where(self._row, np.maximum(kinds["flat"], kinds["inclined"]), 0.0)
        outside = np.where(self.outside, kinds["inclined"], 0.0)
        return Snapshot(
            step=number,
            load=load,
            deflection=deflection,
            strain={m: float(crack[here, 0].max(initial=0.0)) for m, here in self._of.items()},
            cracks={kind: _most(points, width) for kind, width in kinds.items()},
            outside=_most(points, outside),
            diagonal=_most(points, np.where(outside > kinds["upright"].max(initial=0.0), outside, 0.0)),
            bar_level=_most(points, level),
            joint=_joint(self.mesh, fields),
            compression=_most(points, np.where(self._away & self._zone, -e2, 0.0)),
            web=_most(points, np.where(self._away & self._web & self.outside, -e2, 0.0)),
            past=past,
            lead=lead,
            slip=slip,
            opening={name: _lead_opening(line, fields) for name, line in self._main.items()},
            bearing={name: _bend_bearing(line, fields) for name, line in self._main.items()},
            stress=stress,
            split={name: plane_split(fields, name) for name in self._main if f"plane:{name}/left" in fields},
            hinge=hinge(points.xy, crack, self.laid.y, self.outside),
            legs=max((_highest(fields, groups) for groups in self._stirrups), default=0.0),
        )


# ------------------------------------------------------------------ measures
def _widths(crack: Floats) -> dict[str, Floats]:
    """Crack widths (n,) by direction from crack fields (n, 3); a point has one of them, the others are 0."""
    strain, normal, band = crack.T
    width = np.maximum(strain, 0.0) * band
    lean = leaning(normal)
    flat, upright = lean <= FLAT, lean >= 90.0 - FLAT
    return {"flat": width * flat, "inclined": width * (~flat & ~upright), "upright": width * upright}


def _most(points: Points, value: Floats) -> Spot:
    k = int(np.argmax(value))
    return Spot(float(value[k]), float(points.xy[k, 0]), float(points.xy[k, 1]))


def _joint(mesh: Mesh, fields: Fields) -> Spot:
    best = Spot(0.0, 0.0, 0.0)
    for name, g in mesh.of_kind("joint").items():
        opening = np.asarray(fields[f"{name}/opening"], float)
        e, q = np.unravel_index(int(np.argmax(opening)), opening.shape)
        if opening[e, q] > best.value:
            x, y = mesh.points[g.cells[e, q]]
            best = Spot(float(opening[e, q]), float(x), float(y))
    return best


def _away_from_plates(mesh: Mesh, points: Points, laid: Layout) -> np.ndarray:
    """Points further than a quarter of the depth from every load and support."""
    away = np.ones(len(points), bool)
    for name, nodes in mesh.node_sets.items():
        if name.startswith(("load:", "support:")):
            away &= np.abs(points.xy[:, 0] - mesh.points[nodes, 0].mean()) > 0.25 * (laid.y[1] - laid.y[0])
    return away


def _bar_rows(points: Points, laid: Layout) -> np.ndarray:
    """Points in the bar row or the row above it, between joint face and 4 d_b beyond the tip of any anchor."""
    inside = np.zeros(len(points), bool)
    x, y = points.xy.T
    for a in laid.anchors.values():
        x0, x1 = laid.reach(a)
        inside |= (x >= x0) & (x <= x1) & (y >= a.row[0]) & (y <= a.above[1])
    return inside


def _embedded(mesh: Mesh, line: str, laid: Layout) -> tuple[Floats, np.ndarray]:
    """Tributary lengths (n,) of the lead inside the splice (0 elsewhere), and the nodes at and past its end."""
    bar = mesh.lines[line]
    face = face_arcs(mesh, line, laid)[0]
    places = stations_of(mesh, line)
    end = arc_at(mesh, line, places["tangent"].xy if "tangent" in places else laid.anchors[line].tail)
    low, high = min(face, end), max(face, end)
    inside = (bar.arc >= low) & (bar.arc <= high)
    anchored = (bar.arc >= end - 1e-6) if end > face else (bar.arc <= end + 1e-6)
    length = np.asarray(mesh.groups[bar.bond].data["length"], float)
    return length * (inside & (bar.zone == LEAD)), anchored


def _lead_opening(line: BarLine, fields: Fields) -> float:
    """Mean opening between the gauge points beside a lead [mm]; 0 without wedging."""
    if f"{line.bond}/opening" not in fields:
        return 0.0
    here = (line.zone == LEAD) & (np.asarray(fields[f"{line.bond}/wedge"], float) > 0.0)
    return float(np.asarray(fields[f"{line.bond}/opening"], float)[here].mean()) if here.any() else 0.0


def plane_split(fields: Fields, line: str) -> float:
    """Share of the plane of a line's hooks that has split; what the cover has lost counts as no part of it."""
    left, cover = (np.asarray(fields[f"plane:{line}/{key}"], float) for key in ("left", "cover"))
    return 1.0 - float((left / np.maximum(cover, 1e-12)).mean())


def _bend_bearing(line: BarLine, fields: Fields) -> float:
    """Mean bearing pressure of concrete over the bend, per bar diameter [MPa]; 0 without a hook.

    What a transverse bar inside the bend takes is not borne by the concrete there.
    """
    bend = line.zone == BEND
    if not bend.any():
        return 0.0
    q = np.asarray(fields[f"{line.bond}/bearing"], float).reshape(-1)[bend]
    if f"{line.bond}/seat" in fields:
        q = q - np.asarray(fields[f"{line.bond}/seat"], float).reshape(-1)[bend]
    return float(np.abs(q).mean()) / (line.number * line.diameter)


def _highest(fields: Fields, groups: tuple[str, ...]) -> float:
    return max(float(np.asarray(fields[f"{g}/strain"], float).max()) for g in groups)


def _zone_and_web(mesh: Mesh, points: Points, laid: Layout) -> tuple[np.ndarray, np.ndarray]:
    """Points of the compression zone (the outer 0.4 of the depth, up to one depth beyond the loads), and of the web
    (the middle 0.6 of the depth) further out: there struts between diagonal cracks are what is pressed.
    """
    depth = laid.y[1] - laid.y[0]
    x, height = points.xy[:, 0], (points.xy[:, 1] - laid.y[0]) / depth
    loads = [mesh.points[nodes, 0].mean() for name, nodes in mesh.node_sets.items() if name.startswith("load:")]
    low, high = (min(loads) - depth, max(loads) + depth) if loads else laid.x
    near = (x >= low) & (x <= high)
    return near & (height > ZONE), ~near & (height > WEB) & (height < 1.0 - WEB)
