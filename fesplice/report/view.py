"""A run as the figures see it: what several of them need, read once, and which steps they show.

Unless a step is asked for, figures show three stages: service (the step nearest to 0.6 of the view's strength, on
the way up), the strength of a plan or the largest load of an elevation, and the end of the run. What figures of one
view alone need is a part of it: :class:`fesplice.report.elevation.beam.Beam`, :class:`fesplice.report.plan.slab.Slab`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from fesplice.contracts import FespliceError, Floats, FolderFault, Ints
from fesplice.post.points import Points, gather
from fesplice.post.record import Findings, findings, view_of
from fesplice.post.runs import specimen_of

if TYPE_CHECKING:
    from fesplice.specimen import Specimen
    from fesplice.store.run import Run, StepFields

Part = TypeVar("Part")

#: Share of the strength that stands for service (common practice, no source).
SERVICE = 0.6


class LeftOut(FespliceError):
    """A figure that cannot be made of this run or on this machine; all others still can."""


@dataclass(frozen=True)
class Stage:
    """A step with its part in the story: ``name`` (service, peak or strength, end or step), row of the curve, load [N].

    ``moved``: midspan deflection of an elevation, extension of a plan [mm]; ``rising``: the run ended at this step, so
    that a larger load may lie beyond it.
    """

    name: str
    step: int
    row: int
    load: float
    moved: float
    rising: bool = False

    @property
    def word(self) -> str:
        """``peak``; where the run ended on its way up, what the largest load really is."""
        if self.name == "step":
            return f"step {self.step}"
        return "largest so far" if self.name in ("peak", "strength") and self.rising else self.name

    @property
    def title(self) -> str:
        """For panel titles: ``Peak, 132 kN``."""
        return f"{self.word.capitalize()}, {self.load / 1e3:.0f} kN"


class View:
    """Lazily read parts of one run, shared by all figures made of it."""

    def __init__(self, run: Run):
        self.run = run
        self._steps: dict[int, StepFields] = {}
        self._parts: dict[Any, Any] = {}

    @cached_property
    def name(self) -> str:
        """``elevation`` or ``plan``."""
        return view_of(self.run)

    @cached_property
    def specimen(self) -> Specimen:
        return specimen_of(self.run)

    @cached_property
    def points(self) -> Points:
        return gather(self.run.mesh)

    @cached_property
    def curve(self) -> dict[str, np.ndarray]:
        return self.run.curve

    @cached_property
    def findings(self) -> Findings:
        """As the folder keeps them, or read from the steps of a run that ended without them."""
        return findings(self.run)

    @cached_property
    def elements(self) -> Elements:
        return Elements(self)

    def part(self, kind: Callable[[View], Part]) -> Part:
        """What ``kind`` makes of this view, made when first asked for."""
        if kind not in self._parts:
            self._parts[kind] = kind(self)
        return self._parts[kind]

    def fields(self, step: int) -> Mapping[str, np.ndarray]:
        """Fields of a step, kept as long as the view."""
        if step not in self._steps:
            self._steps[step] = self.run.step(step)
        return self._steps[step].fields

    # -------------------------------------------------------------- stages
    def stage(self, name: str, row: int, moved: str) -> Stage:
        """The step in ``row`` of the curve; ``moved`` names the column of the movement."""
        curve = self.curve
        last = row == len(curve["load_N"]) - 1
        return Stage(name, int(curve["step"][row]), row, float(curve["load_N"][row]), float(curve[moved][row]), last)

    def chosen(self, step: int, moved: str) -> tuple[Stage, ...]:
        """The one step asked for. Raises :class:`FolderFault` for a step that is not stored."""
        return (self.stage("step", self.run.indices.index(self.run.step(step).index), moved),)

    def stages(self, top: tuple[str, int], strength: float, moved: str) -> tuple[Stage, ...]:
        """Service (nearest to a share of ``strength`` [N]), the named row ``top`` and the end, each step once."""
        load = np.asarray(self.curve["load_N"], float)
        name, row = top
        reached = np.flatnonzero(load[: row + 1] >= SERVICE * strength)
        first = int(reached[0]) if len(reached) else row
        service = min((max(first - 1, 0), first), key=lambda k: abs(load[k] - SERVICE * strength))
        taken: dict[int, str] = {}
        for stage, at in ((name, row), ("service", service), ("end", len(load) - 1)):
            taken.setdefault(at, stage)
        return tuple(self.stage(taken[at], at, moved) for at in sorted(taken))

    def has_steps(self) -> None:
        """Raises :class:`FolderFault` for a run without steps."""
        if not self.curve:
            raise FolderFault(str(self.run.folder), "no step is stored yet, so there is nothing to draw")


class Elements:
    """Concrete elements of all groups as one flat set: corners, and means over integration points.

    ``corners`` (n, 4, 2) [mm], a triangle repeating its last corner; ``centre`` (n, 2); ``size`` (n,)
    [mm]; ``place`` element of every integration point.
    """

    corners: Floats
    centre: Floats
    size: Floats
    place: Ints

    def __init__(self, view: View):
        points, mesh = view.points, view.run.mesh
        blocks, start = [], [0]
        for name in points.names:
            cells = mesh.groups[name].cells
            cells = cells if cells.shape[1] == 4 else np.column_stack([cells, cells[:, -1]])
            blocks.append(mesh.points[cells])
            start.append(start[-1] + len(cells))
        self.corners = np.concatenate(blocks)
        self.place = np.array(start[:-1])[points.group] + points.element
        self._weight = points.area
        self._area = np.bincount(self.place, points.area, len(self.corners))
        self.size = np.sqrt(self._area)
        self.centre = np.stack([self.mean(points.xy[:, k]) for k in (0, 1)], axis=1)

    def mean(self, values: Floats) -> Floats:
        """Area means per element (n, ...) of ``values`` (n_points, ...)."""
        flat = values.reshape(len(values), -1)
        sums = [np.bincount(self.place, self._weight * column, len(self.corners)) for column in flat.T]
        return (np.stack(sums, axis=1) / self._area[:, None]).reshape(-1, *values.shape[1:])

    def inside(self, x: tuple[float, float], y: tuple[float, float] = (-np.inf, np.inf)) -> np.ndarray:
        """Elements that reach into a window."""
        low, high = self.corners.min(axis=1), self.corners.max(axis=1)
        return (high[:, 0] > x[0]) & (low[:, 0] < x[1]) & (high[:, 1] > y[0]) & (low[:, 1] < y[1])


# ------------------------------------------------------------------ shared strokes
def patches(axes: Any, corners: Floats, values: Floats, cmap: Any, top: float, bottom: float = 0.0) -> Any:
    """Elements filled by value, as a picture inside vector files (thousands of outlines would only slow viewers)."""
    from matplotlib.collections import PolyCollection

    shown = PolyCollection(
        list(corners), array=values, cmap=cmap, edgecolors="face", linewidths=0.2, rasterized=True, zorder=1
    )
    shown.set_clim(bottom, top)
    axes.add_collection(shown, autolim=False)
    return shown


def window(axes: Any, x: tuple[float, float], y: tuple[float, float]) -> None:
    """True-to-scale axes in mm without a frame of their own."""
    axes.set_xlim(*x)
    axes.set_ylim(*y)
    axes.set_aspect("equal")
    for side in axes.spines.values():
        side.set_visible(False)
