"""One element under uniform strain: three unknowns, so that no other mode of the element can take over."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.sparse import csc_matrix

from fesplice.contracts import Floats, History, Law, Trial
from fesplice.mesh import Group, Mesh
from fesplice.model.assembly import LawGroup, Model


class Uniform:
    """A square of ``side`` [mm] and thickness 1 whose nodes move with the strains (exx, eyy, gxy).

    ``stress`` (3,) are the stresses [MPa] at load factor one. The work-conjugate of the load is
    ``read("strain", u)``, the strain that these stresses work on.
    """

    n_free = 3
    shifts = np.ones(3, bool)

    def __init__(self, law: Law, side: float, stress: Floats):
        corners = side * np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
        group = Group("quad4", "square", np.array([[0, 1, 2, 3]], np.int32), {"thickness": np.ones(1)})
        self.inner = Model(Mesh(corners, {"square": group}), {"square": law}, np.array([], int), np.zeros(8))
        x, y = corners.T
        moved = np.zeros((8, 3))
        moved[0::2, 0], moved[1::2, 1] = x, y
        moved[0::2, 2], moved[1::2, 2] = 0.5 * y, 0.5 * x
        self._moved = moved[self.inner.free]
        self.volume = side * side
        self.f_ref = np.asarray(stress, float) * self.volume
        self.f_dead = np.zeros(3)
        self.watch = {"strain": self.f_ref / self.volume, "work": self.f_ref}

    @property
    def part(self) -> LawGroup:
        """The element."""
        return self.inner.parts[0]

    def fresh(self) -> dict[str, dict[str, Floats]]:
        """Virgin history."""
        return self.inner.fresh()

    def restrict(self, row: Floats) -> Floats:
        """All unknowns are free."""
        return row

    def read(self, name: str, u: Floats) -> float:
        """A named read-out."""
        return float(self.watch[name] @ u)

    def internal(self, u: Floats, history: Mapping[str, History], *, secant: float = 0.0, matrix: bool = True) -> Trial:
        """Forces and matrix of the strains."""
        t = self.inner.internal(self._moved @ u, history, secant=secant, matrix=matrix)
        k = None
        if matrix:  # zeros are kept: viscous forces add matrices entry by entry
            full = self._moved.T @ (t.matrix @ self._moved)
            k = csc_matrix((full.ravel(order="F"), np.tile([0, 1, 2], 3), np.arange(0, 10, 3)), shape=(3, 3))
        return Trial(self._moved.T @ t.force, k, t.history, t.stress)
