"""Bars: stress, slip and bond stress along a bar line; stress at joint face, tangent point, bend end.

Bar stress is constant per bar element, so it is known at the elements' middles; slip, gap, bond
stress and bearing are known at the nodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.answers import Chart, Drawable, Line, Tabular
from fesplice.contracts import Floats, InputFault, Ints
from fesplice.mesh import ZONES, Mesh
from fesplice.post.elevation.layout import Layout, layout, stations_of
from fesplice.post.points import Fields

if TYPE_CHECKING:
    from fesplice.store.run import Run


#: What a profile may be drawn of, as an axis says it.
_QUANTITIES = {
    "stress": "bar stress (MPa)", "slip": "slip (mm)", "tau": "bond stress (MPa)", "bearing": "bearing (N/mm)",
}  # fmt: skip


@dataclass(frozen=True)
class BarProfile(Drawable, Tabular):
    """State of a bar line at one step.

    Nodes (n,): ``arc`` length [mm], ``xy`` (n, 2) [mm], ``zone`` (0 lead, 1 bend, 2 tail), ``slip``
    and ``gap`` of the bar against the concrete [mm], ``tau`` bond stress [MPa], ``bearing`` per length
    of line [N/mm], ``at_nodes`` stress interpolated there [MPa].
    Elements (n - 1,): ``middle`` arc length [mm], ``stress`` [MPa], ``strain``.
    """

    line: str
    arc: Floats
    xy: Floats
    zone: Ints
    slip: Floats
    gap: Floats
    tau: Floats
    bearing: Floats
    at_nodes: Floats
    middle: Floats
    stress: Floats
    strain: Floats

    def chart(self, quantity: str = "stress") -> Chart:
        """``stress``, ``slip``, ``tau`` (bond stress) or ``bearing`` over the arc length."""
        if quantity not in _QUANTITIES:
            raise InputFault("plot", f"quantity = {quantity!r}; allowed: {', '.join(_QUANTITIES)}")
        at = self.middle if quantity == "stress" else self.arc
        title = f"Bars {self.line}"
        line = Line(title, at, getattr(self, quantity))
        return Chart(title, "distance along the bar (mm)", _QUANTITIES[quantity], (line,))

    def columns(self) -> dict[str, Any]:
        """One row per node; ``stress_MPa`` is interpolated there."""
        return {
            "arc_mm": self.arc, "x_mm": self.xy[:, 0], "y_mm": self.xy[:, 1], "zone": [ZONES[k] for k in self.zone],
            "stress_MPa": self.at_nodes, "slip_mm": self.slip, "bond_stress_MPa": self.tau,
            "bearing_N_per_mm": self.bearing,
        }  # fmt: skip

    def stress_at(self, arc: float) -> float:
        """Stress at an arc length [MPa], linear between the middles of elements."""
        return float(np.interp(arc, self.middle, self.stress))

    def slip_at(self, arc: float) -> float:
        """Slip at an arc length [mm]."""
        return float(np.interp(arc, self.arc, self.slip))


def profile(mesh: Mesh, fields: Fields, line: str) -> BarProfile:
    """Profile of the bar line named ``line``; KeyError if there is none."""
    bar = mesh.lines[line]
    place = {int(node): k for k, node in enumerate(bar.nodes)}
    middle, stress, strain = [], [], []
    for name in bar.groups:
        ends = np.array([place[int(node)] for node in mesh.groups[name].cells.ravel()], int).reshape(-1, 2)
        middle.append(bar.arc[ends].mean(axis=1))
        stress.append(np.asarray(fields[f"{name}/stress"], float).reshape(len(ends)))
        strain.append(np.asarray(fields[f"{name}/strain"], float).reshape(len(ends)))
    order = np.argsort(np.concatenate(middle), kind="stable")
    middle, stress, strain = (np.concatenate(v)[order] for v in (middle, stress, strain))
    slip, gap, tau, bearing = (
        np.asarray(fields[f"{bar.bond}/{q}"], float).reshape(-1) for q in ("slip", "gap", "tau", "bearing")
    )
    arc = np.asarray(bar.arc, float)
    return BarProfile(
        line, arc, mesh.points[bar.nodes], bar.zone, slip, gap, tau, bearing,
        np.interp(arc, middle, stress), middle, stress, strain,
    )  # fmt: skip


def arc_at(mesh: Mesh, line: str, xy: tuple[float, float]) -> float:
    """Arc length [mm] of the point of a bar line nearest to ``xy``."""
    bar = mesh.lines[line]
    p = mesh.points[bar.nodes]
    d = np.diff(p, axis=0)
    share = np.clip(np.einsum("nd,nd->n", np.asarray(xy) - p[:-1], d) / np.einsum("nd,nd->n", d, d), 0.0, 1.0)
    gap = np.hypot(*(p[:-1] + share[:, None] * d - xy).T)
    k = int(np.argmin(gap))
    return float(bar.arc[k] + share[k] * (bar.arc[k + 1] - bar.arc[k]))


def face_arcs(mesh: Mesh, line: str, plan: Layout | None = None) -> tuple[float, ...]:
    """Arc lengths [mm] where a main bar line meets its joint face.

    An anchored line has one; a line that runs through has one per joint, or midspan.
    """
    plan = layout(mesh) if plan is None else plan
    level = float(np.median(mesh.points[mesh.lines[line].nodes, 1]))
    if line in plan.anchors:
        anchor = plan.anchors[line]
        return (arc_at(mesh, line, (anchor.face, anchor.level)),)
    return tuple(arc_at(mesh, line, (x, level)) for x in (plan.joints or (0.0,)))


@dataclass(frozen=True)
class Anchorage:
    """Force transfer of one main bar line; stresses [MPa], slips [mm]; nan where there is no such place.

    ``face`` stress at the joint face (the larger, where the line has two), ``tangent`` where the
    bend begins, ``bend_end`` where the tail begins; ``hook_share`` = tangent / face;
    ``slip_face`` and ``slip_tangent`` of the bar against the concrete, absolute;
    ``largest`` stress anywhere on the line.
    """

    line: str
    face: float
    tangent: float
    bend_end: float
    hook_share: float
    slip_face: float
    slip_tangent: float
    largest: float


def anchorage(mesh: Mesh, fields: Fields, line: str, plan: Layout | None = None) -> Anchorage:
    """Stress at joint face, tangent point and end of bend, and the hook's share."""
    state = profile(mesh, fields, line)
    faces = face_arcs(mesh, line, plan)
    at_face = max(faces, key=state.stress_at)
    face = state.stress_at(at_face)
    places = stations_of(mesh, line)
    read = {
        name: (arc, state.stress_at(arc), abs(state.slip_at(arc)))
        for name in ("tangent", "bend-end")
        if name in places and (arc := arc_at(mesh, line, places[name].xy)) is not None
    }
    nan = float("nan")
    _, tangent, slip_tangent = read.get("tangent", (nan, nan, nan))
    share = tangent / face if face != 0.0 else nan
    return Anchorage(
        line, face, tangent, read.get("bend-end", (nan, nan, nan))[1], share,
        abs(state.slip_at(at_face)), slip_tangent, float(state.stress.max()),
    )  # fmt: skip


@dataclass(frozen=True)
class AnchorageHistory:
    """:class:`Anchorage` of one line over the steps: arrays (n_steps,) by the same names."""

    line: str
    step: Ints
    load: Floats
    face: Floats
    tangent: Floats
    bend_end: Floats
    hook_share: Floats
    slip_face: Floats
    slip_tangent: Floats


def history(run: Run, line: str) -> AnchorageHistory:
    """Anchorage of a bar line over all steps of a run."""
    plan = layout(run.mesh)
    rows = [anchorage(run.mesh, step.fields, line, plan) for step in run.steps()]
    names = ("face", "tangent", "bend_end", "hook_share", "slip_face", "slip_tangent")
    columns = {name: np.array([getattr(row, name) for row in rows], float) for name in names}
    load = np.asarray(run.curve["load_N"], float) if rows else np.empty(0)
    return AnchorageHistory(line, np.array(run.indices, np.int32), load, **columns)
