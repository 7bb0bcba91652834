"""Plane and element size to Mesh: structured quadrilaterals cut by gmsh, bars laid over them.

The rectangles of the plane are cut into transfinite blocks by grid lines that run through the
whole height and length: at joints, plates, loads, supports, and just below and above the bars,
so that each bar level lies in the middle of one row of elements. Columns grow from the splice
size to the size elsewhere by a fixed slope.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np

from fesplice.contracts import Fault, Floats, InputFault, Ints
from fesplice.geometry import lines
from fesplice.geometry.planes import Block, Plane
from fesplice.mesh import Group, Mesh, check

#: Growth of the element size per length outside the splice.
GROWTH = 0.3
#: Soft grid lines closer than this share of the element size to a hard one move onto it.
MERGE = 0.45
#: Largest ratio of column width to the lowest row.
SLENDER = 5.0
#: Gmsh's number for the four-node quadrilateral.
QUAD = 3


class ElementSizes(Protocol):
    """Element sizes [mm] at the splice and elsewhere."""

    splice: float
    elsewhere: float


def build_mesh(plane: Plane, size: ElementSizes) -> Mesh:
    """Mesh of the plane, checked; raises :class:`InputFault` where no sound mesh is possible.

    Safe to call repeatedly and from any thread, one at a time.
    """
    if not (size.splice > 0.0 and size.elsewhere >= size.splice):
        raise InputFault("mesh", "element sizes must be positive, and elsewhere not finer than at the splice")
    grid = _grid(plane, float(size.splice), float(size.elsewhere))
    points, quads, block = _cut(plane, grid)
    groups = _concrete(plane, grid, points, quads, block)
    place = {b.part: k for k, b in enumerate(plane.body)}
    pairs = {}
    for j in plane.joints:
        pairs[j.name] = _pairs(points, quads, block, j.x, place[j.minus], place[j.plus])
        groups[f"joint:{j.name}"] = _joint(pairs[j.name], j.thickness)
    sets = _node_sets(plane, points, quads, block, pairs)

    hosts = lines.Hosts(np.concatenate([groups[n].cells for n in ("precast", "closure") if n in groups]), points)
    joints_x = tuple(j.x for j in plane.joints)
    bar_lines = {}
    for path in plane.paths:
        laid = lines.lay(path, joints_x, grid.size_at)
        found, line = lines.bar_line(path, laid, len(points), hosts)
        groups |= found
        bar_lines[path.name] = line
        points = np.concatenate([points, laid.points])
    mesh = Mesh(points, groups, sets, bar_lines, plane.stations)
    check(mesh)
    return mesh


# ------------------------------------------------------------------ grid lines
@dataclass(frozen=True)
class _Grid:
    """Grid lines x and y with the number of elements between them, plates moved onto them, bar rows."""

    x: Floats
    y: Floats
    columns: Ints
    ratio: Floats
    rows: Ints
    plates: dict[str, Block]
    levels: tuple[tuple[float, float], ...]
    splice: float
    elsewhere: float
    refined: float

    def size_at(self, xy: Floats) -> Floats:
        """Wanted element size [mm] at points (n, 2)."""
        return _size(np.abs(xy[:, 0]), self.refined, self.splice, self.elsewhere)


def _size(x: Floats, refined: float, splice: float, elsewhere: float) -> Floats:
    return np.clip(splice + GROWTH * (np.abs(x) - refined), splice, elsewhere)


def _grid(plane: Plane, splice: float, elsewhere: float) -> _Grid:
    depth = plane.body[0].y1
    levels = _bar_rows(plane.levels, splice, depth)
    y = np.unique([0.0, depth, *(v for row in levels for v in row)])
    gaps = np.diff(y)
    single = np.isin(y[:-1].round(9), np.array([r[0] for r in levels]).round(9))
    rows = np.where(single, 1, np.maximum(1, np.ceil(gaps / splice - 1e-6))).astype(int)
    elsewhere = max(splice, min(elsewhere, SLENDER * float((gaps / rows).min())))

    hard = sorted(plane.snaps_x)
    wanted = list(hard)
    moved: dict[float, float] = {}
    grown = plane.refined + (elsewhere - splice) / GROWTH
    ends = {v for v in (-grown, -plane.refined, plane.refined, grown) if hard[0] < v < hard[-1]}
    # outwards from midspan, so that a mirrored plane gets a mirrored mesh
    for soft in sorted(ends | {v for b in plane.plates for v in (b.x0, b.x1)}, key=lambda v: (abs(v), v)):
        reach = MERGE * float(_size(np.array(soft), plane.refined, splice, elsewhere))
        near = min(wanted, key=lambda v: abs(v - soft))
        moved[soft] = near if abs(near - soft) < reach else soft
        if moved[soft] == soft:
            wanted.append(soft)
    x = np.array(sorted(set(wanted)))
    columns, ratio = _columns(x, plane.refined, splice, elsewhere)
    plates = {
        b.name: Block(b.name, b.part, moved[b.x0], moved[b.x1], b.y0, b.y1, b.thickness, b.material)
        for b in plane.plates
    }
    for b in plates.values():
        if b.x1 - b.x0 <= 0.0:
            place = b.name.replace(":", " ")
            said = f"the plate at {place} is shorter than the elements there: make it longer, or mesh.elsewhere finer"
            raise InputFault("mesh", [Fault("body.plate_length", None, said)])
    return _Grid(x, y, columns, ratio, rows, plates, levels, splice, elsewhere, plane.refined)


def _bar_rows(levels: tuple[float, ...], h: float, depth: float) -> tuple[tuple[float, float], ...]:
    """Lower and upper edge of the element row about each bar level; levels closer than h/2 share one."""
    joined: list[list[float]] = []
    for v in sorted(levels):
        if joined and v - joined[-1][0] < 0.5 * h:
            joined[-1].append(v)
        else:
            joined.append([v])
    middle = np.array([0.5 * (g[0] + g[-1]) for g in joined])
    room = np.concatenate([[1.4 * middle[0]], np.diff(middle), [1.4 * (depth - middle[-1])]])
    half = 0.5 * np.minimum(h, np.minimum(room[:-1], room[1:]))
    return tuple((round(float(m - a), 9), round(float(m + a), 9)) for m, a in zip(middle, half))


def _columns(x: Floats, refined: float, splice: float, elsewhere: float) -> tuple[Ints, Floats]:
    """Elements between grid lines and the ratio of neighbouring widths, left to right."""
    columns, ratio = np.ones(len(x) - 1, int), np.ones(len(x) - 1)
    for k, (a, b) in enumerate(zip(x[:-1], x[1:])):
        size = _size(np.linspace(a, b, 65), refined, splice, elsewhere)
        columns[k] = n = max(1, int(np.ceil((b - a) * np.mean(1.0 / size) - 1e-6)))
        if n > 1:
            ratio[k] = (size[-1] / size[0]) ** (1.0 / (n - 1))
    return columns, ratio


# ------------------------------------------------------------------ gmsh
@contextmanager
def _session() -> Iterator[Any]:
    """Gmsh, silent; a session someone else holds open is borrowed and left open."""
    import gmsh

    borrowed = bool(gmsh.isInitialized())
    if not borrowed:
        # signal handlers belong to the main thread and to the caller
        gmsh.initialize(readConfigFiles=False, interruptible=False)
    before = gmsh.model.getCurrent() if borrowed else ""
    verbosity = gmsh.option.getNumber("General.Terminal") if borrowed else 0.0
    gmsh.option.setNumber("General.Terminal", 0)
    gmsh.model.add("plane")
    try:
        yield gmsh
    finally:
        gmsh.model.remove()
        if borrowed:
            gmsh.option.setNumber("General.Terminal", verbosity)
            if before:
                gmsh.model.setCurrent(before)
        else:
            gmsh.finalize()


@dataclass
class _Blocks:
    """Transfinite rectangles put together from shared points and edges, per domain."""

    geo: Any
    points: dict[tuple[str, float, float], int] = field(default_factory=dict)
    edges: dict[tuple[int, int], int] = field(default_factory=dict)

    def point(self, domain: str, x: float, y: float) -> int:
        key = (domain, round(x, 6), round(y, 6))
        if key not in self.points:
            self.points[key] = self.geo.addPoint(x, y, 0.0)
        return self.points[key]

    def edge(self, a: int, b: int, n: int, ratio: float = 1.0) -> int:
        """Signed edge from ``a`` to ``b``, cut into ``n`` with widths growing by ``ratio`` along it."""
        if (b, a) in self.edges:
            return -self.edges[b, a]
        if (a, b) not in self.edges:
            tag = self.edges[a, b] = self.geo.addLine(a, b)
            self.geo.mesh.setTransfiniteCurve(tag, n + 1, "Progression", ratio)
        return self.edges[a, b]

    def rectangle(self, corners: tuple[int, int, int, int], nx: int, ratio: float, ny: int) -> int:
        """Surface over corners given counter-clockwise from the lower left."""
        a, b, c, d = corners
        bottom, top = self.edge(a, b, nx, ratio), self.edge(d, c, nx, ratio)
        loop = self.geo.addCurveLoop([bottom, self.edge(b, c, ny), -top, -self.edge(a, d, ny)])
        tag = self.geo.addPlaneSurface([loop])
        self.geo.mesh.setTransfiniteSurface(tag, cornerTags=list(corners))
        self.geo.mesh.setRecombine(2, tag)
        return tag


def _cut(plane: Plane, grid: _Grid) -> tuple[Floats, Ints, Ints]:
    """Points (n, 2), quads (m, 4) and per quad the index of its block, body blocks before plates.

    Numbering follows the place (x, then y), so it does not depend on gmsh's.
    """
    blocks = [*plane.body, *(grid.plates[b.name] for b in plane.plates)]
    owner: dict[int, int] = {}
    with _session() as gmsh:
        maker = _Blocks(gmsh.model.geo)
        for k, block in enumerate(blocks):
            for tag in _patches(maker, plane, grid, block):
                owner[tag] = k
        gmsh.model.geo.synchronize()
        gmsh.model.mesh.generate(2)
        tags, coords, _ = gmsh.model.mesh.getNodes()
        quads, block = [], []
        for tag, k in owner.items():
            kinds, _, nodes = gmsh.model.mesh.getElements(2, tag)
            if list(kinds) != [QUAD]:
                raise InputFault("mesh", f"block {blocks[k].name} was not cut into quadrilaterals alone")
            quads.append(np.asarray(nodes[0], dtype=np.int64).reshape(-1, 4))
            block.append(np.full(len(quads[-1]), k))
    # gmsh places points on edges to about 1e-10 of a length
    xy = np.asarray(coords).reshape(-1, 3)[:, :2].round(8)
    return _renumber(np.asarray(tags), xy, np.concatenate(quads), np.concatenate(block))


def _patches(maker: _Blocks, plane: Plane, grid: _Grid, block: Block) -> Iterator[int]:
    """Surfaces of one block between the grid lines; a plate takes its body's points where they touch."""
    x = grid.x[(grid.x > block.x0 - 1e-6) & (grid.x < block.x1 + 1e-6)]
    first = int(np.searchsorted(grid.x, block.x0 - 1e-6))
    if block.part == "plate":
        middle = 0.5 * (block.x0 + block.x1)
        under = next(b for b in plane.body if b.x0 <= middle <= b.x1)
        y, rows = np.array([block.y0, block.y1]), [max(1, round((block.y1 - block.y0) / grid.splice))]
        domains = [under.part if v in (0.0, under.y1) else block.name for v in y]
    else:
        y, rows, domains = grid.y, list(grid.rows), [block.part] * len(grid.y)
    for i in range(len(x) - 1):
        for j in range(len(y) - 1):
            low, high = domains[j], domains[j + 1]
            corners = (
                maker.point(low, x[i], y[j]),
                maker.point(low, x[i + 1], y[j]),
                maker.point(high, x[i + 1], y[j + 1]),
                maker.point(high, x[i], y[j + 1]),
            )
            yield maker.rectangle(corners, int(grid.columns[first + i]), float(grid.ratio[first + i]), int(rows[j]))


def _renumber(tags: Ints, xy: Floats, quads: Ints, block: Ints) -> tuple[Floats, Ints, Ints]:
    """The same mesh numbered by place; faces of a joint keep their own nodes, left part first."""
    index = np.full(int(tags.max()) + 1, -1)
    index[tags] = np.arange(len(tags))
    quads = index[quads]
    side = np.full(len(xy), len(xy))
    np.minimum.at(side, quads.ravel(), np.repeat(block, 4))
    order = np.lexsort((side, xy[:, 1].round(6), xy[:, 0].round(6)))
    order = order[np.isin(order, quads)]
    new = np.full(len(xy), -1)
    new[order] = np.arange(len(order))
    points, quads = xy[order], new[quads]
    corner = points[quads]
    ahead, across = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    turn = ahead[:, 0] * across[:, 1] - ahead[:, 1] * across[:, 0]
    quads = np.where((turn < 0.0)[:, None], quads[:, ::-1], quads)
    # the lower left corner leads, so natural axes lie along x and y in every element
    start = np.lexsort((points[quads][..., 1].round(6), (points[quads].sum(-1)).round(6)), axis=1)[:, :1]
    quads = np.take_along_axis(quads, (start + np.arange(4)) % 4, axis=1)
    centre = points[quads].mean(axis=1).round(6)
    row = np.lexsort((centre[:, 1], centre[:, 0]))
    return points, quads[row].astype(np.int32), block[row]


# ------------------------------------------------------------------ groups and sets
def _concrete(plane: Plane, grid: _Grid, points: Floats, quads: Ints, block: Ints) -> dict[str, Group]:
    blocks = [*plane.body, *plane.plates]
    thickness = np.array([b.thickness for b in blocks])[block]
    material = np.array([b.material for b in blocks])[block]
    in_row = np.zeros(len(quads))
    low, high = points[quads].min(axis=1), points[quads].max(axis=1)
    middle = 0.5 * (low[:, 1] + high[:, 1])
    for y0, y1 in grid.levels:
        in_row = np.where((middle > y0) & (middle < y1) & (material != "plate"), 1.0, in_row)
    for strip in plane.net:
        inside = (low[:, 1] < strip.level + 1e-9) & (high[:, 1] > strip.level - 1e-9) & (in_row > 0.0)
        covered = np.minimum(high[:, 0], strip.x1) - np.maximum(low[:, 0], strip.x0)
        share = np.clip(covered / (high[:, 0] - low[:, 0]), 0.0, 1.0)
        thickness = thickness - np.where(inside, share * strip.taken, 0.0)
    groups = {}
    for name, kind in (("precast", "precast"), ("closure", "closure"), ("plates", "plate")):
        rows = np.flatnonzero(material == kind)
        if len(rows):
            data = {"thickness": thickness[rows], "bar_row": in_row[rows]}
            groups[name] = Group("quad4", kind, quads[rows], data)
    return groups


def _pairs(points: Floats, quads: Ints, block: Ints, x: float, minus: int, plus: int) -> Ints:
    """Node pairs (n, 2) of body blocks ``minus`` and ``plus`` along a joint, from the tension face up."""
    sides = []
    for k in (minus, plus):
        nodes = np.unique(quads[block == k])
        nodes = nodes[np.abs(points[nodes, 0] - x) < 1e-6]
        sides.append(nodes[np.argsort(points[nodes, 1])])
    if len(sides[0]) != len(sides[1]) or not np.allclose(points[sides[0]], points[sides[1]], atol=1e-6):
        raise InputFault("mesh", f"the faces of the joint at x = {x:g} mm do not match")
    return np.column_stack(sides).astype(np.int32)


def _joint(pairs: Ints, thickness: float) -> Group:
    n = len(pairs) - 1
    cells = np.column_stack([pairs[:-1, 0], pairs[1:, 0], pairs[:-1, 1], pairs[1:, 1]]).astype(np.int32)
    data = {"thickness": np.full(n, thickness), "normal": np.tile([1.0, 0.0], (n, 1))}
    return Group("joint", "joint", cells, data)


def _node_sets(plane: Plane, points: Floats, quads: Ints, block: Ints, pairs: dict[str, Ints]) -> dict[str, Ints]:
    n_body = len(plane.body)
    body, plate = np.unique(quads[block < n_body]), np.unique(quads[block >= n_body])

    def nearest(among: Ints, x: float, y: float) -> Ints:
        away = np.linalg.norm(points[among] - (x, y), axis=1)
        return np.array([among[np.argmin(away)]], np.int32)

    sets = {p.name: nearest(plate, p.x, p.y) for p in plane.points}
    sets["midspan"] = nearest(body, 0.0, 0.0)
    for name, nodes in pairs.items():
        sets[f"opening:{name}"] = nodes[0]
        sets[f"joint:{name}:bottom"] = nodes[0]
        sets[f"joint:{name}:top"] = nodes[-1]
    return sets
