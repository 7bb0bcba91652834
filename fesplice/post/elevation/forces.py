"""Forces: section cuts, lift of the closure block, resultants of bond and bearing.

A hook turned up in the closure pushes the block on its lead side away from the tension face; the
concrete (and any legs) between the bars and the compression zone are the vertical tie that
resists. Section cuts give the demand on that tie, f_ct times the net area its capacity, and
the lift says whether it still holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, Ints
from fesplice.mesh import ZONES, Mesh
from fesplice.post.elevation.layout import Anchor, Layout, layout
from fesplice.post.points import Crossing, Fields, concrete_groups, cross

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
    def utilisation(self) -> float:
        """Concrete tension / capacity."""
        return self.tension / self.capacity if self.capacity > 0.0 else float("nan")


@dataclass(frozen=True)
class CutLine:
    """A cut laid through a mesh, ready to be read at any step.

    ``crossing`` through the concrete; bar elements that cross: ``bars`` (line, role, group) per crossing,
    ``element`` (k,), ``at`` (k, 2) [mm], ``area`` (k,) turned into the normal of the cut [mm2].
    """

    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    crossing: Crossing
    bars: tuple[tuple[str, str, str], ...]
    element: Ints
    at: Floats
    area: Floats


def lay_cut(mesh: Mesh, start: tuple[float, float], end: tuple[float, float], name: str = "cut") -> CutLine:
    """Lay a cut from ``start`` to ``end`` [mm]."""
    line = cross(mesh, start, end)
    total = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    origin, n, d = np.asarray(start, float), line.normal, line.direction
    bars, element, at, area = [], [np.empty(0, int)], [np.empty((0, 2))], [np.empty(0)]
    for bar in mesh.lines.values():
        for group in bar.groups:
            g = mesh.groups[group]
            p, q = mesh.points[g.cells[:, 0]], mesh.points[g.cells[:, 1]]
            side_p, side_q = (p - origin) @ n, (q - origin) @ n
            apart = np.flatnonzero((side_p < 0.0) != (side_q < 0.0))
            share = side_p[apart] / (side_p[apart] - side_q[apart])
            place = p[apart] + share[:, None] * (q[apart] - p[apart])
            along = (place - origin) @ d
            met = (along >= 0.0) & (along <= total)
            chosen = apart[met]
            step = q[chosen] - p[chosen]
            lean = np.abs(step @ n) / np.linalg.norm(step, axis=1)
            bars += [(bar.name, bar.role, group)] * len(chosen)
            element.append(chosen)
            at.append(place[met])
            area.append(np.asarray(g.data["area"], float)[chosen] * lean)
    return CutLine(
        name, (float(start[0]), float(start[1])), (float(end[0]), float(end[1])), line,
        tuple(bars), np.concatenate(element).astype(np.int32), np.concatenate(at), np.concatenate(area),
    )  # fmt: skip


def read_cut(laid: CutLine, fields: Fields, strength: Mapping[str, float]) -> SectionCut:
    """Resultants of one step over a laid cut; ``strength`` = f_ct [MPa] by material.

    The stress is bilinear through the integration points of every element, so resultants of
    linear fields are exact, the tension part included.
    """
    line = laid.crossing
    n, d = line.normal, line.direction
    s = line.at_ends(fields, "stress")
    normal = s[..., 0] * n[0] ** 2 + s[..., 1] * n[1] ** 2 + 2.0 * s[..., 2] * n[0] * n[1]
    along = s[..., 0] * n[0] * d[0] + s[..., 1] * n[1] * d[1] + s[..., 2] * (n[0] * d[1] + n[1] * d[0])
    length, t = line.length, line.thickness
    a, b = normal[:, 0], normal[:, 1]
    positive, share = _positive_part(a, b)
    lever = line.span[:, 0] * 0.5 * (a + b) + length * (a + 2.0 * b) / 6.0
    limit = np.array([strength[m] for m in line.materials])[line.group]
    force = [float(fields[f"{group}/stress"].reshape(-1)[e]) * w for (_, _, group), e, w in
             zip(laid.bars, laid.element, laid.area)]  # fmt: skip
    return SectionCut(
        name=laid.name,
        start=laid.start,
        end=laid.end,
        distance=line.span,
        stress=normal,
        thickness=t,
        tension=float((positive * length * t).sum()),
        net=float((0.5 * (a + b) * length * t).sum()),
        shear=float((along.mean(axis=1) * length * t).sum()),
        moment=float((lever * length * t).sum()),
        tension_length=float((share * length).sum()),
        capacity=float((limit * length * t).sum()),
        bars=tuple(
            BarCrossing(name, role, float(x), float(y), float(f))
            for (name, role, _), (x, y), f in zip(laid.bars, laid.at, force)
        ),  # fmt: skip
    )


def cut(
    mesh: Mesh,
    fields: Fields,
    start: tuple[float, float],
    end: tuple[float, float],
    strength: Mapping[str, float],
    name: str = "cut",
) -> SectionCut:
    """Section cut from ``start`` to ``end`` at one step: :func:`lay_cut`, then :func:`read_cut`."""
    return read_cut(lay_cut(mesh, start, end, name), fields, strength)


def _positive_part(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Mean of max(s, 0) for s linear from a to b, and the share of the length where s > 0."""
    high, low = np.maximum(a, b), np.minimum(a, b)
    share = np.where(low >= 0.0, 1.0, np.where(high <= 0.0, 0.0, high / np.maximum(high - low, 1e-300)))
    share = np.where(high <= 0.0, 0.0, share)
    return np.where(low >= 0.0, 0.5 * (a + b), 0.5 * share * np.maximum(high, 0.0)), share


def lay_ties(mesh: Mesh, plan: Layout | None = None, only: str = "") -> dict[str, CutLine]:
    """Horizontal cuts that show the prying tie of every anchored line, by name.

    ``<line>/bar level``, ``/mid-depth`` and ``/tail end`` run from the joint face to 4 d_b beyond the
    hook; ``<line>/bend`` is the bar-level cut within 4 d_b of the tip; none leaves the closure. Bar
    level is the middle of the element row above the bars; the tail-end cut lies half a row
    beyond the tail's end. ``only``: the one kind wanted, e.g. ``bend``.
    """
    plan = layout(mesh) if plan is None else plan
    cuts = {}
    for line, a in plan.anchors.items():
        reach, near = plan.reach(a), plan.about(a)
        level = 0.5 * (a.above[0] + a.above[1])
        past = a.tail[1] + 0.5 * (a.above[1] - a.above[0]) * np.sign(a.tail[1] - a.level)
        heights = {"bar level": (level, reach), "mid-depth": (0.5 * (plan.y[0] + plan.y[1]), reach)}
        if a.hooked:
            heights["tail end"] = (float(np.clip(past, *plan.y)), reach)
        heights["bend"] = (level, near)
        for where, (y, (x0, x1)) in heights.items():
            if only in ("", where):
                name = f"{line}/{where}"
                cuts[name] = lay_cut(mesh, (x0, y), (x1, y), name)
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
    names = concrete_groups(mesh)
    cast = tuple(name for name in names if mesh.groups[name].material == "closure") if plan.joints else names
    return lift(mesh, u, (anchor.row[0], anchor.above[1]), plan.reach(anchor), cast or names)


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
