"""Cracks of the concrete: their pattern, and the widest of them.

A smeared crack has the width crack strain x crack-band width (Bazant & Oh 1983).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats, Ints
from fesplice.mesh import Mesh
from fesplice.post.points import Fields, Points, gather

#: Width from which a hairline counts as a crack, and from which the eye sees it (common practice) [mm].
HAIRLINE, VISIBLE = 0.01, 0.05
#: Crack directions: up to this angle from the bars is along them, beyond 90 deg minus this is upright [deg].
FLAT = 30.0


# ------------------------------------------------------------------ pattern
@dataclass(frozen=True)
class Cracks:
    """Crack segments, one per cracked integration point.

    ``xy`` (n, 2) centre [mm]; ``angle`` (n,) of the crack itself, in -pi/2 .. pi/2 from x [rad];
    ``length`` (n,), so that neighbours just touch [mm]; ``width`` (n,) [mm]; ``strain`` (n,)
    crack strain; ``group`` (n,) index into ``names``; ``element`` (n,).
    """

    names: tuple[str, ...]
    xy: Floats
    angle: Floats
    length: Floats
    width: Floats
    strain: Floats
    group: Ints
    element: Ints

    def __len__(self) -> int:
        return len(self.width)

    @property
    def segments(self) -> Floats:
        """End points (n, 2, 2) of the segments [mm]."""
        half = 0.5 * self.length[:, None] * np.stack([np.cos(self.angle), np.sin(self.angle)], axis=-1)
        return np.stack([self.xy - half, self.xy + half], axis=1)


def crack_pattern(mesh: Mesh, fields: Fields, smallest: float = HAIRLINE, points: Points | None = None) -> Cracks:
    """Every crack of at least ``smallest`` width [mm], in the order of the integration points."""
    points = gather(mesh) if points is None else points
    strain, normal, band = points.values(fields, "crack").T
    width = strain * band
    keep = (width >= smallest) & (strain > 0.0)
    along = (normal[keep] + 0.5 * np.pi + 0.5 * np.pi) % np.pi - 0.5 * np.pi
    return Cracks(
        points.names, points.xy[keep], along, np.sqrt(points.area[keep]), width[keep], strain[keep],
        points.group[keep], points.element[keep],
    )  # fmt: skip


@dataclass(frozen=True)
class CrackSpot:
    """A place with a wide crack: centre [mm], width [mm], angle of the crack [deg], group."""

    x: float
    y: float
    width: float
    angle: float
    group: str


def widest(cracks: Cracks, count: int = 5, apart: float = 100.0) -> tuple[CrackSpot, ...]:
    """The widest cracks, widest first, each at least ``apart`` [mm] from the wider ones."""
    spots: list[CrackSpot] = []
    left = np.ones(len(cracks), bool)
    while left.any() and len(spots) < count:
        k = int(np.argmax(np.where(left, cracks.width, -np.inf)))
        x, y = cracks.xy[k]
        spots.append(
            CrackSpot(
                float(x),
                float(y),
                float(cracks.width[k]),
                float(np.degrees(cracks.angle[k])),
                cracks.names[cracks.group[k]],
            )  # fmt: skip
        )
        left &= np.hypot(*(cracks.xy - cracks.xy[k]).T) > apart
    return tuple(spots)
