"""Plane-stress membranes: bilinear quadrilateral with 2 x 2 points, linear triangle.

Integration points of the quadrilateral stand in the order of its nodes. Isoparametric
formulation as in any textbook (e.g. Cook, Malkus, Plesha & Witt, 4th ed. 2002, ch. 6).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from fesplice.contracts import Floats

_CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


def quad_shape(local: Floats) -> tuple[Floats, Floats]:
    """N (..., 4) and dN/d(xi, eta) (..., 4, 2) of the bilinear quadrilateral at ``local`` (..., 2)."""
    xi, eta = local[..., 0:1], local[..., 1:2]
    a, b = 1.0 + xi * _CORNERS[:, 0], 1.0 + eta * _CORNERS[:, 1]
    return 0.25 * a * b, 0.25 * np.stack([_CORNERS[:, 0] * b, _CORNERS[:, 1] * a], axis=-1)


def gradients(xy: Floats, derivative: Floats) -> tuple[Floats, Floats]:
    """dN/d(x, y) (n_e, n_k, 2) and det J (n_e,) at one local point with dN/d(xi, eta) (n_k, 2)."""
    jac = np.einsum("eki,kj->eij", xy, derivative)
    det = jac[:, 0, 0] * jac[:, 1, 1] - jac[:, 0, 1] * jac[:, 1, 0]
    inverse = np.empty_like(jac)
    inverse[:, 0, 0], inverse[:, 1, 1] = jac[:, 1, 1] / det, jac[:, 0, 0] / det
    inverse[:, 0, 1], inverse[:, 1, 0] = -jac[:, 0, 1] / det, -jac[:, 1, 0] / det
    return np.einsum("kj,eji->eki", derivative, inverse), det


def strain_rows(grad: Floats) -> Floats:
    """B (n_e, 3, 2 n_k) for strains (exx, eyy, gxy) from gradients (n_e, n_k, 2)."""
    n_e, n_k, _ = grad.shape
    b = np.zeros((n_e, 3, 2 * n_k))
    b[:, 0, 0::2] = b[:, 2, 1::2] = grad[..., 0]
    b[:, 1, 1::2] = b[:, 2, 0::2] = grad[..., 1]
    return b


class Quad4:
    """Four nodes, counter-clockwise, unknowns (ux, uy) per node."""

    n_nodes, n_strain, n_points = 4, 3, 4

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 4, 3, 8), w (n_e, 4) [mm3] with ``data['thickness']``."""
        points = _CORNERS / np.sqrt(3.0)
        rows, weights = [], []
        for point in points:
            grad, det = gradients(xy, quad_shape(point)[1])
            rows.append(strain_rows(grad))
            weights.append(det * data["thickness"])
        return np.stack(rows, axis=1), np.stack(weights, axis=1)

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Gradients at the centroid (n_e, 4, 2)."""
        return gradients(xy, quad_shape(np.zeros(2))[1])[0]


class Tri3:
    """Three nodes, constant strain. Locks in cracked zones: a filler away from cracks only."""

    n_nodes, n_strain, n_points = 3, 3, 1

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 1, 3, 6), w (n_e, 1) [mm3] with ``data['thickness']``."""
        grad, det = gradients(xy, np.array([[-1.0, -1.0], [1.0, 0.0], [0.0, 1.0]]))
        return strain_rows(grad)[:, None], (0.5 * det * data["thickness"])[:, None]

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Gradients at the centroid (n_e, 3, 2)."""
        return gradients(xy, np.array([[-1.0, -1.0], [1.0, 0.0], [0.0, 1.0]]))[0]
