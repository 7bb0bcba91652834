"""Cracks that run across the grid: bodies, meshes and measures of the series ``inclined``.

A beam bent at midspan and notched beside it breaks along a line from the notch to the load. On a grid of upright
columns that line climbs by steps; on a grid sheared so that its columns follow the line it does not, and that beam is
the reference. A strip in tension does the same with every turn of its grid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, Law
from fesplice.model.assembly import Model
from validation import shapes
from validation.notched import March


@dataclass(frozen=True)
class Offset:
    """A beam under one load at midspan with a notch ``beside`` it [mm]; ``slit`` is the width of the notch [mm]."""

    beside: float
    depth: float = 150.0
    width: float = 60.0
    span: float = 450.0
    length: float = 500.0
    notch: float = 30.0
    slit: float = 5.0

    @property
    def crack(self) -> float:
        """Straight length from the notch to the load [mm]."""
        return float(np.hypot(self.depth - self.notch, self.beside))


def body(beam: Offset, size: float, lean: float = 0.0) -> shapes.Shape:
    """Grid of quadrilaterals; ``lean`` is how far columns that start at the notch come towards the load [mm]."""
    half, d, a, at, s = 0.5 * beam.length, beam.depth, beam.notch, beam.beside, 0.5 * beam.slit
    stops = [-half, -0.5 * beam.span, at - s, at + s, 0.5 * beam.span, half]
    x = shapes.ticks(stops, (-25.0, at + 25.0), size, 15.0)
    y = np.concatenate([np.linspace(0.0, a, round(a / size) + 1)[:-1], np.linspace(a, d, round((d - a) / size) + 1)])
    parts = {"beam": [((-half, half), (a, d)), ((-half, at - s), (0.0, a)), ((at + s, half), (0.0, a))]}
    shape = shapes.grid(x, y, parts)
    up = np.clip((shape.points[:, 1] - a) / (d - a), 0.0, 1.0)
    px = shape.points[:, 0]
    reach = 0.5 * beam.span
    fade = np.clip(1.0 - np.maximum(np.abs(px - at) - 0.25 * reach, 0.0) / (0.5 * reach), 0.0, 1.0)
    points = shape.points.copy()
    points[:, 0] -= lean * up * fade
    return shapes.Shape(points, shape.cells)


def bent(beam: Offset, law: Law, shape: shapes.Shape) -> Model:
    """Unit load at midspan between the two nodes beside it; read-outs ``mouth`` (opening) and ``work``."""
    mesh = shape.mesh(beam.width)
    n = 2 * len(shape.points)
    left, right = shape.at(-0.5 * beam.span, 0.0), shape.at(0.5 * beam.span, 0.0)
    top = shape.on((-beam.length, beam.length), (beam.depth, beam.depth))
    x = shape.points[top, 0]
    k = int(np.searchsorted(x, 0.0, side="right")) - 1
    share = -x[k] / (x[k + 1] - x[k])
    f = np.zeros(n)
    f[2 * top[k] + 1], f[2 * top[k + 1] + 1] = share - 1.0, -share
    mouth = np.zeros(n)
    s = 0.5 * beam.slit
    mouth[2 * shape.at(beam.beside + s, 0.0)], mouth[2 * shape.at(beam.beside - s, 0.0)] = 1.0, -1.0
    fixed = np.array([2 * left, 2 * left + 1, 2 * right + 1])
    return Model(mesh, dict.fromkeys(mesh.groups, law), fixed, f, watch={"mouth": mouth, "work": f})


def spent(path: March, share: float) -> float:
    """Energy dissipated [N mm] until the load has fallen to ``share`` of its peak, unloading to the origin."""
    late = np.flatnonzero((path.load < share * path.peak) & (np.arange(len(path.load)) > path.load.argmax()))
    end = int(late[0]) + 1 if len(late) else len(path.load)
    load, moved = path.load[:end], path.moved[:end]
    return float(np.trapezoid(load, moved)) - 0.5 * float(load[-1] * moved[-1])


def loads_at(path: March, openings: Floats) -> Floats:
    """Loads [N] at stated openings of the mouth [mm]; not a number beyond the end."""
    return np.interp(openings, path.held, path.load, right=np.nan)


# ------------------------------------------------------------------ a strip in tension
#: Length and height of the strip, the plate that pulls it, half the width of its weaker middle [mm].
LENGTH, HEIGHT, PLATE, WEAK = 120.0, 80.0, 20.0, 12.0


def turned(size: float, angle: float) -> list[Floats]:
    """Corners (n, 2) of the cells of a square grid turned by ``angle`` [rad], cut by the edges of the strip."""
    c, s = np.cos(angle), np.sin(angle)
    reach = int(np.hypot(LENGTH, HEIGHT) / size) + 2
    i, j = np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1), indexing="ij")
    x, y = size * ((i + 0.5) * c - (j + 0.5) * s), size * ((i + 0.5) * s + (j + 0.5) * c)
    for place, edge in ((x, 0.5 * LENGTH), (y, 0.5 * HEIGHT)):
        for side in (-edge, edge):
            place[np.abs(place - side) < 0.35 * size] = side
    cells = []
    for a in range(2 * reach):
        for b in range(2 * reach):
            ring = [(x[k], y[k]) for k in ((a, b), (a + 1, b), (a + 1, b + 1), (a, b + 1))]
            for axis, edge in ((0, 0.5 * LENGTH), (1, 0.5 * HEIGHT)):
                for sign in (-1.0, 1.0):
                    ring = _cut(ring, axis, sign, edge)
            ring = [p for k, p in enumerate(ring) if np.hypot(*np.subtract(p, ring[k - 1])) > 1e-6 * size]
            area = 0.5 * sum(p[0] * q[1] - q[0] * p[1] for p, q in zip(ring, ring[1:] + ring[:1]))
            if len(ring) > 2 and area > 1e-3 * size * size:
                cells.append(np.array(ring))
    return cells


def _cut(ring: list, axis: int, sign: float, edge: float) -> list:
    """What of a convex polygon lies where sign x coordinate <= edge (Sutherland & Hodgman, CACM 17 (1974) 32-42)."""
    out = []
    for p, q in zip(ring, ring[1:] + ring[:1]):
        a, b = edge - sign * p[axis], edge - sign * q[axis]
        if a >= 0.0:
            out.append(p)
        if (a > 0.0 > b) or (b > 0.0 > a):
            t = a / (a - b)
            out.append(tuple(u + t * (v - u) for u, v in zip(p, q)))
    return out


def strip(kind: str, amount: float, size: float) -> shapes.Shape:
    """The strip on a ``turned`` grid (degrees), on columns that ``lean`` (tangent), or on ``free`` quadrilaterals.

    Parts ``plate`` at the right end, ``weak`` about the middle, ``strip``.
    """
    if kind == "free":
        a, b = 0.5 * LENGTH, 0.5 * HEIGHT
        ring = [(-a, -b), (a, -b), (a, b), (-a, b)]
        whole = shapes.free({"strip": ring}, [((-a, a), (-b, b))], size, size + 1e-3)
        points, polygons = whole.points, [c for cells in whole.cells.values() for c in cells]
    elif kind == "lean":
        nx, ny = round(LENGTH / size), round(HEIGHT / size)
        along, up = np.linspace(-0.5, 0.5, nx + 1) * LENGTH, np.linspace(-0.5, 0.5, ny + 1) * HEIGHT
        x, y = np.meshgrid(along, up, indexing="ij")
        x = x + amount * y * (1.0 - np.abs(2.0 * x / LENGTH))
        points = np.stack([x.ravel(), y.ravel()], axis=1)
        i, j = (k.ravel() for k in np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij"))
        corner = i * (ny + 1) + j
        polygons = list(np.stack([corner, corner + ny + 1, corner + ny + 2, corner + 1], axis=1))
    else:
        rings = turned(size, np.radians(amount))
        places, where = np.unique(np.round(np.concatenate(rings), 6), axis=0, return_inverse=True)
        points, polygons = places, np.split(where.ravel(), np.cumsum([len(r) for r in rings])[:-1])
    cells: dict[tuple[str, str], list] = {}
    for ring in polygons:
        middle = points[ring].mean(axis=0)[0]
        part = "plate" if middle > 0.5 * LENGTH - PLATE else "weak" if abs(middle) < WEAK else "strip"
        for piece in _pieces(points, ring):
            cells.setdefault((part, "quad4" if len(piece) == 4 else "tri3"), []).append(piece)
    return shapes.Shape(points, {key: np.array(value, np.int32) for key, value in cells.items()})


def _pieces(points: Floats, ring) -> list:
    """A convex polygon as quadrilaterals and triangles; four corners of which three lie on a line are two triangles."""
    ring = list(ring)
    if len(ring) == 4:
        xy = points[ring]
        a, b = np.roll(xy, -1, axis=0) - xy, xy - np.roll(xy, 1, axis=0)
        cross = b[:, 0] * a[:, 1] - b[:, 1] * a[:, 0]
        flat = int(np.argmin(cross))
        if cross[flat] < 0.05 * cross.max():
            r = ring[flat:] + ring[:flat]
            return [[r[0], r[1], r[2]], [r[0], r[2], r[3]]]
    if len(ring) <= 4:
        return [ring]
    return [ring[:4], *_pieces(points, [ring[0], *ring[3:]])]


def pulled(shape: shapes.Shape, law: Law, weak: Law, plate: Law) -> Model:
    """The strip held at its left end, pulled by a plate that does not turn; ``end`` and ``work``: its travel [mm]."""
    mesh = shape.mesh(1.0)
    a, b = 0.5 * LENGTH, 0.5 * HEIGHT
    left, right = shape.on((-a, -a), (-b, b)), shape.on((a, a), (-b, b))
    f = np.zeros(2 * len(shape.points))
    f[2 * right] = 1.0 / len(right)
    inner = shape.at(a - PLATE + 5.0, -b)
    fixed = np.concatenate([2 * left, 2 * left[:1] + 1, [2 * right[0] + 1, 2 * inner + 1]])
    laws = {"strip": law, "weak": weak, "plate": plate}
    return Model(mesh, {n: laws[n.split(":")[0]] for n in mesh.groups}, fixed, f, watch={"work": f, "end": f})
