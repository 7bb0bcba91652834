"""A specimen as a plane: rectangles of concrete and steel, bar paths, joints, supports, loads.

Data only. Everything lies where the specimen puts it, whatever the element size; the mesher
decides how finely it is cut. The elevation shows the whole beam, tension face at the bottom.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats, InputFault, Ints
from fesplice.geometry import bars, clash, surroundings
from fesplice.geometry.surroundings import Stretch
from fesplice.mesh import Station

if TYPE_CHECKING:
    from fesplice.specimen.confinement import Confinement
    from fesplice.specimen.schema import Specimen, Stirrups


@dataclass(frozen=True)
class Block:
    """A rectangle [mm] of one material and ``thickness`` [mm]; parts do not share nodes, plates share their part's."""

    name: str
    part: str
    x0: float
    x1: float
    y0: float
    y1: float
    thickness: float
    material: str


@dataclass(frozen=True)
class Path:
    """A bar line: ``points`` (n, 2) [mm] joined by straight chords, ``zone`` (n,) per point.

    ``area`` [mm2] and ``number`` count all bars of the line. From arc length ``frame_from`` [mm]
    on the bar bends as a frame (None: never). ``anchored_start`` and ``anchored_end`` mark stiff
    end anchors; ``clear_cover`` [mm] is the least cover of the line.
    """

    name: str
    role: str
    points: Floats
    zone: Ints
    area: float
    diameter: float
    number: int
    steel: str
    frame_from: float | None
    condition: str
    anchored_start: bool
    anchored_end: bool
    bonded: bool
    clear_cover: float
    stretches: tuple[Stretch, ...]


@dataclass(frozen=True)
class VerticalJoint:
    """A vertical joint of the given ``thickness`` [mm] between the parts ``minus`` and ``plus``."""

    name: str
    x: float
    y0: float
    y1: float
    thickness: float
    minus: str
    plus: str


@dataclass(frozen=True)
class PointSet:
    """A support or load point (x, y) [mm] under or on the middle of a plate ``width`` [mm] long."""

    name: str
    x: float
    y: float
    width: float


@dataclass(frozen=True)
class NetStrip:
    """Bars of total diameter ``taken`` [mm] lying at height ``level`` between ``x0`` and ``x1`` [mm]."""

    level: float
    x0: float
    x1: float
    taken: float


@dataclass(frozen=True)
class HookEnd:
    """A hook that leaves the plane where its bar ``line`` ends at (x, y) [mm], as the end named ``name``.

    It bends over ``reach`` [mm] further along the unit vector ``towards`` and is ``width`` [mm] wide.
    """

    name: str
    line: str
    x: float
    y: float
    towards: tuple[float, float]
    reach: float
    width: float


@dataclass(frozen=True)
class LegStrip:
    """Upright steel that crosses a horizontal plane between ``x0`` and ``x1`` [mm], as ``ratio`` of its area.

    ``kind`` "leg" of a stirrup, or "tail_A", "tail_B" of the hooks of a row.
    """

    kind: str
    x0: float
    x1: float
    ratio: float


@dataclass(frozen=True)
class Plane:
    """One view of a specimen, ready to be meshed.

    ``snaps_x`` [mm] are wanted as grid lines, ``levels`` [mm] as middles of element rows;
    inside |x| <= ``refined`` [mm] elements are fine. ``ends`` are the hooks and
    ``legs`` the upright steel that leaves the plane.
    """

    kind: str
    blocks: tuple[Block, ...]
    paths: tuple[Path, ...]
    joints: tuple[VerticalJoint, ...]
    points: tuple[PointSet, ...]
    snaps_x: tuple[float, ...]
    levels: tuple[float, ...]
    refined: float
    net: tuple[NetStrip, ...]
    stations: tuple[Station, ...]
    digest: str
    ends: tuple[HookEnd, ...] = ()
    legs: tuple[LegStrip, ...] = ()

    @property
    def body(self) -> tuple[Block, ...]:
        """The concrete blocks, left to right."""
        return tuple(b for b in self.blocks if b.part != "plate")

    @property
    def plates(self) -> tuple[Block, ...]:
        """The load and support plates."""
        return tuple(b for b in self.blocks if b.part == "plate")


def elevation(s: Specimen) -> Plane:
    """The whole beam from the side; raises :class:`InputFault` naming every clash."""
    if faults := clash.clashes(s):
        raise InputFault(s.name, faults)
    points = _points(s)
    joints = bars.joint_positions(s)
    shapes = bars.main_shapes(s)
    half = bars.half_length(s)
    reach = max(0.5 * s.body.closure, *(abs(x) for x in bars.bar_ends(s))) + s.body.depth
    return Plane(
        kind="elevation",
        blocks=(*_body(s), *_plates(s, points)),
        paths=tuple([*_main(s), *_compression(s), *_stirrups(s), *_confinement(s)]),
        joints=_joints(s),
        points=points,
        snaps_x=tuple(sorted({-half, 0.0, half, *joints, *(p.x for p in points)})),
        levels=tuple(sorted({bars.level(s, r) for r in (s.bars.left, s.bars.right) if r is not None})),
        refined=min(half, reach),
        net=tuple(NetStrip(m.points[0, 1], m.outside[0], m.outside[1], len(m.positions) * m.diameter) for m in shapes),
        stations=bars.stations(s),
        digest=s.digest,
    )


# ------------------------------------------------------------------ concrete, plates, joints
def _body(s: Specimen) -> list[Block]:
    b, half, c = s.body, bars.half_length(s), 0.5 * s.body.closure
    if c <= 0.0:
        return [Block("monolith", "monolith", -half, half, 0.0, b.depth, b.width, "precast")]
    return [
        Block("left", "precast_left", -half, -c, 0.0, b.depth, b.width, "precast"),
        Block("closure", "closure", -c, c, 0.0, b.depth, b.width, "closure"),
        Block("right", "precast_right", c, half, 0.0, b.depth, b.width, "precast"),
    ]


def _points(s: Specimen) -> tuple[PointSet, ...]:
    b, x = s.body, 0.5 * s.body.span
    loads = bars.load_positions(s)
    names = ("load:left", "load:right") if len(loads) == 2 else ("load:mid",)
    return (
        PointSet("support:left", -x, -b.plate_thickness, b.plate_length),
        PointSet("support:right", x, -b.plate_thickness, b.plate_length),
        *(PointSet(n, at, b.depth + b.plate_thickness, b.plate_length) for n, at in zip(names, loads)),
    )


def _plates(s: Specimen, points: tuple[PointSet, ...]) -> list[Block]:
    b, half = s.body, bars.half_length(s)
    found = []
    for p in points:
        y0, y1 = (p.y, 0.0) if p.y < 0.0 else (b.depth, p.y)
        # a plate ends where the beam ends: what stands out carries nothing
        x0, x1 = max(-half, p.x - 0.5 * p.width), min(half, p.x + 0.5 * p.width)
        found.append(Block(p.name, "plate", x0, x1, y0, y1, b.width, "plate"))
    return found


def _joints(s: Specimen) -> tuple[VerticalJoint, ...]:
    d, w = s.body.depth, s.body.width
    sides = (("left", "precast_left", "closure"), ("right", "closure", "precast_right"))
    return tuple(
        VerticalJoint(name, x, 0.0, d, w, minus, plus) for x, (name, minus, plus) in zip(bars.joint_positions(s), sides)
    )


# ------------------------------------------------------------------ bars
def _main(s: Specimen) -> list[Path]:
    found = []
    for m in bars.main_shapes(s):
        row = s.bars.left if m.name == "A" else s.bars.right
        assert row is not None
        frame = None
        if m.bend is not None:
            straight = abs(m.tangent_x - m.points[0, 0])
            frame = max(0.0, straight - bars.FRAME_LEAD * m.diameter)
        found.append(
            Path(
                name=m.name,
                role="main",
                points=m.points,
                zone=m.zone,
                area=row.area * len(m.positions),
                diameter=m.diameter,
                number=len(m.positions),
                steel=row.steel,
                frame_from=frame,
                condition=s.bond.condition,
                anchored_start=True,
                anchored_end=s.bars.splice == "continuous",
                bonded=True,
                clear_cover=m.points[0, 1] - 0.5 * m.diameter,
                stretches=surroundings.along(s, m),
            )
        )
    return found


def _straight(
    s: Specimen,
    name: str,
    role: str,
    ends: tuple[tuple[float, float], tuple[float, float]],
    area: float,
    diameter: float,
    number: int,
    steel: str,
    anchored: tuple[bool, bool],
    cover: float,
) -> Path:
    points = np.array(ends, dtype=float)
    length = float(np.linalg.norm(points[1] - points[0]))
    return Path(
        name=name,
        role=role,
        points=points,
        zone=np.zeros(2, np.int32),
        area=area * number,
        diameter=diameter,
        number=number,
        steel=steel,
        frame_from=None,
        condition=s.bond.condition,
        anchored_start=anchored[0],
        anchored_end=anchored[1],
        bonded=True,
        clear_cover=cover,
        stretches=surroundings.secondary(diameter, cover, length),
    )


def _compression(s: Specimen) -> list[Path]:
    c = s.compression_bars
    if c is None:
        return []
    y, half = bars.compression_level(s), bars.half_length(s) - bars.end_cover(s)
    found = []
    for name, (x0, x1) in bars.compression_spans(s).items():
        at_end = (abs(x0 + half) < 1e-9, abs(x1 - half) < 1e-9)
        ends = ((x0, y), (x1, y))
        found.append(_straight(s, name, "compression", ends, c.area, c.diameter, c.number, c.steel, at_end, c.cover))
    return found


def _legs(s: Specimen, letter: str, role: str, xs: tuple[float, ...], given: Stirrups | Confinement) -> list[Path]:
    inset = given.cover + 0.5 * given.diameter
    found = []
    for k, x in enumerate(xs, start=1):
        ends = ((x, inset), (x, s.body.depth - inset))
        found.append(
            _straight(
                s,
                f"{letter}{k}",
                role,
                ends,
                given.area,
                given.diameter,
                given.legs,
                given.steel,
                (True, True),
                given.cover,
            )
        )
    return found


def _stirrups(s: Specimen) -> list[Path]:
    if s.stirrups is None:
        return []
    return _legs(s, "S", "stirrup", bars.stirrup_positions(s), s.stirrups)


def _confinement(s: Specimen) -> list[Path]:
    """Only stirrups have vertical legs that show in the elevation; ties lie in the plane of the bars."""
    if not s.confinement.upright:
        return []
    return _legs(s, "T", "confinement", bars.confinement_positions(s), s.confinement)
