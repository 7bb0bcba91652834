"""A run as the figures see it: what several of them need, read once, and which steps they show.

Unless steps are asked for, figures show three stages, found by the same rules in every run: service (the step nearest
to 0.6 of the view's strength, on the way up), the first loss of bond along a lead, and the strength. Steps may be asked
for by their number, by a load or by the bar stress where the bars enter, so that a series is shown at the same of
them; axes of curves then reach as far as those of the runs shown beside (``beside``).
What figures of one view alone need is a part of it: :class:`fesplice.report.elevation.beam.Beam`,
:class:`fesplice.report.plan.slab.Slab`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from fesplice.contracts import FespliceError, Floats, FolderFault, InputFault, Ints
from fesplice.post.points import Points, gather
from fesplice.post.record import Findings, findings, view_of
from fesplice.post.runs import bar_columns, specimen_of

if TYPE_CHECKING:
    from fesplice.specimen import Specimen
    from fesplice.store.run import Run, StepFields

Part = TypeVar("Part")

#: Share of the strength that stands for service (common practice, no source).
SERVICE = 0.6
#: Most steps that may be asked for.
MOST = 3


class LeftOut(FespliceError):
    """A figure that cannot be made of this run or on this machine; all others still can."""


@dataclass(frozen=True)
class Stage:
    """A step with its part in the story: ``name`` (service, first loss, strength; predicted where a prediction ends
    before this view does; step or stress where one was asked for), row of the curve, load [N], ``bar_stress`` where
    the bars enter, the largest until then [MPa].

    ``moved``: midspan deflection of an elevation, extension of a plan [mm]; ``rising``: the run ended at this step, so
    that a larger load may lie beyond it.
    """

    name: str
    step: int
    row: int
    load: float
    moved: float
    bar_stress: float
    rising: bool = False

    @property
    def asked(self) -> bool:
        """True for a step that was asked for."""
        return self.name in ("step", "stress")

    @property
    def word(self) -> str:
        """``strength``; where the run ended on its way up, what the largest load really is."""
        if self.asked:
            return f"step {self.step}"
        if self.name == "predicted":
            return "predicted failure"
        return "largest so far" if self.name == "strength" and self.rising else self.name

    @property
    def title(self) -> str:
        """For panel titles: ``Strength, 132 kN, 360 MPa``."""
        told = f"{self.word.capitalize()}, {self.load / 1e3:.0f} kN"
        return f"{told}, {self.bar_stress:.0f} MPa" if math.isfinite(self.bar_stress) else told


@dataclass(frozen=True)
class Shown:
    """What was asked for: ``steps`` (negative from the last), ``loads`` [N], bar ``stresses`` [MPa]; none: the stages.

    ``beside``: the other runs of a series, whose scales hold here too.
    """

    steps: tuple[int, ...] = ()
    loads: tuple[float, ...] = ()
    stresses: tuple[float, ...] = ()
    beside: tuple[Run, ...] = ()

    @property
    def chosen(self) -> bool:
        """True where steps were asked for in any way."""
        return bool(self.steps or self.loads or self.stresses)


class View:
    """Lazily read parts of one run, shared by all figures made of it."""

    def __init__(self, run: Run, shown: Shown | None = None):
        self.run, self.shown = run, shown or Shown()
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

    @cached_property
    def _series(self) -> list[View]:
        """This run and those beside it that are of the same view."""
        asked = replace(self.shown, beside=())
        return [self, *(v for v in (View(run, asked) for run in self.shown.beside) if v.name == self.name)]

    def over(self, measure: Callable[[View], float]) -> float:
        """The largest of ``measure`` over the runs of the series: the end of a scale that all of them share.

        One that has no such figure, or never came to what was asked for, has no say.
        """
        known = []
        for view in self._series:
            try:
                known.append(measure(view))
            except (LeftOut, InputFault):
                if view is self:
                    raise
        return max(known)

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
    @cached_property
    def bar_stress(self) -> Floats:
        """Largest stress of any bar where it enters, up to each row of the curve (n,) [MPa]."""
        columns = list(bar_columns(self.curve).values())
        # a row of bars that is not there has no stress
        return np.maximum.accumulate(np.fmax.reduce(columns)) if columns else np.full(len(self.curve["load_N"]), np.nan)

    def stage(self, name: str, row: int, moved: str) -> Stage:
        """The step in ``row`` of the curve; ``moved`` names the column of the movement."""
        curve = self.curve
        last = row == len(curve["load_N"]) - 1
        load, way = float(curve["load_N"][row]), float(curve[moved][row])
        return Stage(name, int(curve["step"][row]), row, load, way, float(self.bar_stress[row]), last)

    def stages(self, marks: Mapping[str, int], strength: float, moved: str) -> tuple[Stage, ...]:
        """What was asked for; or else service (nearest to a share of ``strength`` [N]) and the rows ``marks`` of the
        curve by name, each step once with the first of its names, none after the first of the marks.

        Raises :class:`FolderFault` for a step that is not stored, :class:`InputFault` for what the run never carried.
        """
        taken: dict[int, str] = {}
        if self.shown.chosen:
            if len(self.shown.steps + self.shown.loads + self.shown.stresses) > MOST:
                raise InputFault("step, load, stress", f"at most {MOST} steps fit into a figure")
            for step in self.shown.steps:
                taken.setdefault(self.run.indices.index(self.run.step(step).index), "step")
            load = np.maximum.accumulate(np.asarray(self.curve["load_N"], float))
            for asked in self.shown.loads:
                taken.setdefault(_carried(load, asked, "load", 1e-3, "kN"), "step")
            for asked in self.shown.stresses:
                taken.setdefault(_carried(self.bar_stress, asked, "stress", 1.0, "MPa"), "stress")
        else:
            last = next(iter(marks.values()))
            for name, row in marks.items():
                if row <= last:
                    taken.setdefault(row, name)
            load = np.asarray(self.curve["load_N"], float)
            taken.setdefault(nearest(load[: last + 1], SERVICE * strength), "service")
        return tuple(self.stage(taken[at], at, moved) for at in sorted(taken))

    def has_steps(self) -> None:
        """Raises :class:`FolderFault` for a run without steps."""
        if not self.curve:
            raise FolderFault(str(self.run.folder), "no step is stored yet, so there is nothing to draw")


def nearest(values: Floats, asked: float) -> int:
    """Of the first of ``values`` (n,) that reaches ``asked`` and the one before it the nearer; the largest if none
    reaches it: steps may be wide.
    """
    reached = np.flatnonzero(values >= asked * (1.0 - 1e-6))
    if not len(reached):
        return int(np.argmax(values))
    first = int(reached[0])
    return first - 1 if first and asked - values[first - 1] < values[first] - asked else first


def _carried(values: Floats, asked: float, key: str, unit: float, name: str) -> int:
    """The row of :func:`nearest`; raises :class:`InputFault` for what was never carried."""
    most = float(values.max())
    if not 0.0 <= asked <= most * (1.0 + 1e-3):
        raise InputFault(key, f"{asked * unit:.4g} {name} was never reached; 0 to {most * unit:.4g} {name} were")
    return nearest(values, asked)


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
