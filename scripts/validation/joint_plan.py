"""A joint across its bars: the slab between the planes through which hooks break out, as plan, mesh and model.

The same plan as that of a lap (:mod:`fesplice.model.plan`): bars with their bond on a crosshead, hooks as end anchors,
the laws and numbers of a prediction. What is the joint's own:

    bars        enter from one side alone, in the face of the column
    slab        as wide and deep as the column, free on all four sides
    thickness   :data:`SHARE` of the embedment, half of it on either side of the bars, never more than there is
    body        the column above and below: two planes that hold the slab, both sideways and along the bars

The thickness stands for a body of concrete that breaks out with the hooks and grows with their embedment. Its
share comes from a trial on the 12 points of the descriptive equation; no test was used. So of the points the mean says
nothing, exponents and scatter do. How spacing and cover count was not looked at when it was chosen.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from fesplice.contracts import Floats, Law
from fesplice.geometry import surroundings
from fesplice.geometry.plan_mesh import plan_mesh
from fesplice.geometry.planes import Block, HookEnd, NetStrip, Path, Plane
from fesplice.laws import Bar, BentBar, BondSlip, EndAnchor, SmearedCrack, end_anchor
from fesplice.laws.cohesive import CohesiveInterface, Spring, interface_residual, interface_strength
from fesplice.laws.wedge import WedgingBond, effective_width
from fesplice.mesh import Mesh
from fesplice.model.assembly import Model, number_unknowns
from fesplice.model.build import bond_numbers, concrete_numbers
from fesplice.model.plan import Vertical, turning
from fesplice.specimen.fill import concrete
from fesplice.specimen.schema import Bond, Concrete, PlanPlane
from validation.case import Settings
from validation.column import Column

#: Thickness of the slab over the embedment; from a trial on 12 points of the descriptive equation, see above.
SHARE = 0.72
#: Two planes hold the slab, where a lap has one.
PLANES = 2.0
#: Free length of bar between crosshead and face, and element size, as a specimen file leaves them [bar diameters, mm].
GRIP, ELEMENT, FINEST = 7.0, 15.0, 0.55


def thickness(c: Column) -> float:
    """Of the slab [mm]: half of the share on either side of the bars, or what the column has there."""
    half = 0.5 * SHARE * c.embedment
    return min(half, c.level) + min(half, c.height - c.level)


def plane(c: Column) -> Plane:
    """The slab with its bars; x from the face of the column into it, y across."""
    d, half = c.diameter, 0.5 * c.width
    lead = c.embedment - 0.5 * c.bend_diameter - d
    low, high = sorted((0.5 * (c.spacing - d), c.side_cover))
    held = (surroundings.Stretch(-np.inf, np.inf, low, high, 0.0, lead),)
    levels = tuple((k - 0.5 * (c.number - 1)) * c.spacing for k in range(c.number))
    names = [f"A{k + 1}" for k in range(c.number)]
    return Plane(
        kind="plan",
        blocks=(Block("slab", "precast", 0.0, c.depth, -half, half, thickness(c), "precast"),),
        paths=tuple(
            Path(
                name=name, role="main", points=np.array([[0.0, y], [lead, y]]), zone=np.zeros(2, np.int32),
                area=c.area, diameter=d, number=1, steel="main", frame_from=0.0, condition="good",
                anchored_start=False, anchored_end=False, bonded=True, clear_cover=c.side_cover, stretches=held,
            )
            for name, y in zip(names, levels)
        ),
        joints=(),
        points=(),
        snaps_x=(0.0, c.depth),
        levels=levels,
        refined=c.depth,
        net=tuple(NetStrip(y, 0.0, lead, d) for y in levels),
        stations=(),
        digest="",
        ends=tuple(
            HookEnd(name, name, lead, y, (1.0, 0.0), 0.5 * c.bend_diameter + d, d) for name, y in zip(names, levels)
        ),
    )  # fmt: skip


def model(c: Column, settings: Settings, vertical: Vertical | None = None, size: float | None = None) -> Model:
    """Mesh and model; ``vertical`` is the column's stress across the planes, None: none; elements of ``size`` [mm].

    Load factor: force on the crosshead [N], of all bars. Read-out ``end``: the crosshead's way out [mm].
    """
    mesh = plan_mesh(plane(c), settings.mesh * (min(ELEMENT, FINEST * c.diameter) if size is None else size))
    splitting = "branch" if settings.splitting == "default" else settings.splitting
    if splitting == "wedging":
        mesh = _narrowed(c, mesh)
    laws = {name: _law(c, mesh, name, settings, splitting, vertical) for name in mesh.groups}
    n_dof, unknowns, _ = number_unknowns(mesh, laws)
    sets = mesh.node_sets
    body, head, faces = sets["body"], sets["crosshead:left"], sets["faces:left"]
    held = np.concatenate([turning(mesh, unknowns, int(node)) for node in faces])
    fixed = np.concatenate([2 * body, 2 * body + 1, 2 * head + 1, 2 * faces + 1, held]).astype(np.int32)
    f_ref, end = np.zeros(n_dof), np.zeros(n_dof)
    f_ref[2 * head] = end[2 * head] = -1.0
    return Model(mesh, laws, fixed, f_ref, None, {"end": end})


def _law(c: Column, mesh: Mesh, name: str, settings: Settings, splitting: str, vertical: Vertical | None) -> Law:
    mix, g, kind = concrete(Concrete(strength=f"{c.f_cm} MPa")), mesh.groups[name], name.split(":")[0]  # type: ignore[arg-type]
    bond = Bond(splitting=splitting, slip=settings.bond == "slip").filled(clear_rib_spacing=0.5 * c.diameter)  # type: ignore[arg-type]
    if kind == "anchor":
        curve = end_anchor(
            c.diameter, c.bend_diameter, c.tail, c.angle, c.f_cm, bond.condition, c.area, c.steel.stress[0],
            bond.bearing_coefficient,
        )  # fmt: skip
        return EndAnchor(curve)
    if kind == "grips":
        return Spring(c.steel.modulus / (GRIP * c.diameter))
    if kind == "interface":
        return _planes(c, mesh, mix, vertical)
    if g.kind == "quad4":
        return SmearedCrack.built(concrete_numbers(mix, settings.crack))
    if g.kind == "truss2":
        return Bar(c.steel)
    if g.kind == "frame2":
        return BentBar(c.steel, c.diameter, 1, c.area)
    points = len(g.cells)
    numbers = bond_numbers(
        g, np.full(points, c.f_cm), bond, np.full(points, splitting == "branch"), g.data["bond_length"]
    )
    if splitting != "wedging":
        return BondSlip.built(numbers)
    thrust = np.full(points, c.diameter * np.tan(np.radians(bond.wedge_angle)))
    split: Any = BondSlip.built(numbers)
    return WedgingBond(split, thrust, bond.wedge_opening)


def _planes(c: Column, mesh: Mesh, mix: Any, vertical: Vertical | None) -> CohesiveInterface:
    """Both planes as one of twice the stiffness, strength and energy; the numbers of a specimen file that says none."""
    p, x = PlanPlane(), mesh.points[mesh.groups["interface"].cells[:, 0], 0]
    stress = np.zeros(len(x)) if vertical is None else vertical.at(x)[0]
    f_t = mix.tensile_strength
    return CohesiveInterface(
        stiffness=PLANES * mix.elastic_modulus / (2.0 * (1.0 + mix.poisson)) / p.interface_depth,
        strength=PLANES * interface_strength(f_t, stress),
        residual=PLANES * interface_residual(p.interface_friction, stress),
        tensile_strength=PLANES * f_t,
        energy=PLANES * mix.fracture_energy,
        along=p.interface_along,
    )


def _narrowed(c: Column, mesh: Mesh) -> Mesh:
    """The mesh with no more concrete beside wedging bars than their effective width, as in the plan of a lap."""
    low, high = sorted((0.5 * (c.spacing - c.diameter), c.side_cover))
    ratio, _ = effective_width(c.diameter, low, high, c.f_cm)
    g = mesh.groups["precast"]
    xy = mesh.points[g.cells]
    least, most = xy.min(axis=1), xy.max(axis=1)
    thick = np.array(g.data["thickness"], float)
    torn = min(thickness(c), ratio * c.diameter) - c.diameter

    def share(k: int, start: float, end: float) -> Floats:
        return np.clip((np.minimum(most[:, k], end) - np.maximum(least[:, k], start)) / (most - least)[:, k], 0.0, 1.0)

    for line in mesh.lines.values():
        y, x = float(mesh.points[line.nodes[0], 1]), mesh.points[line.nodes, 0]
        part = share(1, y - 0.75 * c.diameter, y + 0.75 * c.diameter) * share(0, float(x.min()), float(x.max()))
        thick -= part * np.maximum(thick - torn, 0.0)
    return replace(mesh, groups={**mesh.groups, "precast": replace(g, data={**g.data, "thickness": thick})})
