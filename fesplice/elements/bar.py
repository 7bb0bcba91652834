"""Bars: two-node truss, and two-node frame for hooked ends that bend.

The frame is the Euler-Bernoulli beam with cubic deflection (any textbook, e.g. Cook et al.
2002, section 2.3); its constant axial strain uses chord lengths.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from fesplice.contracts import Floats


def _chord(xy: Floats) -> tuple[Floats, Floats]:
    d = xy[:, 1] - xy[:, 0]
    length = np.linalg.norm(d, axis=1)
    return d / length[:, None], length


class Truss2:
    """Axial strain from (ux, uy) of two nodes; weight = area x length."""

    n_nodes, n_strain, n_points = 2, 1, 1

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 1, 1, 4), w (n_e, 1) [mm3] with ``data['area']``."""
        t, length = _chord(xy)
        row = np.concatenate([-t, t], axis=1) / length[:, None]
        return row[:, None, None, :], (data["area"] * length)[:, None]

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Lengths (n_e, 1) [mm]."""
        return _chord(xy)[1][:, None]


class Frame2:
    """Axial strain and curvature at two Gauss points; unknowns (ux, uy) of both nodes, then two rotations.

    Rotations are positive counter-clockwise. The law answers axial force and moment, so the
    weights are lengths.
    """

    n_nodes, n_strain, n_points = 2, 2, 2

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 2, 2, 6) over (ux1, uy1, ux2, uy2, r1, r2), w (n_e, 2) [mm]."""
        t, length = _chord(xy)
        n = np.stack([-t[:, 1], t[:, 0]], axis=1)
        b = np.zeros((len(xy), 2, 2, 6))
        for q, x in enumerate((0.5 - 0.5 / np.sqrt(3.0), 0.5 + 0.5 / np.sqrt(3.0))):
            b[:, q, 0, 0:2] = -t / length[:, None]
            b[:, q, 0, 2:4] = t / length[:, None]
            bend = ((12.0 * x - 6.0) / length**2)[:, None]
            b[:, q, 1, 0:2] = bend * n
            b[:, q, 1, 2:4] = -bend * n
            b[:, q, 1, 4] = (6.0 * x - 4.0) / length
            b[:, q, 1, 5] = (6.0 * x - 2.0) / length
        return b, np.repeat(0.5 * length[:, None], 2, axis=1)

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Lengths (n_e, 1) [mm]."""
        return _chord(xy)[1][:, None]
