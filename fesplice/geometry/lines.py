"""Bar lines laid over a finished quadrilateral grid: nodes, host quads, bond points, bar elements.

Bars need not follow the grid. Each bar node finds the quadrilateral it lies in and its natural
coordinates there; the bond element ties the two through the host's shape functions.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from fesplice.contracts import Floats, InputFault, Ints
from fesplice.geometry.planes import Path
from fesplice.mesh import BEND, LEAD, TAIL, BarLine, Group

SizeAt = Callable[[Floats], Floats]
#: Gauge points lie this many diameters from the bar axis: fixed, so that their opening does not follow the mesh.
GAUGE = 0.75
#: Corners of the natural square, in the order of a quad's nodes.
CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


# ------------------------------------------------------------------ hosts
def shape_values(local: Floats) -> Floats:
    """Bilinear shape functions (n, 4) at natural coordinates (n, 2)."""
    return 0.25 * (1.0 + local[:, None, 0] * CORNERS[:, 0]) * (1.0 + local[:, None, 1] * CORNERS[:, 1])


def natural(xy: Floats, points: Floats, rounds: int = 8) -> Floats:
    """Natural coordinates (n, 2) of ``points`` (n, 2) in quads ``xy`` (n, 4, 2), by Newton's method.

    One round is exact in a parallelogram; more are spent only where the quads need them.
    """
    local = np.zeros_like(points)
    for _ in range(rounds):
        miss = points - np.einsum("nk,nkd->nd", shape_values(local), xy)
        if np.abs(miss).max(initial=0.0) < 1e-10:
            break
        slope = 0.25 * CORNERS * (1.0 + local[:, None, ::-1] * CORNERS[:, ::-1])
        jac = np.einsum("nki,nkd->ndi", slope, xy)
        local = local + np.linalg.solve(jac, miss[..., None])[..., 0]
    return local


class Hosts:
    """Finds the quadrilateral around any point of the concrete: ``quads`` (m, 4) over mesh ``points`` (n_p, 2)."""

    def __init__(self, quads: Ints, points: Floats):
        self.quads = quads
        self.xy = points[quads]
        centre = self.xy.mean(axis=1)
        # scaled by the largest half width and half height, every point is within 1 of its host's centre
        self.scale = np.abs(self.xy - centre[:, None]).reshape(-1, 2).max(axis=0)
        self.tree = KDTree(centre / self.scale)

    def find(self, points: Floats, towards: Floats | None = None) -> tuple[Ints, Floats]:
        """Index of the host (n,) and natural coordinates (n, 2) of each of ``points`` (n, 2) [mm].

        A point on an edge is given to the quad on the side of ``towards`` (n, 2). Raises
        :class:`InputFault` for a point outside every quad.
        """
        probe = points if towards is None else points + 1e-6 * (towards - points)
        near = self.tree.query_ball_point(probe / self.scale, r=1.0 + 1e-6, p=np.inf, return_sorted=True)
        count = np.array([len(c) for c in near])
        if (count == 0).any():
            raise InputFault("mesh", f"a bar node at {_place(points[np.argmin(count)])} lies outside the concrete")
        who = np.repeat(np.arange(len(points)), count)
        quad = np.concatenate(near).astype(np.int32)
        excess = np.abs(natural(self.xy[quad], probe[who])).max(axis=1)
        order = np.lexsort((quad, excess.round(9), who))
        best = order[np.concatenate([[0], np.cumsum(count)[:-1]])]
        if excess[best].max() > 1.0 + 1e-6:
            raise InputFault(
                "mesh", f"a bar node at {_place(points[np.argmax(excess[best])])} lies outside the concrete"
            )
        chosen = quad[best]
        return chosen, np.clip(natural(self.xy[chosen], points), -1.0, 1.0)


def _place(xy: Floats) -> str:
    return f"x = {xy[0]:.1f}, y = {xy[1]:.1f} mm"


# ------------------------------------------------------------------ nodes of one line
@dataclass(frozen=True)
class Laid:
    """Nodes of a path: ``points`` (n, 2) [mm], ``arc`` (n,) [mm], ``zone`` (n,), first frame node or None."""

    points: Floats
    arc: Floats
    zone: Ints
    frame_from: int | None


def divide(start: Floats, end: Floats, size: SizeAt) -> Floats:
    """Fractions 0..1 cutting a straight piece so that every part is about, never above, the local size."""
    fine = np.linspace(0.0, 1.0, 65)
    length = np.linalg.norm(end - start)
    density = length / size(start + fine[:, None] * (end - start))
    total = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(fine))])
    n = max(1, int(np.ceil(total[-1] - 1e-6)))
    return np.interp(np.linspace(0.0, total[-1], n + 1), total, fine)


def around_joints(start: Floats, end: Floats, joints: tuple[float, ...], size: SizeAt) -> Floats:
    """Fractions 0..1 where a straight piece is cut so that a joint falls inside a part, never on a node."""
    marks = [0.0, 1.0]
    run = end[0] - start[0]
    if abs(run) < 1e-9:
        return np.array(marks)
    length = np.linalg.norm(end - start)
    for x in joints:
        at = (x - start[0]) / run
        half = 0.5 * float(size((start + at * (end - start))[None])[0]) / length
        if not 0.0 < at < 1.0:
            continue
        # a piece ending close to the joint already has a node beside it
        low = at - half if at >= 2.0 * half else 0.0
        high = at + half if 1.0 - at >= 2.0 * half else 1.0
        marks += [low, high]
    return np.unique(marks)


def lay(path: Path, joints: tuple[float, ...], size: SizeAt) -> Laid:
    """Nodes along a path: about one element size apart, bends at their own chords, none on a joint."""
    pieces, zones = [path.points[:1]], [path.zone[:1]]
    for a, b, za, zb in zip(path.points[:-1], path.points[1:], path.zone[:-1], path.zone[1:]):
        if za == BEND and zb == BEND:
            cuts = np.array([0.0, 1.0])
        else:
            marks = around_joints(a, b, joints, size)
            parts = [np.array([0.0])]
            for f, g in zip(marks[:-1], marks[1:]):
                p, q = a + f * (b - a), a + g * (b - a)
                inside = [j for j in joints if min(p[0], q[0]) < j < max(p[0], q[0])]
                inner = np.array([0.0, 1.0]) if inside else divide(p, q, size)
                parts.append(f + (g - f) * inner[1:])
            cuts = np.concatenate(parts)
        pieces.append(a + cuts[1:, None] * (b - a))
        zone = np.full(len(cuts) - 1, LEAD if za == LEAD else TAIL if zb == TAIL else BEND, np.int32)
        zone[-1] = zb
        zones.append(zone)
    points = np.concatenate(pieces)
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    frame = None if path.frame_from is None else int(np.searchsorted(arc, path.frame_from + 1e-6, side="right") - 1)
    return Laid(points, arc, np.concatenate(zones), frame)


def tangents(points: Floats) -> Floats:
    """Unit tangent per node (n, 2): the mean direction of the two chords that meet there.

    With it a constant bar force leaves no tangential out-of-balance at any node of a bend.
    """
    step = np.diff(points, axis=0)
    unit = step / np.linalg.norm(step, axis=1)[:, None]
    mean = np.vstack([unit[:1], unit[:-1] + unit[1:], unit[-1:]])
    return mean / np.linalg.norm(mean, axis=1)[:, None]


def tributary(arc: Floats) -> tuple[Floats, Floats]:
    """Length per node (n,) [mm] reaching half way to its neighbours, and the middles of these stretches."""
    half = 0.5 * (arc[1:] + arc[:-1])
    edges = np.concatenate([arc[:1], half, arc[-1:]])
    return np.diff(edges), 0.5 * (edges[1:] + edges[:-1])


# ------------------------------------------------------------------ groups of one line
def bar_line(path: Path, laid: Laid, first: int, hosts: Hosts) -> tuple[dict[str, Group], BarLine]:
    """Groups and profile line of one path whose nodes are numbered from ``first``."""
    n = len(laid.points)
    nodes = np.arange(first, first + n, dtype=np.int32)
    chords = np.column_stack([nodes[:-1], nodes[1:]])
    split = n - 1 if laid.frame_from is None else laid.frame_from
    groups: dict[str, Group] = {}
    kinds = (("bar", "truss2", chords[:split]), ("hook", "frame2", chords[split:]))
    for prefix, kind, cells in kinds:
        if len(cells):
            one = np.ones(len(cells))
            data = {"area": path.area * one, "diameter": path.diameter * one, "number": path.number * one}
            groups[f"{prefix}:{path.name}"] = Group(kind, path.steel, cells, data)
    bars = tuple(groups)
    groups[f"bond:{path.name}"] = _bond(path, laid, nodes, hosts)
    line = BarLine(
        name=path.name,
        role=path.role,
        nodes=nodes,
        arc=laid.arc,
        zone=laid.zone,
        area=path.area,
        diameter=path.diameter,
        number=path.number,
        steel=path.steel,
        groups=bars,
        bond=f"bond:{path.name}",
    )
    return groups, line


def _bond(path: Path, laid: Laid, nodes: Ints, hosts: Hosts) -> Group:
    length, middle = tributary(laid.arc)
    towards = np.column_stack([np.interp(middle, laid.arc, laid.points[:, k]) for k in (0, 1)])
    host, local = hosts.find(laid.points, towards)
    one = np.ones(len(nodes))
    anchored = np.zeros(len(nodes))
    anchored[0], anchored[-1] = float(path.anchored_start), float(path.anchored_end)
    edges = np.array([s.x0 for s in path.stretches[1:]])
    place = np.searchsorted(edges, towards[:, 0])
    held = [path.stretches[k] for k in place]
    data = {
        "local": local,
        "length": length,
        "tangent": tangents(laid.points),
        "zone": laid.zone,
        "diameter": path.diameter * one,
        "number": path.number * one,
        "cmin": np.array([s.cmin for s in held]),
        "cmax": np.array([s.cmax for s in held]),
        "ktr": np.array([s.ktr for s in held]),
        "bond_length": np.array([s.bond_length for s in held]),
        "anchored": anchored,
        "bonded": float(path.bonded) * one,
    }
    if path.role == "main":
        data |= _gauges(path, laid, data["tangent"], towards, hosts)
    cells = np.column_stack([nodes, hosts.quads[host]]).astype(np.int32)
    return Group("bond", "bond", cells, data)


def _gauges(path: Path, laid: Laid, tangent: Floats, towards: Floats, hosts: Hosts) -> dict[str, np.ndarray]:
    """Hosts of two fixed points beside each lead node, whose distance is the opening that bond wedges apart.

    ``gauge_hosts`` (n, 2, 4) and ``gauge_local`` (n, 2, 2): first the point on the side of the normal
    (-t_y, t_x), then the other. Bend and tail nodes do not wedge; theirs fall on the bar.
    """
    away = np.where(laid.zone == LEAD, GAUGE * path.diameter, 0.0)[:, None]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    found = [hosts.find(laid.points + side * away * normal, towards + side * away * normal) for side in (1.0, -1.0)]
    return {
        "gauge_hosts": np.stack([hosts.quads[quad] for quad, _ in found], axis=1),
        "gauge_local": np.stack([local for _, local in found], axis=1),
    }
