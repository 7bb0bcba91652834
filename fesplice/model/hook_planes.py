"""Planes of hooks in the elevation: which points of a bar line slide together, and the law of what holds them.

All that a hook hands over to the concrete, by bond along its lead and tail and by bearing in its bend, passes its own
plane. So the concrete under every point of the anchorage has moved by the plane's slide d, along the pull, on top of
what the elements say: slip = t.(u_bar - u_host) - (t.p) d, and likewise the gap. With d as an unknown of the model
the equation that belongs to it is that the plane carries what the tractions of the anchorage pull in sum; both are
found together in one increment.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fesplice.contracts import Floats
from fesplice.laws.hook_plane import HookPlane
from fesplice.mesh import BEND, LEAD, BarLine, Group, Mesh
from fesplice.model.width import spliced
from fesplice.specimen.schema import Concrete, Specimen

PLANE = "plane"


def hooked(mesh: Mesh) -> list[BarLine]:
    """Main lines that show a bend."""
    return [line for line in mesh.lines.values() if line.role == "main" and (line.zone == BEND).any()]


def pull(mesh: Mesh, line: BarLine) -> Floats:
    """Unit vector (2,) of the pull on a hook: along its lead, away from the bend."""
    xy = mesh.points[line.nodes]
    lead, bend = xy[line.zone == LEAD].mean(axis=0), xy[line.zone == BEND].mean(axis=0)
    return np.array([np.sign(lead[0] - bend[0]), 0.0])


def embedment(mesh: Mesh, line: BarLine, face: float) -> float:
    """Length [mm] from the ``face`` (its x) to the outside of the bend."""
    x, sense = mesh.points[line.nodes, 0], pull(mesh, line)[0]
    return float(np.abs((-sense * x).max() + 0.5 * line.diameter + sense * face))


def with_plane(mesh: Mesh, line: BarLine, face: float) -> Mesh:
    """The mesh with the plane of one hooked line that enters its concrete at x = ``face`` [mm].

    The group ``plane:NAME`` has a point at every node of the lead beyond the face, and the bond group ``ride``.
    """
    g, towards = mesh.groups[line.bond], pull(mesh, line)
    x, t = mesh.points[line.nodes, 0], g.data["tangent"]
    inside = (x - face) * towards[0] <= 0.0
    inside |= line.zone != LEAD
    ride = np.stack([t @ towards, np.column_stack([-t[:, 1], t[:, 0]]) @ towards], axis=1)
    at = np.flatnonzero(inside & (line.zone == LEAD))
    if not len(at):  # all bend: nothing is read beside it, and the cover side is not lost
        at = np.flatnonzero(line.zone == BEND)
    points = Group(
        "plane", "plane", g.data["gauge_hosts"][at].reshape(len(at), 8),
        {
            "gauge_local": g.data["gauge_local"][at], "tangent": t[at], "length": g.data["length"][at],
            "ride": np.tile([-1.0, 0.0], (len(at), 1)),
        },
    )  # fmt: skip
    bond = replace(g, data={**g.data, "ride": np.where(inside[:, None], ride, 0.0)})
    return replace(mesh, groups={**mesh.groups, line.bond: bond, f"{PLANE}:{line.name}": points})


def with_planes(specimen: Specimen, mesh: Mesh) -> Mesh:
    """The mesh with the planes of all its hooks; the very same where ``bond.hook_plane`` is whole or none is lapped.

    Sets of ties or stirrups cross those planes and hold them together after they have split. How much they hold is not
    in the law, so that a plane they cross is left whole.
    """
    half = spliced(specimen)
    if specimen.bond.hook_plane == "whole" or specimen.confinement.in_sets or half == 0.0:
        return mesh
    for line in hooked(mesh):
        mesh = with_plane(mesh, line, half * pull(mesh, line)[0])
    return mesh


def plane_law(mesh: Mesh, line: BarLine, face: float, concrete: Concrete, cover_share: float) -> HookPlane:
    """The law of one line's plane in ``concrete`` whose missing values have been estimated."""
    return HookPlane.of(
        concrete.elastic_modulus, concrete.fracture_energy, concrete.tensile_strength, line.diameter,
        embedment(mesh, line, face), line.number, float(mesh.groups[f"{PLANE}:{line.name}"].data["length"].sum()),
        cover_share,
    )  # fmt: skip


def plane_laws(specimen: Specimen, mesh: Mesh) -> dict[str, HookPlane]:
    """Laws by group for the planes that the mesh of an elevation carries."""
    concrete, half = specimen.concrete.closure or specimen.concrete.precast, spliced(specimen)
    return {
        f"{PLANE}:{line.name}": plane_law(mesh, line, half * pull(mesh, line)[0], concrete, specimen.bond.cover_share)
        for line in hooked(mesh)
        if f"{PLANE}:{line.name}" in mesh.groups
    }
