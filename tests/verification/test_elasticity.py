"""Linear elasticity on the same mesh and quadrature as scikit-fem, an independent finite element library.

Source of the numbers: scikit-fem (Gustafsson & McBain, JOSS 5 (2020) 2369), assembled and solved here.
"""

from __future__ import annotations

import numpy as np
import pytest
import skfem
from skfem.helpers import ddot, eye, sym_grad, trace

from fesplice.laws import Elastic
from fesplice.mesh import Group, Mesh
from fesplice.model.assembly import Model
from fesplice.solve.linear import Factorisation

E, NU, THICK = 30e3, 0.2, 150.0


def plate(kind: str) -> tuple[skfem.Mesh, skfem.Element]:
    """A 900 x 300 plate of distorted cells."""
    x, y = np.linspace(0.0, 900.0, 19), np.linspace(0.0, 300.0, 8)
    base = skfem.MeshQuad.init_tensor(x, y) if kind == "quad4" else skfem.MeshTri.init_tensor(x, y)
    p = base.p.copy()
    inside = (p[0] > 1) & (p[0] < 899) & (p[1] > 1) & (p[1] < 299)
    p[:, inside] += np.random.default_rng(11).uniform(-9, 9, (2, inside.sum()))
    element = skfem.ElementQuad1() if kind == "quad4" else skfem.ElementTriP1()
    return type(base)(p, base.t), skfem.ElementVector(element)


@pytest.mark.parametrize("kind", ["quad4", "tri3"])
def test_cantilever_against_scikit_fem(kind: str) -> None:
    """Fixed at x = 0, shear at the free end and its own weight: every displacement to 1e-8 of the largest."""
    mesh, element = plate(kind)
    basis = skfem.Basis(mesh, element, intorder=3 if kind == "quad4" else 1)
    mu, lam = E / (2 * (1 + NU)), E * NU / (1 - NU**2)  # plane stress

    @skfem.BilinearForm
    def stiffness(u, v, w):
        e, d = sym_grad(u), sym_grad(v)
        return THICK * ddot(2 * mu * e + lam * eye(trace(e), 2), d)

    @skfem.LinearForm
    def weight(v, w):
        return -THICK * 2.5e-5 * v[1]

    force = weight.assemble(basis)
    tip = basis.nodal_dofs[1, np.isclose(mesh.p[0], 900.0)]
    force[tip] -= 1e3
    fixed = basis.nodal_dofs[:, np.isclose(mesh.p[0], 0.0)].ravel()
    theirs = skfem.solve(*skfem.condense(stiffness.assemble(basis), force, D=fixed))

    cells = mesh.t.T.astype(np.int32)
    x, y = mesh.p[:, cells]
    clockwise = np.sum(x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y, axis=1) < 0.0
    cells[clockwise] = cells[clockwise, ::-1]
    group = Group(kind, "concrete", cells, {"thickness": np.full(len(cells), THICK)})
    number = basis.nodal_dofs.T.ravel()  # their unknown of our unknown 2 i, 2 i + 1
    held = np.flatnonzero(np.repeat(np.isclose(mesh.p[0], 0.0), 2))
    model = Model(Mesh(mesh.p.T.copy(), {"plate": group}), {"plate": Elastic(E, NU)}, held, force[number])
    trial = model.internal(np.zeros(model.n_free), model.fresh())
    ours = model.expand(Factorisation(trial.matrix).solve(model.f_ref[:, None])[:, 0])

    assert np.abs(ours - theirs[number]).max() < 1e-8 * np.abs(theirs).max()
    # and the forces of that state are the loads; the reactions carry them
    state = model.internal(model.restrict(ours), model.fresh())
    assert state.force == pytest.approx(model.f_ref, abs=1e-6 * np.abs(force).max())
    reactions = model.reactions(state.stress, 1.0)
    assert reactions[1::2].sum() == pytest.approx(-force[number][1::2].sum(), rel=1e-8)
    assert np.abs(np.delete(reactions, held)).max() < 1e-6 * np.abs(reactions).max()
