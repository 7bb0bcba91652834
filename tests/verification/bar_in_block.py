"""A bar line in a rigid block, built by hand: one strip of host quadrilaterals whose nodes are all held."""

from __future__ import annotations

import numpy as np

from fesplice.contracts import Floats, Law
from fesplice.formulas.steel import Curve
from fesplice.laws import Bar, Elastic
from fesplice.mesh import Group, Mesh
from fesplice.model.assembly import Model

STEEL = Curve(200e3, (1.0, 2.0), (200e3, 200e3))  # elastic as far as any test goes


def anchored_bar(bond: Law, diameter: float, area: float, length: float, spacing: float) -> Model:
    """Straight bar from x = 0 (free) to x = ``length`` (loaded by 1 N x load); watches ``loaded`` and ``free``."""
    n = round(length / spacing)
    x = np.linspace(0.0, length, n + 1)
    host = np.array([[0.0, -20], [length, -20], [length, 20], [0, 20]])
    points = np.concatenate([host, np.stack([x, np.zeros_like(x)], axis=1)])
    nodes = np.arange(4, 5 + n, dtype=np.int32)
    tributary = np.full(n + 1, spacing)
    tributary[[0, -1]] *= 0.5
    groups = {
        "host": Group("quad4", "concrete", np.array([[0, 1, 2, 3]], np.int32), {"thickness": np.array([100.0])}),
        "bar": Group("truss2", "steel", np.stack([nodes[:-1], nodes[1:]], axis=1), {"area": np.full(n, area)}),
        "bond": Group(
            "bond", "bond",
            np.concatenate([nodes[:, None], np.tile(np.arange(4, dtype=np.int32), (n + 1, 1))], axis=1),
            {
                "local": np.stack([2 * x / length - 1, np.zeros(n + 1)], axis=1),
                "length": tributary,
                "tangent": np.tile([1.0, 0.0], (n + 1, 1)),
            },
        ),
    }  # fmt: skip
    f_ref = np.zeros(2 * len(points))
    f_ref[2 * nodes[-1]] = 1.0
    watch = {"loaded": _pick(f_ref.size, 2 * nodes[-1]), "free": _pick(f_ref.size, 2 * nodes[0])}
    laws: dict[str, Law] = {"host": Elastic(30e3, 0.2), "bar": Bar(STEEL), "bond": bond}
    return Model(Mesh(points, groups), laws, np.arange(8), f_ref, watch=watch)


def _pick(n: int, unknown: int) -> Floats:
    row = np.zeros(n)
    row[unknown] = 1.0
    return row
