"""Lines that follow the principal compression, evenly spaced, each point with its stress.

A direction has no sense, so a line keeps the sense it came with. Lines start where compression is largest and end
where it falls below a share of its largest, at the edge, or where another line already runs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.algebra import principal
from fesplice.contracts import Floats

#: Compression below this share of its largest is not followed.
LEAST = 0.06


@dataclass(frozen=True)
class Trajectory:
    """Points (n, 2) [mm] and the compression there (n,) [MPa], positive."""

    xy: Floats
    stress: Floats


class _Field:
    """Stress tensors on an even grid, answered in between by bilinear interpolation."""

    def __init__(self, centre: Floats, tensor: Floats, x: tuple[float, float], y: tuple[float, float], pitch: float):
        from scipy.interpolate import NearestNDInterpolator

        self.origin = np.array([x[0], y[0]])
        self.shape = np.maximum(np.ceil([(x[1] - x[0]) / pitch, (y[1] - y[0]) / pitch]).astype(int), 1) + 1
        self.pitch = np.array([x[1] - x[0], y[1] - y[0]]) / (self.shape - 1)
        axes = [self.origin[k] + self.pitch[k] * np.arange(self.shape[k]) for k in (0, 1)]
        grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
        self.tensor = NearestNDInterpolator(centre, tensor)(grid)

    def at(self, p: Floats) -> tuple[float, Floats]:
        """Compression [MPa] and its direction at a point."""
        q = np.clip((p - self.origin) / self.pitch, 0.0, self.shape - 1.000001)
        i, j = q.astype(int)
        s, t = q[0] - i, q[1] - j
        c = self.tensor
        mean = (1 - s) * ((1 - t) * c[i, j] + t * c[i, j + 1]) + s * ((1 - t) * c[i + 1, j] + t * c[i + 1, j + 1])
        _, minor, angle = principal(mean[None], engineering=False)
        # the major direction turned by a right angle
        return max(-float(minor[0]), 0.0), np.array([-np.sin(angle[0]), np.cos(angle[0])])

    def holds(self, p: Floats) -> bool:
        q = (p - self.origin) / self.pitch
        return bool((q >= 0.0).all() and (q <= self.shape - 1).all())


def trajectories(
    centre: Floats, tensor: Floats, x: tuple[float, float], y: tuple[float, float], spacing: float, size: float
) -> list[Trajectory]:
    """Lines about ``spacing`` [mm] apart in the window ``x`` by ``y``.

    ``tensor`` (n, 3) stresses [MPa] at ``centre`` (n, 2) [mm], ``size`` [mm] of the elements they are means of.
    """
    field = _Field(centre, tensor, x, y, 0.5 * size)
    minor = -principal(tensor, engineering=False)[1]
    top = float(np.quantile(minor, 0.99))
    if top <= 0.0:
        return []
    cells = np.maximum(((np.array([x[1] - x[0], y[1] - y[0]])) / spacing).astype(int), 1)
    taken = np.zeros(cells, bool)
    corner = np.array([x[0], y[0]])
    side = np.array([x[1] - x[0], y[1] - y[0]]) / cells

    def cell(p: Floats) -> tuple[int, int]:
        i, j = np.minimum(np.maximum((p - corner) / side, 0.0).astype(int), cells - 1)
        return int(i), int(j)

    found: list[Trajectory] = []
    for k in np.argsort(-minor, kind="stable"):
        if minor[k] < 2.0 * LEAST * top:
            break
        if taken[cell(centre[k])]:
            continue
        own: set[tuple[int, int]] = set()
        halves = [_follow(field, centre[k], sense, LEAST * top, 0.5 * size, taken, own, cell) for sense in (1.0, -1.0)]
        xy = np.array(halves[1][::-1] + [centre[k]] + halves[0])
        for place in own | {cell(centre[k])}:
            taken[place] = True
        if len(xy) * 0.5 * size > 4.0 * spacing:
            found.append(Trajectory(xy, np.array([field.at(p)[0] for p in xy])))
    return found


def _follow(field: _Field, start: Floats, sense: float, least: float, step: float, taken, own: set, cell) -> list:
    """Half a line, by the midpoint rule."""
    p, points = np.asarray(start, float), []
    way = sense * field.at(p)[1]
    for _ in range(400):
        _, d = field.at(p)
        d = d if d @ way >= 0.0 else -d
        stress, m = field.at(p + 0.5 * step * d)
        m = m if m @ d >= 0.0 else -m
        p, way = p + step * m, m
        if stress < least or not field.holds(p) or (taken[cell(p)] and cell(p) not in own):
            break
        own.add(cell(p))
        points.append(p)
    return points
