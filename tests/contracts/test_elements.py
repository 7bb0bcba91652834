"""Every element of the registry: rigid motions, patch test, volume, rank, mirror image.

Sources: patch test of Irons (Taylor, Simo, Zienkiewicz & Chan, IJNME 22 (1986) 39-62); number of
zero-energy modes by counting rigid motions; the rest is geometry.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import spsolve

from fesplice.algebra import elastic_matrix
from fesplice.contracts import Element, Floats
from fesplice.elements import ELEMENTS


@dataclass(frozen=True)
class Case:
    """One element of general shape: nodes, data, volume (what the weights sum to), rank of its stiffness."""

    xy: Floats
    data: Mapping[str, Any]
    volume: float
    rank: int


SQRT = np.sqrt(0.5)
PATCH = np.stack(np.mgrid[-0.3:0.7:3j, -0.6:0.2:3j], axis=-1).reshape(1, 9, 2)
CASES = {
    "quad4": Case(np.array([[[0.0, 0], [4, 0.5], [5, 3], [-0.5, 3.5]]]), {"thickness": np.array([2.0])}, 28.5, 5),
    "tri3": Case(np.array([[[0.0, 0], [4, 1], [1, 3]]]), {"thickness": np.array([2.0])}, 11.0, 3),
    "truss2": Case(np.array([[[1.0, 2], [4, 6]]]), {"area": np.array([3.0])}, 15.0, 1),
    "frame2": Case(np.array([[[1.0, 2], [4, 6]]]), {}, 5.0, 3),
    "bond": Case(
        np.array([[[1.2, 0.9], [0, 0], [3, 0], [3, 2], [0, 2]]]),
        {"local": np.array([[-0.2, -0.1]]), "tangent": np.array([[0.6, 0.8]]), "length": np.array([7.0])},
        7.0, 2,
    ),
    "wedge": Case(
        np.array([[[1.2, 0.9], [0, 0], [3, 0], [3, 2], [0, 2], [-1, 1], [1, 1], [1, 2], [-1, 2],
                   [1, -1], [4, -1], [4, 1], [1, 1]]], float),
        {
            "local": np.array([[-0.2, -0.1]]), "tangent": np.array([[0.6, 0.8]]), "length": np.array([7.0]),
            "gauge_local": np.array([[[0.4, 0.0], [-1 / 3, 0.3]]]),
        },
        7.0, 3,
    ),
    "plane": Case(
        np.array([[[-1, 1], [1, 1], [1, 2], [-1, 2], [1, -1], [4, -1], [4, 1], [1, 1]]], float),
        {
            "tangent": np.array([[0.6, 0.8]]), "length": np.array([7.0]),
            "gauge_local": np.array([[[0.4, 0.0], [-1 / 3, 0.3]]]),
        },
        7.0, 1,
    ),
    "joint": Case(
        np.array([[[1.0, 1], [3, 3], [1, 1], [3, 3]]]),
        {"thickness": np.array([5.0]), "normal": np.array([[SQRT, -SQRT]])},
        5.0 * 8**0.5, 4,
    ),
    "link": Case(
        np.array([[[1.0, 2], [1, 2]]]), {"axis": np.array([[0.6, 0.8]]), "area": np.array([6.0])}, 6.0, 2
    ),
    "anchor": Case(
        np.concatenate([[[0.6, -0.8]], *[[[0.0, 0], [3, 0], [3, 2], [0, 2]]] * 9])[None],
        {"tangent": np.array([[0.6, 0.8]]), "patch_local": PATCH},
        1.0, 1,
    ),
}  # fmt: skip
every = pytest.mark.parametrize("kind", ELEMENTS)


def unknowns(kind: str, xy: Floats, ux, uy, turn: float = 0.0) -> Floats:
    """Unknowns of one element under displacement functions of the node positions; frames also turn."""
    u = np.stack([ux(xy[:, 0], xy[:, 1]), uy(xy[:, 0], xy[:, 1])], axis=1).ravel()
    return np.append(u, [turn, turn]) if kind == "frame2" else u


def strain(element: Element, case: Case, u: Floats) -> Floats:
    b, _ = element.kinematics(case.xy, case.data)
    return b[0] @ u


def test_cases_are_the_registry() -> None:
    assert set(CASES) == set(ELEMENTS)


@every
def test_shapes(kind: str) -> None:
    element, case = ELEMENTS[kind], CASES[kind]
    two = Case(np.repeat(case.xy, 2, axis=0), {k: np.repeat(v, 2, axis=0) for k, v in case.data.items()}, 0, 0)
    b, w = element.kinematics(two.xy, two.data)
    assert b.shape[:3] == (2, element.n_points, element.n_strain) and w.shape == (2, element.n_points)
    assert case.xy.shape[1] == element.n_nodes and len(element.size(two.xy, two.data)) == 2
    assert np.array_equal(b[0], b[1])


@every
def test_rigid_motions_strain_nothing(kind: str) -> None:
    element, case = ELEMENTS[kind], CASES[kind]
    motions = [
        unknowns(kind, case.xy[0], lambda x, y: 1 + 0 * x, lambda x, y: 0 * x),
        unknowns(kind, case.xy[0], lambda x, y: 0 * x, lambda x, y: 1 + 0 * x),
        unknowns(kind, case.xy[0], lambda x, y: -y, lambda x, y: x, turn=1.0),
    ]
    for u in motions:
        assert strain(element, case, u) == pytest.approx(np.zeros((element.n_points, element.n_strain)), abs=1e-12)


@every
def test_weights_sum_to_the_volume(kind: str) -> None:
    _, w = ELEMENTS[kind].kinematics(CASES[kind].xy, CASES[kind].data)
    assert np.all(w > 0.0) and w.sum() == pytest.approx(CASES[kind].volume)


@every
def test_rank(kind: str) -> None:
    """No spurious mechanism: the stiffness has all modes but the rigid ones (bond and joint: relative motions)."""
    b, w = ELEMENTS[kind].kinematics(CASES[kind].xy, CASES[kind].data)
    k = np.einsum("qsi,q,qsj->ij", b[0], w[0], b[0])
    values = np.linalg.eigvalsh(k)
    assert values[0] > -1e-9 * values[-1]
    assert np.sum(values > 1e-9 * values[-1]) == CASES[kind].rank


@every
def test_mirror_image_has_mirrored_strains(kind: str) -> None:
    """Mirrored in the y axis, with the orders of nodes that mirroring asks for; shear and slip change sign."""
    element, case = ELEMENTS[kind], CASES[kind]
    flip = np.array([-1.0, 1.0])
    orders = {
        "quad4": [1, 0, 3, 2], "tri3": [0, 2, 1], "bond": [0, 2, 1, 4, 3],
        "wedge": [0, 2, 1, 4, 3, 10, 9, 12, 11, 6, 5, 8, 7],
        "plane": [5, 4, 7, 6, 1, 0, 3, 2],
        "anchor": [0, *(1 + 4 * k + j for k in range(9) for j in (1, 0, 3, 2))],
    }  # fmt: skip
    order = orders.get(kind, list(range(element.n_nodes)))
    data = dict(case.data)
    for key, factor in (("local", flip), ("tangent", flip), ("normal", flip), ("axis", flip), ("patch_local", flip)):
        if key in data:
            data[key] = data[key] * factor
    if kind in ("wedge", "plane"):  # with the normal the two gauges change sides
        data["gauge_local"] = data["gauge_local"][:, ::-1] * flip
    mirrored = Case(case.xy[:, order] * flip, data, 0, 0)
    rng = np.random.default_rng(3)
    u = rng.normal(size=(element.n_nodes, 2))
    turns = rng.normal(size=2) if kind == "frame2" else np.empty(0)
    here = strain(element, case, np.concatenate([u.ravel(), turns]))
    there = strain(element, mirrored, np.concatenate([(u[order] * flip).ravel(), -turns]))
    # the normal (-t_y, t_x) keeps its sense relative to the tangent, so the second component turns round
    fixed = {"wedge": [1, -1, 1], "plane": [1, 1]}
    sign = fixed.get(kind) or {3: [1, 1, -1], 2: [1, -1], 1: [1]}[element.n_strain]
    points = {"quad4": [1, 0, 3, 2]}.get(kind, range(element.n_points))
    assert there == pytest.approx((here * sign)[list(points)], abs=1e-12)


# ------------------------------------------------------------------ patch test
POINTS = np.array([[0.0, 0], [6, 0], [6, 4], [0, 4], [1.5, 1], [4, 0.7], [4.4, 3.1], [1, 2.6]])
QUADS = np.array([[0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7], [4, 5, 6, 7]])
TRIANGLES = np.concatenate([QUADS[:, [0, 1, 2]], QUADS[:, [0, 2, 3]]])


@pytest.mark.parametrize(("kind", "cells"), [("quad4", QUADS), ("tri3", TRIANGLES)])
def test_patch(kind: str, cells: np.ndarray) -> None:
    """Distorted patch, edge nodes moved linearly: inside nodes follow, strains and stresses are constant."""
    gradient = np.array([[1.0e-3, 4.0e-4], [-2.0e-4, 7.0e-4]])
    exact = POINTS @ gradient.T
    b, w = ELEMENTS[kind].kinematics(POINTS[cells], {"thickness": np.full(len(cells), 3.0)})
    d = elastic_matrix(30e3, 0.2)
    k = np.einsum("eqsi,eq,st,eqtj->eij", b, w, d, b)
    at = np.stack([2 * cells, 2 * cells + 1], axis=-1).reshape(len(cells), -1)
    row, col = np.broadcast_arrays(at[:, :, None], at[:, None, :])
    full = sparse.coo_matrix((k.ravel(), (row.ravel(), col.ravel()))).tocsr()
    inside, edge = np.arange(8, 16), np.arange(8)
    u = exact.ravel().copy()
    u[inside] = spsolve(full[inside][:, inside].tocsc(), -full[inside][:, edge] @ u[edge])
    assert u == pytest.approx(exact.ravel(), abs=1e-15)
    strains = np.einsum("eqsi,ei->eqs", b, u[at])
    wanted = [gradient[0, 0], gradient[1, 1], gradient[0, 1] + gradient[1, 0]]
    assert strains == pytest.approx(np.broadcast_to(wanted, strains.shape), abs=1e-15)
    assert w.sum() == pytest.approx(6 * 4 * 3.0)


def test_frame_bends_like_a_beam() -> None:
    """Cantilever of one element under an end force: P l^3 / 3EI and P l^2 / 2EI (any textbook)."""
    length, ei = 5.0, 2.0e3
    xy = np.array([[[0.0, 0], [3, 4]]])
    b, w = ELEMENTS["frame2"].kinematics(xy, {})
    k = np.einsum("qsi,q,s,qsj->ij", b[0], w[0], np.array([1e6, ei]), b[0])
    free = [2, 3, 5]
    across = np.array([-0.8, 0.6, 0.0])
    u = np.linalg.solve(k[np.ix_(free, free)], 7.0 * across)
    assert u[:2] @ across[:2] == pytest.approx(7.0 * length**3 / 3 / ei)
    assert u[2] == pytest.approx(7.0 * length**2 / 2 / ei)


def test_bond_slip_and_gap_of_a_moved_bar() -> None:
    """Bar node moved by (1, 0), host still: slip = t_x, gap = -t_y; host moved alike: nothing."""
    case = CASES["bond"]
    u = np.zeros(10)
    u[0] = 1.0
    assert strain(ELEMENTS["bond"], case, u)[0] == pytest.approx([0.6, -0.8])
    u[2::2] = 1.0
    assert strain(ELEMENTS["bond"], case, u)[0] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_joint_opening_is_normal_from_minus_to_plus() -> None:
    case = CASES["joint"]
    u = np.zeros((4, 2))
    u[2:] = 0.3 * np.array([SQRT, -SQRT])
    assert strain(ELEMENTS["joint"], case, u.ravel()) == pytest.approx(np.array([[0.3, 0.0], [0.3, 0.0]]))
