"""An elevation as its figures see it: the splice it holds, its stages, the part of the beam they show.

The first loss of bond stands at the largest load before half of a lead was past its bond peak, as the findings tell it.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

import numpy as np

from fesplice.post.elevation.findings import ElevationFindings
from fesplice.post.elevation.hooks import HookHistory, history
from fesplice.post.elevation.layout import Layout, layout, tensile_strengths
from fesplice.post.elevation.trace import ElevationTrace, trace
from fesplice.report import style
from fesplice.report.view import Stage, View, nearest
from fesplice.report.within import EARLIER, within

#: Column of the curve that holds the movement of an elevation.
MOVED = "deflection_mm"


class Beam:
    """What several figures of one elevation need, read once."""

    def __init__(self, view: View):
        self.view = view

    @cached_property
    def laid(self) -> Layout:
        return layout(self.view.run.mesh)

    @cached_property
    def seen(self) -> ElevationTrace:
        """Trace of the run: every step read once."""
        return trace(self.view.run)

    @cached_property
    def strengths(self) -> Mapping[str, float]:
        """f_ct [MPa] by concrete."""
        return tensile_strengths(self.view.run)

    @cached_property
    def hooks(self) -> HookHistory:
        return history(self.view.run)

    @property
    def found(self) -> ElevationFindings:
        """Findings of the run."""
        found = self.view.findings
        assert isinstance(found, ElevationFindings)
        return found

    # -------------------------------------------------------------- stages
    def stages(self) -> tuple[Stage, ...]:
        """The steps asked for, or service, first loss and strength, each step once.

        Raises :class:`FolderFault` for a step that is not stored, or a run without steps.
        """
        self.view.has_steps()
        held, lost, whole = self.found.strength, self.found.bond_loss, self.view.part(within)
        load = np.asarray(self.view.curve["load_N"], float)
        marks, top = {"strength": held.row}, held.value
        if whole is not None and whole.load < EARLIER * held.value:
            marks, top = {"predicted": nearest(load, whole.load)}, whole.load
        if lost.step >= 0:
            marks["first loss"] = int(np.argmax(load[: self.view.run.indices.index(lost.step) + 1]))
        return self.view.stages(marks, top, MOVED)

    def leading(self) -> Stage:
        """The strength, or where the prediction ends, or the last of the steps asked for."""
        stages = self.stages()
        return next((s for s in stages if s.name in ("strength", "predicted")), stages[-1])

    # -------------------------------------------------------------- window
    @property
    def closure(self) -> tuple[float, float]:
        """x of the lap with a quarter depth on both sides [mm]; two depths about midspan without a lap."""
        laid = self.laid
        ends = [*laid.joints, *(a.tip for a in laid.anchors.values())]
        depth = laid.y[1] - laid.y[0]
        if not ends:
            return max(laid.x[0], -depth), min(laid.x[1], depth)
        return max(laid.x[0], min(ends) - 0.25 * depth), min(laid.x[1], max(ends) + 0.25 * depth)

    @property
    def reach(self) -> tuple[float, float]:
        """x of the beam between the loads and one depth beyond, where bending cracks form; all of a short beam [mm]."""
        low, high = self.laid.x
        depth = self.laid.y[1] - self.laid.y[0]
        if high - low < 6.0 * depth:
            return low, high
        mesh = self.view.run.mesh
        loads = [float(mesh.points[n, 0].mean()) for name, n in mesh.node_sets.items() if name.startswith("load:")]
        ends = [*loads, *self.laid.joints]
        return max(low, min(ends) - depth), min(high, max(ends) + depth)


def beam_of(view: View) -> Beam:
    """The beam of an elevation."""
    return view.part(Beam)


def outline(axes: Any, view: View, x: tuple[float, float]) -> None:
    """Faces of the beam and joint lines within ``x``."""
    laid = beam_of(view).laid
    left, right = max(x[0], laid.x[0]), min(x[1], laid.x[1])
    for level in laid.y:
        axes.plot([left, right], [level, level], color=style.INK, linewidth=0.7, zorder=5)
    for end in laid.x:
        if x[0] - 1e-6 <= end <= x[1] + 1e-6:
            axes.plot([end, end], laid.y, color=style.INK, linewidth=0.7, zorder=5)
    for joint in laid.joints:
        if x[0] < joint < x[1]:
            axes.plot([joint, joint], laid.y, color=style.QUIET, linewidth=0.6, linestyle=(0, (2, 2)), zorder=5)
