"""Drawing for CAD: elevation, plan and section at full size in millimetres, on layers, with dimensions.

The only place that talks to ezdxf. Bars are outlines of their true thickness; the tension face is at the
bottom of elevation and section. Views stand side by side: plan below the elevation, section to its right.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.geometry import bars
from fesplice.report.dimensions import body
from fesplice.sizing.cage import Piece, transverse_reach
from fesplice.store.folder import put_whole

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

# Layer: colour index (7 is black or white by the background) and line type.
LAYERS = {
    "CONCRETE": (7, "CONTINUOUS"), "CLOSURE": (8, "CONTINUOUS"), "JOINT": (1, "DASHED"), "PLATES": (8, "CONTINUOUS"),
    "BARS-A": (5, "CONTINUOUS"), "BARS-B": (30, "CONTINUOUS"), "BARS-C": (3, "CONTINUOUS"),
    "STIRRUPS": (8, "CONTINUOUS"), "CONFINEMENT": (6, "CONTINUOUS"), "DIMENSIONS": (7, "CONTINUOUS"),
    "TEXT": (7, "CONTINUOUS"),
}  # fmt: skip

_Point = tuple[float, float]


@dataclass(frozen=True)
class _View:
    """A view at an offset of the sheet; ``letter`` height of texts [mm]."""

    space: Any
    dx: float
    dy: float
    letter: float

    def line(self, points: Any, layer: str, close: bool = False) -> None:
        """A polyline (n, 2) in the view's own coordinates."""
        moved = [(float(x) + self.dx, float(y) + self.dy) for x, y in points]
        self.space.add_lwpolyline(moved, close=close, dxfattribs={"layer": layer})

    def box(self, x0: float, x1: float, y0: float, y1: float, layer: str) -> None:
        self.line([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], layer, close=True)

    def bar(self, points: Any, diameter: float, layer: str) -> None:
        """A bar at its true thickness."""
        self.line(body(np.asarray(points, float), diameter), layer, close=True)

    def dot(self, x: float, y: float, diameter: float, layer: str) -> None:
        self.space.add_circle((x + self.dx, y + self.dy), 0.5 * diameter, dxfattribs={"layer": layer})

    def text(self, x: float, y: float, words: str, scale: float = 1.0) -> None:
        attributes = {"layer": "TEXT", "height": scale * self.letter, "insert": (x + self.dx, y + self.dy)}
        self.space.add_text(words, dxfattribs=attributes)

    def across(self, x0: float, x1: float, y: float, at: float) -> None:
        """Horizontal dimension of x0..x1, measured at height ``at``, its line at ``y``."""
        self._dimension((x0, at), (x1, at), (x0, y), 0.0)

    def upward(self, y0: float, y1: float, x: float, at: float) -> None:
        """Vertical dimension of y0..y1, measured at ``at``, its line at ``x``."""
        self._dimension((at, y0), (at, y1), (x, y0), 90.0)

    def _dimension(self, p1: _Point, p2: _Point, base: _Point, angle: float) -> None:
        shift = np.array([self.dx, self.dy])
        made = self.space.add_linear_dim(
            base=tuple(np.array(base) + shift), p1=tuple(np.array(p1) + shift), p2=tuple(np.array(p2) + shift),
            angle=angle, dimstyle="SPLICE", dxfattribs={"layer": "DIMENSIONS"},
        )  # fmt: skip
        made.render()


def write_dxf(s: Specimen, pieces: tuple[Piece, ...], path: Path) -> Path:
    """Write the drawing of ``s`` as DXF (R2010, millimetres); :class:`FolderFault` when the disk refuses."""
    import ezdxf

    document = ezdxf.new("R2010", setup=["linetypes"])  # type: ignore[attr-defined]
    document.units = 4  # millimetres
    for name, (colour, kind) in LAYERS.items():
        document.layers.add(name, color=colour, linetype=kind)
    letter = max(s.body.depth, s.body.width) / 24.0
    style = document.dimstyles.new("SPLICE")
    style.dxf.dimtxt, style.dxf.dimasz, style.dxf.dimexe, style.dxf.dimexo = letter, letter, 0.4 * letter, 0.6 * letter
    style.dxf.dimgap, style.dxf.dimdec, style.dxf.dimtad, style.dxf.dimzin = 0.4 * letter, 1, 1, 8
    space = document.modelspace()
    half, wide = bars.half_length(s), s.body.width
    _elevation(s, _View(space, 0.0, 0.0, letter))
    _plan(s, _View(space, 0.0, -(12.0 * letter + 0.5 * wide + 6.0 * letter), letter))
    _section(s, _View(space, half + 10.0 * letter + 0.5 * wide, 0.0, letter))
    _list(pieces, _View(space, half + 10.0 * letter, -12.0 * letter, letter))
    text = io.StringIO(newline="")
    document.write(text)
    return put_whole(path, document.encode(text.getvalue()))


# ------------------------------------------------------------------ views
def _elevation(s: Specimen, v: _View) -> None:
    half, depth, h = bars.half_length(s), s.body.depth, v.letter
    v.box(-half, half, 0.0, depth, "CONCRETE")
    for x in bars.joint_positions(s):
        v.line([(x, 0.0), (x, depth)], "JOINT")
    plate, thick = 0.5 * s.body.plate_length, s.body.plate_thickness
    span = 0.5 * s.body.span
    for x in (-span, span):
        v.box(x - plate, x + plate, -thick, 0.0, "PLATES")
    for x in bars.load_positions(s):
        v.box(x - plate, x + plate, depth, depth + thick, "PLATES")
        v.text(x + 0.3 * h, depth + thick + 0.5 * h, "P")
    if s.stirrups is not None:
        low, high = s.stirrups.cover, depth - s.stirrups.cover
        for x in bars.stirrup_positions(s):
            v.bar([(x, low), (x, high)], s.stirrups.diameter, "STIRRUPS")
    for name, (x0, x1) in bars.compression_spans(s).items():
        assert s.compression_bars is not None
        y = bars.compression_level(s)
        v.bar([(x0, y), (x1, y)], s.compression_bars.diameter, "BARS-C")
        v.text(0.5 * (x0 + x1), y + 0.4 * h, "C" if name else "")
    for shape in bars.main_shapes(s):
        v.bar(shape.points, shape.diameter, f"BARS-{shape.name}")
        v.text(float(shape.points[0, 0]) + shape.side * 4.0 * h, float(shape.points[0, 1]) + 1.2 * h, shape.name)
    _elevation_confinement(s, v)
    v.text(-half, depth + 5.0 * h, f"{s.name}: elevation, tension face at the bottom, mm", 1.3)
    marks = [-span, *bars.load_positions(s), span]
    for x0, x1 in zip(marks[:-1], marks[1:]):
        v.across(x0, x1, -4.0 * h, -thick)
    v.across(-half, half, -6.5 * h, 0.0)
    v.upward(0.0, depth, -half - 3.0 * h, -half)
    y = bars.level(s, s.bars.left)
    v.upward(y, depth, -half - 6.0 * h, -half)
    if s.body.closure > 0.0:
        c = 0.5 * s.body.closure
        v.across(-c, c, depth + 2.5 * h, depth)
    if s.bars.splice != "continuous":
        v.across(*bars.bar_ends(s), -1.8 * h, 0.0)
    for shape in bars.main_shapes(s):
        if shape.bend is not None:
            x0, x1, low, high = shape.outside
            beside = (x1 if shape.side > 0.0 else x0) - shape.side * 4.5 * h
            v.upward(low, high, beside, float(shape.points[-1, 0]))


def _elevation_confinement(s: Specimen, v: _View) -> None:
    c = s.confinement
    for x in bars.confinement_positions(s):
        for _, _, y0, y1 in bars.confinement_loops(s, 1.0 if c.upright else 0.5)[:1]:
            if c.upright:
                v.bar([(x, y0), (x, y1)], c.diameter, "CONFINEMENT")
            else:
                v.dot(x, y0, c.diameter, "CONFINEMENT")
                v.dot(x, y1, c.diameter, "CONFINEMENT")
    for station in bars.stations(s):
        if station.name.endswith("/transverse-bar"):
            v.dot(*station.xy, c.diameter, "CONFINEMENT")


def _plan(s: Specimen, v: _View) -> None:
    half, side, h = bars.half_length(s), 0.5 * s.body.width, v.letter
    v.box(-half, half, -side, side, "CONCRETE")
    for x in bars.joint_positions(s):
        v.line([(x, -side), (x, side)], "JOINT")
    shapes = bars.main_shapes(s)
    for shape in shapes:
        x0, x1, _, _ = shape.outside
        for z in shape.positions:
            v.bar([(x0, z), (x1, z)], shape.diameter, f"BARS-{shape.name}")
            if shape.bend is not None:
                v.dot(float(shape.points[-1, 0]), z, shape.diameter, f"BARS-{shape.name}")
    if s.stirrups is not None:
        edge = side - s.stirrups.cover
        for x in bars.stirrup_positions(s):
            v.bar([(x, -edge), (x, edge)], s.stirrups.diameter, "STIRRUPS")
    c = s.confinement
    for x in bars.confinement_positions(s):
        for z0, z1, *_ in bars.confinement_loops(s, 1.0):
            v.bar([(x, z0), (x, z1)], c.diameter, "CONFINEMENT")
    for station in bars.stations(s):
        if station.name.endswith("/transverse-bar"):
            edge = transverse_reach(s)
            v.bar([(station.xy[0], -edge), (station.xy[0], edge)], c.diameter, "CONFINEMENT")
    v.text(-half, side + 2.0 * h, "plan at bar level", 1.3)
    marks = sorted({-side, *(z for m in shapes for z in m.positions), side})
    for z0, z1 in zip(marks[:-1], marks[1:]):
        v.upward(z0, z1, -half - 3.0 * h, -half)
    v.upward(-side, side, -half - 6.0 * h, -half)
    places = bars.confinement_positions(s)
    if len(places) > 1:
        v.across(places[0], places[1], -side - 2.0 * h, -side)
        v.across(places[0], places[-1], -side - 4.5 * h, -side)
    if s.body.closure > 0.0:
        v.across(-0.5 * s.body.closure, 0.5 * s.body.closure, side + 2.0 * h, side)


def _section(s: Specimen, v: _View) -> None:
    side, depth, h = 0.5 * s.body.width, s.body.depth, v.letter
    v.box(-side, side, 0.0, depth, "CONCRETE")
    shapes = bars.main_shapes(s)
    for shape in shapes:
        y = float(shape.points[0, 1])
        for z in shape.positions:
            v.dot(z, y, shape.diameter, f"BARS-{shape.name}")
            if shape.bend is not None:
                _, _, low, high = shape.outside
                v.box(z - 0.5 * shape.diameter, z + 0.5 * shape.diameter, low, high, f"BARS-{shape.name}")
            v.text(z - 0.3 * h, y - shape.diameter - 1.0 * h, shape.name)
    if s.compression_bars is not None:
        for z in bars.compression_across(s):
            v.dot(z, bars.compression_level(s), s.compression_bars.diameter, "BARS-C")
    c = s.confinement
    held = c if c.upright else s.stirrups
    if held is not None:
        layer = "CONFINEMENT" if c.upright else "STIRRUPS"
        for inset in (held.cover, held.cover + held.diameter):
            v.box(-side + inset, side - inset, inset, depth - inset, layer)
        for z in bars.leg_positions(s.body.width, held.cover, held.diameter, held.legs)[1:-1]:
            v.bar([(z, held.cover), (z, depth - held.cover)], held.diameter, layer)
    if not c.upright:
        for inner, outer in zip(bars.confinement_loops(s, 0.0), bars.confinement_loops(s, 1.0)):
            v.box(*inner, "CONFINEMENT")
            v.box(*outer, "CONFINEMENT")
    for station in bars.stations(s)[-1:]:
        if station.name.endswith("/transverse-bar"):
            edge = transverse_reach(s)
            v.bar([(-edge, station.xy[1]), (edge, station.xy[1])], c.diameter, "CONFINEMENT")
    v.text(-side, depth + 5.0 * h, "section at the lap", 1.3)
    marks = sorted({-side, *(z for m in shapes for z in m.positions), side})
    for k, (z0, z1) in enumerate(zip(marks[:-1], marks[1:])):
        v.across(z0, z1, -(2.0 + 2.2 * (k % 2)) * h, 0.0)
    v.across(-side, side, -6.8 * h, 0.0)
    v.upward(0.0, depth, side + 3.0 * h, side)
    v.upward(0.0, float(shapes[0].points[0, 1]), side + 6.0 * h, side)


def _list(pieces: tuple[Piece, ...], v: _View) -> None:
    """The schedule in words."""
    h = v.letter
    v.text(0.0, 0.0, "bar schedule (out to out, mm)", 1.3)
    for k, p in enumerate(pieces):
        sides = ", ".join(f"{name} {length:.0f}" for _, name, length in p.dimensions)
        words = f"{p.mark}: {p.number} x {p.size}, {p.shape}, {sides}, cut {p.cut:.0f}"
        v.text(0.0, -(k + 1) * 2.2 * h, words)
