"""What the elevation does to the horizontal plane over the bars: the link between the two views.

In plan the slab around the bars hangs on the body through that plane. The elevation tells, for
every bar stress, the vertical stress across it, how far it has cracked and what the vertical
legs that cross it carry. Read from a run folder alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import Mesh
from fesplice.post.elevation.forces import CutLine, lay_cut
from fesplice.post.elevation.layout import Layout, layout
from fesplice.post.elevation.trace import FLAT
from fesplice.post.points import Fields

if TYPE_CHECKING:
    from fesplice.store.run import Run


@dataclass(frozen=True)
class VerticalTrace:
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

    def at(self, bar_stress: float) -> VerticalTrace:
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

        return VerticalTrace(
            between(self.bar_stress), self.x, self.length, between(self.stress), between(self.opening),
            self.leg_x, self.leg_area, between(self.leg_stress),
        )  # fmt: skip


def vertical_state(run: Run) -> VerticalTrace:
    """Vertical state over all steps of an elevation run."""
    mesh = run.mesh
    plan = layout(mesh)
    if not plan.anchors:
        return _without_plane(run)
    plane, bars = (_line(mesh, plan, where) for where in ("above", "row"))
    legs = [k for k, (_, role, _) in enumerate(plane.bars) if role in ("confinement", "stirrup")]
    stress, opening, leg_stress = [], [], []
    for step in run.steps():
        stress.append(plane.crossing.means(step.fields, "stress")[:, 1])
        opening.append(_flat_width(plane, step.fields) + _onto(plane, bars, _flat_width(bars, step.fields)))
        leg_stress.append([
            float(step.fields[f"{plane.bars[k][2]}/stress"].reshape(-1)[plane.element[k]]) for k in legs
        ])  # fmt: skip
    rows = len(stress)
    return VerticalTrace(
        bar_stress=_face_stress(run)[:rows],
        x=plane.start[0] + plane.crossing.span.mean(axis=1),
        length=plane.crossing.length,
        stress=np.array(stress),
        opening=np.array(opening),
        leg_x=plane.at[legs, 0],
        leg_area=plane.area[legs],
        leg_stress=np.reshape(leg_stress, (rows, len(legs))).astype(float),
    )


def _without_plane(run: Run) -> VerticalTrace:
    """Bars that run through: nothing hangs on anything."""
    stress = _face_stress(run)
    none = np.empty((len(stress), 0))
    return VerticalTrace(stress, np.empty(0), np.empty(0), none, none, np.empty(0), np.empty(0), none)


def _face_stress(run: Run) -> Floats:
    """Larger bar stress of the two families at the joint face (n,) [MPa]."""
    return np.fmax(*(np.asarray(run.curve[f"bar_stress_{name}_MPa"], float) for name in ("A", "B")))


def _line(mesh: Mesh, plan: Layout, where: str) -> CutLine:
    """A line through the middle of the element row at the bars or above them, from end to end of the closure."""
    rows = [getattr(anchor, where) for anchor in plan.anchors.values()]
    level = float(np.mean(rows))
    x0, x1 = plan.cast
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
