"""Sparse LU in dense blocks: neighbouring columns of one structure form a front.

Which entries the factors hold follows from the pattern alone (elimination tree, Liu 1990), so it
is found once and the numbers run through plain loops and BLAS products. Columns that nearly share
their structure are joined into fronts at the price of a few zeros (Ashcraft & Grimes 1989). Each
front is eliminated as a whole, and its update is subtracted at once from the fronts to the right.

    front   [ D  U ]   D (p, p), L (b, p), U (p, b); kept are D^-1, L and D^-1 U
            [ L  . ]   update - L D^-1 U on the b border unknowns

Rows are exchanged within a front only. That serves stiffness matrices; whether it served this one
is for the caller to see from the residual.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csc_matrix

from fesplice.compiled import compiled, compiled_sums
from fesplice.contracts import Floats

#: Fronts up to this many columns are joined whatever the zeros; larger ones while the share of
#: zeros stays below the second number, and up to the third (measured at 20k and 100k unknowns).
_SMALL, _WASTE, _WIDEST = 12, 0.05, 64


class Fronts:
    """Fronts of one sparsity pattern (CSC), in the order as it stands, and the factors of one matrix at a time.

    ``start`` (n_f + 1) first columns, ``at`` (n_f + 1) into ``border`` (row numbers beyond the
    front), ``offset`` (n_f + 1) into the flat array of factors, ``place`` (nnz) of each entry in it.
    """

    def __init__(self, matrix: csc_matrix):
        self.indptr, self.indices = matrix.indptr, matrix.indices
        n = len(matrix.indptr) - 1
        ones = csc_matrix((np.ones(len(matrix.indices), np.int8), matrix.indices, matrix.indptr), shape=(n, n))
        both = csc_matrix(ones + ones.T)  # the factors have a symmetric pattern
        both.sort_indices()
        ptr, rows = both.indptr.astype(np.int64), both.indices.astype(np.int32)
        parent, height = _tree(ptr, rows)
        self.start, tall = _join(parent, height, _SMALL, _WASTE, _WIDEST)
        p = np.diff(self.start).astype(np.int64)
        b = tall - p
        self.at = np.concatenate([[0], np.cumsum(b)])
        self.offset = np.concatenate([[0], np.cumsum(p * (p + 2 * b))])
        self._owner, border = _borders(ptr, rows, self.start, self.at)
        # sorted within each front
        self.border = (np.sort(np.repeat(np.arange(len(b)), b) * n + border) % max(n, 1)).astype(np.int32)
        self.place = _places(
            matrix.indptr.astype(np.int64),
            matrix.indices.astype(np.int32),
            self.start,
            self._owner,
            self.at,
            self.border,
            self.offset,
        )
        # kept from matrix to matrix: at 100k unknowns fresh memory costs a fifth of the factor's time
        self._flat = np.empty(self.offset[-1])
        self._room = np.empty((b * b).max(initial=0)), np.empty((p * b).max(initial=0))

    def fit(self, matrix: csc_matrix) -> bool:
        """True when ``matrix`` has the pattern these fronts were made for."""
        return np.array_equal(self.indptr, matrix.indptr) and np.array_equal(self.indices, matrix.indices)

    def factor(self, data: Floats) -> bool:
        """Make the factors from the entries of the matrix, over earlier ones; False when a front is singular."""
        return _eliminate(
            self._flat, data, self.place, self.start, self._owner, self.at, self.border, self.offset, *self._room
        )

    def solve(self, rhs: Floats) -> Floats:
        """Solution (n, m) for right-hand sides (n, m), with the factors made last."""
        x = np.array(rhs, dtype=float, order="C")
        _substitute(self._flat, self.start, self.at, self.border, self.offset, x)
        return x


# ------------------------------------------------------------------ the pattern, once
@compiled
def _tree(ptr, rows):
    """Parent of each column in the elimination tree, and the number of rows of its factor column."""
    n = len(ptr) - 1
    parent, ancestor = np.full(n, -1, np.int32), np.full(n, -1, np.int32)
    for j in range(n):
        for k in range(ptr[j], ptr[j + 1]):
            i = rows[k]
            while i < j and i != -1:  # climb to the root, leaving short cuts to j
                above, ancestor[i] = ancestor[i], j
                if above == -1:
                    parent[i] = j
                i = above
    height, seen = np.ones(n, np.int32), np.arange(n)
    for i in range(n):
        for k in range(ptr[i], ptr[i + 1]):
            j = rows[k]
            while j < i and seen[j] != i:  # row i fills the columns on the way from j up to i
                seen[j] = i
                height[j] += 1
                j = parent[j]
    return parent, height


@compiled
def _join(parent, height, small, waste, widest):
    """First column of each front and its rows: neighbours in the tree are joined while that adds few zeros."""
    n = len(parent)
    start = np.empty(n + 1, np.int32)
    tall, zeros = np.empty(n, np.int64), np.empty(n, np.int64)
    f = 0
    for j in range(n):
        start[f], tall[f], zeros[f] = j, height[j], 0
        while f > 0 and parent[start[f] - 1] == start[f]:
            left, width = start[f] - start[f - 1], j + 1 - start[f - 1]
            m = left + tall[f]
            added = zeros[f - 1] + zeros[f] + left * (m - tall[f - 1])
            if width > widest or (width > small and added > waste * width * m):
                break
            f -= 1
            tall[f], zeros[f] = m, added
        f += 1
    start[f] = n
    return start[: f + 1].copy(), tall[:f].copy()


@compiled
def _borders(ptr, rows, start, at):
    """Front of each column, and the rows beyond each front: its own entries and what its children leave."""
    n, n_f = start[-1], len(start) - 1
    owner, seen = np.empty(n, np.int32), np.full(n, -1, np.int32)
    for f in range(n_f):
        owner[start[f] : start[f + 1]] = f
    child, sibling = np.full(n_f, -1, np.int32), np.full(n_f, -1, np.int32)
    border = np.empty(at[-1], np.int32)
    for f in range(n_f):
        end, k, nearest = start[f + 1], at[f], n
        for q in range(ptr[start[f]], ptr[end]):
            i = rows[q]
            if i >= end and seen[i] != f:
                seen[i] = f
                border[k] = i
                nearest = min(nearest, i)
                k += 1
        c = child[f]
        while c != -1:
            for q in range(at[c], at[c + 1]):
                i = border[q]
                if i >= end and seen[i] != f:
                    seen[i] = f
                    border[k] = i
                    nearest = min(nearest, i)
                    k += 1
            c = sibling[c]
        if nearest < n:
            above = owner[nearest]
            sibling[f], child[above] = child[above], f
    return owner, border


@compiled
def _places(ptr, rows, start, owner, at, border, offset):
    """Where each entry of the matrix stands in the flat array of factors."""
    place = np.empty(len(rows), np.int64)
    for j in range(len(owner)):
        for q in range(ptr[j], ptr[j + 1]):
            i = rows[q]
            f = owner[min(i, j)]
            first, p, b = start[f], start[f + 1] - start[f], at[f + 1] - at[f]
            if max(i, j) < start[f + 1]:
                place[q] = offset[f] + (i - first) * p + j - first
                continue
            k = np.searchsorted(border[at[f] : at[f + 1]], max(i, j))
            if i > j:
                place[q] = offset[f] + p * p + k * p + j - first
            else:
                place[q] = offset[f] + p * p + b * p + (i - first) * b + k
    return place


# ------------------------------------------------------------------ the numbers, every time
@compiled_sums
def _invert(a):
    """Invert in place (Gauss-Jordan with row exchanges); False when a pivot is zero or no number."""
    n = len(a)
    swap = np.empty(n, np.int32)
    for k in range(n):
        r = k + np.argmax(np.abs(a[k:, k]))
        pivot = a[r, k]
        if pivot == 0.0 or not np.isfinite(pivot):
            return False
        swap[k] = r
        if r != k:
            for j in range(n):
                a[k, j], a[r, j] = a[r, j], a[k, j]
        a[k, k] = 1.0
        for j in range(n):
            a[k, j] /= pivot
        for i in range(n):
            if i != k:
                factor, a[i, k] = a[i, k], 0.0
                for j in range(n):
                    a[i, j] -= factor * a[k, j]
    for k in range(n - 1, -1, -1):
        r = swap[k]
        if r != k:
            for i in range(n):
                a[i, k], a[i, r] = a[i, r], a[i, k]
    return True


@compiled
def _eliminate(flat, data, place, start, owner, at, border, offset, square, panel):
    """Fill ``flat`` with the factors; ``square`` and ``panel`` are room for the largest update and U."""
    flat[:] = 0.0
    for q in range(len(data)):
        flat[place[q]] = data[q]
    to = np.empty(start[-1], np.int64)
    for f in range(len(start) - 1):
        p, b, o = start[f + 1] - start[f], at[f + 1] - at[f], offset[f]
        d = flat[o : o + p * p].reshape(p, p)
        if not _invert(d):
            return False
        if b == 0:
            continue
        low = flat[o + p * p : o + p * p + b * p].reshape(b, p)
        right = flat[o + p * p + b * p : offset[f + 1]].reshape(p, b)
        scaled, update = panel[: p * b].reshape(p, b), square[: b * b].reshape(b, b)
        np.dot(d, right, scaled)
        right[:] = scaled
        np.dot(low, scaled, update)
        _subtract(flat, update, border[at[f] : at[f + 1]], start, owner, at, border, offset, to)
    return True


@compiled
def _subtract(flat, update, rows, start, owner, at, border, offset, to):
    """Subtract an update on ``rows`` from the fronts that hold them, front by front."""
    b, k = len(rows), 0
    while k < b:
        f = owner[rows[k]]
        p, wide, o = start[f + 1] - start[f], at[f + 1] - at[f], offset[f]
        end = k  # rows k:end lie in the front itself, the rest in its border
        while end < b and rows[end] < start[f + 1]:
            to[end] = rows[end] - start[f]
            end += 1
        seek = at[f]
        for i in range(end, b):
            while border[seek] != rows[i]:
                seek += 1
            to[i] = seek - at[f]
        low, right = o + p * p, o + p * p + wide * p
        for i in range(k, end):
            for j in range(k, end):
                flat[o + to[i] * p + to[j]] -= update[i, j]
            for j in range(end, b):
                flat[right + to[i] * wide + to[j]] -= update[i, j]
        for i in range(end, b):
            for j in range(k, end):
                flat[low + to[i] * p + to[j]] -= update[i, j]
        k = end


@compiled
def _substitute(flat, start, at, border, offset, x):
    """Solve in place: forwards through the fronts, then back."""
    n_f, m = len(start) - 1, x.shape[1]
    beyond = np.empty_like(x)
    for f in range(n_f):
        first, p, b, o = start[f], start[f + 1] - start[f], at[f + 1] - at[f], offset[f]
        own = np.dot(flat[o : o + p * p].reshape(p, p), x[first : first + p])
        push = np.dot(flat[o + p * p : o + p * p + b * p].reshape(b, p), own)
        for c in range(m):
            for i in range(p):
                x[first + i, c] = own[i, c]
            for k in range(b):
                x[border[at[f] + k], c] -= push[k, c]
    for f in range(n_f - 1, -1, -1):
        first, p, b, o = start[f], start[f + 1] - start[f], at[f + 1] - at[f], offset[f]
        right = flat[o + p * p + b * p : offset[f + 1]].reshape(p, b)
        for c in range(m):
            for k in range(b):
                beyond[k, c] = x[border[at[f] + k], c]
        own = np.dot(right, beyond[:b])
        for c in range(m):
            for i in range(p):
                x[first + i, c] -= own[i, c]
