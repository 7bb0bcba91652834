"""The mesh: points, groups of cells, bar lines, and the checks that make it fit to solve.

Knows nothing of gmsh, laws or specimens. One group is one element kind with one law;
its arrays are all indexed by element.

Kinds of group and what their ``data`` holds (all per element unless said):

``quad4`` / ``tri3``   ``thickness`` [mm]
``truss2``             ``area`` [mm2] (all bars of the line together)
``frame2``             ``area``, ``diameter``, ``number``; unknowns ux, uy, rotation
``bond``               cells = bar node + 4 host nodes; ``local`` (n_e, 2) natural
                       coordinates in the host, ``length`` tributary [mm], ``tangent``
                       (n_e, 2) mean unit tangent, ``diameter``, ``number`` and ``zone``
                       (0 lead, 1 bend, 2 tail)
``plane``              cells = 2 x 4 hosts of the gauges beside a lead; ``gauge_local``, ``tangent``,
                       ``length``, and ``ride`` (n_e, 2). One unknown of its own: the slide of
                       the plane of the hooks, which bond points with ``ride`` (n_e, 2) share
``joint``              cells = minus a, minus b, plus a, plus b; ``thickness``,
                       ``normal`` (n_e, 2) from minus to plus
``link``               cells = node, partner at any distance; ``axis`` (n_e, 2), ``area``
                       [mm2]; the plan's group "interface" also ``leg_ratio`` and ``tail_A_ratio``, ``tail_B_ratio``
``anchor``             cells = bar node + 9 x 4 host nodes; ``tangent`` (n_e, 2) the way the
                       bar is pulled, ``patch_local`` (n_e, 9, 2) natural coordinates
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from fesplice.contracts import Floats, InputFault, Ints

LEAD, BEND, TAIL = 0, 1, 2
ZONES = ("lead", "bend", "tail")


@dataclass(frozen=True)
class Group:
    """Cells of one kind sharing one law: ``cells`` (n_e, n_k) and arrays per element."""

    kind: str
    material: str
    cells: Ints
    data: Mapping[str, np.ndarray] = field(default_factory=dict)


@dataclass(frozen=True)
class BarLine:
    """Nodes along one bar line, in order, for profiles: arc length [mm] and zone per node.

    ``area`` [mm2] and ``number`` count all bars the line stands for; ``groups`` names the
    bar groups and ``bond`` the bond group whose k-th element sits at the k-th node.
    """

    name: str
    role: str
    nodes: Ints
    arc: Floats
    zone: Ints
    area: float
    diameter: float
    number: int
    steel: str
    groups: tuple[str, ...]
    bond: str


@dataclass(frozen=True)
class Station:
    """A named place where fields are read, e.g. the tangent point of a hook."""

    name: str
    line: str
    xy: tuple[float, float]


@dataclass(frozen=True)
class Mesh:
    """points (n_p, 2) [mm]; groups by name; node sets by name; bar lines; stations."""

    points: Floats
    groups: Mapping[str, Group]
    node_sets: Mapping[str, Ints] = field(default_factory=dict)
    lines: Mapping[str, BarLine] = field(default_factory=dict)
    stations: tuple[Station, ...] = ()

    def of_kind(self, *kinds: str) -> dict[str, Group]:
        """Groups of the given kinds, in order."""
        return {name: g for name, g in self.groups.items() if g.kind in kinds}

    @property
    def digest(self) -> str:
        """SHA-256 over points and cells; data of the groups, and the planes of hooks, follow from the specimen."""
        h = hashlib.sha256(np.ascontiguousarray(self.points).tobytes())
        for name, g in self.groups.items():
            if g.kind == "plane":  # laid by the model over a mesh that was made without it
                continue
            h.update(name.encode() + g.kind.encode() + np.ascontiguousarray(g.cells).tobytes())
        return h.hexdigest()


def quad_corners(xy: Floats) -> Floats:
    """Jacobian determinants at the corners of polygons ``xy`` (n_e, n_k, 2), scaled by the edges.

    1 is a right angle, 0 a collapsed corner, negative an inverted one.
    """
    ahead = np.roll(xy, -1, axis=1) - xy
    back = np.roll(xy, 1, axis=1) - xy
    cross = ahead[..., 0] * back[..., 1] - ahead[..., 1] * back[..., 0]
    norm = np.linalg.norm(ahead, axis=-1) * np.linalg.norm(back, axis=-1)
    return cross / np.maximum(norm, 1e-300)


def quality(mesh: Mesh) -> float:
    """Smallest scaled corner Jacobian over all quadrilaterals and triangles (1 best, <= 0 bad)."""
    worst = 1.0
    for g in mesh.of_kind("quad4", "tri3").values():
        if len(g.cells):
            worst = min(worst, float(quad_corners(mesh.points[g.cells]).min()))
    return worst


def check(mesh: Mesh, smallest_quality: float = 0.3) -> None:
    """Raise :class:`InputFault` for non-finite points, bad cells, loose or missing nodes."""
    faults = []
    n = len(mesh.points)
    if not np.isfinite(mesh.points).all():
        faults.append("points are not all finite")
    used = np.zeros(n, bool)
    for name, g in mesh.groups.items():
        if g.cells.size and (g.cells.min() < 0 or g.cells.max() >= n):
            faults.append(f"group {name} names nodes that do not exist")
            continue
        used[g.cells.ravel()] = True
        for key, values in g.data.items():
            if len(values) != len(g.cells):
                faults.append(f"group {name}: {key} has {len(values)} rows for {len(g.cells)} cells")
    if not used.all():
        faults.append(f"{int((~used).sum())} nodes belong to no cell")
    if not faults and (worst := quality(mesh)) < smallest_quality:
        faults.append(f"an element of quality {worst:.2f}, below {smallest_quality}")
    if faults:
        raise InputFault("mesh", "; ".join(faults))
