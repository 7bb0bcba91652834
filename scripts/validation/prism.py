"""A concrete prism with one straight bar along its axis, built by hand: pull-outs and tension ties.

The upper half is modelled: the bar lies on the axis of symmetry y = 0 with nodes of its own, tied to the
concrete by bond points at the columns of the grid. x = 0 and x = length are the end faces [mm].
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fesplice.contracts import Floats, Ints, Law
from fesplice.mesh import Group, Mesh
from fesplice.model.assembly import Model


def prism_mesh(x: Floats, y: Floats, width: float, kind: Ints, area: float) -> Mesh:
    """Grid of quadrilaterals over columns ``x`` and rows ``y`` (from the bar axis up), bar, bond points.

    ``kind`` (n_columns,) puts each column into the concrete group ``concrete:<k>``; ``width`` [mm] out of
    the plane; ``area`` [mm2] of the modelled half of the bar.
    """
    nx, ny = len(x), len(y)
    grid = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    node = np.arange(nx * ny, dtype=np.int32).reshape(nx, ny)
    quads = np.stack([node[:-1, :-1], node[1:, :-1], node[1:, 1:], node[:-1, 1:]], axis=-1)
    bar = np.arange(nx * ny, nx * ny + nx, dtype=np.int32)
    groups = {}
    for k in np.unique(kind):
        cells = quads[kind == k].reshape(-1, 4)
        groups[f"concrete:{k}"] = Group("quad4", "concrete", cells, {"thickness": np.full(len(cells), width)})
    chords = np.stack([bar[:-1], bar[1:]], axis=1)
    groups["bar"] = Group("truss2", "steel", chords, {"area": np.full(nx - 1, area)})
    # the node of column k is the lower left corner of its quadrilateral, in the last column the lower right
    host = np.concatenate([quads[:, 0], quads[-1:, 0]])
    local = np.tile([-1.0, -1.0], (nx, 1))
    local[-1, 0] = 1.0
    middle = np.concatenate([x[:1], 0.5 * (x[1:] + x[:-1]), x[-1:]])
    groups["bond"] = Group(
        "bond", "bond", np.concatenate([bar[:, None], host], axis=1),
        {"local": local, "length": np.diff(middle), "tangent": np.tile([1.0, 0.0], (nx, 1))},
    )  # fmt: skip
    points = np.concatenate([grid, np.stack([x, np.zeros(nx)], axis=1)])
    return Mesh(points, groups, {"axis": node[:, 0], "concrete": node.ravel(), "bar": bar})


def prism_model(mesh: Mesh, laws: Mapping[str, Law], *, rigid: bool) -> Model:
    """The prism pulled by 1 N at the bar's end x = length; watches ``pulled`` and ``other`` end of the bar [mm].

    ``rigid`` holds the concrete and leaves the bar's other end free (pull-out); otherwise that end is
    held and the concrete hangs on the bar (tie).
    """
    bar = mesh.node_sets["bar"]
    if rigid:
        held = mesh.node_sets["concrete"]
        fixed = np.concatenate([2 * held, 2 * held + 1, 2 * bar + 1])
    else:
        fixed = np.concatenate([2 * mesh.node_sets["axis"] + 1, 2 * bar + 1, 2 * bar[:1]])
    n = 2 * len(mesh.points)
    f_ref, other = np.zeros(n), np.zeros(n)
    f_ref[2 * bar[-1]], other[2 * bar[0]] = 1.0, 1.0
    return Model(mesh, laws, fixed, f_ref, watch={"pulled": f_ref.copy(), "other": other})
