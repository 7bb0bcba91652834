"""Meshes of plane bodies for published tests: grids with holes, and free meshes by gmsh; quads or triangles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, Ints
from fesplice.mesh import Group, Mesh, check

XY = tuple[float, float]
#: gmsh's numbers of the linear cells.
GMSH = {3: "quad4", 2: "tri3"}


@dataclass(frozen=True)
class Shape:
    """Points (n, 2) [mm] and cells by (part, kind), counter-clockwise."""

    points: Floats
    cells: Mapping[tuple[str, str], Ints]

    def mesh(self, thickness: float) -> Mesh:
        """Groups named after part and kind; bad cells raise :class:`InputFault`."""
        groups = {
            f"{part}:{kind}": Group(kind, part, cells, {"thickness": np.full(len(cells), thickness)})
            for (part, kind), cells in self.cells.items()
            if len(cells)
        }
        mesh = Mesh(self.points, groups)
        check(mesh, smallest_quality=0.05)
        return mesh

    def at(self, x: float, y: float) -> int:
        """The node nearest to a point."""
        return int(np.argmin((self.points[:, 0] - x) ** 2 + (self.points[:, 1] - y) ** 2))

    def on(self, x: XY, y: XY) -> Ints:
        """Nodes within a closed rectangle, by x, then y."""
        tiny = 1e-6
        p = self.points
        found = np.flatnonzero(
            (p[:, 0] >= x[0] - tiny) & (p[:, 0] <= x[1] + tiny) & (p[:, 1] >= y[0] - tiny) & (p[:, 1] <= y[1] + tiny)
        )
        return found[np.lexsort((p[found, 1], p[found, 0]))].astype(np.int32)


def ticks(stops: Sequence[float], fine: XY, size: float, coarse: float, growth: float = 0.25) -> Floats:
    """Grid lines through all ``stops``: ``size`` apart within ``fine``, growing to ``coarse`` outside it."""
    marks = sorted({*stops, *(f for f in fine if stops[0] < f < stops[-1])})
    lines = [marks[0]]
    for a, b in zip(marks, marks[1:]):
        middle = 0.5 * (a + b)
        inside = fine[0] - 1e-9 <= middle <= fine[1] + 1e-9
        if inside:
            lines += list(np.linspace(a, b, max(1, round((b - a) / size)) + 1)[1:])
            continue
        # equal steps of the integral of 1/h give columns that grow with the distance
        s = np.linspace(a, b, 400)
        away = np.maximum(np.maximum(fine[0] - s, s - fine[1]), 0.0)
        density = 1.0 / np.minimum(size + growth * away, coarse)
        total = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(s))])
        n = max(1, round(total[-1]))
        lines += list(np.interp(np.linspace(0, total[-1], n + 1)[1:], total, s))
    return np.array(lines)


def grid(x: Floats, y: Floats, parts: Mapping[str, Sequence[tuple[XY, XY]]], kind: str = "quad4") -> Shape:
    """Rectangular cells between the lines; a cell belongs to the last part with a rectangle (x range, y range)

    over its centre, and to none if there is none. ``tri3`` cuts every cell in two, in turns.
    """
    mx, my = 0.5 * (x[1:] + x[:-1]), 0.5 * (y[1:] + y[:-1])
    owner = np.full((len(mx), len(my)), -1)
    for k, rectangles in enumerate(parts.values()):
        for (x0, x1), (y0, y1) in rectangles:
            owner[np.ix_((mx > x0) & (mx < x1), (my > y0) & (my < y1))] = k
    i, j = (a.ravel() for a in np.meshgrid(np.arange(len(mx)), np.arange(len(my)), indexing="ij"))
    corner = i * len(y) + j
    quads = np.stack([corner, corner + len(y), corner + len(y) + 1, corner + 1], axis=1)
    owner = owner.ravel()
    cells = {}
    for k, name in enumerate(parts):
        mine = quads[owner == k]
        if kind == "tri3":
            even = (i + j)[owner == k] % 2 == 0
            a, b = mine[even], mine[~even]
            mine = np.concatenate([a[:, [0, 1, 2]], a[:, [0, 2, 3]], b[:, [0, 1, 3]], b[:, [1, 2, 3]]])
        cells[name, kind] = mine
    gx, gy = np.meshgrid(x, y, indexing="ij")
    return _compact(np.stack([gx.ravel(), gy.ravel()], axis=1), cells)


def free(
    polygons: Mapping[str, Sequence[XY]], fine: Sequence[tuple[XY, XY]], size: float, coarse: float, kind: str = "quad4"
) -> Shape:
    """Mesh of polygons that share corners where they touch: ``size`` within rectangles ``fine``, ``coarse`` beyond.

    Quadrilaterals by recombination; the few triangles it leaves stay triangles.
    """
    import gmsh

    gmsh.initialize(readConfigFiles=False, interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.model.add("body")
        geo = gmsh.model.geo
        nodes: dict[XY, int] = {}
        edges: dict[tuple[int, int], int] = {}

        def point(p: XY) -> int:
            if p not in nodes:
                nodes[p] = geo.addPoint(p[0], p[1], 0.0)
            return nodes[p]

        def edge(a: int, b: int) -> int:
            if (b, a) in edges:
                return -edges[b, a]
            if (a, b) not in edges:
                edges[a, b] = geo.addLine(a, b)
            return edges[a, b]

        surfaces = {}
        for name, corners in polygons.items():
            tags = [point(p) for p in corners]
            loop = geo.addCurveLoop([edge(a, b) for a, b in zip(tags, tags[1:] + tags[:1])])
            surfaces[name] = geo.addPlaneSurface([loop])
        geo.synchronize()
        _sizes(gmsh, fine, size, coarse)
        if kind == "quad4":
            gmsh.option.setNumber("Mesh.Algorithm", 8)
            gmsh.option.setNumber("Mesh.RecombinationAlgorithm", 1)
            gmsh.option.setNumber("Mesh.RecombineAll", 1)
        else:
            gmsh.option.setNumber("Mesh.Algorithm", 6)
        gmsh.model.mesh.generate(2)
        tags, xyz, _ = gmsh.model.mesh.getNodes()
        place = np.zeros(int(tags.max()) + 1, int)
        place[tags.astype(int)] = np.arange(len(tags))
        cells: dict[tuple[str, str], Ints] = {}
        for name, surface in surfaces.items():
            for number, _, flat in zip(*gmsh.model.mesh.getElements(2, surface)):
                corners = 4 if number == 3 else 3
                cells[name, GMSH[number]] = place[flat.astype(int)].reshape(-1, corners)
    finally:
        gmsh.finalize()
    return _compact(xyz.reshape(-1, 3)[:, :2], cells)


def _sizes(gmsh, fine: Sequence[tuple[XY, XY]], size: float, coarse: float) -> None:
    fields = []
    for (x0, x1), (y0, y1) in fine:
        box = gmsh.model.mesh.field.add("Box")
        values = {"VIn": size, "VOut": coarse, "XMin": x0, "XMax": x1, "YMin": y0, "YMax": y1}
        values["Thickness"] = 4.0 * (coarse - size)
        for key, value in values.items():
            gmsh.model.mesh.field.setNumber(box, key, value)
        fields.append(box)
    least = gmsh.model.mesh.field.add("Min")
    gmsh.model.mesh.field.setNumbers(least, "FieldsList", fields)
    gmsh.model.mesh.field.setAsBackgroundMesh(least)
    for key in ("MeshSizeFromPoints", "MeshSizeFromCurvature", "MeshSizeExtendFromBoundary"):
        gmsh.option.setNumber(f"Mesh.{key}", 0)


def _compact(points: Floats, cells: Mapping[tuple[str, str], Ints]) -> Shape:
    """Drop points that no cell uses; turn cells counter-clockwise."""
    used = np.unique(np.concatenate([c.ravel() for c in cells.values()]))
    new = np.full(len(points), -1)
    new[used] = np.arange(len(used))
    points = points[used]
    out = {}
    for key, c in cells.items():
        c = new[c]
        xy = points[c]
        ahead = np.roll(xy, -1, axis=1)
        area = 0.5 * np.sum(xy[..., 0] * ahead[..., 1] - ahead[..., 0] * xy[..., 1], axis=1)
        out[key] = np.where((area < 0.0)[:, None], c[:, ::-1], c).astype(np.int32)
    return Shape(points, out)
