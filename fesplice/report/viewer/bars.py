"""Every bar of a view by step: stress, slip and bond stress at its nodes.

The values are those of :func:`fesplice.post.elevation.bars.profile`; how lines are read is made once per mesh, since a
beam has dozens of stirrups and a run a hundred steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fesplice.contracts import Floats
from fesplice.post.points import Fields

if TYPE_CHECKING:
    from fesplice.mesh import BarLine, Mesh

#: What is read along bars, in this order.
QUANTITIES = ("stress", "slip", "bond")


@dataclass(frozen=True)
class _Line:
    """How one line is read: its groups, the order of its elements, their middles [mm], arc of its nodes [mm]."""

    groups: tuple[str, ...]
    bond: str
    order: NDArray[np.intp]
    middle: Floats
    arc: Floats


class BarReader:
    """All bar lines of a mesh, their nodes one after the other.

    ``names``, ``start`` (lines + 1,) places of the first node of each, ``nodes`` (n,) of the mesh, ``arc`` (n,) [mm].
    """

    def __init__(self, mesh: Mesh):
        self.names = tuple(mesh.lines)
        lines = list(mesh.lines.values())
        self.start = np.concatenate([[0], np.cumsum([len(line.nodes) for line in lines])]).astype(int)
        self.nodes = np.concatenate([line.nodes for line in lines]) if lines else np.empty(0, int)
        self.arc = np.concatenate([np.asarray(line.arc, float) for line in lines]) if lines else np.empty(0)
        self._lines = [_laid(mesh, line) for line in lines]

    def read(self, fields: Fields) -> Floats:
        """Stress [MPa], slip [mm] and bond stress [MPa] at all nodes (n, 3) of one step."""
        out = np.empty((len(self.nodes), len(QUANTITIES)))
        for line, begin, end in zip(self._lines, self.start[:-1], self.start[1:]):
            parts = [np.asarray(fields[f"{g}/stress"], float).reshape(-1) for g in line.groups]
            out[begin:end, 0] = np.interp(line.arc, line.middle, np.concatenate(parts)[line.order])
            for column, name in ((1, "slip"), (2, "tau")):
                out[begin:end, column] = np.asarray(fields[f"{line.bond}/{name}"], float).reshape(-1)
        return out


def _laid(mesh: Mesh, line: BarLine) -> _Line:
    arc = np.asarray(line.arc, float)
    place = {int(node): k for k, node in enumerate(line.nodes)}
    middle = np.concatenate([
        arc[np.array([place[int(n)] for n in mesh.groups[g].cells.ravel()], int).reshape(-1, 2)].mean(axis=1)
        for g in line.groups
    ])  # fmt: skip
    order = np.argsort(middle, kind="stable")
    return _Line(line.groups, line.bond, order, middle[order], arc)
