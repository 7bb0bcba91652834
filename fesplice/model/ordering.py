"""Nested dissection of a mesh graph by node coordinates, so that factors stay sparse.

George (1973): cut the point set at the median of its longer side, number both halves first
and the separator last, and go on in the halves. Geometric cuts need no graph library and
serve plane meshes as well as any other method.
"""

from __future__ import annotations

import numpy as np

from fesplice.contracts import Floats, Ints

_LEAF = 10


def nested_dissection(points: Floats, edges: Ints) -> Ints:
    """Elimination order of nodes with ``points`` (n, 2) joined by ``edges`` (m, 2)."""
    order = np.empty(len(points), np.int32)
    stack = [(np.arange(len(points), dtype=np.int32), np.asarray(edges, np.int32), len(points))]
    side = np.zeros(len(points), np.int8)
    while stack:
        nodes, links, end = stack.pop()  # this part fills order[end - len(nodes) : end]
        if len(nodes) <= _LEAF:
            xy = points[nodes]
            order[end - len(nodes) : end] = nodes[np.lexsort((xy[:, 1], xy[:, 0]))]
            continue
        xy = points[nodes]
        axis = int(np.argmax(np.ptp(xy, axis=0)))
        along = xy[:, axis]
        middle = np.partition(along, len(nodes) // 2)[len(nodes) // 2]
        right = along > middle  # whole grid lines go to one side: the separator is then one line
        if not right.any() or right.all():
            right = np.arange(len(nodes)) > len(nodes) // 2
        side[nodes] = right
        crossing = links[side[links[:, 0]] != side[links[:, 1]]]
        # the separator: the nodes of one half that touch the other, from the half with fewer of them
        first = side[crossing[:, 0]]
        touching = [np.unique(np.where(first == half, crossing[:, 0], crossing[:, 1])) for half in (0, 1)]
        cut = min(touching, key=len)
        side[cut] = 2
        order[end - len(cut) : end] = cut
        end -= len(cut)
        kind = side[links]
        for half in (1, 0):
            part = nodes[side[nodes] == half]
            stack.append((part, links[(kind[:, 0] == half) & (kind[:, 1] == half)], end))
            end -= len(part)
    return order


def cell_edges(cells: Ints) -> Ints:
    """All pairs of nodes sharing a cell (m, 2)."""
    first, second = np.triu_indices(cells.shape[1], 1)
    return np.stack([cells[:, first].ravel(), cells[:, second].ravel()], axis=1)
