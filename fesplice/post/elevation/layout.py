"""What a mesh tells about the splice: joint faces, anchored bar ends, bar row, depth.

Read from bar lines, stations and joint elements, so that post-processing needs no geometry
model. Every anchored main bar line (hooked or straight) becomes one :class:`Anchor`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import LEAD, BarLine, Mesh, Station
from fesplice.post.points import concrete_groups

if TYPE_CHECKING:
    from fesplice.store.run import Run


@dataclass(frozen=True)
class Anchor:
    """One end of a main bar line in the splice; lengths and places in mm.

    ``sign`` is +1 where the bar runs towards +x into its anchorage; ``face`` the x of the joint
    face where it enters the closure (start of the lap in a body without joints); ``level`` the
    height of the straight lead; ``tip`` the furthest x of the bar's surface; ``tail`` the
    (x, y) of the bar end; ``row`` and ``above`` the (y0, y1) of the element row that holds
    the bars and of the next row towards the compression face.
    """

    line: str
    hooked: bool
    sign: float
    face: float
    level: float
    tip: float
    tail: tuple[float, float]
    row: tuple[float, float]
    above: tuple[float, float]
    diameter: float


@dataclass(frozen=True)
class Layout:
    """Joint faces (x, ascending), anchors by line name, and the body's bounds [mm]."""

    joints: tuple[float, ...]
    anchors: dict[str, Anchor]
    x: tuple[float, float]
    y: tuple[float, float]

    @property
    def cast(self) -> tuple[float, float]:
        """x of both ends of the concrete the splice lies in: the closure, or the whole body without joints."""
        return (self.joints[0], self.joints[-1]) if self.joints else self.x

    def reach(self, anchor: Anchor) -> tuple[float, float]:
        """From the joint face to 4 d_b beyond the anchor's tip, at most to the far end of the cast concrete."""
        beyond = anchor.tip + 4.0 * anchor.diameter * anchor.sign
        x0, x1 = np.clip(sorted((anchor.face, beyond)), *self.cast)
        return float(x0), float(x1)

    def about(self, anchor: Anchor) -> tuple[float, float]:
        """4 d_b to both sides of the anchor's tip, at most to the ends of the cast concrete."""
        x0, x1 = np.clip((anchor.tip - 4.0 * anchor.diameter, anchor.tip + 4.0 * anchor.diameter), *self.cast)
        return float(x0), float(x1)


def main_lines(mesh: Mesh) -> dict[str, BarLine]:
    """Main bar lines by name."""
    return {name: line for name, line in mesh.lines.items() if line.role == "main"}


def stations_of(mesh: Mesh, line: str) -> dict[str, Station]:
    """Stations of a bar line by the last part of their name (``lead``, ``tangent``, ...)."""
    return {s.name.split("/")[-1]: s for s in mesh.stations if s.line == line}


def joint_faces(mesh: Mesh) -> tuple[float, ...]:
    """x of the joint lines, ascending [mm]."""
    groups = mesh.of_kind("joint").values()
    return tuple(sorted(float(mesh.points[g.cells, 0].mean()) for g in groups if len(g.cells)))


def layout(mesh: Mesh) -> Layout:
    """Read the splice from the mesh."""
    used = np.unique(np.concatenate([mesh.groups[n].cells.ravel() for n in concrete_groups(mesh)]))
    low, high = mesh.points[used].min(axis=0), mesh.points[used].max(axis=0)
    joints = joint_faces(mesh)
    ends = {name: end for name, line in main_lines(mesh).items() if (end := _inner_end(mesh, line, low, high))}
    anchors = {}
    for name, (sign, hooked, tip, tail) in ends.items():
        line = mesh.lines[name]
        lead = mesh.points[line.nodes[line.zone == LEAD]]
        level = float(np.median(lead[:, 1]))
        passed = [x for x in joints if (tip - x) * sign > 0.0]
        others = [t for other, (s, _, t, _) in ends.items() if other != name and s != sign]
        if passed:
            face = max(passed, key=lambda x: x * sign)
        else:
            # without joints the lap starts where the partner's bars end
            face = others[0] if others else float(lead[:, 0].mean())
        row, above = _rows(mesh, line, level)
        anchors[name] = Anchor(name, hooked, sign, face, level, tip, tail, row, above, line.diameter)
    return Layout(joints, anchors, (float(low[0]), float(high[0])), (float(low[1]), float(high[1])))


def _inner_end(
    mesh: Mesh, line: BarLine, low: Floats, high: Floats
) -> tuple[float, bool, float, tuple[float, float]] | None:
    """Sign, hooked, tip and tail end of the anchored end; None for a bar that runs through."""
    xy = mesh.points[line.nodes]
    lead = line.zone == LEAD
    if not lead.all():
        bent = xy[~lead]
        sign = float(np.sign(bent[:, 0].mean() - xy[lead, 0].mean()))
        last = -1 if not lead[-1] else 0
        tip = float((bent[:, 0] * sign).max() * sign + 0.5 * sign * line.diameter)
        return sign, True, tip, (float(xy[last, 0]), float(xy[last, 1]))
    gap = np.array([xy[:, 0].min() - low[0], high[0] - xy[:, 0].max()])
    if abs(gap[0] - gap[1]) < 0.1 * (high[0] - low[0]):
        return None
    sign = 1.0 if gap[1] > gap[0] else -1.0
    end = xy[np.argmax(xy[:, 0] * sign)]
    return sign, False, float(end[0]), (float(end[0]), float(end[1]))


def _rows(mesh: Mesh, line: BarLine, level: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Element rows at the lead and next above it, from the host elements of its bond points."""
    bond = mesh.groups[line.bond]
    hosts = mesh.points[bond.cells[line.zone == LEAD, 1:], 1]
    holds = (hosts.min(axis=1) <= level + 1e-6) & (hosts.max(axis=1) >= level - 1e-6)
    hosts = hosts[holds] if holds.any() else hosts
    row = (float(np.median(hosts.min(axis=1))), float(np.median(hosts.max(axis=1))))
    y = np.concatenate([mesh.points[mesh.groups[n].cells, 1] for n in concrete_groups(mesh)])
    height = row[1] - row[0]
    resting = np.abs(y.min(axis=1) - row[1]) < 0.25 * height
    top = float(np.median(y[resting].max(axis=1))) if resting.any() else row[1] + height
    return row, (row[1], top)


def tensile_strengths(run: Run) -> dict[str, float]:
    """f_ct [MPa] by concrete material (``precast``, ``closure``), from the specimen text of the run."""
    from fesplice.specimen import read_text

    concretes = read_text(run.specimen_text, str(run.folder)).concrete
    named = {"precast": concretes.precast, "closure": concretes.closure}
    return {name: float(c.tensile_strength) for name, c in named.items() if c is not None}
