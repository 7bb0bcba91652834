"""Principal tension at the hook nodes: area means of the stress over discs around the stations.

The stress at one point beside a bar grows without limit as elements shrink, so a station is
read as the mean over a disc of 2 (and 3) bar diameters: the tensor is averaged and its principal
value taken; the mean of the positive major stress is told too. Such a mean is a measure of
the stress before cracking; afterwards section cuts (:mod:`fesplice.post.elevation.forces`) say more.
A disc holds only the concrete its station lies in, e.g. the closure's.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse

from fesplice.algebra import principal
from fesplice.contracts import Floats, Ints
from fesplice.mesh import Mesh
from fesplice.post.elevation.layout import tensile_strengths
from fesplice.post.points import Fields, Points, gather

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: Disc radii in bar diameters: the measure, and the wider one that shows how local it is.
RADII = (2.0, 3.0)


@dataclass(frozen=True)
class Discs:
    """Discs around all stations of a mesh, as weights on its integration points.

    ``weights`` sparse (n_stations, n_points), rows summing to 1; ``area`` (n_stations,) of concrete
    in each disc [mm2]; ``radius`` (n_stations,) [mm]; ``xy`` (n_stations, 2); ``material`` per station.
    """

    points: Points
    names: tuple[str, ...]
    lines: tuple[str, ...]
    xy: Floats
    radius: Floats
    area: Floats
    material: tuple[str, ...]
    weights: sparse.csr_array


def discs(mesh: Mesh, diameters: float = 2.0, points: Points | None = None) -> Discs:
    """Discs of ``diameters`` x bar diameter around every station.

    A point counts with its area; near the rim with the share of its square that lies inside,
    taken as linear over the side of the square.
    """
    points = gather(mesh) if points is None else points
    side = np.sqrt(points.area)
    radius = np.array([diameters * mesh.lines[s.line].diameter for s in mesh.stations])
    rows, area, material = [], [], []
    for station, r in zip(mesh.stations, radius):
        gap = np.hypot(*(points.xy - station.xy).T)
        home = points.group[np.argmin(gap)]
        share = np.clip(0.5 + (r - gap) / side, 0.0, 1.0) * (points.group == home)
        weight = share * points.area
        area.append(float(weight.sum()))
        material.append(mesh.groups[points.names[home]].material)
        rows.append(weight / max(float(weight.sum()), 1e-300))
    weights = sparse.csr_array(np.reshape(rows, (-1, len(points))))
    return Discs(
        points, tuple(s.name for s in mesh.stations), tuple(s.line for s in mesh.stations),
        np.array([s.xy for s in mesh.stations], float).reshape(-1, 2), radius, np.array(area), tuple(material), weights,
    )  # fmt: skip


@dataclass(frozen=True)
class DiscTension:
    """Mean stress of one disc.

    ``stress`` (xx, yy, xy) [MPa]; ``major`` and ``angle`` [deg from x] its principal tension;
    ``positive`` area mean of the positive major stress of the points [MPa]; ``ratio`` major / f_ct.
    """

    station: str
    line: str
    x: float
    y: float
    radius: float
    area: float
    stress: tuple[float, float, float]
    major: float
    angle: float
    positive: float
    ratio: float


def station_tension(
    mesh: Mesh, fields: Fields, strength: Mapping[str, float], diameters: float = 2.0, around: Discs | None = None
) -> tuple[DiscTension, ...]:
    """Principal tension at every station of one step; ``strength`` = f_ct [MPa] by material."""
    around = discs(mesh, diameters) if around is None else around
    tensor, positive = _means(around, fields)
    major, _, angle = principal(tensor, engineering=False)
    return tuple(
        DiscTension(
            station=around.names[k],
            line=around.lines[k],
            x=float(around.xy[k, 0]),
            y=float(around.xy[k, 1]),
            radius=float(around.radius[k]),
            area=float(around.area[k]),
            stress=(float(tensor[k, 0]), float(tensor[k, 1]), float(tensor[k, 2])),
            major=float(major[k]),
            angle=float(np.degrees(angle[k])),
            positive=float(positive[k]),
            ratio=float(major[k] / strength[around.material[k]]),
        )
        for k in range(len(around.names))
    )


def _means(around: Discs, fields: Fields) -> tuple[Floats, Floats]:
    stress = around.points.values(fields, "stress")
    major = principal(stress, engineering=False)[0]
    return around.weights @ stress, around.weights @ np.maximum(major, 0.0)


# ------------------------------------------------------------------ histories
@dataclass(frozen=True)
class HookHistory:
    """Principal tension at the stations over the steps.

    ``step`` (n_steps,); ``load`` (n_steps,) per ram [N]; ``major``, ``positive`` [MPa], ``angle``
    [rad] and ``ratio`` to f_ct, each (n_steps, n_stations); ``diameters`` disc radius / bar diameter.
    """

    names: tuple[str, ...]
    lines: tuple[str, ...]
    diameters: float
    step: Ints
    load: Floats
    major: Floats
    angle: Floats
    positive: Floats
    ratio: Floats


def tension_history(
    around: Discs, steps: Iterable[tuple[int, float, Fields]], strength: Mapping[str, float], diameters: float
) -> HookHistory:
    """History from (step number, load per ram, fields) of each step."""
    index, load, tensors, positives = [], [], [], []
    for number, force, fields in steps:
        tensor, positive = _means(around, fields)
        index.append(number)
        load.append(force)
        tensors.append(tensor)
        positives.append(positive)
    shape = (len(index), len(around.names))
    major, _, angle = principal(np.reshape(tensors, (*shape, 3)).astype(float), engineering=False)
    limit = np.array([strength[m] for m in around.material])
    return HookHistory(
        around.names, around.lines, diameters, np.array(index, np.int32), np.array(load, float),
        major, angle, np.reshape(positives, shape).astype(float), major / limit,
    )  # fmt: skip


def history(run: Run, diameters: float = 2.0) -> HookHistory:
    """Principal tension at the hook nodes over all steps of a run."""
    curve = run.curve
    steps = ((s.index, float(load), s.fields) for s, load in zip(run.steps(), curve["load_N"])) if curve else ()
    return tension_history(discs(run.mesh, diameters), steps, tensile_strengths(run), diameters)
