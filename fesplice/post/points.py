"""Integration points of the concrete as one flat set, and straight lines laid through its elements.

Everything here depends on the mesh alone, so it is made once and used for every step.
Fields are read by the names of the run folder: ``group/quantity`` of shape (n_e, n_q, n_s).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, Ints
from fesplice.elements import ELEMENTS
from fesplice.elements.membrane import quad_shape
from fesplice.mesh import Group, Mesh

Fields = Mapping[str, np.ndarray]

PLATE = "plate"
_GAUSS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) / np.sqrt(3.0)
_CENTRE = np.zeros((1, 2))


def concrete_groups(mesh: Mesh) -> tuple[str, ...]:
    """Names of the membrane groups that are not steel plates."""
    return tuple(name for name, g in mesh.of_kind("quad4", "tri3").items() if g.material != PLATE)


@dataclass(frozen=True)
class Points:
    """Integration points of membrane groups, flattened group after group.

    ``xy`` (n, 2) [mm]; ``area`` (n,) in the plane [mm2]; ``thickness`` (n,) [mm]; ``group`` (n,)
    index into ``names``; ``element`` (n,) number within the group.
    """

    names: tuple[str, ...]
    xy: Floats
    area: Floats
    thickness: Floats
    group: Ints
    element: Ints

    def __len__(self) -> int:
        return len(self.xy)

    def values(self, fields: Fields, quantity: str) -> Floats:
        """Field ``quantity`` at all points (n, n_s), double precision."""
        rows = [np.asarray(fields[f"{name}/{quantity}"], float) for name in self.names]
        return np.concatenate([r.reshape(-1, r.shape[-1]) for r in rows])


def gather(mesh: Mesh, names: tuple[str, ...] | None = None) -> Points:
    """Points of the groups ``names`` (default: all concrete)."""
    names = concrete_groups(mesh) if names is None else names
    xy, area, thickness, group, element = [], [], [], [], []
    for k, name in enumerate(names):
        g = mesh.groups[name]
        corners = mesh.points[g.cells]
        places = _places(g)
        t = np.asarray(g.data["thickness"], float)
        weight = ELEMENTS[g.kind].kinematics(corners, {"thickness": np.ones_like(t)})[1]
        n_q = weight.shape[1]
        xy.append(np.einsum("qk,ekd->eqd", places, corners).reshape(-1, 2))
        area.append(weight.ravel())
        thickness.append(np.repeat(t, n_q))
        group.append(np.full(weight.size, k, np.int32))
        element.append(np.repeat(np.arange(len(g.cells), dtype=np.int32), n_q))
    return Points(names, *(np.concatenate(v) for v in (xy, area, thickness, group, element)))


def _places(g: Group) -> Floats:
    """Shape functions at the integration points (n_q, n_k)."""
    return quad_shape(_GAUSS)[0] if g.kind == "quad4" else np.full((1, 3), 1.0 / 3.0)


@dataclass(frozen=True)
class Crossing:
    """Pieces of a straight line, one per element it meets, in order along the line.

    ``span`` (m, 2) distances of both ends from ``start`` [mm]; ``group`` (m,) index into
    ``names``; ``element`` (m,); ``local`` (m, 2, 2) natural coordinates of both ends;
    ``thickness`` (m,) [mm]; ``materials`` per name.
    """

    start: Floats
    direction: Floats
    names: tuple[str, ...]
    materials: tuple[str, ...]
    span: Floats
    group: Ints
    element: Ints
    local: Floats
    thickness: Floats

    @property
    def normal(self) -> Floats:
        """Unit normal to the left of the line: upwards for a line drawn from left to right."""
        return np.array([-self.direction[1], self.direction[0]])

    @property
    def length(self) -> Floats:
        """Lengths of the pieces (m,) [mm]."""
        return self.span[:, 1] - self.span[:, 0]

    def xy(self, distance: Floats) -> Floats:
        """Points (..., 2) at the given distances along the line."""
        return self.start + np.asarray(distance)[..., None] * self.direction

    def at_ends(self, fields: Fields, quantity: str) -> Floats:
        """Field at both ends of every piece (m, 2, n_s), bilinear through the integration points."""
        return self._read(fields, quantity, self.local)

    def means(self, fields: Fields, quantity: str) -> Floats:
        """Mean of the field over the integration points of every element met (m, n_s)."""
        return self._read(fields, quantity, np.zeros_like(self.local))[:, 0]

    def _read(self, fields: Fields, quantity: str, local: Floats) -> Floats:
        out: Floats | None = None
        for k, name in enumerate(self.names):
            here = self.group == k
            values = np.asarray(fields[f"{name}/{quantity}"])[self.element[here]].astype(float)
            if out is None:
                out = np.empty((len(self.span), 2, values.shape[-1]))
            if values.shape[1] == 4:
                # The points are the corners of a square of half side 1/sqrt(3): stretch and reuse N.
                weight = quad_shape(local[here] * np.sqrt(3.0))[0]
                out[here] = np.einsum("mpk,mks->mps", weight, values)
            else:
                out[here] = values
        return np.empty((0, 2, 3)) if out is None else out


def cross(
    mesh: Mesh, start: tuple[float, float], end: tuple[float, float], names: tuple[str, ...] | None = None
) -> Crossing:
    """Lay a line through the groups ``names`` (default: all concrete).

    A line along element edges belongs to the side with more concrete, to its left if equal.
    """
    names = concrete_groups(mesh) if names is None else names
    p = np.asarray(start, float)
    d = np.asarray(end, float) - p
    total = float(np.hypot(*d))
    d = d / total
    groups = [mesh.groups[name] for name in names]
    side = np.array([-d[1], d[0]]) * 1e-9 * total
    tried = [_pieces(mesh, groups, p + shift, d, total) for shift in (side, -side)]
    covered = [sum(float((s[:, 1] - s[:, 0]).sum()) for _, s in t) for t in tried]
    pieces = tried[0] if covered[0] >= covered[1] * (1.0 - 1e-9) else tried[1]

    group = np.concatenate([np.full(len(e), k, np.int32) for k, (e, _) in enumerate(pieces)])
    element = np.concatenate([e for e, _ in pieces]).astype(np.int32)
    span = np.concatenate([s for _, s in pieces])
    local = np.zeros((len(span), 2, 2))
    thickness = np.empty(len(span))
    for k, g in enumerate(groups):
        here = group == k
        thickness[here] = np.asarray(g.data["thickness"], float)[element[here]]
        if g.kind == "quad4":
            corners = mesh.points[g.cells[element[here]]]
            local[here] = np.stack([natural(corners, p + span[here, i, None] * d) for i in (0, 1)], axis=1)
    order = np.argsort(span[:, 0], kind="stable")
    return Crossing(
        p, d, names, tuple(g.material for g in groups),
        span[order], group[order], element[order], local[order], thickness[order],
    )  # fmt: skip


def _pieces(mesh: Mesh, groups: list[Group], p: Floats, d: Floats, total: float) -> list[tuple[Ints, Floats]]:
    """Per group: elements met and the (entry, exit) distances, by clipping at every edge (Cyrus & Beck 1978)."""
    out = []
    for g in groups:
        corners = mesh.points[g.cells]
        edge = np.roll(corners, -1, axis=1) - corners
        outward = np.stack([edge[..., 1], -edge[..., 0]], axis=-1)
        gap = np.einsum("ekd,ekd->ek", outward, corners - p)
        rate = outward @ d
        with np.errstate(divide="ignore", invalid="ignore"):
            hit = gap / rate
        leaves = np.where(rate > 0.0, hit, np.inf).min(axis=1)
        enters = np.where(rate < 0.0, hit, -np.inf).max(axis=1)
        outside = ((rate == 0.0) & (gap < 0.0)).any(axis=1)
        span = np.stack([np.maximum(enters, 0.0), np.minimum(leaves, total)], axis=1)
        met = np.flatnonzero(~outside & (span[:, 1] - span[:, 0] > 1e-9 * total))
        out.append((met, span[met]))
    return out


def natural(corners: Floats, xy: Floats) -> Floats:
    """Natural coordinates (n, 2) of points ``xy`` (n, 2) in quadrilaterals ``corners`` (n, 4, 2), by Newton."""
    local = np.zeros_like(xy)
    for _ in range(8):
        shape, slope = quad_shape(local)
        miss = xy - np.einsum("nk,nkd->nd", shape, corners)
        jac = np.einsum("nkd,nkj->ndj", corners, slope)
        local = local + np.linalg.solve(jac, miss[..., None])[..., 0]
    return local
