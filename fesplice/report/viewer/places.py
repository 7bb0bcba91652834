"""What stands at places of a view, by step: stations with their stress, gauges with their strain, struts and ties.

Forces of members are in N, tension positive; strains count from zero under own weight, as on the day of a test.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.elevation.bars import arc_at, profile
from fesplice.post.elevation.forces import lay_ties, read_cut
from fesplice.post.elevation.gauges import mean_strain, read_gauges
from fesplice.post.elevation.hooks import RADII, discs, station_tension
from fesplice.post.elevation.layout import layout, tensile_strengths
from fesplice.post.plan.trace import anchored
from fesplice.post.plan.truss import truss
from fesplice.report.plan.fields import SMALL
from fesplice.report.plan.slab import slab_of

if TYPE_CHECKING:
    from fesplice.post.points import Fields
    from fesplice.report.view import View


@dataclass(frozen=True)
class Place:
    """A named place (x, y) [mm] on a bar line; ``what`` its values are, and their ``kind`` of unit."""

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
    """Stations: mean principal tension about them [MPa] in an elevation, slip of the bar's end [mm] in a plan."""

    def __init__(self, view: View):
        self.mesh = view.run.mesh
        found = self.mesh.stations
        if view.name == "elevation":
            around, strengths = discs(self.mesh, RADII[0], view.points), tensile_strengths(view.run)
            what = f"principal tension, mean over {RADII[0]:g} bar diameters"
            self.places = tuple(Place(s.name, s.line, s.xy, what, "stress") for s in found)
            self._read: Callable[[Fields], Sequence[float]] = lambda fields: [
                t.major for t in station_tension(self.mesh, fields, strengths, RADII[0], around)
            ]
        else:
            held = [s for s in found if f"anchor:{s.line}" in self.mesh.groups]
            self.places = tuple(Place(s.name, s.line, s.xy, "slip of the hook", "opening") for s in held)
            self._read = lambda fields: [abs(anchored(fields, s.line, "slip")) for s in held]

    def read(self, fields: Fields) -> Sequence[float]:
        """One value per place."""
        return self._read(fields) if self.places else ()


class Gauges:
    """Strain gauges that the program advises: on the main bars of an elevation and on the steel across."""

    def __init__(self, view: View):
        self.mesh = mesh = view.run.mesh
        self._at: list[tuple[str, float]] = []
        places = []
        if view.name == "elevation":
            top = float(np.nanmax(view.curve["load_N"]))
            for gauge in read_gauges(view.run, [top]).gauges if top > 0.0 else ():
                places.append(Place(gauge.name, gauge.line, gauge.xy, "strain", "strain"))
                self._at.append((gauge.line, arc_at(mesh, gauge.line, gauge.xy)))
        else:
            for state in slab_of(view).ties(slab_of(view).leading().step):
                places.append(Place(f"tie {state.line}", state.line, (state.x, state.y), "strain", "strain"))
                self._at.append((state.line, arc_at(mesh, state.line, (state.x, state.y))))
        self.places = tuple(places)

    def read(self, fields: Fields) -> list[float]:
        """One strain per gauge [-], not yet from zero."""
        states = {line: profile(self.mesh, fields, line) for line in {line for line, _ in self._at}}
        return [mean_strain(states[line], arc) for line, arc in self._at]


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


def from_zero(strain: Floats) -> Floats:
    """Readings (steps, m) from zero in the first step."""
    return strain - strain[:1]
