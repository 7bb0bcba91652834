"""Ties between places apart: a link between two nodes, and an end anchor spread over a patch of concrete.

A link reads the relative displacement of its two nodes along fixed axes whatever their distance: the
second may be a body or a crosshead of which only the displacement counts. An anchor reads how far a
bar's end moved against the mean of several host points, so that its force is shared out evenly over the
patch they cover.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.elements.membrane import quad_shape

#: Host points of an anchor.
PATCH = 9


class Link:
    """First node against the second along ``axis`` and along its normal (-a_y, a_x); weight = ``area``."""

    n_nodes, n_strain, n_points = 2, 2, 1

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 1, 2, 4), w (n_e, 1) [mm2] with ``axis`` (n_e, 2) and ``area`` (n_e,)."""
        a = np.asarray(data["axis"], float)
        axes = np.stack([a, np.stack([-a[:, 1], a[:, 0]], axis=1)], axis=1)
        return np.concatenate([axes, -axes], axis=2)[:, None], np.asarray(data["area"], float)[:, None]

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Areas (n_e, 1) [mm2]."""
        return np.asarray(data["area"], float)[:, None]


class Anchor:
    """Slip of a bar's end along ``tangent`` against ``PATCH`` host points; the law answers a force, so the weight is 1.

    Unknowns (ux, uy) of the bar node, then of the four nodes of each host.
    """

    n_nodes, n_strain, n_points = 1 + 4 * PATCH, 1, 1

    def kinematics(self, xy: Floats, data: Mapping[str, Any]) -> tuple[Floats, Floats]:
        """B (n_e, 1, 1, 74), w (n_e, 1) with ``tangent`` (n_e, 2) and ``patch_local`` (n_e, 9, 2)."""
        n = len(xy)
        t = np.asarray(data["tangent"], float)
        shape = quad_shape(np.asarray(data["patch_local"], float))[0].reshape(n, 4 * PATCH) / PATCH
        b = np.concatenate([t[:, None, :], -shape[:, :, None] * t[:, None, :]], axis=1)
        return b.reshape(n, 1, 1, -1), np.ones((n, 1))

    def size(self, xy: Floats, data: Mapping[str, Any]) -> Floats:
        """Ones (n_e, 1)."""
        return np.ones((len(xy), 1))
