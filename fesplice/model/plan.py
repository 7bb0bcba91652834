"""Specimen and plan mesh to a model: the slab, its bars on crossheads, hooks as end anchors, the
cohesive interface to the body.

Held: the body in both directions, bars sideways and against turning where they enter (they stand in the
precast concrete there), crossheads sideways. The bars of a side hang on one crosshead through springs
E/grip length, so that they are pulled by equal displacement; the load factor is the force on each
crosshead [N].

Along the bars the body is a block of its own that may move freely as a whole: the forces of the two sides
balance, so what it takes along the bars is nothing in sum, and holding it costs no force. What it takes here and
gives back there (``plan.interface_along`` = 1) is shear that spreads upwards into the closure between the hooks, whose
tails stand in it, and relieves the struts of the slab; with 0 the body only holds the slab sideways.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fesplice.contracts import Floats, Law, Step
from fesplice.laws.bar_support import BarSupport
from fesplice.laws.cohesive import CohesiveInterface, Spring, interface_residual, interface_strength
from fesplice.laws.hook import EndAnchor, end_anchor
from fesplice.mesh import Mesh
from fesplice.model import build, width
from fesplice.model.assembly import Model, number_unknowns
from fesplice.model.bar_supports import hook_support
from fesplice.model.choice import Chosen
from fesplice.model.crossing import crossing_steel
from fesplice.specimen.schema import BarRow, Specimen
from fesplice.specimen.transverse import TIE_BEND

#: Slip of hooks expected at failure, for step sizes only [bar diameters].
_SLIP = 0.06


@dataclass(frozen=True)
class Vertical:
    """What the elevation says about the horizontal plane at one bar stress: along ``x`` (n,) [mm] the vertical

    ``stress`` across it (n,) [MPa], tension positive, and the stress in vertical ``legs`` (n,) [MPa].
    ``bar_stress`` [MPa] at the joint face is where it was read.
    """

    x: Floats
    stress: Floats
    legs: Floats
    bar_stress: float = float("nan")

    def at(self, x: Floats) -> tuple[Floats, Floats]:
        """Stress and leg stress at ``x`` (m,), straight between the given places and level beyond."""
        return np.interp(x, self.x, self.stress), np.interp(x, self.x, self.legs)

    def as_dict(self) -> dict[str, float | list[float]]:
        """Plain numbers for the run's manifest, rounded to what matters; an unknown bar stress is left out."""
        rows = {"x_mm": self.x, "stress_MPa": self.stress, "legs_MPa": self.legs}
        out: dict[str, float | list[float]] = {k: [round(float(a), 6) for a in v] for k, v in rows.items()}
        return out | ({"bar_stress_MPa": float(self.bar_stress)} if np.isfinite(self.bar_stress) else {})


# ------------------------------------------------------------------ laws
def interface_law(specimen: Specimen, mesh: Mesh, vertical: Vertical | None = None) -> CohesiveInterface:
    """The plane between slab and body, with the strength that ``vertical`` leaves it (None: no vertical stress)."""
    p, concrete = specimen.plan, specimen.concrete.closure or specimen.concrete.precast
    x = mesh.points[mesh.groups["interface"].cells[:, 0], 0]
    stress, legs = (np.zeros(len(x)), np.zeros(len(x))) if vertical is None else vertical.at(x)
    shear = concrete.elastic_modulus / (2.0 * (1.0 + concrete.poisson))
    residual = interface_residual(p.interface_friction, stress)
    whole = np.maximum(interface_strength(concrete.tensile_strength, stress), residual)
    return CohesiveInterface(
        stiffness=shear / p.interface_depth,
        strength=residual if p.interface == "cracked" else whole,
        residual=residual,
        tensile_strength=concrete.tensile_strength,
        energy=p.interface_energy,
        along=p.interface_along,
        crossing=crossing_steel(specimen, mesh, stress, legs),
        intact=p.interface == "intact",
        absent=p.interface == "none",
    )


def anchor_law(specimen: Specimen, row: BarRow, f_cm: float, support: BarSupport | None = None) -> EndAnchor:
    """The hook of one bar of ``row`` as an end anchor in concrete of mean ``f_cm`` [MPa], with its bar ``support``."""
    hook, bond = row.hook, specimen.bond
    assert hook is not None
    yields = specimen.steel[row.steel].yield_strength
    curve = end_anchor(
        row.diameter, hook.bend_diameter, hook.tail, hook.angle, f_cm, bond.condition, row.area, yields,
        bond.bearing_coefficient, support,
    )  # fmt: skip
    return EndAnchor(curve)


def tie_end_law(specimen: Specimen, number: int, f_cm: float) -> EndAnchor:
    """A bent end of ``number`` bars across: a bend of 90 degrees and a tail of 6 diameters."""
    c, bond = specimen.confinement, specimen.bond
    d = c.diameter
    yields = specimen.steel[c.steel].yield_strength
    curve = end_anchor(d, TIE_BEND * d, 6.0 * d, 90.0, f_cm, bond.condition, c.area, yields, bond.bearing_coefficient)
    return EndAnchor(curve, number)


def laws(
    specimen: Specimen, mesh: Mesh, vertical: Vertical | None = None, chosen: Chosen | None = None
) -> dict[str, Law]:
    """A law for every group of the plan mesh; ``chosen`` left out: those that the specimen names."""
    concrete = specimen.concrete.closure or specimen.concrete.precast
    rows = {"A": specimen.bars.left, "B": specimen.bars.right or specimen.bars.left}
    out: dict[str, Law] = build.laws(specimen, mesh, chosen)
    for name in mesh.groups:
        kind, _, which = name.partition(":")
        if kind == "anchor" and which[0] not in rows:
            out[name] = tie_end_law(specimen, mesh.lines[which.rpartition("-")[0]].number, concrete.strength)
        elif kind == "anchor":
            out[name] = anchor_law(
                specimen, rows[which[0]], concrete.strength, hook_support(specimen, which[0], concrete.strength)
            )
        elif kind == "grips":
            row = rows["A" if which == "left" else "B"]
            out[name] = Spring(specimen.steel[row.steel].elastic_modulus / specimen.plan.grip_length)
    out["interface"] = interface_law(specimen, mesh, vertical)
    return out


def narrowed(specimen: Specimen, mesh: Mesh) -> Mesh:
    """The mesh with no more concrete beside wedging bars than their effective width; the same without wedging.

    The crack that wedging opens in this plane is upright. As in the elevation (:mod:`fesplice.model.width`) a bar
    tears concrete of k d_b at most, its own diameter included, between the gauge points beside it.
    """
    if specimen.bond.splitting != "wedging":
        return mesh
    ratios, _ = width.width_ratios(specimen, mesh)
    groups = dict(mesh.groups)
    for name, g in mesh.of_kind("quad4").items():
        xy = mesh.points[g.cells]
        low, high = xy.min(axis=1), xy.max(axis=1)
        thickness = np.array(g.data["thickness"], float)
        for line in (line for line in mesh.lines.values() if line.name in ratios):
            y, x = float(mesh.points[line.nodes[0], 1]), mesh.points[line.nodes, 0]
            reach = width.GAUGE * line.diameter
            share = _between(low[:, 1], high[:, 1], y - reach, y + reach)
            share *= _between(low[:, 0], high[:, 0], x.min(), x.max())
            torn = min(specimen.plan.thickness, ratios[line.name] * line.diameter) - line.diameter
            thickness -= share * np.maximum(thickness - torn, 0.0)
        groups[name] = replace(g, data={**g.data, "thickness": thickness})
    return replace(mesh, groups=groups)


def _between(low: Floats, high: Floats, start: float, end: float) -> Floats:
    """Share 0..1 of each stretch low..high that lies between ``start`` and ``end``."""
    return np.clip((np.minimum(high, end) - np.maximum(low, start)) / (high - low), 0.0, 1.0)


# ------------------------------------------------------------------ model
def plan_model(specimen: Specimen, mesh: Mesh, vertical: Vertical | None = None, chosen: Chosen | None = None) -> Model:
    """The slab between two crossheads pulled apart; the load factor is the force per side [N].

    Read-outs: ``extension`` between the crossheads, ``side_low`` and ``side_high`` mean outward displacement of
    the side faces [mm].
    """
    mesh = narrowed(specimen, mesh)
    law = laws(specimen, mesh, vertical, chosen)
    n_dof, unknowns, _ = number_unknowns(mesh, law)
    sets = mesh.node_sets
    left, right = sets["crosshead:left"], sets["crosshead:right"]
    faces = np.concatenate([sets["faces:left"], sets["faces:right"]])
    held = np.concatenate([turning(mesh, unknowns, int(node)) for node in faces])
    body = sets["body"]
    fixed = np.concatenate([2 * body, 2 * body + 1, 2 * left + 1, 2 * right + 1, 2 * faces + 1, held])
    f_ref = np.zeros(n_dof)
    f_ref[2 * left], f_ref[2 * right] = -1.0, 1.0
    extension = np.zeros(n_dof)
    extension[2 * left], extension[2 * right] = -1.0, 1.0
    watch = {"extension": extension}
    for name, sign in (("side_low", -1.0), ("side_high", 1.0)):
        nodes = sets[name.replace("_", ":")]
        watch[name] = np.zeros(n_dof)
        watch[name][2 * nodes + 1] = sign / len(nodes)
    return Model(mesh, law, fixed.astype(np.int32), f_ref, None, watch)


def turning(mesh: Mesh, unknowns: dict, node: int) -> np.ndarray:
    """The rotation of a frame node among all unknowns; nothing for a node that does not turn."""
    for name, g in mesh.of_kind("frame2").items():
        row, column = np.nonzero(g.cells == node)
        if len(row):
            return unknowns[name][row[:1], 4 + column[:1]]
    return np.empty(0, np.int32)


def expected_extension(specimen: Specimen) -> float:
    """Extension [mm] between the crossheads at which failure may be expected; sets step sizes, never a result."""
    row = specimen.bars.left
    steel = specimen.steel[row.steel]
    strain = min(steel.yield_strength, 450.0) / steel.elastic_modulus
    return 2.0 * (strain * (specimen.plan.grip_length + 0.5 * specimen.bars.lap) + _SLIP * row.diameter)


def cracking_extension(specimen: Specimen) -> float:
    """Extension [mm] at which the slab may first crack: its tensile strength in the bars alone."""
    row, concrete = specimen.bars.left, specimen.concrete.closure or specimen.concrete.precast
    force = concrete.tensile_strength * specimen.plan.thickness * specimen.body.width
    steel = specimen.steel[row.steel]
    return 2.0 * force / (row.number * row.area * steel.elastic_modulus) * specimen.plan.grip_length


# ------------------------------------------------------------------ read-outs
def columns(model: Model, step: Step, values: dict[str, Floats]) -> dict[str, float | str]:
    """The step's line of ``curve.csv``: force per side, extension, bar stresses at the faces, side faces.

    ``bar_stress_A_MPa`` is the mean of a side, ``bar_stress_A1_MPa`` one bar; ``side_*_mm`` the largest outward
    displacement of a side face; ``interface_lost`` the share of the plane's area past its peak.
    """
    u, mesh = step.state.u, model.mesh
    full = values["u"]
    out: dict[str, float | str] = {"load_N": step.state.load, "extension_mm": model.read("extension", u)}
    single: dict[str, float | str] = {}
    for row, side in (("A", "left"), ("B", "right")):
        stress = values[f"grips:{side}/stress"][:, 0]
        area = np.asarray(mesh.groups[f"grips:{side}"].data["area"])
        out[f"bar_stress_{row}_MPa"] = float((stress * area).sum() / area.sum())
        single |= {f"bar_stress_{row}{k}_MPa": float(s) for k, s in enumerate(stress, start=1)}
    out |= single
    for name, sign in (("side_low", -1.0), ("side_high", 1.0)):
        out[f"{name}_mm"] = float((sign * full[2 * mesh.node_sets[name.replace("_", ":")] + 1]).max())
    part = next(p for p in model.parts if p.name == "interface")
    law = part.law
    assert isinstance(law, CohesiveInterface)
    past = step.state.history["interface"]["reached"][:, 0, 0] > law.strength / law.stiffness
    out["interface_lost"] = float(part.weights[past, 0].sum() / part.weights.sum())
    return out | {
        "iterations": step.iterations,
        "residual": step.residual,
        "energy": step.energy,
        "outcome": step.outcome.name,
    }
