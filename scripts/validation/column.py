"""A column with hooked beam bars, from the side: simulated exterior beam-column joint as plane, mesh and model.

The column stands upright, x across its depth (beam side at the left), y along its axis. The bars enter at
the left face, their tails turn down into the joint. A beam is simulated as in the tests: bars are pulled,
and a compression zone presses on the face below with the same force; both column ends are held sideways
and the column carries its axial load. Load factor: force per bar [N].

The plane is as wide as the column: joint shear, bending and breakout to the front engage all of it. The hooks' own
planes split by their law (:mod:`fesplice.laws.hook_plane`), as in the elevation of a lap. That bars crowd each other or
have little side cover shows across the plane only, and is not computed here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np

from fesplice.contracts import Floats, Law
from fesplice.formulas.steel import Curve, idealised
from fesplice.geometry import build_mesh, surroundings
from fesplice.geometry.bars import hook_line
from fesplice.geometry.planes import Block, NetStrip, Path, Plane, PointSet
from fesplice.laws import Bar, BentBar, BondSlip, Elastic, SmearedCrack
from fesplice.laws.wedge import WedgingBond, effective_width
from fesplice.mesh import LEAD, Group, Mesh
from fesplice.model.assembly import Model, number_unknowns
from fesplice.model.build import bond_numbers, concrete_numbers
from fesplice.model.hook_planes import plane_law, with_plane
from fesplice.specimen.fill import concrete
from fesplice.specimen.schema import Bond, Concrete
from validation.case import Settings

#: Longitudinal bars of a column face, area over the gross section, and their diameter [mm]: never yielding (judgement).
FACE_STEEL, FACE_BAR = 0.0125, 25.0
#: Ties outside the joint: diameter [mm], two legs, spacing [mm] (common practice, no source).
TIE, TIE_SPACING = 9.5, 100.0
#: Steel plates at the column ends [mm].
PLATE = 60.0
#: A bar in a joint has the column above and below: no face runs along it whose cover could be lifted off.
NO_COVER = 0.0
#: Half the height of the band that wedging tears [bar diameters]: where the mesh has its gauge points.
BAND = 0.75


@dataclass(frozen=True)
class Column:
    """One specimen [mm, MPa, N]: hooked bars, column, simulated beam.

    ``arm`` from the bars down to the middle of the compression zone of height ``zone``; ``stress`` axial
    stress of the column (compression positive); ``height`` between its held ends.
    """

    f_cm: float
    diameter: float
    area: float
    embedment: float
    angle: float
    number: int
    width: float
    depth: float
    side_cover: float
    height: float
    arm: float
    zone: float
    stress: float
    steel: Curve
    ties: int = 0

    @property
    def level(self) -> float:
        """Height of the bars above the column's base: the joint sits in the middle."""
        return 0.5 * (self.height + self.arm)

    @property
    def bend_diameter(self) -> float:
        """Inside, 6 d_b up to No. 8 bars and 8 d_b beyond (ACI 318-19, 25.3.1)."""
        return (6.0 if self.diameter < 26.0 else 8.0) * self.diameter

    @property
    def tail(self) -> float:
        """Straight extension: 12 d_b, or 4 d_b and at least 65 mm after a bend of 180 degrees (ACI 318-19, 25.3.1)."""
        return 12.0 * self.diameter if self.angle == 90.0 else max(4.0 * self.diameter, 65.0)

    @property
    def spacing(self) -> float:
        """Between centres of neighbouring bars."""
        inner = self.width - 2.0 * self.side_cover - self.diameter
        return inner / max(self.number - 1, 1)


# ------------------------------------------------------------------ plane
def plane(c: Column, width: float) -> Plane:
    """Column, bars, ties and column bars as a plane of the product's own data; ``width`` of concrete [mm]."""
    x0, x1 = -0.5 * c.depth, 0.5 * c.depth
    points, zone, _ = hook_line(
        x0, c.level, x0 + c.embedment, c.diameter, c.bend_diameter, c.angle, c.tail, -1.0
    )  # fmt: skip
    half_clear = 0.5 * (c.spacing - c.diameter)
    least, most = sorted((half_clear, c.side_cover))
    straight = c.embedment - 0.5 * c.bend_diameter - c.diameter
    hooked = Path(
        name="A", role="main", points=points, zone=zone, area=c.number * c.area, diameter=c.diameter,
        number=c.number, steel="main", frame_from=max(0.0, straight - 5.0 * c.diameter), condition="good",
        anchored_start=False, anchored_end=False, bonded=True, clear_cover=c.side_cover,
        stretches=(surroundings.Stretch(-np.inf, np.inf, least, most, 0.0, straight),),
    )  # fmt: skip
    base, head = PointSet("base", 0.0, -PLATE, c.depth), PointSet("head", 0.0, c.height + PLATE, c.depth)
    return Plane(
        kind="elevation",
        blocks=(
            Block("column", "monolith", x0, x1, 0.0, c.height, width, "precast"),
            Block("base", "plate", x0, x1, -PLATE, 0.0, width, "plate"),
            Block("head", "plate", x0, x1, c.height, c.height + PLATE, width, "plate"),
        ),
        paths=(hooked, *_column_bars(c, width), *_ties(c, width / c.width)),
        joints=(),
        points=(base, head),
        snaps_x=(x0, 0.0, x1),
        levels=(c.level,),
        refined=0.5 * c.depth,
        net=(NetStrip(c.level, x0, x0 + c.embedment, c.number * c.diameter),),
        stations=(),
        digest="",
    )


def _straight(name: str, role: str, ends: list[list[float]], area: float, diameter: float, number: int) -> Path:
    line = np.array(ends)
    return Path(
        name=name, role=role, points=line, zone=np.zeros(2, np.int32), area=area, diameter=diameter, number=number,
        steel="other", frame_from=None, condition="good", anchored_start=True, anchored_end=True, bonded=True,
        clear_cover=40.0, stretches=surroundings.secondary(diameter, 40.0, float(np.ptp(line))),
    )  # fmt: skip


def _column_bars(c: Column, width: float) -> list[Path]:
    inset = min(40.0 + TIE + 0.5 * FACE_BAR, 0.2 * c.depth)  # shallow columns have their bars near the faces too
    area = FACE_STEEL * width * c.depth
    number = max(2, round(area / (0.25 * np.pi * FACE_BAR**2)))
    return [
        _straight(name, "compression", [[x, 20.0], [x, c.height - 20.0]], area, FACE_BAR, number)
        for name, x in (("front", inset - 0.5 * c.depth), ("back", 0.5 * c.depth - inset))
    ]


def _ties(c: Column, share: float) -> list[Path]:
    """Ties above and below the joint, and ``c.ties`` (two legs each) within 8 d_b below the bars."""
    x = 0.5 * c.depth - 40.0 - 0.5 * TIE
    low, high = c.level - c.arm, c.level + max(75.0, 3.0 * c.diameter)
    ys = [*np.arange(low, 30.0, -TIE_SPACING), *np.arange(high, c.height - 30.0, TIE_SPACING)]
    ys += [c.level - (k + 0.5) * 8.0 * c.diameter / c.ties for k in range(c.ties)]
    leg = share * 0.25 * np.pi * TIE**2
    return [_straight(f"T{k}", "stirrup", [[-x, y], [x, y]], 2 * leg, TIE, 2) for k, y in enumerate(sorted(ys))]


# ------------------------------------------------------------------ model
def model(c: Column, settings: Settings, size: float, width: float | None = None) -> tuple[Mesh, Model]:
    """Mesh of elements about ``size`` [mm] and model; ``width`` of concrete [mm], left out: the column's.

    Read-outs: ``end`` the bars' displacement at the face against the held column, ``tangent`` that of the
    tangent point, ``ground`` that of the concrete there [mm], all along the pull.
    """
    width = c.width if width is None else width
    sizes: Any = SimpleNamespace(splice=size, elsewhere=size)
    mesh = build_mesh(plane(c, width), sizes)
    splitting = "branch" if settings.splitting == "default" else settings.splitting
    if splitting == "wedging":
        mesh = _narrowed(c, mesh, width)
    sets = mesh.node_sets
    if settings.splitting != "none":
        mesh = with_plane(mesh, mesh.lines["A"], -0.5 * c.depth)
    laws = _laws(c, settings, splitting, mesh)
    n_dof, _, _ = number_unknowns(mesh, laws)
    fixed = np.array([2 * sets["base"][0], 2 * sets["base"][0] + 1, 2 * sets["head"][0]])
    line = mesh.lines["A"]
    f_ref, f_dead = np.zeros(n_dof), np.zeros(n_dof)
    f_ref[2 * line.nodes[0]] = -c.number
    nodes, share = _compression_zone(c, mesh)
    f_ref[2 * nodes] += c.number * share
    for y, sense in ((-PLATE, 1.0), (c.height + PLATE, -1.0)):  # on both ends, so that no single point takes it
        end = np.flatnonzero(np.abs(mesh.points[:, 1] - y) < 1e-6)
        f_dead[2 * end + 1] = sense * c.stress * width * _tributary(mesh.points[end, 0])
    tangent = int(np.flatnonzero(line.zone != LEAD)[0])
    watch = {"end": _along(n_dof, line.nodes[0]), "tangent": _along(n_dof, line.nodes[tangent])}
    bond = mesh.groups[line.bond]
    ground = np.zeros(n_dof)
    xi, eta = bond.data["local"][tangent]
    shape = 0.25 * (1.0 + xi * np.array([-1, 1, 1, -1])) * (1.0 + eta * np.array([-1, -1, 1, 1]))
    ground[2 * bond.cells[tangent, 1:]] = -shape
    watch["ground"] = ground
    return mesh, Model(mesh, laws, fixed, f_ref, f_dead, watch)


def _laws(c: Column, settings: Settings, splitting: str, mesh: Mesh) -> dict[str, Law]:
    mix = concrete(Concrete(strength=f"{c.f_cm} MPa"))  # type: ignore[arg-type]
    bond = Bond(splitting=splitting, slip=settings.bond == "slip")  # type: ignore[arg-type]
    other = idealised(200e3, 460.0, 650.0, 0.0, 0.08)
    curves = {"main": c.steel, "other": other}
    out: dict[str, Law] = {}
    for name, g in mesh.groups.items():
        if g.kind == "quad4":
            plate = g.material == "plate"
            made = SmearedCrack.built(concrete_numbers(mix, settings.crack))
            out[name] = Elastic(200e3, 0.3) if plate else made
        elif g.kind == "truss2":
            out[name] = Bar(curves[g.material])
        elif g.kind == "frame2":
            out[name] = BentBar(c.steel, c.diameter, c.number, c.number * c.area)
        elif g.kind == "bond":
            out[name] = _bond(c, g, bond.filled(clear_rib_spacing=0.5 * float(g.data["diameter"][0])), name)
        elif g.kind == "plane":
            out[name] = plane_law(mesh, mesh.lines["A"], -0.5 * c.depth, mix, NO_COVER)
    return out


def _bond(c: Column, g: Group, bond: Bond, name: str) -> Law:
    main, lead = name == "bond:A", g.data["zone"] == LEAD
    f_cm = np.full(len(g.cells), c.f_cm)
    length = g.data["bond_length"] if main else np.zeros(len(g.cells))
    law = BondSlip.built(bond_numbers(g, f_cm, bond, lead & main & (bond.splitting == "branch"), length))
    if main and bond.splitting == "wedging":
        slope = np.tan(np.radians(bond.wedge_angle))
        return WedgingBond(law, np.where(lead, c.number * c.diameter * slope, 0.0), bond.wedge_opening)
    return law


def _narrowed(c: Column, mesh: Mesh, width: float) -> Mesh:
    """The mesh with the effective width of wedging bars along the straight part, between the gauge levels."""
    data = mesh.groups["bond:A"].data
    ratio, _ = effective_width(c.diameter, float(data["cmin"][0]), float(data["cmax"][0]), c.f_cm)
    wide = min(width, ratio * c.number * c.diameter)
    end = c.embedment - 0.5 * c.bend_diameter - c.diameter - 0.5 * c.depth
    g = mesh.groups["precast"]
    xy = mesh.points[g.cells]
    low, high = xy.min(axis=1), xy.max(axis=1)
    reach = BAND * c.diameter

    def share(k: int, start: float, stop: float) -> Floats:
        return np.clip((np.minimum(high[:, k], stop) - np.maximum(low[:, k], start)) / (high - low)[:, k], 0.0, 1.0)

    part = share(0, -c.depth, end) * share(1, c.level - reach, c.level + reach)
    thick = np.maximum(g.data["thickness"] - part * (width - wide), 0.1 * c.number * c.diameter)
    return replace(mesh, groups={**mesh.groups, "precast": replace(g, data={**g.data, "thickness": thick})})


def _compression_zone(c: Column, mesh: Mesh) -> tuple[np.ndarray, Floats]:
    """Nodes of the face under the compression zone and their shares of its force."""
    x, y = mesh.points[:, 0], mesh.points[:, 1]
    body = np.unique(mesh.groups["precast"].cells)
    middle = c.level - c.arm
    near = (np.abs(x[body] + 0.5 * c.depth) < 1e-6) & (np.abs(y[body] - middle) <= 0.5 * c.zone)
    nodes = body[near]
    share = _tributary(y[nodes])
    return nodes, share / share.sum()


def _tributary(at: Floats) -> Floats:
    """Length each of the points on a line stands for, in their own order."""
    order = np.argsort(at)
    step = np.diff(at[order])
    length = np.zeros(len(at))
    length[order] = 0.5 * (np.append(step, 0.0) + np.append(0.0, step))
    return length


def _along(n_dof: int, node: int) -> Floats:
    row = np.zeros(n_dof)
    row[2 * int(node)] = -1.0
    return row
