"""Supports of hooks on the transverse bars inside their bends, from a specimen and the mesh of its elevation."""

from __future__ import annotations

import numpy as np

from fesplice.contracts import BondLaw, Floats
from fesplice.laws.bar_support import BarSupport, SupportedBond, bar_support
from fesplice.mesh import BEND, BarLine, Mesh
from fesplice.specimen.schema import Specimen
from fesplice.specimen.transverse import transverse_bars, transverse_reach


def hook_support(specimen: Specimen, row: str, f_cm: float) -> BarSupport | None:
    """Support of each hook of row "A" or "B" in concrete of mean strength ``f_cm`` [MPa]; None without a bar there."""
    number = transverse_bars(specimen, row)
    hooks = specimen.bars.left if row == "A" else specimen.bars.right
    if number == 0 or hooks is None:
        return None
    c = specimen.confinement
    steel = specimen.steel[c.steel]
    return bar_support(
        c.diameter, number, steel.elastic_modulus, steel.yield_strength, f_cm, specimen.bond.bearing_coefficient,
        hooks.positions, transverse_reach(specimen), hooks.diameter,
    )  # fmt: skip


def supported(bond: BondLaw, specimen: Specimen, mesh: Mesh, line: BarLine, f_cm: float) -> BondLaw:
    """The ``bond`` of a main line with the support of its hooks where the station of the transverse bar is.

    The very same bond where there is none: no such bar, or the line shows no bend (as in the plan).
    """
    place = next((s.xy for s in mesh.stations if s.name == f"{line.name}/transverse-bar"), None)
    if place is None or not (line.zone == BEND).any() or (found := hook_support(specimen, line.name, f_cm)) is None:
        return bond
    at = float(line.arc[np.argmin(np.hypot(*(mesh.points[line.nodes] - place).T))])
    return SupportedBond.over(bond, found, line.number, line.arc, at, turn(mesh.points[line.nodes], line.zone))


def turn(points: Floats, zone: np.ndarray) -> float:
    """+1 where the bend of a line turns towards its normal (-t_y, t_x), so that a positive gap presses inside it."""
    step = np.diff(points[zone == BEND], axis=0)
    return float(np.sign(np.sum(step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0])))
