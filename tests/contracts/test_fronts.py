"""Sparse LU in fronts against dense LAPACK and against the fill that elimination must produce.

Sources: numpy.linalg (LAPACK) for solutions; the fill of symmetric elimination by its definition
(eliminating an unknown joins all its later neighbours; Parter 1961, Rose 1972), by brute force.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csc_matrix, identity, kron, random_array

from fesplice.model.ordering import nested_dissection
from fesplice.solve.fronts import Fronts


def scattered(n: int, density: float, seed: int) -> csc_matrix:
    """Unsymmetric in pattern and in numbers, safe without exchanging rows."""
    rng = np.random.default_rng(seed)
    entries = random_array((n, n), density=density, rng=rng, data_sampler=lambda size: rng.uniform(-1, 1, size))
    heavy = np.abs(entries).sum(axis=0) + np.abs(entries).sum(axis=1) + 1.0
    return csc_matrix(entries + identity(n).multiply(heavy))


def grid(nx: int, ny: int, seed: int = 0) -> csc_matrix:
    """Two unknowns per node of a grid whose nodes see their eight neighbours, in nested-dissection order."""
    x, y = np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij")
    points = np.stack([x.ravel(), y.ravel()], axis=1).astype(float)
    near = np.abs(points[:, None] - points[None]).max(axis=-1) <= 1.0
    order = nested_dissection(points, np.argwhere(np.triu(near, 1)).astype(np.int32))
    pattern = csc_matrix(kron(near[np.ix_(order, order)], np.ones((2, 2))))
    rng = np.random.default_rng(seed)
    pattern.data = rng.uniform(-1, 1, pattern.nnz)
    return csc_matrix(pattern + 20 * identity(2 * nx * ny))


def solved(matrix: csc_matrix, rhs: np.ndarray) -> np.ndarray:
    fronts = Fronts(matrix)
    assert fronts.factor(matrix.data)
    return fronts.solve(rhs)


@given(n=st.integers(1, 60), density=st.floats(0.0, 0.5), seed=st.integers(0, 10**6), m=st.integers(1, 3))
@settings(max_examples=60, deadline=None)
def test_scattered_systems(n: int, density: float, seed: int, m: int) -> None:
    matrix = scattered(n, density, seed)
    rhs = np.random.default_rng(seed).normal(size=(n, m))
    assert solved(matrix, rhs) == pytest.approx(np.linalg.solve(matrix.toarray(), rhs), rel=1e-10, abs=1e-12)


@pytest.mark.parametrize(("nx", "ny"), [(1, 1), (2, 1), (40, 1), (12, 12), (31, 9)])
def test_grids(nx: int, ny: int) -> None:
    matrix = grid(nx, ny)
    rhs = np.random.default_rng(1).normal(size=(2 * nx * ny, 2))
    assert solved(matrix, rhs) == pytest.approx(np.linalg.solve(matrix.toarray(), rhs), rel=1e-10, abs=1e-12)


@pytest.mark.parametrize("matrix", [grid(9, 7), scattered(50, 0.05, 3)], ids=["grid", "scattered"])
def test_fronts_hold_the_fill_and_little_more(matrix: csc_matrix) -> None:
    fill = matrix.toarray() != 0
    fill |= fill.T
    for k in range(len(fill)):
        later = np.flatnonzero(fill[k, k + 1 :]) + k + 1
        fill[np.ix_(later, later)] = True
    fronts = Fronts(matrix)
    held = np.zeros_like(fill)
    for f, (a, e) in enumerate(zip(fronts.start[:-1], fronts.start[1:], strict=True)):
        rows = fronts.border[fronts.at[f] : fronts.at[f + 1]]
        assert np.all(np.diff(rows) > 0) and np.all(rows >= e)
        held[a:e, a:e] = held[np.ix_(rows, range(a, e))] = held[np.ix_(range(a, e), rows)] = True
    assert not np.any(fill & ~held)
    assert held.sum() == fronts.offset[-1] < 2.0 * fill.sum()


def test_numbers_change_and_the_pattern_stays() -> None:
    first, second = grid(8, 5, seed=1), grid(8, 5, seed=2)
    fronts = Fronts(first)
    rhs = np.ones((80, 1))
    assert fronts.fit(first) and fronts.fit(second)
    for matrix in (first, second, first):
        assert fronts.factor(matrix.data)
        assert fronts.solve(rhs) == pytest.approx(np.linalg.solve(matrix.toarray(), rhs), rel=1e-10)
    assert not fronts.fit(grid(5, 8)) and not fronts.fit(scattered(80, 0.1, 0))


def test_a_singular_front_is_told() -> None:
    matrix = grid(6, 6)
    matrix.data[matrix.indptr[5] : matrix.indptr[6]] = 0.0
    assert not Fronts(matrix).factor(matrix.data)
