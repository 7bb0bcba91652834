"""Bond that wedges the concrete apart and is weakened where it has succeeded.

The ribs of a bar press on the concrete at an angle alpha to its axis: bond stress tau comes with
radial pressure tau tan(alpha), so that the halves of the ring around the bar are driven apart by
tau d_b tan(alpha) per length (Tepfers 1973, in spirit). In a plane model this is a pair of
opposite forces between two fixed points beside the bar. Their relative displacement w is the
opening of the splitting crack, and bond falls with it: the pull-out bond, its envelope as well as its
stiffness in unloading, is scaled by c = 1/(1 + w_max/w1). The two together make splitting a matter of
what holds the concrete together: width, cover, legs that cross the crack.

The law has no potential: opening at a constant slip does work that no slip has paid for, at most the
integral of |tau| d_b tan(alpha) dw, which the falling bond keeps small (its tangent is not symmetric).
alpha = 45 degrees and w1 = 0.05 mm are judgement; they are inputs of the specimen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TypeVar

import numpy as np

from fesplice.contracts import BondLaw, Floats, History, Joinable, Response, SplitBond

B = TypeVar("B", bound=BondLaw)

#: Calibrated widths; scripts/effective_width makes it anew.
TABLE = Path(__file__).with_name("data") / "effective_width.csv"
#: Angle [degrees] and opening w1 [mm] the table belongs to.
ANGLE, REFERENCE = 45.0, 0.05


@cache
def _table() -> tuple[tuple[Floats, Floats, Floats], Floats]:
    """Axes (diameter [mm], cover / diameter, f_cm [MPa]) and k over them."""
    with TABLE.open(encoding="utf-8") as file:
        rows = [line for line in file if not line.startswith("#")][1:]
    values = np.array([[float(v) for v in row.split(",")[:4]] for row in rows])
    axes = np.unique(values[:, 0]), np.unique(values[:, 1]), np.unique(values[:, 2])
    k = np.empty([len(axis) for axis in axes])
    k[tuple(np.searchsorted(axis, values[:, j]) for j, axis in enumerate(axes))] = values[:, 3]
    return axes, k


def effective_width(diameter: float, c_min: float, c_max: float, f_cm: float) -> tuple[float, str]:
    """Width of concrete per bar, b_e / d_b, and a remark where it had to be taken from the edge of the table.

    Between the rows of the table by straight lines. A cover c_max above c_min [mm] counts as one
    cover c_min (c_max/c_min)^0.4 on all sides, which has the same strength in MC2010 eq. 6.1-19.
    """
    cover = c_min * (c_max / c_min) ** 0.4
    names = ("bar diameter", "cover / diameter", "f_cm")
    axes, k = _table()
    beyond = []
    for name, value, axis in zip(names, (diameter, cover / diameter, f_cm), axes):
        x = float(np.clip(value, axis[0], axis[-1]))
        if x != value:
            beyond.append(f"{name} {value:.3g} outside {axis[0]:g} to {axis[-1]:g}")
        i = min(int(np.searchsorted(axis, x, side="right")) - 1, len(axis) - 2)
        part = (x - axis[i]) / (axis[i + 1] - axis[i])
        k = (1.0 - part) * k[i] + part * k[i + 1]
    remark = f"effective width of wedging bond taken from the edge of its table: {', '.join(beyond)}" if beyond else ""
    return float(k), remark


def together(bonds: Sequence[B]) -> B:
    """One bond for the points of several of one class that can be joined, in order."""
    first = bonds[0]
    assert isinstance(first, Joinable)
    return type(first).joined(bonds)


@dataclass(frozen=True)
class WedgingBond:
    """Forces per length of bar line (tangential, normal, wedge) [N/mm] from (slip, gap, opening) [mm].

    ``bond`` is that of a pull-out. ``thrust`` (n_e,) is number x d_b x tan(alpha) [mm],
    0 where the bar does not wedge; ``reference`` is the opening w1 [mm] that halves bond. The
    wedge force is conjugate to the opening and negative, for it pushes the gauge points apart:
    its work on the concrete is |tau| thrust w. History: that of the bond, and ``opening``
    (.., 1), the largest opening so far.
    """

    bond: SplitBond
    thrust: Floats
    reference: float
    n_strain: int = 3
    reads_opening: bool = True

    @property
    def perimeter(self) -> Floats:
        """Bonded perimeter of all bars of the line (n_e,) [mm]."""
        return self.bond.perimeter

    @classmethod
    def joined(cls, laws: Sequence[WedgingBond]) -> WedgingBond:
        """One law for the points of several, in order; ``reference`` must agree."""
        thrust = np.concatenate([law.thrust for law in laws])
        return cls(together([law.bond for law in laws]), thrust, laws[0].reference)

    def fresh(self, shape: tuple[int, int]) -> dict[str, Floats]:
        """Unslipped bond in sound concrete."""
        return {**self.bond.fresh(shape), "opening": np.zeros((*shape, 1))}

    def respond(self, strain: Floats, history: History, size: Floats, *, secant: float = 0.0) -> Response:
        """Forces per length for strain (n_e, n_q, 3); the tangent is not symmetric."""
        w, seen = strain[..., 2], history["opening"][..., 0]
        wedges = self.thrust[:, None] > 0.0
        opened = np.where(wedges, np.maximum(w, seen), 0.0)
        share = 1.0 / (1.0 + opened / self.reference)
        tau, d, slip = self.bond.tau(strain[..., 0], history["slip"], secant)
        tau, d = share * tau, share * d
        by_opening = np.where(wedges & (w > seen), -tau * share / self.reference, 0.0) * (1.0 - secant)
        push, stiff, gap = self.bond.press(strain[..., 1], history["gap"])
        perimeter, thrust = self.perimeter[:, None], self.thrust[:, None]
        sense = np.sign(tau)
        tangent = np.zeros((*strain.shape, 3))
        tangent[..., 0, 0] = d * perimeter
        tangent[..., 0, 2] = by_opening * perimeter
        tangent[..., 1, 1] = stiff
        tangent[..., 2, 0] = -sense * d * thrust
        tangent[..., 2, 2] = -sense * by_opening * thrust
        stress = np.stack([tau * perimeter, push, -np.abs(tau) * thrust], axis=-1)
        return Response(stress, tangent, {"slip": slip, "gap": gap, "opening": np.maximum(w, seen)[..., None]})
