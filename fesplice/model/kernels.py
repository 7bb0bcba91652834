"""Loops over elements: strains from displacements, forces and stiffnesses into their places. Machine code.

``rows`` is B of each element with the components of all its points below each other
(n_e, n_q n_s, n_d); a negative place belongs to a held unknown and is passed over.
"""

from __future__ import annotations

import numpy as np

from fesplice.compiled import compiled_sums


@compiled_sums
def strains(rows, unknowns, u):
    """B u (n_e, n_q n_s)."""
    n_e, n_r, n_d = rows.shape
    out = np.empty((n_e, n_r))
    for e in range(n_e):
        for r in range(n_r):
            total = 0.0
            for d in range(n_d):
                total += rows[e, r, d] * u[unknowns[e, d]]
            out[e, r] = total
    return out


@compiled_sums
def add_forces(rows, weights, stress, place, out):
    """Add B^T w s to ``out`` at ``place`` (n_e, n_d)."""
    n_e, n_q, n_s = stress.shape
    force = np.empty(rows.shape[2])
    for e in range(n_e):
        force[:] = 0.0
        for q in range(n_q):
            for s in range(n_s):
                f = weights[e, q] * stress[e, q, s]
                for d in range(len(force)):
                    force[d] += f * rows[e, q * n_s + s, d]
        for d in range(len(force)):
            if place[e, d] >= 0:
                out[place[e, d]] += force[d]


@compiled_sums
def add_stiffness(rows, weights, tangent, place, out):
    """Add B^T (w D) B, row by row, to ``out`` at ``place`` (n_e, n_d n_d)."""
    n_e, n_q, n_s = tangent.shape[:3]
    n_d = rows.shape[2]
    half, k = np.empty(n_d), np.empty((n_d, n_d))
    for e in range(n_e):
        k[:] = 0.0
        for q in range(n_q):
            for s in range(n_s):
                half[:] = 0.0  # one row of (w D) B
                for t in range(n_s):
                    d = weights[e, q] * tangent[e, q, s, t]
                    for j in range(n_d):
                        half[j] += d * rows[e, q * n_s + t, j]
                for i in range(n_d):
                    b = rows[e, q * n_s + s, i]
                    if b != 0.0:
                        for j in range(n_d):
                            k[i, j] += b * half[j]
        for i in range(n_d):
            for j in range(n_d):
                to = place[e, i * n_d + j]
                if to >= 0:
                    out[to] += k[i, j]
