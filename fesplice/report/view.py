"""A run as the figures see it: what several of them need, read once, and which steps they show.

Unless a step is asked for, figures show three stages: service (the step nearest to 0.6 of the
load at the first loss of bond, or else before the first drop, on the way up), the largest load, and the end of the run.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.contracts import FespliceError, Floats, FolderFault, Ints
from fesplice.post.elevation.layout import Layout, layout, tensile_strengths
from fesplice.post.points import Points, gather

if TYPE_CHECKING:
    from fesplice.post.elevation.hooks import HookHistory
    from fesplice.report.plan.slab import Slab
    from fesplice.specimen import Specimen
    from fesplice.store.run import Run, StepFields

#: Share of the strength that stands for service (common practice, no source).
SERVICE = 0.6


class LeftOut(FespliceError):
    """A figure that cannot be made of this run or on this machine; all others still can."""


@dataclass(frozen=True)
class Stage:
    """A step with its part in the story: ``name`` (service, peak or strength, end or step), row of the curve, load [N].

    ``rising``: the run ended at this step, so that a larger load may lie beyond it.
    """

    name: str
    step: int
    row: int
    load: float
    deflection: float
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

    @property
    def in_plan(self) -> bool:
        """True for a run of the plan."""
        return self.run.settings.get("plane") == "plan"

    @cached_property
    def specimen(self) -> Specimen:
        from fesplice.specimen import read_text

        return read_text(self.run.specimen_text, str(self.run.folder))

    @cached_property
    def plan(self) -> Layout:
        return layout(self.run.mesh)

    @cached_property
    def points(self) -> Points:
        return gather(self.run.mesh)

    @cached_property
    def strengths(self) -> Mapping[str, float]:
        return tensile_strengths(self.run)

    @cached_property
    def curve(self) -> dict[str, np.ndarray]:
        return self.run.curve

    @cached_property
    def findings(self) -> Mapping[str, Any]:
        """The summary as the run tells it, made anew for a run that ended without one."""
        from fesplice.post.elevation.findings import summarise

        told = self.run.summary
        if self.in_plan:
            from fesplice.post.plan.findings import summarise_plan

            return told if {"verdict", "peak_load"} <= told.keys() else summarise_plan(self.run).as_dict()
        return told if {"verdict", "peak_load", "cracking"} <= told.keys() else summarise(self.run).as_dict()

    @cached_property
    def hooks(self) -> HookHistory:
        from fesplice.post.elevation.hooks import history

        return history(self.run)

    @cached_property
    def slab(self) -> Slab:
        """What figures of a plan need."""
        from fesplice.report.plan.slab import Slab

        return Slab(self)

    @cached_property
    def elements(self) -> Elements:
        return Elements(self)

    def fields(self, step: int) -> Mapping[str, np.ndarray]:
        """Fields of a step, kept as long as the view."""
        if step not in self._steps:
            self._steps[step] = self.run.step(step)
        return self._steps[step].fields

    # -------------------------------------------------------------- stages
    def stages(self, step: int | None = None) -> tuple[Stage, ...]:
        """The one step asked for, or service, peak and end, each step once.

        Raises :class:`FolderFault` for a step that is not stored, or a run without steps.
        """
        curve = self.curve
        if not curve:
            raise FolderFault(str(self.run.folder), "no step is stored yet, so there is nothing to draw")
        load = np.asarray(curve["load_N"], float)
        if step is not None:
            index = self.run.step(step).index
            return (self._stage("step", self.run.indices.index(index)),)
        peak = int(np.nanargmax(load))
        rows = {"service": self._service(load, peak), "peak": peak, "end": len(load) - 1}
        taken: dict[int, str] = {}
        for name in ("peak", "service", "end"):
            taken.setdefault(rows[name], name)
        return tuple(self._stage(taken[row], row) for row in sorted(taken))

    def leading(self, step: int | None = None) -> Stage:
        """The step asked for, or the largest load."""
        stages = self.stages(step)
        return next((s for s in stages if s.name == "peak"), stages[0])

    def _service(self, load: Floats, peak: int) -> int:
        # beyond the loss of bond the anchorage has failed, however much the hooks go on to carry
        told = (self.findings.get("bond_loss") or {}).get("load"), (self.findings.get("strength") or {}).get("first")
        strength = next((v for v in told if v is not None and 0.0 < v <= load[peak]), load[peak])
        reached = int(np.flatnonzero(load[: peak + 1] >= SERVICE * strength)[0])
        near = (max(reached - 1, 0), reached)
        return min(near, key=lambda row: abs(load[row] - SERVICE * strength))

    def _stage(self, name: str, row: int) -> Stage:
        curve = self.curve
        load, moved = float(curve["load_N"][row]), curve["extension_mm" if self.in_plan else "deflection_mm"]
        deflection = float(moved[row])
        return Stage(name, int(curve["step"][row]), row, load, deflection, row == len(curve["load_N"]) - 1)


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


def outline(axes: Any, view: View, x: tuple[float, float]) -> None:
    """Faces of the beam and joint lines within ``x``."""
    plan = view.plan
    left, right = max(x[0], plan.x[0]), min(x[1], plan.x[1])
    for level in plan.y:
        axes.plot([left, right], [level, level], color="#1a1a1a", linewidth=0.7, zorder=5)
    for end in plan.x:
        if x[0] - 1e-6 <= end <= x[1] + 1e-6:
            axes.plot([end, end], plan.y, color="#1a1a1a", linewidth=0.7, zorder=5)
    for joint in plan.joints:
        if x[0] < joint < x[1]:
            axes.plot([joint, joint], plan.y, color="#5c5c5c", linewidth=0.6, linestyle=(0, (2, 2)), zorder=5)
