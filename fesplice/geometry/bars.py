"""Where the bars lie: centre lines with their real hooks, stations, levels and positions.

Coordinates [mm]: x along the beam from midspan, y up from the tension face, z across from the
beam's centre line. Left bars come from x < 0, right bars from x > 0. A hook's outside face (or a
straight bar's end) stands its embedment beyond the joint face, at half the lap when both sides
are alike; the tail's centre line lies half a bar diameter inside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats, Ints
from fesplice.formulas import laps
from fesplice.formulas.laps import leg_positions
from fesplice.mesh import BEND, LEAD, TAIL, Station

if TYPE_CHECKING:
    from fesplice.specimen.confinement import Loops
    from fesplice.specimen.schema import BarRow, Specimen

#: Chords per quarter turn: with bond points at the chord ends the bearing resultant T/R is
#: exact to 0.1 % already at six.
CHORDS = 12
#: Bars bend as frames from this many diameters before the bend.
FRAME_LEAD = 5.0
#: Bars this much closer than touching still count as touching [mm].
TOUCH = 0.02


@dataclass(frozen=True)
class Shape:
    """Centre line of the bars of one row: ``points`` (n, 2) [mm], ``zone`` (n,), ``positions`` across.

    ``key`` is the key path of the row in the specimen file. ``tangent_x`` is where the bend
    starts, or the bar's end when it has no hook; ``bend`` the bend's centre or None.
    """

    name: str
    key: str
    points: Floats
    zone: Ints
    diameter: float
    positions: tuple[float, ...]
    tangent_x: float
    bend: tuple[float, float] | None
    radius: float

    @property
    def side(self) -> float:
        """+1 for a bar running in +x from the left end, -1 for one from the right end."""
        return 1.0 if self.points[0, 0] < 0.0 else -1.0

    @property
    def length(self) -> float:
        """Length of the centre line [mm], chords for arcs."""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())

    @property
    def outside(self) -> tuple[float, float, float, float]:
        """Outermost faces (x0, x1, y0, y1) [mm] of the bar; ends square-cut, so exact for bent ends too."""
        radius = 0.5 * self.diameter
        step = np.diff(self.points, axis=0)
        t = step / np.linalg.norm(step, axis=1)[:, None]
        across = radius * np.abs(np.column_stack([t[:, 1], t[:, 0]]))
        low = np.minimum(self.points[:-1], self.points[1:]) - across
        high = np.maximum(self.points[:-1], self.points[1:]) + across
        return float(low[:, 0].min()), float(high[:, 0].max()), float(low[:, 1].min()), float(high[:, 1].max())


# ------------------------------------------------------------------ the beam
def half_length(s: Specimen) -> float:
    """Half the beam's length [mm]: x runs from minus to plus this."""
    return 0.5 * s.body.span + s.body.overhang


def joint_positions(s: Specimen) -> tuple[float, ...]:
    """x of the joints between precast and closure [mm]; none in a monolithic beam."""
    half = 0.5 * s.body.closure
    return (-half, half) if half > 0.0 else ()


def load_positions(s: Specimen) -> tuple[float, ...]:
    """x of the load points [mm]: a mirrored pair, or midspan alone."""
    x = 0.5 * s.body.span - s.body.shear_span
    return (-x, x) if x > 1e-6 else (0.0,)


def bar_ends(s: Specimen) -> tuple[float, float]:
    """x of the outside of the right bars' hooks and of the left bars' (or of the bar ends) [mm]: the lap's bounds.

    Continuous bars have no lap: both are 0.
    """
    if s.bars.splice == "continuous" or s.bars.right is None:
        return 0.0, 0.0
    face = 0.5 * s.body.closure
    return face - s.bars.right.embedment, s.bars.left.embedment - face


def embedment_start(s: Specimen, side: float) -> float:
    """x where the embedment of a bar from ``side`` (+1 left, -1 right) starts [mm]: joint face, or the lap's start."""
    if s.body.closure > 0.0:
        return -side * 0.5 * s.body.closure
    return bar_ends(s)[0 if side > 0.0 else 1]


def end_cover(s: Specimen) -> float:
    """Clear cover of bars at the beam's ends [mm]: the stirrups' cover, else that of the main bars."""
    return s.stirrups.cover if s.stirrups is not None else s.bars.left.cover


# ------------------------------------------------------------------ centre lines
def hook_line(
    start: float, y: float, face: float, diameter: float, bend_diameter: float, angle: float, tail: float, up: float
) -> tuple[Floats, Ints, tuple[float, float]]:
    """Lead, bend and tail of a bar running in +x from ``start`` to a hook with outside face at ``face``.

    ``up`` is +1 when the hook turns towards +y, -1 towards -y; ``angle`` [degree]; lengths [mm].
    Returns points (n, 2), zone (n,), and the centre of the bend. The bend's centre line is a
    circle of radius bend_diameter/2 + diameter/2 (ACI 318-19, 25.3.1 states inside diameters).
    """
    radius = 0.5 * (bend_diameter + diameter)
    centre = (face - 0.5 * diameter - radius, y + up * radius)
    turn = np.deg2rad(angle)
    around = np.linspace(0.0, turn, int(round(CHORDS * angle / 90.0)) + 1)
    bend = np.column_stack([centre[0] + radius * np.sin(around), centre[1] - up * radius * np.cos(around)])
    bend[0, 1] = y
    end = bend[-1] + tail * np.array([np.cos(turn), up * np.sin(turn)])
    points = np.vstack([[start, y], bend, end])
    zone = np.full(len(points), BEND, dtype=np.int32)
    zone[0], zone[-1] = LEAD, TAIL
    return points, zone, centre


def level(s: Specimen, row: BarRow) -> float:
    """Height of the row's bar axis above the tension face [mm]."""
    return s.body.depth - row.depth


def main_shapes(s: Specimen) -> tuple[Shape, ...]:
    """Rows of main bars: "A" from the left, "B" from the right; continuous bars are "A" alone."""
    left, right = s.bars.left, s.bars.right
    far = half_length(s) - end_cover(s)
    if s.bars.splice == "continuous" or right is None:
        y = level(s, left)
        points = np.array([[-far, y], [far, y]])
        zone = np.zeros(2, np.int32)
        return (Shape("A", "bars.left", points, zone, left.diameter, tuple(left.positions), far, None, 0.0),)
    return (_spliced(s, "A", "bars.left", left, far, +1.0), _spliced(s, "B", "bars.right", right, far, -1.0))


def _spliced(s: Specimen, name: str, key: str, row: BarRow, far: float, side: float) -> Shape:
    y, face = level(s, row), side * bar_ends(s)[1 if side > 0.0 else 0]
    if row.hook is None:
        points, zone, centre, radius = np.array([[-far, y], [face, y]]), np.zeros(2, np.int32), None, 0.0
        tangent = face
    else:
        up = 1.0 if row.hook.orientation == "compression" else -1.0
        h = row.hook
        points, zone, centre = hook_line(-far, y, face, row.diameter, h.bend_diameter, h.angle, h.tail, up)
        tangent, radius = centre[0], 0.5 * (h.bend_diameter + row.diameter)
        centre = (side * centre[0], centre[1])
    mirrored = points * np.array([side, 1.0])
    return Shape(name, key, mirrored, zone, row.diameter, tuple(row.positions), side * tangent, centre, radius)


def stations(s: Specimen) -> tuple[Station, ...]:
    """Named places of every hooked main line: lead, tangent, mid-bend, bend-end, tail-end.

    The lead station is half way between the joint face (the lap's start in a monolithic beam)
    and the tangent point. A transverse bar inside the bend has a station of its own.
    """
    found = []
    for shape in main_shapes(s):
        if shape.bend is None:
            continue
        begin = embedment_start(s, shape.side)
        bend = shape.points[shape.zone == BEND]
        middle = len(bend) // 2
        places = {
            "lead": np.array([0.5 * (begin + shape.tangent_x), bend[0, 1]]),
            "tangent": bend[0],
            "mid-bend": bend[middle],
            "bend-end": bend[-1],
            "tail-end": shape.points[-1],
        }
        if s.confinement.in_bends:
            outward = (bend[middle] - shape.bend) / shape.radius
            inside = shape.radius - 0.5 * (shape.diameter + s.confinement.diameter)
            places["transverse-bar"] = np.asarray(shape.bend) + inside * outward
        found += [Station(f"{shape.name}/{k}", shape.name, (float(p[0]), float(p[1]))) for k, p in places.items()]
    return tuple(found)


def pairs(s: Specimen) -> tuple[tuple[float, float], ...]:
    """Lapped pairs as (smaller, larger) place across [mm], by their left bars; none of continuous bars."""
    if s.bars.right is None:
        return ()
    return tuple((min(p), max(p)) for p in laps.pairs(s.bars.left.positions, s.bars.right.positions))


# ------------------------------------------------------------------ secondary bars
def stirrup_positions(s: Specimen) -> tuple[float, ...]:
    """x of the stirrups [mm], ascending: both precast halves, or the shear spans of a monolithic beam.

    The first stands half a spacing from the joint (or the load point), the last keeps its
    cover to the beam's end.
    """
    if s.stirrups is None:
        return ()
    inner = max(joint_positions(s)) if joint_positions(s) else max(load_positions(s))
    outer = half_length(s) - s.stirrups.cover - 0.5 * s.stirrups.diameter
    right = np.arange(inner + 0.5 * s.stirrups.spacing, outer + 1e-6, s.stirrups.spacing)
    return tuple(float(x) for x in np.concatenate([-right[::-1], right]))


def confinement_positions(s: Specimen) -> tuple[float, ...]:
    """x of the confinement sets [mm], spread about the middle of the lap; only kinds set out by spacing."""
    return s.confinement.positions(0.5 * sum(bar_ends(s)))


def confinement_loops(s: Specimen, out: float, thick: float | None = None) -> Loops:
    """Closed shapes of one set of the confinement in the section: (z0, z1, y0, y1) [mm] each.

    ``out`` 0 inside, 0.5 axis, 1 outside of its bar. ``thick`` is the diameter of the bars within, left out that
    of the left ones.
    """
    row, section = s.bars.left, (s.body.width, s.body.depth)
    return s.confinement.loops(pairs(s), level(s, row), row.diameter if thick is None else thick, section, out)


def compression_level(s: Specimen) -> float:
    """Height of the compression bars' axis above the tension face [mm]."""
    c = s.compression_bars
    assert c is not None
    return s.body.depth - c.cover - 0.5 * c.diameter


def compression_spans(s: Specimen) -> dict[str, tuple[float, float]]:
    """Lines of compression bars and where they run: "C", or "C-left" and "C-right" ending before the joints."""
    c = s.compression_bars
    if c is None:
        return {}
    far = half_length(s) - end_cover(s)
    if c.through_closure or s.body.closure <= 0.0:
        return {"C": (-far, far)}
    stop = 0.5 * s.body.closure + c.cover
    return {"C-left": (-far, -stop), "C-right": (stop, far)}


def compression_across(s: Specimen) -> tuple[float, ...]:
    """z of the compression bars [mm]: evenly spread, then moved just clear of the tails they would cross.

    Lateral places of compression bars are not given by a specimen; whoever ties the cage moves
    them aside. Where no place is free the even one stays, for the clash check to report.
    """
    c = s.compression_bars
    if c is None:
        return ()
    side = c.cover if s.stirrups is None else max(c.cover, s.stirrups.cover + s.stirrups.diameter)
    even = leg_positions(s.body.width, side, c.diameter, c.number)
    if "C" not in compression_spans(s):
        return tuple(float(z) for z in even)
    y, edge = compression_level(s), 0.5 * s.body.width - side - 0.5 * c.diameter
    blocked = [
        (z, 0.5 * (c.diameter + m.diameter))
        for m in main_shapes(s)
        if m.outside[3] > y - 0.5 * c.diameter
        for z in m.positions
    ]
    placed: list[float] = []
    for z in even:
        taken = blocked + [(other, c.diameter) for other in placed]
        tries = [float(z)] + [at + sign * reach for at, reach in taken for sign in (-1.0, 1.0)]
        free = [t for t in tries if abs(t) <= edge + TOUCH and all(abs(t - at) >= r - TOUCH for at, r in taken)]
        placed.append(min(free, key=lambda t: (abs(t - z), t), default=float(z)))
    return tuple(placed)


# ------------------------------------------------------------------ single bars
@dataclass(frozen=True)
class Solid:
    """One bar in space: centre line (n, 3) [mm], diameter, its line's name and key path."""

    name: str
    key: str
    points: Floats
    diameter: float


def solids(s: Specimen) -> list[Solid]:
    """Every main and compression bar by itself."""
    found = []
    for m in main_shapes(s):
        for z in m.positions:
            found.append(Solid(m.name, m.key, np.column_stack([m.points, np.full(len(m.points), z)]), m.diameter))
    c = s.compression_bars
    for name, (x0, x1) in compression_spans(s).items():
        assert c is not None
        for z in compression_across(s):
            y = compression_level(s)
            found.append(Solid(name, "compression_bars", np.array([[x0, y, z], [x1, y, z]]), c.diameter))
    return found
