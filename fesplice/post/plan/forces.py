"""Forces in the plan: cuts along the bars, struts between them, side thrust and what carries it.

A cut follows a grid line between two bars. What passes through it is summed at its nodes from the parts above
it, as the elements themselves hand it on (stress, bond, anchors), so that a strip between two cuts is in
balance to the residual of the solution, whatever the mesh. Forces act on the part above the cut; N [N].
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fesplice.contracts import Floats, Ints
from fesplice.elements import ELEMENTS
from fesplice.mesh import Group, Mesh
from fesplice.post.plan.layout import Gap, PlanLayout, plan_layout
from fesplice.post.points import Fields


@dataclass(frozen=True)
class Cut:
    """A gap cut open: ``x`` (n,) [mm] of the nodes along it, ``force`` (n, 2) [N] from the part below on that above.

    ``ties``: force [N] by line of transverse steel where it crosses, tension positive; ``width`` (n,) [mm] tributary.
    """

    gap: Gap
    x: Floats
    width: Floats
    force: Floats
    ties: Mapping[str, float]

    @property
    def normal(self) -> Floats:
        """Force across the cut (n,) [N], tension positive, concrete alone."""
        return -self.force[:, 1]

    @property
    def passed(self) -> float:
        """Force along the bars that passes through the cut [N], positive from the bar below to that above in +x."""
        return float(self.force[:, 0].sum())

    @property
    def tied(self) -> float:
        """Tension of all transverse steel in the cut [N]."""
        return float(sum(max(f, 0.0) for f in self.ties.values()))


@dataclass(frozen=True)
class Strut:
    """The compression that crosses one gap; N, mm, degrees to the bars, MPa.

    ``along`` and ``across`` its components, ``force`` their resultant through ``x`` on the cut; ``width``
    square to the strut, ``stress`` mean over width and thickness. ``share`` of the force that passes the gap.
    """

    gap: str
    x: float
    force: float
    along: float
    across: float
    inclination: float
    width: float
    stress: float
    share: float


@dataclass(frozen=True)
class Thrust:
    """Side thrust on an edge bar [N] and what holds the strip outside the cut; shares of ``force``, sum 1.

    ``ties`` by line; ``concrete`` tension in the cut; ``body`` the plane above the strip; ``hold`` the bar where it
    enters. ``residual`` of the strip's balance across, as share of the thrust.
    """

    line: str
    gap: str
    force: float
    ties: dict[str, float]
    concrete: float
    body: float
    hold: float
    residual: float

    @property
    def tied(self) -> float:
        """Share of all transverse steel."""
        return float(sum(self.ties.values()))


class PlanForces:
    """Reads forces of any step of a plan run; what depends on the mesh alone is made once."""

    def __init__(self, mesh: Mesh, laid: PlanLayout | None = None):
        self.mesh = mesh
        self.laid = plan_layout(mesh) if laid is None else laid

    @cached_property
    def _quads(self) -> tuple[Floats, Floats, Ints]:
        g = self.mesh.groups[self.laid.group]
        b, w = ELEMENTS["quad4"].kinematics(self.mesh.points[g.cells], g.data)
        return b, w, g.cells

    def _bonds(self) -> list[str]:
        return [line.bond for line in self.mesh.lines.values()]

    # -------------------------------------------------------------- forces of the parts on their nodes
    def _slab(self, fields: Fields) -> tuple[Ints, Floats, Floats]:
        """Nodes (m, k), forces (m, k, 2) [N] and heights (m,) [mm] of the slab's elements."""
        b, w, cells = self._quads
        stress = np.asarray(fields[f"{self.laid.group}/stress"], float)
        force = np.einsum("eqsd,eq,eqs->ed", b, w, stress).reshape(len(cells), 4, 2)
        return cells, force, self.mesh.points[cells, 1].mean(axis=1)

    def _bond(self, fields: Fields, name: str) -> tuple[Ints, Floats, Floats]:
        g = self.mesh.groups[name]
        data = g.data
        perimeter = np.asarray(data["number"], float) * np.pi * np.asarray(data["diameter"], float)
        rows = [np.asarray(fields[f"{name}/tau"], float) * perimeter, np.asarray(fields[f"{name}/bearing"], float)]
        kind, cells = "bond", g.cells
        if f"{name}/wedge" in fields:
            kind, cells = "wedge", np.concatenate([g.cells, data["gauge_hosts"].reshape(len(g.cells), 8)], axis=1)
            rows.append(-np.asarray(fields[f"{name}/wedge"], float))
        return self._of(kind, cells, g, np.stack(rows, axis=-1))

    def _anchor(self, fields: Fields, name: str) -> tuple[Ints, Floats, Floats]:
        g = self.mesh.groups[name]
        return self._of("anchor", g.cells, g, np.asarray(fields[f"{name}/force"], float)[:, None])

    def _of(self, kind: str, cells: Ints, g: Group, stress: Floats) -> tuple[Ints, Floats, Floats]:
        b, w = ELEMENTS[kind].kinematics(self.mesh.points[cells], g.data)
        force = np.einsum("esd,e,es->ed", b[:, 0], w[:, 0], stress).reshape(len(cells), -1, 2)
        return cells, force, self.mesh.points[g.cells[:, 0], 1]

    def _blocks(self, fields: Fields) -> list[tuple[Ints, Floats, Floats]]:
        anchors = [name for name in self.mesh.groups if name.startswith("anchor:")]
        return [
            self._slab(fields),
            *(self._bond(fields, name) for name in self._bonds()),
            *(self._anchor(fields, name) for name in anchors),
        ]

    # -------------------------------------------------------------- cuts
    def cuts(self, fields: Fields) -> tuple[Cut, ...]:
        """Every gap of the plan, cut open at one step."""
        blocks = self._blocks(fields)
        _, held = self.interface(fields)
        hung = np.zeros((len(self.mesh.points), 2))
        hung[self.mesh.groups["interface"].cells[:, 0]] = held
        found = []
        for gap in self.laid.gaps:
            total, lower = np.zeros((len(self.mesh.points), 2)), np.zeros((len(self.mesh.points), 2))
            for cells, force, height in blocks:
                above = height > gap.y
                np.add.at(total, cells[above], force[above])
                np.add.at(lower, cells[~above], force[~above])
            nodes = self.laid.nodes
            away = self.mesh.points[nodes, 1] - gap.y
            row = nodes[np.abs(away) < 1e-6]
            row = row[np.argsort(self.mesh.points[row, 0])]
            x = self.mesh.points[row, 0]
            # of what the body holds at the cut's own nodes each side has half, so that mirrored cuts agree
            force = total[row] - 0.5 * hung[row]
            # hosts of bars close to the cut may reach across it: their share goes to the node of the same column
            for sign, sums, across in ((1.0, total, nodes[away < -1e-6]), (-1.0, lower, nodes[away > 1e-6])):
                for node in across[np.abs(sums[across]).max(axis=1) > 0.0]:
                    force[np.abs(x - self.mesh.points[node, 0]).argmin()] += sign * sums[node]
            edges = np.concatenate([x[:1], 0.5 * (x[1:] + x[:-1]), x[-1:]])
            found.append(Cut(gap, x, np.diff(edges), force, self._crossing(fields, gap.y)))
        return tuple(found)

    def _crossing(self, fields: Fields, y: float) -> dict[str, float]:
        """Force of every line of transverse steel at height ``y`` [N]; absent where it does not reach."""
        out = {}
        for name in self.laid.across:
            for group in self.mesh.lines[name].groups:
                g = self.mesh.groups[group]
                ends = self.mesh.points[g.cells, 1]
                met = np.flatnonzero((ends.min(axis=1) <= y) & (ends.max(axis=1) > y))
                if len(met):
                    stress = np.asarray(fields[f"{group}/stress"], float).reshape(-1)
                    out[name] = float(stress[met[0]]) * float(np.asarray(g.data["area"])[met[0]])
        return out

    def bar_forces(self, fields: Fields) -> dict[str, float]:
        """Force [N] of every main bar at its face."""
        stress = {side: np.asarray(fields[f"grips:{side}/stress"], float)[:, 0] for side in ("left", "right")}
        return {b.line: float(stress[b.side][b.grip]) * b.area for b in self.laid.bars}

    # -------------------------------------------------------------- struts and thrust
    def strut(self, cut: Cut) -> Strut:
        """The compression across one gap."""
        pressed = np.maximum(-cut.normal, 0.0)
        total = float(pressed.sum())
        if total <= 0.0:
            nan = float("nan")
            return Strut(cut.gap.name, nan, 0.0, 0.0, 0.0, nan, nan, nan, 0.0)
        here = pressed > 0.0
        along = float(cut.force[here, 0].sum())
        force = float(np.hypot(along, total))
        lean = np.degrees(np.arctan2(total, abs(along)))
        # length that would carry the same force evenly
        length = total**2 / float((pressed**2 / cut.width).sum())
        width = length * np.sin(np.radians(lean))
        passed = cut.passed
        return Strut(
            cut.gap.name, float((pressed * cut.x).sum() / total), force, along, total, float(lean), float(width),
            float(force / max(width * self._thickness, 1e-9)), along / passed if abs(passed) > 1e-9 else float("nan"),
        )  # fmt: skip

    @cached_property
    def _thickness(self) -> float:
        return float(np.max(self.mesh.groups[self.laid.group].data["thickness"]))

    def interface(self, fields: Fields) -> tuple[Floats, Floats]:
        """Places (n, 2) [mm] of the slab's nodes and forces (n, 2) [N] of the body on them."""
        g = self.mesh.groups["interface"]
        traction = np.asarray(fields["interface/stress"], float)
        return self.mesh.points[g.cells[:, 0]], -traction * np.asarray(g.data["area"], float)[:, None]

    def thrusts(self, fields: Fields, cuts: tuple[Cut, ...] | None = None) -> tuple[Thrust, ...]:
        """Side thrust on both edge bars, and the balance of the strips outside."""
        cuts = self.cuts(fields) if cuts is None else cuts
        by = {cut.gap.name: cut for cut in cuts}
        found = []
        for bar, gap, out in self.laid.edges:
            cut = by[gap.name]
            strip = (gap.y, np.inf) if out > 0.0 else (-np.inf, gap.y)
            push = float(np.maximum(-cut.normal, 0.0).sum())
            if push <= 0.0:
                found.append(Thrust(bar.line, gap.name, 0.0, {}, 0.0, 0.0, 0.0, 0.0))
                continue
            concrete = float(np.maximum(cut.normal, 0.0).sum())
            body = -out * float(self.carried(fields, *strip)[0][1])
            hold = -out * sum(self.held(fields, b.line) for b in self.laid.bars if out * (b.y - gap.y) > 0.0)
            sums = {name: f / push for name, f in cut.ties.items()}
            residual = 1.0 - (concrete + body + hold) / push - sum(sums.values())
            found.append(Thrust(bar.line, gap.name, push, sums, concrete / push, body / push, hold / push, residual))
        return tuple(found)

    def carried(self, fields: Fields, y0: float, y1: float) -> tuple[Floats, Floats]:
        """Force (2,) [N] of the body on the strip between the cuts ``y0`` and ``y1``, and its place (2,) [mm]."""
        place, held = self.interface(fields)
        y = place[:, 1]
        share = np.where((y > y0) & (y < y1), 1.0, 0.0)
        share[(np.abs(y - y0) < 1e-6) | (np.abs(y - y1) < 1e-6)] = 0.5
        weight = share * np.abs(held).sum(axis=1)
        at = (place * weight[:, None]).sum(axis=0) / max(float(weight.sum()), 1e-300)
        return (held * share[:, None]).sum(axis=0), at

    def held(self, fields: Fields, line: str) -> float:
        """Sideways force [N] that holds a bar where it enters, +y."""
        node = int(self.mesh.lines[line].nodes[0])
        return float(np.asarray(fields["reactions"], float)[2 * node + 1])

    def demand(self, bar_force: float, gap: Gap) -> float:
        """Transverse resultant [N] of the hand model, T s/l with l between the bars' ends (hooks: tangent points)."""
        length = abs(gap.above.end - gap.below.end)
        return bar_force * gap.spacing / length if length > 0.0 else float("nan")
