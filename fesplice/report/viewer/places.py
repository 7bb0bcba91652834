"""What stands at places of a view, by step: stations with their stress, gauges with their strain, struts and ties.

Forces of members are in N, tension positive; strains count from zero under own weight, as on the day of a test.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.elevation.bars import arc_at, face_arcs, profile
from fesplice.post.elevation.forces import lay_ties, read_cut
from fesplice.post.elevation.gauges import mean_strain
from fesplice.post.elevation.hooks import RADII, discs, station_tension
from fesplice.post.elevation.indicators import SPLIT_PLANE
from fesplice.post.elevation.layout import Layout, layout, main_lines, stations_of, tensile_strengths
from fesplice.post.elevation.trace import plane_split
from fesplice.post.plan.trace import anchored
from fesplice.post.plan.truss import truss
from fesplice.post.readings import gauge_table
from fesplice.report.plan.fields import SMALL
from fesplice.report.plan.slab import slab_of
from fesplice.sizing.instruments import gauges_of
from fesplice.specimen.gauges import arc

if TYPE_CHECKING:
    from fesplice.mesh import Mesh
    from fesplice.post.points import Fields
    from fesplice.report.view import View
    from fesplice.specimen.gauges import Gauge
    from fesplice.specimen.schema import Specimen


@dataclass(frozen=True)
class Place:
    """A named place (x, y) [mm], on a bar line or not; ``what`` its values are, and their ``kind`` of unit."""

    name: str
    line: str
    xy: tuple[float, float]
    what: str
    kind: str


@dataclass(frozen=True)
class Drawn:
    """A member at one step from (x0, y0) to (x1, y1) [mm]: its ``force`` [N] and, of a section, that of the steel."""

    name: str
    kind: str
    line: tuple[float, float, float, float]
    force: float
    steel: float = 0.0


class Stations:
    """Stations: mean principal tension about them [MPa] and what of the planes of the hooks has split in an elevation,
    slip of the bar's end [mm] in a plan.
    """

    def __init__(self, view: View):
        self.mesh = view.run.mesh
        found = self.mesh.stations
        if view.name == "elevation":
            around, strengths = discs(self.mesh, RADII[0], view.points), tensile_strengths(view.run)
            what = f"principal tension, mean over {RADII[0]:g} bar diameters"
            planes = _planes(self.mesh)
            self.places = (*(Place(s.name, s.line, s.xy, what, "stress") for s in found), *planes)
            self._read: Callable[[Fields], Sequence[float]] = lambda fields: [
                *(t.major for t in station_tension(self.mesh, fields, strengths, RADII[0], around)),
                *(plane_split(fields, p.line) for p in planes),
            ]
        else:
            held = [s for s in found if f"anchor:{s.line}" in self.mesh.groups]
            self.places = tuple(Place(s.name, s.line, s.xy, "slip of the hook", "opening") for s in held)
            self._read = lambda fields: [abs(anchored(fields, s.line, "slip")) for s in held]

    def read(self, fields: Fields) -> Sequence[float]:
        """One value per place."""
        return self._read(fields) if self.places else ()


def _planes(mesh: Mesh) -> tuple[Place, ...]:
    """The planes of hooks that a run has, each between mid-lead and tangent point of its bars."""
    found = []
    for line in main_lines(mesh):
        at = stations_of(mesh, line)
        if f"plane:{line}" in mesh.groups and {"lead", "tangent"} <= set(at):
            (x0, y0), (x1, y1) = at["lead"].xy, at["tangent"].xy
            found.append(Place(f"{line}/plane", line, (0.5 * (x0 + x1), 0.5 * (y0 + y1)), SPLIT_PLANE, "share"))
    return tuple(found)


@dataclass(frozen=True)
class Gauges:
    """Gauges and what they read (steps, m), from zero under own weight in inner units."""

    places: tuple[Place, ...]
    reading: Floats


def gauges(view: View) -> Gauges:
    """The gauges of the specimen, or those that are recommended where it names none, as far as the view shows them;
    in a plan every line of steel across where it strains most.
    """
    return _side(view) if view.name == "elevation" else _across(view)


def _side(view: View) -> Gauges:
    """Gauges of an elevation, as the table of a prediction reads them."""
    s, mesh = view.specimen, view.run.mesh
    asked, laid = gauges_of(s), layout(mesh)
    table = gauge_table(s, asked, view.run, None)
    seen = [j for j in range(len(asked)) if np.isfinite(table.reading[:, j]).all()]
    found = [(j, _sits(s, asked[j], mesh, laid)) for j in seen]
    kinds = {"length": "opening"}
    places = tuple(
        Place(asked[j].id, line, xy, asked[j].kind.replace("_", " "), kinds.get(asked[j].quantity, asked[j].quantity))
        for j, (line, xy) in found
    )
    return Gauges(places, table.reading[:, seen])


def _sits(s: Specimen, gauge: Gauge, mesh: Mesh, laid: Layout) -> tuple[str, tuple[float, float]]:
    """Bar line (empty for none) and place [mm] of a gauge in the elevation."""
    line, along = gauge.bar[:1], arc(s, gauge)
    if line in mesh.lines:
        bar = mesh.lines[line]
        at = face_arcs(mesh, line, laid)[0] + (along if math.isfinite(along) else 0.0)
        x, y = (float(np.interp(at, bar.arc, mesh.points[bar.nodes, k])) for k in (0, 1))
        return line, (x, y)
    low, high = laid.y
    y = high if gauge.face == "compression" or gauge.kind == "load" else low
    x = gauge.x if math.isfinite(gauge.x) else 0.0
    if gauge.kind == "joint_opening" and laid.joints:
        x = laid.joints[0 if gauge.joint == "left" else -1]
    elif gauge.kind == "load":
        rams = [float(mesh.points[n, 0].mean()) for name, n in mesh.node_sets.items() if name.startswith("load:")]
        x = {"left": min(rams), "right": max(rams)}.get(gauge.ram, x) if rams else x
    elif gauge.kind == "tie_strain":
        legs = sorted(float(mesh.points[b.nodes, 0].mean()) for b in mesh.lines.values() if b.role == "confinement")
        x = legs[gauge.tie - 1] if gauge.tie is not None and gauge.tie <= len(legs) else x
        y = 0.5 * (low + high)
    return "", (x, low + gauge.level if math.isfinite(gauge.level) else y)


def _across(view: View) -> Gauges:
    """Steel across in a plan, each line where it strains most at the strength."""
    mesh, slab = view.run.mesh, slab_of(view)
    states = slab.ties(slab.leading().step)
    at = [(state.line, arc_at(mesh, state.line, (state.x, state.y))) for state in states]
    rows = []
    for step in view.run.steps():
        bars = {line: profile(mesh, step.fields, line) for line in {line for line, _ in at}}
        rows.append([mean_strain(bars[line], place) for line, place in at])
    reading = np.array(rows, float).reshape(len(rows), len(at))
    places = (Place(f"tie {t.line}", t.line, (t.x, t.y), "tie strain", "strain") for t in states)
    return Gauges(tuple(places), reading - reading[:1])


class Members:
    """Struts and ties of a plan; in an elevation the section over each hook that has to hold it down."""

    def __init__(self, view: View):
        self._view = view
        if view.name == "elevation":
            mesh = view.run.mesh
            self._cuts, self._strengths = lay_ties(mesh, layout(mesh), "bend"), tensile_strengths(view.run)

    def read(self, fields: Fields) -> list[Drawn]:
        """Members at one step; those that carry next to nothing are left out, as in the figure."""
        if self._view.name == "elevation":
            found = [read_cut(cut, fields, self._strengths) for cut in self._cuts.values()]
            return [Drawn(c.name, "section", (*c.start, *c.end), c.tension, c.bar_force) for c in found]
        members = truss(slab_of(self._view).forces, fields).members
        least = SMALL * max((abs(m.force) for m in members if m.kind == "bar"), default=0.0)
        return [
            Drawn(m.name, m.kind, (m.x0, m.y0, m.x1, m.y1), m.force)
            for m in members
            if abs(m.force) >= max(least, 1.0) and m.kind != "bar"
        ]
