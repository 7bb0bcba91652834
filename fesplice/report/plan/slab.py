"""A plan run as its figures see it: stages, bars to scale, names that keep clear of each other.

The first loss of bond stands at the largest load until the judge calls bond lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import Mesh
from fesplice.post.mechanisms import Mechanism
from fesplice.post.plan.findings import PlanFindings
from fesplice.post.plan.forces import PlanForces
from fesplice.post.plan.layout import PlanBar, PlanLayout, plan_layout, x_of
from fesplice.post.plan.trace import PlanTrace, TieState, tie_states, trace, yields_of
from fesplice.report import style
from fesplice.report.view import Stage, View, nearest
from fesplice.report.within import EARLIER, within

#: Room beside the slab for names and stubs of bars, as a share of its size.
MARGIN = 0.09
#: Column of the curve that holds the movement of a plan.
MOVED = "extension_mm"


class Slab:
    """What several figures of one plan run need, read once."""

    def __init__(self, view: View):
        self.view = view
        self.mesh: Mesh = view.run.mesh

    @cached_property
    def laid(self) -> PlanLayout:
        return plan_layout(self.mesh)

    @cached_property
    def forces(self) -> PlanForces:
        return PlanForces(self.mesh, self.laid)

    @cached_property
    def history(self) -> PlanTrace:
        return trace(self.view.run, self.laid)

    @property
    def found(self) -> PlanFindings:
        """Findings of the run."""
        found = self.view.findings
        assert isinstance(found, PlanFindings)
        return found

    @cached_property
    def yields(self) -> dict[str, float]:
        """Yield strength [MPa] by steel."""
        return yields_of(self.view.run)

    def tail(self, bar: PlanBar) -> float:
        """x of the centre of a hook's tail [mm], a bend's radius past the straight bar; else where the bar ends."""
        bars = self.view.specimen.bars
        row = bars.left if bar.row == "A" else bars.right or bars.left
        if not bar.hooked or row.hook is None:
            return bar.end
        return bar.end + bar.sign * 0.5 * (row.hook.bend_diameter + row.diameter)

    def ties(self, step: int) -> tuple[TieState, ...]:
        """Every line of transverse steel at one step."""
        return tie_states(self.mesh, self.laid, self.view.fields(step), self.yields)

    # -------------------------------------------------------------- stages
    def stages(self) -> tuple[Stage, ...]:
        """The steps asked for, or service, first loss and strength, each step once.

        Raises :class:`FolderFault` for a step that is not stored, or a run without steps.
        """
        self.view.has_steps()
        held, whole = self.found.strength, self.view.part(within)
        load = np.asarray(self.view.curve["load_N"], float)
        marks, top = {"strength": held.row}, held.value
        if whole is not None and whole.bar_stress < EARLIER * self.found.assessment.bar_stress:
            row = nearest(self.view.bar_stress, whole.bar_stress)
            marks, top = {"predicted": row}, float(load[row])
        bond = (self.found.assessment.state(m) for m in (Mechanism.bond_splitting, Mechanism.bond_pullout))
        steps = [state.step for state in bond if state is not None and state.reached]
        if steps:
            marks["first loss"] = int(np.argmax(load[: self.view.run.indices.index(min(steps)) + 1]))
        return self.view.stages(marks, top, MOVED)

    def leading(self) -> Stage:
        """The strength, or where the prediction ends, or the last of the steps asked for."""
        stages = self.stages()
        return next((s for s in stages if s.name in ("strength", "predicted")), stages[-1])

    # -------------------------------------------------------------- window
    @property
    def window(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The slab with a margin: x along the beam; y across it."""
        (x0, x1), (y0, y1) = self.laid.x, self.laid.y
        return (x0 - MARGIN * (x1 - x0), x1 + MARGIN * (x1 - x0)), (y0 - 0.02 * (y1 - y0), y1 + 0.02 * (y1 - y0))


def slab_of(view: View) -> Slab:
    """The slab of a plan."""
    return view.part(Slab)


# ------------------------------------------------------------------ bars
def bars_to_scale(axes: Any, slab: Slab, *, names: bool = True, quiet: bool = False) -> None:
    """Main bars at their true size with the stub by which they are pulled, a ring for the tail of a hook."""
    from matplotlib.patches import Circle, Rectangle

    x0, x1 = slab.window[0]
    edge = style.FAINT if quiet else "#0b3c6f"
    for bar in slab.laid.bars:
        start = x0 if bar.sign > 0.0 else x1
        tail = slab.tail(bar)
        low, high = sorted((start, tail))
        fill = "none" if quiet else "#ffffff66"
        axes.add_patch(
            Rectangle(
                (low, bar.y - 0.5 * bar.diameter),
                high - low,
                bar.diameter,
                facecolor=fill,
                edgecolor=edge,
                linewidth=0.6,
                zorder=2.5,
            )  # fmt: skip
        )
        if bar.hooked:
            # the tail stands upright: in plan its outline is a ring of the bar's size
            ring = Circle(
                (tail, bar.y), 0.5 * bar.diameter, facecolor="white", edgecolor=edge, linewidth=0.9, zorder=2.6
            )
            axes.add_patch(ring)
        if names:
            axes.text(
                start, bar.y, f" {bar.line} ", fontsize=7.0, va="center", ha="left" if bar.sign > 0.0 else "right",
                zorder=9, color=style.INK, clip_on=True,
                bbox={"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.85},
            )  # fmt: skip
    for name in slab.laid.across:
        points = slab.mesh.points[slab.mesh.lines[name].nodes]
        axes.plot(points[:, 0], points[:, 1], color=style.STEEL, linewidth=1.0, zorder=2.4)


def slab_outline(axes: Any, slab: Slab) -> None:
    """The side faces unbroken, the joints (or ends of the lap) dashed."""
    (x0, x1), (y0, y1) = slab.laid.x, slab.laid.y
    for y in (y0, y1):
        axes.plot([x0, x1], [y, y], color=style.INK, linewidth=0.8, zorder=5)
    for x in (x0, x1):
        axes.plot([x, x], [y0, y1], color=style.QUIET, linewidth=0.7, linestyle=(0, (3, 2)), zorder=5)


def places_across(slab: Slab) -> list[tuple[float, list[str]]]:
    """Lines of transverse steel by their x [mm], each place with its lines from low to high."""
    by: dict[float, list[str]] = {}
    for name in slab.laid.across:
        by.setdefault(round(x_of(slab.mesh, name), 3), []).append(name)
    return sorted(by.items())


# ------------------------------------------------------------------ names
@dataclass
class Labels:
    """Texts of 7 points on axes true to scale, put where they meet no other; ``unit`` data mm per paper mm.

    Widths follow from the number of letters (0.6 of the size each, an even letter's width in sans serif).
    """

    axes: Any
    unit: float
    taken: list[tuple[float, float, float, float]]

    @classmethod
    def on(cls, axes: Any, unit: float) -> Labels:
        """Nothing placed yet."""
        return cls(axes, unit, [])

    def block(self, x: float, y: float, width: float, height: float) -> None:
        """Keep texts off a box centred at (x, y)."""
        self.taken.append((x - 0.5 * width, y - 0.5 * height, x + 0.5 * width, y + 0.5 * height))

    def put(self, text: str, places: Sequence[tuple[float, float]], *, upright: bool = False, **options: Any) -> None:
        """Write ``text`` centred at the first of ``places`` that is free; where none is, at the one least covered."""
        long, tall = 2.47 * 0.6 * len(text) * self.unit + 1.2 * self.unit, 3.4 * self.unit
        wide, high = (tall, long) if upright else (long, tall)
        cover = [self._cover(x, y, wide, high) for x, y in places]
        x, y = places[int(np.argmin(cover))]
        self.block(x, y, wide, high)
        self.axes.text(
            x, y, text, fontsize=7.0, ha="center", va="center", rotation=90.0 if upright else 0.0, zorder=9,
            bbox={"boxstyle": "round,pad=0.08", "facecolor": "white", "edgecolor": "none", "alpha": 0.88}, **options,
        )  # fmt: skip

    def _cover(self, x: float, y: float, wide: float, high: float) -> float:
        x0, y0, x1, y1 = x - 0.5 * wide, y - 0.5 * high, x + 0.5 * wide, y + 0.5 * high
        low, top = sorted(self.axes.get_xlim()), sorted(self.axes.get_ylim())
        beyond = max(low[0] - x0, 0.0) + max(x1 - low[1], 0.0) + max(top[0] - y0, 0.0) + max(y1 - top[1], 0.0)
        cover = 100.0 * beyond * high
        for a0, b0, a1, b1 in self.taken:
            cover += max(min(x1, a1) - max(x0, a0), 0.0) * max(min(y1, b1) - max(y0, b0), 0.0)
        return cover


def along(start: Floats, end: Floats, shares: Sequence[float]) -> list[tuple[float, float]]:
    """Points on the way from ``start`` to ``end`` at the given shares."""
    a, b = np.asarray(start, float), np.asarray(end, float)
    return [(float(p[0]), float(p[1])) for p in (a + s * (b - a) for s in shares)]
