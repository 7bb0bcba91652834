"""Model: groups of elements with their laws, assembled into forces and a sparse tangent.

Strain, law and forces run group by group on whole arrays; entries of element matrices are
summed into a fixed compressed-column pattern whose rows and columns are already in
nested-dissection order, so that the factorisation needs no reordering.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from fesplice.contracts import BondLaw, Element, Floats, History, Ints, Joinable, Law, Trial
from fesplice.elements import ELEMENTS
from fesplice.laws import Bar, SupportedBond, WedgingBond
from fesplice.mesh import Group, Mesh
from fesplice.model import kernels
from fesplice.model.ordering import cell_edges, nested_dissection


@dataclass(frozen=True)
class LawGroup:
    """Groups of one kind and law, ready to compute: unknowns (n_e, n_d), B (n_e, n_q n_s, n_d), weights, size.

    ``groups`` maps each group to its rows: bar lines with the same law run as one part, since
    a hundred small groups would cost more than the concrete.
    """

    name: str
    groups: Mapping[str, slice]
    element: Element
    law: Law
    unknowns: Ints
    rows: Floats
    weights: Floats
    size: Floats

    @property
    def shape(self) -> tuple[int, int]:
        """(n_e, n_q)."""
        return len(self.weights), self.weights.shape[1]

    def strain(self, u: Floats) -> Floats:
        """Strains (n_e, n_q, n_s) from all unknowns ``u``."""
        return kernels.strains(self.rows, self.unknowns, u).reshape(*self.shape, -1)


def element_kind(group: Group, law: Law | None) -> str:
    """Kind of element that computes a group: bond points get gauges under a law that reads the opening beside them."""
    gauged = group.kind == "bond" and isinstance(law, BondLaw) and law.reads_opening
    return "wedge" if gauged else group.kind


def element_nodes(group: Group, law: Law | None) -> Ints:
    """Nodes (n_e, n_k) of the elements: the cells, and for wedge points the hosts of their gauges behind them."""
    if element_kind(group, law) != "wedge":
        return group.cells
    return np.concatenate([group.cells, group.data["gauge_hosts"].reshape(len(group.cells), 8)], axis=1)


def riding(group: Group) -> bool:
    """True for a group whose strains hang on the slide of the plane of its line's hooks (data ``ride``)."""
    return "ride" in group.data


def number_unknowns(mesh: Mesh, laws: Mapping[str, Law] | None = None) -> tuple[int, dict[str, Ints], Ints]:
    """Unknowns of every group and the place of each: node i has 2i, 2i+1; frame rotations follow, then slides.

    The slide of a plane of hooks stands nowhere: its node is -1.
    """
    laws = laws or {}
    n = 2 * len(mesh.points)
    bent = [g.cells.ravel() for g in mesh.of_kind("frame2").values()]
    turning = np.unique(np.concatenate(bent)) if bent else np.empty(0, np.int64)
    rotation = np.full(len(mesh.points), -1)
    rotation[turning] = n + np.arange(len(turning))
    planes = {name.partition(":")[2]: k for k, name in enumerate(mesh.of_kind("plane"), start=n + len(turning))}
    unknowns = {}
    for name, g in mesh.groups.items():
        nodes = element_nodes(g, laws.get(name))
        dofs = np.stack([2 * nodes, 2 * nodes + 1], axis=-1).reshape(len(nodes), -1)
        if g.kind == "frame2":
            dofs = np.concatenate([dofs, rotation[g.cells]], axis=1)
        if riding(g):
            dofs = np.column_stack([dofs, np.full(len(dofs), planes[name.partition(":")[2]])])
        unknowns[name] = dofs.astype(np.int32)
    nowhere = np.full(len(planes), -1)
    node_of = np.concatenate([np.repeat(np.arange(len(mesh.points)), 2), turning, nowhere]).astype(np.int32)
    return len(node_of), unknowns, node_of


class Model:
    """Equilibrium of a mesh with laws: see :class:`fesplice.contracts.Equilibrium`.

    ``laws`` maps group name to law, ``fixed`` lists unknowns held at zero, ``f_ref`` and
    ``f_dead`` are nodal loads over all unknowns [N], ``watch`` names weight vectors over
    all unknowns for read-outs such as a deflection [mm]. ``beside`` names, per group of concrete, bar
    groups with elements and the bar element beside each: the law of those is told in its history, as
    ``left`` (n_e,), the least share of the yield strain that the bar has had left so far.
    """

    def __init__(
        self,
        mesh: Mesh,
        laws: Mapping[str, Law],
        fixed: Ints,
        f_ref: Floats,
        f_dead: Floats | None = None,
        watch: Mapping[str, Floats] | None = None,
        beside: Mapping[str, Sequence[tuple[str, Ints, Ints]]] | None = None,
    ):
        self.mesh = mesh
        self.n_dof, unknowns, node_of = number_unknowns(mesh, laws)
        self.watch = dict(watch or {})
        self.parts = [_part(mesh, names, law, unknowns) for names, law in _alike(mesh, laws)]

        self._beside = {name: [self._bar(*one) for one in rows] for name, rows in (beside or {}).items()}

        self.free = self._order(mesh, [element_nodes(g, laws.get(k)) for k, g in mesh.groups.items()], node_of, fixed)
        self.n_free = len(self.free)
        self.shifts = (self.free < 2 * len(mesh.points)) | (node_of[self.free] < 0)  # nodes and slides
        place = np.full(self.n_dof, -1, np.int32)
        place[self.free] = np.arange(self.n_free)
        self._pattern(place)
        self._all_ref = np.asarray(f_ref, float)
        self._all_dead = np.zeros(self.n_dof) if f_dead is None else np.asarray(f_dead, float)
        self.f_ref = self._all_ref[self.free]
        self.f_dead = self._all_dead[self.free]

    def _order(self, mesh: Mesh, cells: list[Ints], node_of: Ints, fixed: Ints) -> Ints:
        edges = np.concatenate([cell_edges(nodes) for nodes in cells if len(nodes)])
        edges = np.unique(np.sort(edges[edges[:, 0] != edges[:, 1]], axis=1), axis=0)
        rank = np.empty(len(mesh.points) + 1, np.int32)
        rank[nested_dissection(mesh.points, edges)] = np.arange(len(mesh.points))
        rank[-1] = len(mesh.points)  # what stands nowhere touches many and is eliminated last
        dofs = np.argsort(rank[node_of], kind="stable").astype(np.int32)
        held = np.zeros(self.n_dof, bool)
        held[fixed] = True
        return dofs[~held[dofs]]

    def _bar(self, group: str, elements: Ints, rows: Ints) -> tuple[LawGroup, Ints, Ints]:
        part = next(p for p in self.parts if group in p.groups)
        return part, elements, rows + part.groups[group].start

    def _left(self, part: LawGroup, full: Floats, history: History) -> dict[str, Floats]:
        """What the bars beside the elements of ``part`` have left before they yield, 0..1, at the least so far.

        Like all history it counts from the next increment on: a share that followed the bars within
        an increment would tie the concrete to them without being in the tangent.
        """
        if part.name not in self._beside:
            return {}
        left = np.array(history["left"])
        for bar, elements, rows in self._beside[part.name]:
            assert isinstance(bar.law, Bar)
            spent = bar.strain(full)[rows, 0, 0] / bar.law.curve.strain[0]
            left[elements] = np.minimum(left[elements], np.clip(1.0 - spent, 0.0, 1.0))
        return {"left": left}

    def _pattern(self, place: Ints) -> None:
        """Fixed CSC pattern; per part the place of its unknowns and of every entry of its element matrices."""
        self._at = [place[part.unknowns] for part in self.parts]
        keys = []
        for at in self._at:
            row, col = at[:, :, None].astype(np.int64), at[:, None, :].astype(np.int64)
            keys.append(np.where((row >= 0) & (col >= 0), col * self.n_free + row, -1).reshape(len(at), -1))
        known = np.sort(np.concatenate([key.ravel() for key in keys]))  # np.unique would hash: five times slower
        unique = known[np.diff(known, prepend=-1) > 0]
        self._slot = [np.where(key >= 0, np.searchsorted(unique, key), -1).astype(np.int32) for key in keys]
        self._row = (unique % self.n_free).astype(np.int32)
        self._column = np.searchsorted(unique // self.n_free, np.arange(self.n_free + 1)).astype(np.int32)

    # ------------------------------------------------------------------ what the solver calls
    def fresh(self) -> dict[str, dict[str, Floats]]:
        """History of the virgin model."""
        out = {part.name: part.law.fresh(part.shape) for part in self.parts}
        for part in self.parts:
            if part.name in self._beside:
                out[part.name]["left"] = np.ones(part.shape[0])
        return out

    def expand(self, u: Floats) -> Floats:
        """All unknowns (n_dof) from the free ones."""
        full = np.zeros(self.n_dof)
        full[self.free] = u
        return full

    def restrict(self, full: Floats) -> Floats:
        """Free unknowns (n_free), in solver order, of a vector over all unknowns."""
        return np.asarray(full)[self.free]

    def internal(self, u: Floats, history: Mapping[str, History], *, secant: float = 0.0, matrix: bool = True) -> Trial:
        """Internal forces, tangent (CSC), trial history and stress per group at free unknowns ``u``."""
        full = self.expand(u)
        force, data = np.zeros(self.n_free), np.zeros(len(self._row))
        new, stress = {}, {}
        for part, at, slot in zip(self.parts, self._at, self._slot, strict=True):
            answer = part.law.respond(part.strain(full), history[part.name], part.size, secant=secant)
            new[part.name] = {**answer.history, **self._left(part, full, history[part.name])}
            stress[part.name] = answer.stress
            kernels.add_forces(part.rows, part.weights, answer.stress, at, force)
            if matrix:
                tangent = np.ascontiguousarray(answer.tangent)
                kernels.add_stiffness(part.rows, part.weights, tangent, slot, data)
        return Trial(force, self._matrix(data) if matrix else None, new, stress)

    def _matrix(self, data: Floats) -> sparse.csc_matrix:
        k = sparse.csc_matrix((self.n_free, self.n_free))
        k.data, k.indices, k.indptr = data, self._row, self._column
        return k

    def reactions(self, stress: Mapping[str, Floats], load: float) -> Floats:
        """Forces on all unknowns (n_dof) that the held ones must supply [N]; zero elsewhere in equilibrium."""
        total = np.zeros(self.n_dof)
        for part in self.parts:
            kernels.add_forces(part.rows, part.weights, stress[part.name], part.unknowns, total)
        return total - load * self._all_ref - self._all_dead

    def read(self, name: str, u: Floats) -> float:
        """A named read-out of the free unknowns."""
        return float(self.watch[name] @ self.expand(u))


def _alike(mesh: Mesh, laws: Mapping[str, Law]) -> list[tuple[list[str], Law]]:
    """Groups that can run together, each with their common law, in the order of the mesh."""
    found: dict[object, list[str]] = {}
    for name, g in mesh.groups.items():
        if len(g.cells):
            law = laws[name]
            together: object = name
            if isinstance(law, Bar):
                together = g.kind, law
            elif classes := _classes(law):
                together = g.kind, riding(g), *classes
            found.setdefault(together, []).append(name)
    out = []
    for names in found.values():
        law = laws[names[0]]
        if len(names) > 1 and isinstance(law, Joinable):
            law = type(law).joined([laws[name] for name in names])
        out.append((names, law))
    return out


def _classes(law: Law) -> tuple[type, ...]:
    """Class of a law, and of the bond within one that is made of another; () where one of them cannot be joined."""
    if not isinstance(law, Joinable):
        return ()
    if not isinstance(law, SupportedBond | WedgingBond):
        return (type(law),)
    within = _classes(law.bond)
    return (type(law), *within) if within else ()


def _part(mesh: Mesh, names: list[str], law: Law, unknowns: Mapping[str, Ints]) -> LawGroup:
    element = ELEMENTS[element_kind(mesh.groups[names[0]], law)]
    rows, weights, sizes, slices, end = [], [], [], {}, 0
    for name in names:
        g = mesh.groups[name]
        xy = mesh.points[element_nodes(g, law)]
        b, w = element.kinematics(xy, g.data)
        if riding(g):  # what the plane of the hook slides, the concrete under the bar has moved with it
            column = np.zeros((*b.shape[:3], 1))
            column[:, 0, : g.data["ride"].shape[1], 0] = -g.data["ride"]
            b = np.concatenate([b, column], axis=-1)
        rows.append(b.reshape(len(g.cells), -1, b.shape[-1]))
        weights.append(w)
        sizes.append(element.size(xy, g.data))
        slices[name] = slice(end, end + len(g.cells))
        end += len(g.cells)
    return LawGroup(
        names[0],
        slices,
        element,
        law,
        np.concatenate([unknowns[name] for name in names]),
        np.ascontiguousarray(np.concatenate(rows)),
        np.concatenate(weights),
        np.concatenate(sizes),
    )
