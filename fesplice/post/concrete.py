"""Concrete: principal strains and stresses, crack pattern, crack widths and spacing.

A smeared crack has the width crack strain x crack-band width (Bazant & Oh 1983). Where a crack
spreads over neighbouring elements its width along a line is the integral of the crack strain
between the minima on both sides, which is the separation of the two sides of the band.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import find_peaks

from fesplice.algebra import principal
from fesplice.contracts import Floats, Ints
from fesplice.mesh import Mesh
from fesplice.post.points import Crossing, Fields, Points, cross, gather

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: Width from which a hairline counts as a crack, and from which the eye sees it (common practice) [mm].
HAIRLINE, VISIBLE = 0.01, 0.05
#: Crack directions: up to this angle from the bars is along them, beyond 90 deg minus this is upright [deg].
FLAT = 30.0


@dataclass(frozen=True)
class PrincipalField:
    """Principal values at integration points: ``major`` >= ``minor`` (n,), ``angle`` of the major [rad]."""

    points: Points
    major: Floats
    minor: Floats
    angle: Floats


def principal_strains(mesh: Mesh, fields: Fields, points: Points | None = None) -> PrincipalField:
    """Principal strains of the concrete [-]."""
    points = gather(mesh) if points is None else points
    return PrincipalField(points, *principal(points.values(fields, "strain"), engineering=True))


def principal_stresses(mesh: Mesh, fields: Fields, points: Points | None = None) -> PrincipalField:
    """Principal stresses of the concrete [MPa]."""
    points = gather(mesh) if points is None else points
    return PrincipalField(points, *principal(points.values(fields, "stress"), engineering=False))


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


# ------------------------------------------------------------------ along a line
@dataclass(frozen=True)
class CrackLine:
    """Cracks met along a line.

    ``position`` (n,) distance from the start, ascending [mm]; ``xy`` (n, 2) [mm]; ``width`` (n,)
    across the crack [mm]; ``joint`` (n,) True for an open cold joint. ``distance`` (m,) and
    ``strain`` (m,): crack strain along the line, one value per element met.
    """

    position: Floats
    xy: Floats
    width: Floats
    joint: np.ndarray
    distance: Floats
    strain: Floats

    @property
    def spacing(self) -> Floats:
        """Distances between neighbouring cracks (n - 1,) [mm]."""
        return np.diff(self.position)

    @property
    def mean_spacing(self) -> float:
        """Mean distance of cracks [mm]; nan with fewer than two cracks."""
        return float(self.spacing.mean()) if len(self.position) > 1 else float("nan")

    @property
    def max_spacing(self) -> float:
        """Largest distance of cracks [mm]; nan with fewer than two cracks."""
        return float(self.spacing.max()) if len(self.position) > 1 else float("nan")


def cracks_along(
    mesh: Mesh,
    fields: Fields,
    start: tuple[float, float],
    end: tuple[float, float],
    smallest: float = HAIRLINE,
    valley: float = 0.5,
) -> CrackLine:
    """Cracks and open joints along a straight line, e.g. the tension face or the bar level.

    Two maxima of the crack strain are two cracks when the strain between them falls by at
    least the share ``valley`` of the lower one. A crack at the angle a to the normal of
    the line counts its crack strain times cos a: the width across the crack.
    """
    line = cross(mesh, start, end)
    strain, normal, _ = line.means(fields, "crack").T
    slope = np.arctan2(line.direction[1], line.direction[0])
    density = np.maximum(strain, 0.0) * np.abs(np.cos(normal - slope))
    middle = line.span.mean(axis=1)
    position, width = _bands(middle, density * line.length, density, valley)
    at, open_by = _joints(mesh, fields, line, float(np.hypot(end[0] - start[0], end[1] - start[1])))
    joint = np.repeat([False, True], [len(position), len(at)])
    position, width = np.concatenate([position, at]), np.concatenate([width, open_by])
    keep = width >= smallest
    position, width, joint = position[keep], width[keep], joint[keep]
    order = np.argsort(position, kind="stable")
    position = position[order]
    return CrackLine(position, line.xy(position), width[order], joint[order], middle, density)


def _bands(middle: Floats, opening: Floats, density: Floats, valley: float) -> tuple[Floats, Floats]:
    """Centroids and openings of the bands around the maxima of ``density``."""
    if not len(density) or density.max() <= 0.0:
        return np.empty(0), np.empty(0)
    padded = np.concatenate([[0.0], density, [0.0]])
    peaks, found = find_peaks(padded, prominence=0.0)
    peaks = peaks[found["prominences"] >= valley * padded[peaks]] - 1
    cuts = [a + 1 + int(np.argmin(density[a + 1 : b + 1])) for a, b in zip(peaks[:-1], peaks[1:])]
    parts = np.split(np.arange(len(density)), cuts)
    total = np.array([opening[p].sum() for p in parts])
    centre = np.array([(opening[p] * middle[p]).sum() / opening[p].sum() for p in parts])
    return centre, total


def _joints(mesh: Mesh, fields: Fields, line: Crossing, total: float) -> tuple[Floats, Floats]:
    """Places where the line meets joint elements, and their openings, each place once."""
    places: list[float] = []
    openings: list[float] = []
    for name, g in mesh.of_kind("joint").items():
        a, b = mesh.points[g.cells[:, 0]], mesh.points[g.cells[:, 1]]
        gap_a, gap_b = (a - line.start) @ line.normal, (b - line.start) @ line.normal
        with np.errstate(divide="ignore", invalid="ignore"):
            share = gap_a / (gap_a - gap_b)
        met = np.isfinite(share) & (share > -1e-6) & (share < 1.0 + 1e-6)
        at = ((a + share[:, None] * (b - a)) - line.start) @ line.direction
        opening = np.asarray(fields[f"{name}/opening"], float)
        value = opening[:, 0] + share * (opening[:, 1] - opening[:, 0])
        for x, w in zip(at[met], value[met]):
            inside = -1e-6 * total <= x <= total * (1.0 + 1e-6)
            if inside and all(abs(x - other) > 1e-6 * total for other in places):
                places.append(float(x))
                openings.append(float(w))
    return np.array(places), np.array(openings)


# ------------------------------------------------------------------ a run
def largest_widths(run: Run) -> Floats:
    """Largest smeared crack width of every step (n_steps,) [mm]."""
    points = gather(run.mesh)
    widths = []
    for step in run.steps():
        strain, _, band = points.values(step.fields, "crack").T
        widths.append(float((strain * band).max(initial=0.0)))
    return np.array(widths)
