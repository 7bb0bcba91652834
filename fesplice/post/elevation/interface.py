"""What the elevation does to the horizontal plane over the bars: the link between the two views.

In plan the slab around the bars hangs on the body through that plane. The elevation tells, for
every bar stress, the vertical stress across it, how far it has cracked and what the vertical
legs that cross it carry. Read from a run folder alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import Mesh
from fesplice.post.concrete import FLAT
from fesplice.post.elevation.forces import CutLine, lay_cut
from fesplice.post.elevation.layout import Layout
from fesplice.post.points import Fields


@dataclass(frozen=True)
class InterfaceTrace:
    """Vertical state of the plane over the bars in the closure, one row per step.

    ``bar_stress`` (n,) at the joint face, larger of both families [MPa]; ``x`` and ``length`` (m,) of the
    pieces of the plane [mm]; ``stress`` (n, m) [MPa], tension positive; ``opening`` (n, m) sum of the widths
    of flat cracks in the rows of the bars and of the plane [mm]; ``leg_x`` (k,) [mm], ``leg_area`` (k,) of all
    legs at that x [mm2], ``leg_stress`` (n, k) [MPa].
    """

    bar_stress: Floats
    x: Floats
    length: Floats
    stress: Floats
    opening: Floats
    leg_x: Floats
    leg_area: Floats
    leg_stress: Floats

    def at(self, bar_stress: float) -> InterfaceTrace:
        """The state (one row) when the bars first carry ``bar_stress`` [MPa], between two steps in proportion.

        Beyond what the run reached its state at the largest bar stress holds.
        """
        highest = np.maximum.accumulate(self.bar_stress)
        last = int(np.argmax(highest))
        if bar_stress >= highest[last]:
            low = high = last
            share = 0.0
        else:
            high = int(np.argmax(highest >= bar_stress))
            low = max(high - 1, 0)
            rise = highest[high] - highest[low]
            share = (bar_stress - highest[low]) / rise if rise > 0.0 else 0.0

        def between(values: Floats) -> Floats:
            return ((1.0 - share) * values[low] + share * values[high])[None]

        return InterfaceTrace(
            between(self.bar_stress), self.x, self.length, between(self.stress), between(self.opening),
            self.leg_x, self.leg_area, between(self.leg_stress),
        )  # fmt: skip


class InterfaceReader:
    """Reads the plane step by step; ``note`` what one step shows, ``gathered`` all of them."""

    def __init__(self, mesh: Mesh, laid: Layout):
        self._rows: list[tuple[Floats, Floats, Floats]] = []
        if not laid.anchors:
            # bars that run through: nothing hangs on anything
            self._plane = None
            return
        self._plane, self._bars = (_line(mesh, laid, where) for where in ("above", "row"))
        self._legs = [k for k, (_, role, _) in enumerate(self._plane.bars) if role in ("confinement", "stirrup")]

    def note(self, fields: Fields) -> None:
        """Keep what is seen across the plane at the next step."""
        none = np.empty(0)
        if self._plane is None:
            self._rows.append((none, none, none))
            return
        plane, bars = self._plane, self._bars
        stress = plane.crossing.means(fields, "stress")[:, 1]
        opening = _flat_width(plane, fields) + _onto(plane, bars, _flat_width(bars, fields))
        legs = [float(fields[f"{plane.bars[k][2]}/stress"].reshape(-1)[plane.element[k]]) for k in self._legs]
        self._rows.append((stress, opening, np.array(legs, float)))

    def gathered(self, bar_stress: Floats) -> InterfaceTrace:
        """All steps noted; ``bar_stress`` (n,) at the joint face, larger of both families [MPa]."""
        stress, opening, legs = (np.array([row[k] for row in self._rows]) for k in range(3))
        if self._plane is None:
            none = np.empty(0)
            return InterfaceTrace(bar_stress, none, none, stress, opening, none, none, legs)
        plane = self._plane
        return InterfaceTrace(
            bar_stress=bar_stress,
            x=plane.start[0] + plane.crossing.span.mean(axis=1),
            length=plane.crossing.length,
            stress=stress,
            opening=opening,
            leg_x=plane.at[self._legs, 0],
            leg_area=plane.area[self._legs],
            leg_stress=legs.reshape(len(stress), len(self._legs)),
        )


def _line(mesh: Mesh, laid: Layout, where: str) -> CutLine:
    """A line through the middle of the element row at the bars or above them, from end to end of the closure."""
    rows = [getattr(anchor, where) for anchor in laid.anchors.values()]
    level = float(np.mean(rows))
    x0, x1 = laid.cast
    return lay_cut(mesh, (x0, level), (x1, level), where)


def _flat_width(line: CutLine, fields: Fields) -> Floats:
    """Vertical opening (m,) of cracks along the bars in the elements met [mm]."""
    strain, normal, band = line.crossing.means(fields, "crack").T
    flat = np.abs(np.sin(normal)) >= np.cos(np.radians(FLAT))
    return np.where(flat, np.maximum(strain, 0.0) * band, 0.0)


def _onto(plane: CutLine, other: CutLine, values: Floats) -> Floats:
    """``values`` of the pieces of ``other`` at the middles of the pieces of ``plane``."""
    middle = other.crossing.span.mean(axis=1)
    return np.interp(plane.crossing.span.mean(axis=1), middle, values)
