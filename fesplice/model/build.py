"""Specimen and mesh to a model of the elevation: laws, supports, loads, read-outs."""

from __future__ import annotations

from typing import Literal

import numpy as np

from fesplice.contracts import (
    BondLaw,
    BondNumbers,
    ConcreteNumbers,
    Fault,
    Flags,
    Floats,
    InputFault,
    Ints,
    Law,
    SplitBond,
)
from fesplice.laws import Bar, BentBar, ColdJoint, Elastic
from fesplice.laws.cracking import UNBOUNDED
from fesplice.laws.wedge import WedgingBond
from fesplice.mesh import LEAD, Group, Mesh
from fesplice.model.assembly import Model, number_unknowns
from fesplice.model.bar_supports import supported
from fesplice.model.choice import Chosen, choose
from fesplice.model.hook_planes import plane_laws, with_planes
from fesplice.model.width import narrowed, wedging_leads
from fesplice.specimen.schema import Bond, Concrete, Specimen

#: How far beyond the lap or the joint bond-slip alone carries the tension between cracks [bar diameters].
EXPLICIT_BOND = 10.0


def concrete_numbers(
    concrete: Concrete,
    crack: Literal["rotating", "fixed"],
    stiffening: Floats | float = 0.0,
    reserve: float = UNBOUNDED,
    alone: bool = False,
) -> ConcreteNumbers:
    """What a concrete law is built from, of a concrete whose missing values have been estimated."""
    return ConcreteNumbers(
        modulus=concrete.elastic_modulus,
        poisson=concrete.poisson,
        tensile_strength=concrete.tensile_strength,
        fracture_energy=concrete.fracture_energy,
        strength=concrete.strength,
        peak_strain=concrete.peak_strain,
        crushing_energy=concrete.crushing_energy,
        crack=crack,
        stiffening=stiffening,
        reserve=reserve,
        alone=alone,
    )


def stiffening_weights(specimen: Specimen, mesh: Mesh, group: Group) -> Floats:
    """Share 0..1 of each element that lies in the effective tension zone away from the splice.

    Between cracks concrete helps the bars. Near the splice the cracks and the slip between them
    are modelled one by one, so nothing is added there; further out than ``EXPLICIT_BOND``
    diameters from lap and joint the mean curve of Collins & Mitchell (1987) stands for them, in
    the zone of height 2.5 (h - d) from the tension face (MC2010, 7.6.4.4, from memory). See
    :func:`stiffening_reserve` for its bound by the bars.
    """
    row, zone = specimen.bars.left, stiffened_height(specimen)
    spliced = specimen.bars.splice != "continuous"
    near = max(0.5 * specimen.body.closure, 0.5 * specimen.bars.lap if spliced else 0.0)
    if near > 0.0:
        near += EXPLICIT_BOND * row.diameter
    xy = mesh.points[group.cells]
    low, high = xy[..., 1].min(axis=1), xy[..., 1].max(axis=1)
    share = np.clip((zone - low) / (high - low), 0.0, 1.0)
    return np.where(np.abs(xy[..., 0].mean(axis=1)) > near, share, 0.0)


def stiffened_height(specimen: Specimen) -> float:
    """Height of the effective tension zone [mm], at most half the depth."""
    return min(2.5 * (specimen.body.depth - specimen.bars.left.depth), 0.5 * specimen.body.depth)


def stiffening_reserve(specimen: Specimen) -> float:
    """Yield force of the main bars over the effective tension zone [MPa].

    What concrete carries between cracks the bars carry at the cracks on top of their mean
    stress. So it is no more than they have left, nothing once they yield, and nothing across
    cracks that run along them.
    """
    row = specimen.bars.left
    area = specimen.body.width * stiffened_height(specimen)
    return row.number * row.area * specimen.steel[row.steel].yield_strength / area


def beside(mesh: Mesh) -> dict[str, list[tuple[str, Ints, Ints]]]:
    """Per group of concrete: bar groups, elements of the concrete, and the bar element beside each of them.

    Beside is the main bar's element nearest along the beam, of several layers the one nearest to the tension face.
    """
    bars = [n for line in mesh.lines.values() if line.role == "main" for n in line.groups if n.startswith("bar:")]
    if not bars:
        return {}
    middle = {name: mesh.points[mesh.groups[name].cells].mean(axis=1) for name in bars}
    xy = np.concatenate([middle[name] for name in bars])
    owner = np.repeat(np.arange(len(bars)), [len(middle[name]) for name in bars])
    row = np.concatenate([np.arange(len(middle[name])) for name in bars])
    out: dict[str, list[tuple[str, Ints, Ints]]] = {}
    for name, g in mesh.of_kind("quad4", "tri3").items():
        if g.material == "plate":
            continue
        x = mesh.points[g.cells][..., 0].mean(axis=1)
        near = np.argmin(np.abs(xy[:, 0] - x[:, None]) + 0.5 * xy[:, 1], axis=1)
        out[name] = [
            (bar, np.flatnonzero(owner[near] == k).astype(np.int32), row[near[owner[near] == k]].astype(np.int32))
            for k, bar in enumerate(bars)
        ]
    return out


def bond_numbers(group: Group, f_cm: Floats, bond: Bond, splitting: Flags, length: Floats) -> BondNumbers:
    """What the bond law of one bar line is built from; ``f_cm``, ``splitting`` and anchorage ``length`` [mm] per point.

    The splitting branch is for straight leads; bends, tails and stirrups keep the pull-out branch. Length 0 is a bar
    that runs through.
    """
    data = group.data
    points = len(data["diameter"])
    return BondNumbers(
        strength=f_cm,
        diameter=data["diameter"],
        number=data["number"],
        condition=bond.condition,
        rib_spacing=np.full(points, bond.clear_rib_spacing),
        length=length,
        c_min=data["cmin"],
        c_max=data["cmax"],
        k_tr=data["ktr"],
        splitting=splitting,
        bearing_coefficient=bond.bearing_coefficient,
        anchored=np.asarray(data["anchored"], float) if bond.slip else np.ones(points),
    )


def wedging(bond: BondLaw, group: Group, specimen: Specimen, wedges: Flags) -> WedgingBond:
    """The pull-out ``bond`` of a bar line with gauge points, wedging at the points ``wedges`` (n_e,).

    Raises :class:`InputFault` where ``bond`` has no parts that can be made to wedge.
    """
    if not isinstance(bond, SplitBond):
        lacking = "has no tau and press to make it wedge; choose another law, or splitting"
        raise InputFault(f"specimen {specimen.name}", [Fault("bond.splitting", "wedging", f"{_named(bond)} {lacking}")])
    slope = np.tan(np.radians(specimen.bond.wedge_angle))
    wedges = wedges & (bond.anchored == 0.0)  # where bond is taken as perfect there is no slip to wedge
    thrust = np.where(wedges, group.data["number"] * group.data["diameter"] * slope, 0.0)
    return WedgingBond(bond, thrust, specimen.bond.wedge_opening)


def _named(law: Law) -> str:
    return f"the bond law {type(law).__name__}"


def laws(specimen: Specimen, mesh: Mesh, chosen: Chosen | None = None) -> dict[str, Law]:
    """A law for every group of the elevation mesh; ``chosen`` left out: those that the specimen names."""
    chosen = chosen or choose(specimen)
    closure = specimen.concrete.closure or specimen.concrete.precast
    concretes = {"precast": specimen.concrete.precast, "closure": closure}
    joint = specimen.joint
    half = 0.5 * specimen.body.closure
    main = {line.bond: line for line in mesh.lines.values() if line.role == "main"}
    splitting = specimen.bond.splitting
    leads = wedging_leads(specimen, mesh) if splitting == "wedging" else {}
    alone = not mesh.of_kind("truss2", "frame2")  # without bars nothing spreads the cracks
    out: dict[str, Law] = {}
    for name, g in mesh.groups.items():
        if g.kind in ("quad4", "tri3"):
            if g.material == "plate":
                out[name] = Elastic(200e3, 0.3)
            else:
                weights = stiffening_weights(specimen, mesh, g) if specimen.analysis.tension_stiffening else 0.0
                crack, reserve = specimen.analysis.crack_model, stiffening_reserve(specimen)
                numbers = concrete_numbers(concretes[g.material], crack, weights, reserve, alone)
                out[name] = chosen.concrete.built(numbers)
        elif g.kind == "truss2":
            out[name] = Bar(specimen.steel[g.material].monotonic)
        elif g.kind == "frame2":
            out[name] = BentBar(
                specimen.steel[g.material].monotonic,
                float(g.data["diameter"][0]),
                int(g.data["number"][0]),
                float(g.data["area"][0]),
            )
        elif g.kind == "joint":
            out[name] = ColdJoint(joint.tensile_strength, joint.fracture_energy, joint.friction, joint.cohesion)
        elif g.kind == "bond":
            inside = np.abs(mesh.points[g.cells[:, 0], 0]) <= half
            f_cm = np.where(inside, closure.strength, specimen.concrete.precast.strength)
            lead = g.data["zone"] == LEAD
            anchored = inside & (specimen.bars.splice != "continuous")
            length = np.where(anchored, g.data["bond_length"], 0.0)
            branch = lead & (name in main) & (splitting == "branch")
            bond = chosen.bond.built(bond_numbers(g, f_cm, specimen.bond, branch, length))
            bond = wedging(bond, g, specimen, leads[name]) if name in leads else bond
            out[name] = supported(bond, specimen, mesh, main[name], closure.strength) if name in main else bond
    return out | plane_laws(specimen, mesh)


def elevation_model(specimen: Specimen, mesh: Mesh, chosen: Chosen | None = None) -> Model:
    """The whole beam on two supports under its ram loads; the load factor is the force per ram [N].

    The mesh of the model carries the effective width where bond wedges, and the planes of hooks. ``chosen`` laws left
    out: those that the specimen names.
    """
    mesh = with_planes(specimen, narrowed(specimen, mesh))
    n_dof, _, _ = number_unknowns(mesh)
    sets = mesh.node_sets
    left, right = sets["support:left"], sets["support:right"]
    fixed = np.concatenate([2 * left + 1, 2 * right + 1, 2 * left[:1]])
    gravity = -1.0 if specimen.loading.tension_face == "down" else 1.0
    rams = [nodes for name, nodes in sets.items() if name.startswith("load:")]
    f_ref = np.zeros(n_dof)
    f_dead = np.zeros(n_dof)
    for nodes in rams:
        f_ref[2 * nodes + 1] -= 1.0 / len(nodes)
        f_dead[2 * nodes + 1] += gravity * specimen.loading.equipment_weight / len(nodes)
    if specimen.loading.self_weight:
        f_dead += gravity * _weight(specimen, mesh, n_dof)
    watch = {"deflection": _mean(n_dof, 2 * sets["midspan"] + 1, -1.0)}
    watch["load_point"] = np.sum([_mean(n_dof, 2 * nodes + 1, -1.0 / len(rams)) for nodes in rams], axis=0)
    for side in ("left", "right"):
        if f"opening:{side}" in sets:
            minus, plus = sets[f"opening:{side}"]
            gap = np.zeros(n_dof)
            gap[2 * plus], gap[2 * minus] = 1.0, -1.0
            watch[f"joint_{side}"] = gap
    beside_bars = beside(mesh) if specimen.analysis.tension_stiffening else {}
    return Model(mesh, laws(specimen, mesh, chosen), fixed, f_ref, f_dead, watch, beside_bars)


def _mean(n_dof: int, unknowns: np.ndarray, sign: float) -> Floats:
    row = np.zeros(n_dof)
    row[unknowns] = sign / len(unknowns)
    return row


def _weight(specimen: Specimen, mesh: Mesh, n_dof: int) -> Floats:
    """Nodal weights [N], positive numbers on the vertical unknowns; concrete only (it includes the steel's share)."""
    closure = specimen.concrete.closure or specimen.concrete.precast
    weight = {"precast": specimen.concrete.precast.unit_weight, "closure": closure.unit_weight}
    f = np.zeros(n_dof)
    for g in mesh.of_kind("quad4").values():
        if g.material not in weight:
            continue
        xy = mesh.points[g.cells]
        x, y = xy[..., 0], xy[..., 1]
        area = 0.5 * np.abs((x[:, 0] - x[:, 2]) * (y[:, 1] - y[:, 3]) - (x[:, 1] - x[:, 3]) * (y[:, 0] - y[:, 2]))
        # the full width weighs, also where bars take some of it from the concrete
        share = 0.25 * area * specimen.body.width * weight[g.material]
        np.add.at(f, (2 * g.cells + 1).ravel(), np.repeat(share, 4))
    return f
