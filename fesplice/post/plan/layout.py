"""What a plan mesh tells: its bars from side to side, the gaps between them, the steel across, the slab's edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, Ints
from fesplice.mesh import Mesh
from fesplice.post.points import concrete_groups


@dataclass(frozen=True)
class PlanBar:
    """One main bar: ``y``, ``face`` and ``end`` [mm] (where it enters, and where it or its hook ends), +-1 ``sign``.

    ``hooked``: an end anchor holds it. ``grip`` is its row among the grips of its ``side``.
    """

    line: str
    y: float
    face: float
    end: float
    sign: float
    hooked: bool
    side: str
    grip: int
    area: float
    diameter: float

    @property
    def row(self) -> str:
        """``A`` from the left, ``B`` from the right."""
        return self.line[0]


@dataclass(frozen=True)
class Gap:
    """Between two neighbouring bars: a cut along the grid line ``y`` [mm] nearest to their middle.

    ``below`` and ``above`` are the bars; ``lapped`` when they come from opposite sides.
    """

    name: str
    below: PlanBar
    above: PlanBar
    y: float

    @property
    def lapped(self) -> bool:
        """True when force can pass from one to the other."""
        return self.below.sign != self.above.sign

    @property
    def spacing(self) -> float:
        """Centre to centre [mm]."""
        return self.above.y - self.below.y


@dataclass(frozen=True)
class PlanLayout:
    """Bars by ascending y, gaps between them, lines of transverse steel, bounds of the slab, its group and nodes."""

    bars: tuple[PlanBar, ...]
    gaps: tuple[Gap, ...]
    across: tuple[str, ...]
    x: tuple[float, float]
    y: tuple[float, float]
    group: str
    nodes: Ints

    @property
    def edges(self) -> tuple[tuple[PlanBar, Gap, float], ...]:
        """Both edge bars with the gap beside them, and the sense in which they are pushed out."""
        if not self.gaps:
            return ()
        return ((self.bars[0], self.gaps[0], -1.0), (self.bars[-1], self.gaps[-1], 1.0))


def plan_layout(mesh: Mesh) -> PlanLayout:
    """Read the slab from the mesh."""
    (group,) = concrete_groups(mesh)
    nodes = np.unique(mesh.groups[group].cells)
    low, high = mesh.points[nodes].min(axis=0), mesh.points[nodes].max(axis=0)
    bars = []
    for name, line in mesh.lines.items():
        if line.role != "main":
            continue
        first, last = mesh.points[line.nodes[0]], mesh.points[line.nodes[-1]]
        sign = float(np.sign(last[0] - first[0]))
        side = "left" if sign > 0.0 else "right"
        grip = int(np.flatnonzero(mesh.groups[f"grips:{side}"].cells[:, 0] == line.nodes[0])[0])
        bars.append(
            PlanBar(
                name,
                float(first[1]),
                float(first[0]),
                float(last[0]),
                sign,
                f"anchor:{name}" in mesh.groups,
                side,
                grip,
                line.area,
                line.diameter,
            )  # fmt: skip
        )
    bars.sort(key=lambda b: b.y)
    rows = np.unique(mesh.points[nodes, 1].round(6))
    gaps = tuple(
        Gap(f"{a.line}-{b.line}", a, b, _nearest(rows, 0.5 * (a.y + b.y))) for a, b in zip(bars[:-1], bars[1:])
    )
    across = tuple(sorted((n for n, v in mesh.lines.items() if v.role == "confinement"), key=lambda n: _place(mesh, n)))
    return PlanLayout(
        tuple(bars), gaps, across, (float(low[0]), float(high[0])), (float(low[1]), float(high[1])), group, nodes
    )


def _nearest(rows: Floats, y: float) -> float:
    """The grid line nearest to ``y``; of two alike the one nearer to the centre line, so that mirrored gaps agree."""
    away = np.abs(rows - y).round(4)
    return float(rows[np.lexsort((rows, np.abs(rows).round(4), away))[0]])


def _place(mesh: Mesh, line: str) -> tuple[float, float]:
    x, y = mesh.points[mesh.lines[line].nodes[0]]
    return float(x), float(y)


def x_of(mesh: Mesh, line: str) -> float:
    """Where a line of transverse steel crosses the bars [mm]."""
    return float(mesh.points[mesh.lines[line].nodes, 0].mean())


def spans(mesh: Mesh, line: str) -> Floats:
    """y of the nodes of a line of transverse steel (n,) [mm]."""
    return mesh.points[mesh.lines[line].nodes, 1]
