"""Cracks in the plan: longitudinal splitting between bars and beside them, and cracks that run out to the side face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import Mesh
from fesplice.post.plan.layout import PlanLayout, plan_layout
from fesplice.post.points import Fields

#: A crack runs along the bars when its normal is within this angle of the direction across them [degree].
ALONG = 30.0
#: Openings above this count towards the length of a crack [mm].
OPEN = 0.05


@dataclass(frozen=True)
class Splitting:
    """Cracks in one strip between ``y0`` and ``y1`` [mm]: ``opening`` summed across the strip, largest at ``x`` [mm].

    ``opening`` counts cracks along the bars alone, ``length`` [mm] where it exceeds ``OPEN``; ``widest`` is the
    widest crack of any direction in one element. ``place``: the gap, or the side "low" or "high".
    """

    place: str
    y0: float
    y1: float
    opening: float
    x: float
    length: float
    widest: float
    widest_x: float
    widest_y: float


class PlanCracks:
    """Reads cracks of any step of a plan run."""

    def __init__(self, mesh: Mesh, laid: PlanLayout | None = None):
        self.laid = plan_layout(mesh) if laid is None else laid
        g = mesh.groups[self.laid.group]
        corners = mesh.points[g.cells]
        self.centre = corners.mean(axis=1)
        low, high = corners.min(axis=1), corners.max(axis=1)
        self.left, self.wide = low[:, 0], high[:, 0] - low[:, 0]
        edges, self.column = np.unique(self.left.round(6), return_inverse=True)
        self.columns = edges
        self.column_width = np.bincount(self.column, self.wide) / np.bincount(self.column)

    def widths(self, fields: Fields) -> tuple[Floats, Floats]:
        """Crack width per element (n,) [mm] as a mean of its points, and its part along the bars."""
        crack = np.asarray(fields[f"{self.laid.group}/crack"], float)
        width = np.maximum(crack[..., 0], 0.0) * crack[..., 2]
        flat = np.abs(np.sin(crack[..., 1])) >= np.cos(np.radians(ALONG))
        return width.mean(axis=1), np.where(flat, width, 0.0).mean(axis=1)

    def strips(self) -> list[tuple[str, float, float]]:
        """Places with their bounds [mm]: each gap from bar to bar, and both sides from edge bar to face."""
        laid = self.laid
        gaps = [(g.name, g.below.y, g.above.y) for g in laid.gaps]
        sides = [("low", laid.y[0], laid.bars[0].y), ("high", laid.bars[-1].y, laid.y[1])]
        return gaps + sides

    def read(self, fields: Fields) -> tuple[Splitting, ...]:
        """Every strip at one step."""
        width, along = self.widths(fields)
        found = []
        for place, y0, y1 in self.strips():
            inside = (self.centre[:, 1] > y0 - 1e-6) & (self.centre[:, 1] < y1 + 1e-6)
            sums = np.bincount(self.column[inside], along[inside], len(self.columns))
            k = int(sums.argmax())
            at = np.flatnonzero(inside)[int(width[inside].argmax())]
            found.append(
                Splitting(
                    place,
                    y0,
                    y1,
                    float(sums[k]),
                    float(self.columns[k] + 0.5 * self.column_width[k]),
                    float(self.column_width[sums > OPEN].sum()),
                    float(width[at]),
                    float(self.centre[at, 0]),
                    float(self.centre[at, 1]),
                )  # fmt: skip
            )
        return tuple(found)
