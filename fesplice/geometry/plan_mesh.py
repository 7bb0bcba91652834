"""The plan as a mesh: a grid of rectangles, bars laid over it, hooks spread over patches, ties to the body.

The slab is one rectangle, so its grid needs no mesher: columns of even width, and rows of which one holds
each bar in its middle. Beyond the slab's own nodes there are three whose displacement alone counts: a crosshead
for the bars of each side, and the body.
"""

from __future__ import annotations

import numpy as np

from fesplice.contracts import Floats, InputFault, Ints
from fesplice.geometry import lines
from fesplice.geometry.planes import HookEnd, Plane
from fesplice.mesh import Group, Mesh, check

#: Names of groups and node sets that the plan adds to those of the elevation.
INTERFACE, GRIPS, ANCHOR = "interface", "grips", "anchor"
CROSSHEADS = ("crosshead:left", "crosshead:right")
#: Crossheads stand this share of the slab's length outside it; their place counts for nothing but pictures.
_OUTSIDE = 0.15


def plan_mesh(plane: Plane, element: float) -> Mesh:
    """Mesh of a plan with elements about ``element`` [mm] wide; raises :class:`InputFault` where none is possible."""
    slab = plane.body[0]
    if not 0.0 < element <= min(slab.x1 - slab.x0, slab.y1 - slab.y0):
        raise InputFault("plan.element", "must be positive and smaller than the slab")
    x = _even(slab.x0, slab.x1, element)
    bands = _bands(plane.levels, element, (slab.y0, slab.y1))
    y = _rows(bands, element, (slab.y0, slab.y1))
    points, quads = _grid(x, y)
    low, high = points[quads].min(axis=1), points[quads].max(axis=1)
    thickness, in_row = _thickness(plane, low, high)
    name = slab.material
    groups = {name: Group("quad4", name, quads, {"thickness": thickness, "bar_row": in_row})}
    n_slab = len(points)

    hosts = lines.Hosts(quads, points)
    bar_lines = {}
    for path in plane.paths:
        laid = lines.lay(path, (), lambda xy: np.full(len(xy), element))
        found, line = lines.bar_line(path, laid, len(points), hosts)
        groups |= found
        bar_lines[path.name] = line
        points = np.concatenate([points, laid.points])
    for end in plane.ends:
        nodes = bar_lines[end.line].nodes[[0, -1]]
        nearest = np.argmin(np.hypot(*(points[nodes] - (end.x, end.y)).T))
        groups[f"{ANCHOR}:{end.name}"] = _anchor(end, int(nodes[nearest]), hosts)

    sets: dict[str, Ints] = {}
    far = _OUTSIDE * (slab.x1 - slab.x0)
    for name, at, sign in zip(CROSSHEADS, (slab.x0 - far, slab.x1 + far), (1.0, -1.0), strict=True):
        held = [line for line in bar_lines.values() if line.role == "main" and _enters(line, points, sign)]
        faces = np.array([line.nodes[0] for line in held], np.int32)
        if not held:  # a joint has bars from one side alone
            continue
        node = len(points)
        points = np.concatenate([points, [[at, 0.5 * (slab.y0 + slab.y1)]]])
        side = name.split(":")[1]
        groups[f"{GRIPS}:{side}"] = _link(faces, node, np.array([line.area for line in held]), sign)
        sets[name], sets[f"faces:{side}"] = np.array([node], np.int32), faces
    body = len(points)
    points = np.concatenate([points, [[0.5 * (slab.x0 + slab.x1), 0.5 * (slab.y0 + slab.y1)]]])
    hung = _link(np.arange(n_slab, dtype=np.int32), body, _tributary(x, y), 1.0)
    crossing = {f"{kind}_ratio": _crossing(plane, kind, points[:n_slab, 0]) for kind in ("leg", "tail_A", "tail_B")}
    groups[INTERFACE] = Group("link", "link", hung.cells, {**hung.data, **crossing})
    sets["body"] = np.array([body], np.int32)
    grid = np.arange(n_slab, dtype=np.int32).reshape(len(x), len(y))
    sets["side:low"], sets["side:high"] = grid[:, 0], grid[:, -1]
    mesh = Mesh(points, groups, sets, bar_lines, plane.stations)
    check(mesh)
    return mesh


# ------------------------------------------------------------------ grid
def _even(a: float, b: float, size: float) -> Floats:
    """Grid lines of even spacing, an even number of columns, so that a mirrored slab gets a mirrored grid."""
    n = 2 * max(1, int(np.ceil((b - a) / size / 2.0 - 1e-6)))
    return a + (b - a) * np.arange(n + 1) / n


def _bands(levels: tuple[float, ...], size: float, bounds: tuple[float, float]) -> list[tuple[float, float]]:
    """Lower and upper edge of the row about each bar; bars closer than half an element share one."""
    joined: list[list[float]] = []
    for v in sorted(levels):
        if joined and v - joined[-1][-1] < 0.5 * size:
            joined[-1].append(v)
        else:
            joined.append([v])
    middle = np.array([0.5 * (g[0] + g[-1]) for g in joined])
    room = np.concatenate([[1.4 * (middle[0] - bounds[0])], np.diff(middle), [1.4 * (bounds[1] - middle[-1])]])
    half = 0.5 * np.minimum(size, np.minimum(room[:-1], room[1:]))
    return [(float(m - h), float(m + h)) for m, h in zip(middle, half)]


def _rows(bands: list[tuple[float, float]], size: float, bounds: tuple[float, float]) -> Floats:
    edges = np.unique(np.round([bounds[0], *(v for band in bands for v in band), bounds[1]], 8))
    held = {round(a, 8) for a, _ in bands}
    found = [edges[:1]]
    for a, b in zip(edges[:-1], edges[1:]):
        n = 1 if a in held else max(1, int(np.ceil((b - a) / size - 1e-6)))
        found.append(a + (b - a) * np.arange(1, n + 1) / n)
    return np.concatenate(found)


def _grid(x: Floats, y: Floats) -> tuple[Floats, Ints]:
    """Points (n, 2) by column, and quads (m, 4) whose lower left corner leads."""
    points = np.column_stack([np.repeat(x, len(y)), np.tile(y, len(x))])
    node = np.arange(len(points), dtype=np.int32).reshape(len(x), len(y))
    quads = np.stack([node[:-1, :-1], node[1:, :-1], node[1:, 1:], node[:-1, 1:]], axis=-1)
    return points, np.ascontiguousarray(quads.reshape(-1, 4))


def _tributary(x: Floats, y: Floats) -> Floats:
    """Area of every grid node (n,) [mm2]: half way to its neighbours."""
    wide = [np.diff(np.concatenate([v[:1], 0.5 * (v[1:] + v[:-1]), v[-1:]])) for v in (x, y)]
    return (wide[0][:, None] * wide[1]).ravel()


def _thickness(plane: Plane, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Thickness (n,) [mm] less the bars that run through an element's row, and 1 where bars do."""
    thickness = np.full(len(low), plane.body[0].thickness)
    in_row = np.zeros(len(low))
    for strip in plane.net:
        inside = (low[:, 1] <= strip.level + 1e-9) & (high[:, 1] > strip.level + 1e-9)
        covered = np.minimum(high[:, 0], strip.x1) - np.maximum(low[:, 0], strip.x0)
        share = np.clip(covered / (high[:, 0] - low[:, 0]), 0.0, 1.0)
        thickness -= np.where(inside, share * strip.taken, 0.0)
        in_row = np.where(inside & (share > 0.0), 1.0, in_row)
    return np.maximum(thickness, 0.1 * plane.body[0].thickness), in_row


# ------------------------------------------------------------------ ties to what lies outside
def _anchor(end: HookEnd, node: int, hosts: lines.Hosts) -> Group:
    """Three by three points in the middles of equal parts of the patch the bend covers."""
    third = np.array([1.0, 3.0, 5.0]) / 6.0
    along, across = np.meshgrid(end.reach * third, end.width * (third - 0.5), indexing="ij")
    tx, ty = end.towards
    places = np.column_stack([
        end.x + tx * along.ravel() - ty * across.ravel(), end.y + ty * along.ravel() + tx * across.ravel(),
    ])  # fmt: skip
    host, local = hosts.find(places)
    cells = np.concatenate([[node], hosts.quads[host].ravel()]).astype(np.int32)[None]
    data = {
        "tangent": np.array([[-tx, -ty]]),  # slip counts positive the way the bar is pulled
        "patch_local": local[None],
        "reach": np.array([end.reach]),
        "diameter": np.array([end.width]),
    }
    return Group("anchor", "anchor", cells, data)


def _crossing(plane: Plane, kind: str, x: Floats) -> Floats:
    """Share (n,) of the plane's area at ``x`` that upright steel of one kind takes."""
    ratio = np.zeros(len(x))
    for strip in plane.legs:
        if strip.kind == kind:
            ratio += np.where((x >= strip.x0) & (x <= strip.x1), strip.ratio, 0.0)
    return ratio


def _link(nodes: Ints, partner: int, area: Floats, sign: float) -> Group:
    cells = np.column_stack([nodes, np.full(len(nodes), partner)]).astype(np.int32)
    return Group("link", "link", cells, {"area": area, "axis": np.tile([sign, 0.0], (len(nodes), 1))})


def _enters(line, points: Floats, sign: float) -> bool:
    return float(points[line.nodes[-1], 0] - points[line.nodes[0], 0]) * sign > 0.0
