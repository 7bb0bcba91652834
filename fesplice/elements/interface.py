"""Zero-thickness interfaces: bond between a bar node and its host, and a joint between two faces.

A bond point sits at a bar node; its slip and gap are the bar's displacement against the host's,
interpolated by the host's own shape functions, along the mean tangent of the two chords that
meet there and along the normal (-t_y, t_x). A conforming bar on a mesh line is the special
case of a host point at a node. A wedge point adds the opening between two fixed points beside
the bar, each with a host of its own. A plane point has that opening alone, and the slide of the plane of a hook.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.elements.membrane import quad_shape


class BondPoint:
    """Unknowns (ux, uy) of the bar node, then of the four host nodes; weight = tributary length."""

    n_nodes, n_strain, n_points = 5, 2, 1

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 1, 2, 10), w (n_e, 1) [mm] with ``local``, ``tangent`` and ``length``."""
        shape = quad_shape(data["local"])[0]
        t = data["tangent"]
        axes = np.stack([t, np.stack([-t[:, 1], t[:, 0]], axis=1)], axis=1)
        b = np.zeros((len(xy), 2, 10))
        b[:, :, 0:2] = axes
        for k in range(4):
            b[:, :, 2 + 2 * k : 4 + 2 * k] = -shape[:, k, None, None] * axes
        return b[:, None], data["length"][:, None]

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Tributary lengths (n_e, 1) [mm]."""
        return data["length"][:, None]


class WedgePoint:
    """A bond point and two gauge points beside it; unknowns of the bar node, its host, the hosts of the gauges.

    The third strain is the displacement of the first gauge point away from the second along the
    bar's normal, so that its conjugate is a pair of opposite forces that sums to nothing.
    """

    n_nodes, n_strain, n_points = 13, 3, 1

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 1, 3, 26), w (n_e, 1) [mm]; data of a bond point and ``gauge_local`` (n_e, 2, 2)."""
        b = np.zeros((len(xy), 1, 3, 26))
        b[:, :, :2, :10], w = BondPoint().kinematics(xy[:, :5], data)
        b[:, 0, 2, 10:] = _opening(data)
        return b, w

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Tributary lengths (n_e, 1) [mm]."""
        return data["length"][:, None]


class PlanePoint:
    """A share of the plane of a hook: what it slides, and the opening between two gauge points beside the bar.

    Unknowns of the hosts of both gauges. The slide is one unknown of the whole plane, no displacement of a node: its
    row is empty here, and the assembly adds its column (:func:`fesplice.model.assembly.riding`).
    """

    n_nodes, n_strain, n_points = 8, 2, 1

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 1, 2, 16), w (n_e, 1) [mm] with ``gauge_local``, ``tangent`` and ``length``."""
        b = np.zeros((len(xy), 1, 2, 16))
        b[:, 0, 1] = _opening(data)
        return b, data["length"][:, None]

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Tributary lengths (n_e, 1) [mm]."""
        return data["length"][:, None]


def _opening(data: Mapping[str, Any]) -> Floats:
    """Row (n_e, 16) of the displacement of the first gauge away from the second along the bar's normal."""
    t = data["tangent"]
    normal = np.stack([-t[:, 1], t[:, 0]], axis=1)
    rows = [
        sense * (quad_shape(data["gauge_local"][:, g])[0][:, :, None] * normal[:, None, :]).reshape(len(t), 8)
        for g, sense in enumerate((1.0, -1.0))
    ]
    return np.concatenate(rows, axis=1)


class JointLine:
    """Opening and slip between faces (minus a, minus b) and (plus a, plus b), read at the node pairs.

    Nodal (Lobatto) points avoid the traction oscillations of Gauss points in stiff interfaces
    (Schellekens & de Borst 1993).
    """

    n_nodes, n_strain, n_points = 4, 2, 2

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 2, 2, 8), w (n_e, 2) [mm2] with ``thickness`` and ``normal`` (minus to plus)."""
        length = np.linalg.norm(xy[:, 1] - xy[:, 0], axis=1)
        n = data["normal"]
        axes = np.stack([n, np.stack([-n[:, 1], n[:, 0]], axis=1)], axis=1)
        b = np.zeros((len(xy), 2, 2, 8))
        for q in range(2):
            b[:, q, :, 2 * q : 2 * q + 2] = -axes
            b[:, q, :, 4 + 2 * q : 6 + 2 * q] = axes
        return b, np.repeat((0.5 * length * data["thickness"])[:, None], 2, axis=1)

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Lengths (n_e, 1) [mm]."""
        return np.linalg.norm(xy[:, 1] - xy[:, 0], axis=1)[:, None]
