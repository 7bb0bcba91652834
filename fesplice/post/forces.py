"""Forces: section cuts, lift of the closure block, resultants of bond and bearing, global equilibrium.

A hook turned up in the closure pushes the block on its lead side away from the tension face; the
concrete (and any legs) between the bars and the compression zone are the vertical tie that
resists. Section cuts give the demand on that tie, f_ct times the net area its capacity, and
the lift says whether it still holds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.mesh import ZONES, Mesh
from fesplice.post.layout import Anchor, Layout, layout
from fesplice.post.points import Fields, concrete_groups, cross, gather

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: Crack opening over which a bar row counts as open [mm].
OPEN = 0.05


# ------------------------------------------------------------------ section cuts
@dataclass(frozen=True)
class BarCrossing:
    """A bar element that crosses a cut: where [mm], and its force normal to the cut (tension +) [N]."""

    line: str
    role: str
    x: float
    y: float
    force: float


@dataclass(frozen=True)
class SectionCut:
    """Resultants over a straight cut; N, mm, MPa, tension positive.

    ``distance`` and ``stress`` (m, 2): both ends of each piece along the cut and the normal stress
    there; ``thickness`` (m,). Concrete: ``tension`` (positive part), ``net``, ``shear`` (on the
    side left of the line, along it), ``moment`` of the normal stresses about the start (positive
    for tension far from it), ``tension_length``. ``capacity`` = f_ct x net area of the whole cut.
    """

    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    distance: Floats
    stress: Floats
    thickness: Floats
    tension: float
    net: float
    shear: float
    moment: float
    tension_length: float
    capacity: float
    bars: tuple[BarCrossing, ...]

    @property
    def bar_force(self) -> float:
        """Normal force of all bars crossing the cut [N]."""
        return float(sum(b.force for b in self.bars))

    def force_of(self, role: str) -> float:
        """Normal force of the bars of one role, e.g. ``stirrup`` [N]."""
        return float(sum(b.force for b in self.bars if b.role == role))

    @property
    def total(self) -> float:
        """Net normal force, concrete and bars [N]."""
        return self.net + self.bar_force

    @property
    def usage(self) -> float:
        """Concrete tension / capacity."""
        return self.tension / self.capacity if self.capacity > 0.0 else float("nan")


def cut(
    mesh: Mesh,
    fields: Fields,
    start: tuple[float, float],
    end: tuple[float, float],
    strength: Mapping[str, float],
    name: str = "cut",
) -> SectionCut:
    """Section cut from ``start`` to ``end``; ``strength`` = f_ct [MPa] by material.

    The stress is bilinear through the integration points of every element, so resultants of
    linear fields are exact, the tension part included.
    """
    line = cross(mesh, start, end)
    n, d = line.normal, line.direction
    s = line.at_ends(fields, "stress")
    normal = s[..., 0] * n[0] ** 2 + s[..., 1] * n[1] ** 2 + 2.0 * s[..., 2] * n[0] * n[1]
    along = s[..., 0] * n[0] * d[0] + s[..., 1] * n[1] * d[1] + s[..., 2] * (n[0] * d[1] + n[1] * d[0])
    length, t = line.length, line.thickness
    a, b = normal[:, 0], normal[:, 1]
    positive, share = _positive_part(a, b)
    first = line.span[:, 0]
    lever = first * 0.5 * (a + b) + length * (a + 2.0 * b) / 6.0
    limit = np.array([strength[m] for m in line.materials])[line.group]
    return SectionCut(
        name, (float(start[0]), float(start[1])), (float(end[0]), float(end[1])), line.span, normal, t,
        float((positive * length * t).sum()), float((0.5 * (a + b) * length * t).sum()),
        float((along.mean(axis=1) * length * t).sum()), float((lever * length * t).sum()),
        float((share * length).sum()), float((limit * length * t).sum()),
        _bars(mesh, fields, line.start, n, d, float(np.hypot(end[0] - start[0], end[1] - start[1]))),
    )  # fmt: skip


def _positive_part(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Mean of max(s, 0) for s linear from a to b, and the share of the length where s > 0."""
    high, low = np.maximum(a, b), np.minimum(a, b)
    share = np.where(low >= 0.0, 1.0, np.where(high <= 0.0, 0.0, high / np.maximum(high - low, 1e-300)))
    share = np.where(high <= 0.0, 0.0, share)
    return np.where(low >= 0.0, 0.5 * (a + b), 0.5 * share * np.maximum(high, 0.0)), share


def _bars(mesh: Mesh, fields: Fields, origin: Floats, n: Floats, d: Floats, total: float) -> tuple[BarCrossing, ...]:
    found = []
    for line in mesh.lines.values():
        for name in line.groups:
            g = mesh.groups[name]
            p, q = mesh.points[g.cells[:, 0]], mesh.points[g.cells[:, 1]]
            side_p, side_q = (p - origin) @ n, (q - origin) @ n
            apart = np.flatnonzero((side_p < 0.0) != (side_q < 0.0))
            if not len(apart):
                continue
            share = side_p[apart] / (side_p[apart] - side_q[apart])
            at = p[apart] + share[:, None] * (q[apart] - p[apart])
            place = (at - origin) @ d
            tangent = (q[apart] - p[apart]) / np.linalg.norm(q[apart] - p[apart], axis=1)[:, None]
            stress = np.asarray(fields[f"{name}/stress"], float).reshape(len(g.cells))[apart]
            force = stress * np.asarray(g.data["area"], float)[apart] * np.abs(tangent @ n)
            for k in np.flatnonzero((place >= 0.0) & (place <= total)):
                found.append(BarCrossing(line.name, line.role, float(at[k, 0]), float(at[k, 1]), float(force[k])))
    return tuple(found)


def tie_cuts(
    mesh: Mesh, fields: Fields, strength: Mapping[str, float], plan: Layout | None = None, only: str = ""
) -> dict[str, SectionCut]:
    """Horizontal cuts that show the prying tie of every anchored line, by name.

    ``<line>/bar level``, ``/mid-depth`` and ``/tail end`` run from the joint face to 4 d_b beyond the
    hook; ``<line>/bend`` is the bar-level cut within 4 d_b of the tip. Bar level is the middle
    of the element row above the bars; the tail-end cut lies half a row beyond the tail's end.
    ``only``: the one kind wanted, e.g. ``bend``.
    """
    plan = layout(mesh) if plan is None else plan
    cuts = {}
    for line, a in plan.anchors.items():
        beyond = a.tip + 4.0 * a.diameter * a.sign
        reach = tuple(np.clip(sorted((a.face, beyond)), *plan.x))
        near = tuple(np.clip(sorted((a.tip - 4.0 * a.diameter * a.sign, beyond)), *plan.x))
        level = 0.5 * (a.above[0] + a.above[1])
        height = a.above[1] - a.above[0]
        past = a.tail[1] + 0.5 * height * np.sign(a.tail[1] - a.level)
        heights = {"bar level": (level, reach), "mid-depth": (0.5 * (plan.y[0] + plan.y[1]), reach),
                   "tail end": (float(np.clip(past, *plan.y)), reach), "bend": (level, near)}  # fmt: skip
        if not a.hooked:
            del heights["tail end"]
        for where, (y, (x0, x1)) in heights.items():
            if only not in ("", where):
                continue
            name = f"{line}/{where}"
            cuts[name] = cut(mesh, fields, (float(x0), y), (float(x1), y), strength, name)
    return cuts


# ------------------------------------------------------------------ lift
@dataclass(frozen=True)
class Lift:
    """Vertical separation of two levels: ``x`` and ``opening`` (n,) [mm]; opening positive.

    ``largest`` at ``where`` [mm]; ``open_length`` [mm] over which the opening exceeds ``OPEN``.
    """

    levels: tuple[float, float]
    x: Floats
    opening: Floats
    largest: float
    where: float
    open_length: float


def lift(
    mesh: Mesh,
    u: Floats,
    levels: tuple[float, float],
    reach: tuple[float, float],
    groups: tuple[str, ...] | None = None,
) -> Lift:
    """How far the concrete at the upper of two node rows moved off the lower one, over ``reach`` in x.

    Rows are the nodes of ``groups`` (default: concrete) nearest to each level. Elastic
    strain between the levels is included (about 1e-4 of their distance).
    """
    names = concrete_groups(mesh) if groups is None else groups
    nodes = np.unique(np.concatenate([mesh.groups[name].cells.ravel() for name in names]))
    xy = mesh.points[nodes]
    rise = np.asarray(u, float)[2 * nodes + 1]
    rows = []
    for level in levels:
        inside = (xy[:, 0] >= reach[0] - 1e-6) & (xy[:, 0] <= reach[1] + 1e-6)
        gap = np.abs(xy[:, 1] - level)
        best = gap[inside].min()
        row = np.flatnonzero(inside & (gap <= best + 1e-3 * max(abs(levels[1] - levels[0]), 1e-9)))
        rows.append(row[np.argsort(xy[row, 0], kind="stable")])
    low, high = rows
    x = xy[low, 0]
    opening = np.interp(x, xy[high, 0], rise[high]) - rise[low]
    k = int(np.argmax(opening))
    return Lift(levels, x, opening, float(opening[k]), float(x[k]), _length_above(x, opening, OPEN))


def _length_above(x: Floats, value: Floats, limit: float) -> float:
    """Length of x over which the polyline ``value`` exceeds ``limit``."""
    return float((np.diff(x) * _positive_part(value[:-1] - limit, value[1:] - limit)[1]).sum())


def block_lift(mesh: Mesh, u: Floats, anchor: Anchor, plan: Layout | None = None) -> Lift:
    """Lift across the bar row and the row above it, from the joint face to 4 d_b beyond the hook."""
    plan = layout(mesh) if plan is None else plan
    beyond = anchor.tip + 4.0 * anchor.diameter * anchor.sign
    x0, x1 = np.clip(sorted((anchor.face, beyond)), *plan.x)
    names = concrete_groups(mesh)
    cast = tuple(name for name in names if mesh.groups[name].material == "closure") if plan.joints else names
    return lift(mesh, u, (anchor.row[0], anchor.above[1]), (float(x0), float(x1)), cast or names)


# ------------------------------------------------------------------ bond and bearing
@dataclass(frozen=True)
class ZoneForce:
    """Force of a bar on the concrete over one zone [N]: from bond (tangential) and bearing (normal).

    ``up`` > 0 pushes the concrete towards the compression face.
    """

    line: str
    zone: str
    bond: tuple[float, float]
    bearing: tuple[float, float]

    @property
    def along(self) -> float:
        """Horizontal force on the concrete, +x [N]."""
        return self.bond[0] + self.bearing[0]

    @property
    def up(self) -> float:
        """Vertical force on the concrete, +y [N]."""
        return self.bond[1] + self.bearing[1]


def zone_forces(mesh: Mesh, fields: Fields, line: str) -> tuple[ZoneForce, ...]:
    """Forces on the concrete over lead, bend and tail of a bar line.

    Slip and gap count positive when the bar moves along the tangent t and the normal (-t_y, t_x)
    against the concrete; the bar then drags the concrete the same way, with
    tau x number x pi x diameter and with the bearing, per length.
    """
    g = mesh.groups[mesh.lines[line].bond]
    t = np.asarray(g.data["tangent"], float)
    n = np.stack([-t[:, 1], t[:, 0]], axis=1)
    length = np.asarray(g.data["length"], float)
    perimeter = np.asarray(g.data["number"], float) * np.pi * np.asarray(g.data["diameter"], float)
    tau = np.asarray(fields[f"{mesh.lines[line].bond}/tau"], float).reshape(-1)
    bearing = np.asarray(fields[f"{mesh.lines[line].bond}/bearing"], float).reshape(-1)
    bond = (tau * perimeter * length)[:, None] * t
    push = (bearing * length)[:, None] * n
    zone = np.asarray(g.data["zone"])
    sums = []
    for k, name in enumerate(ZONES):
        here = zone == k
        b, q = bond[here].sum(axis=0), push[here].sum(axis=0)
        sums.append(ZoneForce(line, name, (float(b[0]), float(b[1])), (float(q[0]), float(q[1]))))
    return tuple(sums)


# ------------------------------------------------------------------ equilibrium
@dataclass(frozen=True)
class Balance:
    """Global equilibrium; N and N mm about (0, 0).

    ``reactions`` sum of vertical support forces, ``loads`` sum of vertical loads (downward
    negative), ``thrust`` sum of horizontal support forces. ``residual`` = |sum of vertical forces| /
    sum of their absolutes, ``moment_residual`` likewise.
    """

    reactions: float
    loads: float
    thrust: float
    residual: float
    moment_residual: float


def balance(mesh: Mesh, reactions: Floats, loads: Sequence[tuple[float, float]]) -> Balance:
    """Balance of the support forces with the ``loads``, pairs (force in y [N], at x [mm]).

    Only the entries of ``reactions`` (n_dof) at support nodes count: summed over all nodes, internal
    forces balance by themselves and out-of-balance forces at free nodes would go unseen.
    """
    held = [nodes for name, nodes in mesh.node_sets.items() if name.startswith("support:")]
    nodes = np.unique(np.concatenate(held)) if held else np.empty(0, int)
    r = np.asarray(reactions, float)[: 2 * len(mesh.points)].reshape(-1, 2)[nodes]
    x, y = mesh.points[nodes].T
    load = np.array(list(loads), float).reshape(-1, 2)
    force = np.concatenate([r[:, 1], load[:, 0]])
    turning = np.concatenate([r[:, 1] * x - r[:, 0] * y, load[:, 0] * load[:, 1]])
    scale, turn = np.abs(force).sum(), np.abs(turning).sum()
    return Balance(
        float(r[:, 1].sum()), float(load[:, 0].sum()), float(r[:, 0].sum()),
        float(abs(force.sum()) / scale) if scale > 0.0 else 0.0,
        float(abs(turning.sum()) / turn) if turn > 0.0 else 0.0,
    )  # fmt: skip


@dataclass(frozen=True)
class Loads:
    """Vertical loads of a run: ``rams`` (n,) their x [mm], ``gear`` per ram [N], ``dead`` self-weight (N, at x)."""

    rams: tuple[float, ...]
    gear: float
    dead: tuple[float, float]

    def at(self, load: float) -> list[tuple[float, float]]:
        """Pairs (force in y [N], at x [mm]) under ``load`` per ram [N]."""
        return [*((-(load + self.gear), x) for x in self.rams), self.dead]


def run_loads(run: Run) -> Loads:
    """Loads of a run, from its specimen: rams, loading gear, weight of the concrete over its full width."""
    from fesplice.specimen import read_text

    s = read_text(run.specimen_text, str(run.folder))
    mesh, dead = run.mesh, (0.0, 0.0)
    if s.loading.self_weight:
        points = gather(mesh)
        closure = s.concrete.closure or s.concrete.precast
        heavy = {"precast": s.concrete.precast.unit_weight, "closure": closure.unit_weight}
        per_area = np.array([heavy[mesh.groups[name].material] for name in points.names])[points.group]
        weight = points.area * s.body.width * per_area
        sense = -1.0 if s.loading.tension_face == "down" else 1.0
        dead = (sense * float(weight.sum()), float((weight * points.xy[:, 0]).sum() / weight.sum()))
    rams = [nodes for name, nodes in mesh.node_sets.items() if name.startswith("load:")]
    return Loads(tuple(float(mesh.points[nodes, 0].mean()) for nodes in rams), s.loading.gear_weight, dead)


def run_balance(run: Run, index: int) -> Balance:
    """Global equilibrium of a stored step, from its reactions and the specimen's own loads."""
    step = run.step(index)
    row = run.indices.index(step.index)
    return balance(run.mesh, step.fields["reactions"], run_loads(run).at(float(run.curve["load_N"][row])))
