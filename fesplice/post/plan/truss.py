"""The strut-and-tie model that a plan run amounts to: nodes, members, forces, and how well the nodes balance.

Every strut between lapped bars meets the axes of both; there the bars hand over what it carries along them, and
what pushes them apart is taken by transverse ties on either side of it (steel and concrete), by the body above, and by
the bars where they enter. What passes from bar to bar without compression across is shear. A strut so flat that it
would meet a bar outside the slab is turned about its middle until it ends at the slab's face; what it then carries less
along the bars counts as shear too. All forces are sums of what the elements carry, so two balances must agree: that
of the strips between the cuts with everything that crosses them (``residual``), and that of the members drawn at a node
(``left_out``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.plan.forces import Cut, PlanForces, Strut
from fesplice.post.plan.layout import PlanBar, x_of
from fesplice.post.points import Fields


@dataclass(frozen=True)
class Node:
    """Where members meet, at (x, y) [mm]; ``residual`` of its balance as share of the bar's force."""

    name: str
    x: float
    y: float
    residual: float


@dataclass(frozen=True)
class Member:
    """From (x0, y0) to (x1, y1) [mm], at nodes where ``start`` and ``end`` name them; ``force`` [N], tension positive.

    ``kind``: "bar", "strut", "tie" (transverse steel), "concrete" (transverse tension), and what acts at ``start`` from
    (x0, y0) towards (x1, y1): "body" (the plane above), "shear" (along a cut), "hold" (the bar where it enters).
    """

    name: str
    kind: str
    start: str
    end: str
    x0: float
    y0: float
    x1: float
    y1: float
    force: float
    inclination: float
    width: float


@dataclass(frozen=True)
class Truss:
    """Nodes and members at one step; ``residual`` is the worst of the nodes' strips."""

    nodes: tuple[Node, ...]
    members: tuple[Member, ...]

    @property
    def residual(self) -> float:
        """Largest residual of the nodes, as share of the bar force."""
        return max((n.residual for n in self.nodes), default=0.0)

    @property
    def left_out(self) -> float:
        """Largest force that the members at a node leave unbalanced, as share of the bar force."""
        pulls = {m.end: abs(m.force) for m in self.members if m.kind == "bar"}
        total = {n.name: np.zeros(2) for n in self.nodes}
        for m in self.members:
            line = np.array([m.x1 - m.x0, m.y1 - m.y0])
            force = m.force * line / max(float(np.hypot(line[0], line[1])), 1e-9)
            for node, way in ((m.start, 1.0), (m.end, -1.0)):
                if node in total:
                    total[node] += way * force
        return max((float(np.hypot(f[0], f[1])) / max(pulls.get(n, 0.0), 1e-9) for n, f in total.items()), default=0.0)


def truss(forces: PlanForces, fields: Fields) -> Truss:
    """Extract the model at one step."""
    cuts = forces.cuts(fields)
    pulls = forces.bar_forces(fields)
    members: list[Member] = []
    meets: dict[str, list[tuple[float, float]]] = {bar.line: [] for bar in forces.laid.bars}
    for cut in cuts:
        strut, low, high = forces.strut(cut), cut.gap.below, cut.gap.above
        along = 0.0
        if strut.force > 0.0:
            below, above = _ends(strut, cut, forces.laid.x)
            along, force, lean = _turned(strut, cut, above - below)
            if cut.gap.lapped:
                meets[low.line].append((below, force))
                meets[high.line].append((above, force))
            members.append(
                Member(
                    f"strut {cut.gap.name}",
                    "strut",
                    low.line,
                    high.line,
                    below,
                    low.y,
                    above,
                    high.y,
                    -force,
                    lean,
                    strut.width,
                )  # fmt: skip
            )
        members += _transverse(forces, cut, strut)
        members += _shear(cut, cut.passed - along, _reach(forces))
    bounds = [-np.inf, *(cut.gap.y for cut in cuts), np.inf]
    nodes = []
    for k, bar in enumerate(forces.laid.bars):
        x = _mean(meets[bar.line], bar)
        body, at = forces.carried(fields, bounds[k], bounds[k + 1])
        pull = pulls[bar.line]
        nodes.append(Node(bar.line, x, bar.y, _residual(forces, fields, cuts, k, pull, body)))
        axis = bar.face, bar.y, x, bar.y
        members.append(Member(f"bar {bar.line}", "bar", "", bar.line, *axis, pull, 0.0, bar.diameter))
        held = np.array([0.0, forces.held(fields, bar.line)])
        for kind, force, place in (("body", body, at), ("hold", held, np.array([bar.face, bar.y]))):
            if np.hypot(*force) > 0.0:
                members.append(_acting(f"{kind} {bar.line}", kind, bar.line, place, force, _reach(forces)))
    return Truss(tuple(nodes), tuple(members))


def _reach(forces: PlanForces) -> float:
    """How long acting forces are drawn [mm]."""
    return 0.1 * (forces.laid.x[1] - forces.laid.x[0])


def _acting(name: str, kind: str, node: str, at: Floats, force: Floats, reach: float) -> Member:
    """A force (2,) [N] at (2,) [mm] as a member whose length only shows where it points."""
    size = float(np.hypot(*force))
    lean = float(np.degrees(np.arctan2(abs(force[1]), abs(force[0]))))
    x1, y1 = at + reach * force / size
    return Member(name, kind, node, "", float(at[0]), float(at[1]), float(x1), float(y1), size, lean, 0.0)


def _shear(cut: Cut, rest: float, reach: float) -> list[Member]:
    """What passes a cut along the bars beside its strut: ``rest`` [N] on the bar above, as much against it below."""
    if rest == 0.0:
        return []
    beside = np.where(cut.normal >= 0.0, np.abs(cut.force[:, 0]), 0.0)
    weight = beside if beside.sum() > 0.0 else np.abs(cut.force[:, 0])
    x = float((weight * cut.x).sum() / max(float(weight.sum()), 1e-12))
    found = []
    for bar, way in ((cut.gap.below, -1.0), (cut.gap.above, 1.0)):
        at = np.array([x - 0.5 * reach * np.sign(way * rest), cut.gap.y + 0.3 * (bar.y - cut.gap.y)])
        force = np.array([way * rest, 0.0])
        found.append(_acting(f"shear {cut.gap.name} {bar.line}", "shear", bar.line, at, force, reach))
    return found


def _ends(strut: Strut, cut: Cut, slab: tuple[float, float]) -> tuple[float, float]:
    """x where the strut's line meets the axes of the bars below and above, its slope such that both lie in the slab."""
    slope, gap = strut.along / strut.across, cut.gap
    heights = gap.below.y - gap.y, gap.above.y - gap.y
    for height in heights:
        way = slope * height
        room = slab[1] - strut.x if way > 0.0 else strut.x - slab[0]
        if abs(way) > room:
            slope *= max(room, 0.0) / abs(way)
    return strut.x + slope * heights[0], strut.x + slope * heights[1]


def _turned(strut: Strut, cut: Cut, run: float) -> tuple[float, float, float]:
    """Force along the bars and in all [N], and inclination [deg], of a strut whose ends lie ``run`` [mm] apart."""
    rise = cut.gap.above.y - cut.gap.below.y
    along = strut.across * run / rise
    return along, float(np.hypot(along, strut.across)), float(np.degrees(np.arctan2(rise, abs(run))))


def _mean(meets: list[tuple[float, float]], bar: PlanBar) -> float:
    total = sum(f for _, f in meets)
    return sum(x * f for x, f in meets) / total if total > 0.0 else bar.end


def _transverse(forces: PlanForces, cut: Cut, strut: Strut) -> list[Member]:
    """Ties across one gap: each line of steel by itself, the concrete's tension on either side of the strut as one."""
    gap = cut.gap
    found = []
    pulled = np.maximum(cut.normal, 0.0)
    middle = strut.x if strut.force > 0.0 else float(cut.x.mean())
    for side, here in (("left", cut.x < middle), ("right", cut.x >= middle)):
        total = float(pulled[here].sum())
        if total > 0.0:
            x = float((pulled[here] * cut.x[here]).sum() / total)
            found.append(_across(f"concrete {gap.name} {side}", "concrete", gap.below, gap.above, x, total))
    return found + [
        _across(f"{line} {gap.name}", "tie", gap.below, gap.above, x_of(forces.mesh, line), force)
        for line, force in cut.ties.items()
    ]


def _across(name: str, kind: str, below: PlanBar, above: PlanBar, x: float, force: float) -> Member:
    return Member(name, kind, below.line, above.line, x, below.y, x, above.y, force, 90.0, 0.0)


def _residual(forces: PlanForces, fields: Fields, cuts: tuple[Cut, ...], k: int, pull: float, body) -> float:
    """Forces on the strip of bar ``k`` that do not balance, over the bar's force."""
    bar = forces.laid.bars[k]
    total = np.array([-bar.sign * pull, forces.held(fields, bar.line)]) + body
    if k > 0:  # the cut below pushes on this strip
        cut = cuts[k - 1]
        total = total + cut.force.sum(axis=0) - np.array([0.0, sum(cut.ties.values())])
    if k < len(cuts):
        cut = cuts[k]
        total = total - cut.force.sum(axis=0) + np.array([0.0, sum(cut.ties.values())])
    return float(np.hypot(*total)) / max(abs(pull), 1e-9)
