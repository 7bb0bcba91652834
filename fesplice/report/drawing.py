"""Specimen drawing: the whole beam, the lap in elevation, section and plan, and a schedule of its parts.

Drawn from the same centre lines the mesh is made from, so what is shown is what is analysed.
The tension face is always at the bottom; an arrow tells which way gravity acts.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.geometry import bars
from fesplice.geometry.planes import elevation
from fesplice.report import style
from fesplice.report.dimensions import (
    Panel,
    across,
    arrow,
    bar,
    box,
    broken,
    closed,
    dot,
    leader,
    panel,
    support,
    upward,
)
from fesplice.report.schedule import schedule
from fesplice.report.style import CLOSURE, CONCRETE, FAMILY, INK, QUIET, STEEL
from fesplice.sizing.cage import transverse_reach

if TYPE_CHECKING:
    from fesplice.geometry.bars import Shape
    from fesplice.geometry.planes import Plane
    from fesplice.specimen import Specimen

_EDGE = 6.0  # paper mm kept free around the sheet
_ROW = 5.2  # paper mm between rows of dimensions


@dataclass(frozen=True)
class _Lap:
    """The stretch of beam shown large: x from ``x0`` to ``x1`` [mm], at ``unit`` specimen mm per paper mm."""

    x0: float
    x1: float
    unit: float


def specimen_drawing(specimen: Specimen, folder: Path, name: str = "specimen") -> list[Path]:
    """Draw ``specimen`` to PNG, PDF, SVG, with the bars and the dimensions as CSV.

    Raises :class:`InputFault` when the bars clash.
    """
    s, plane = specimen, elevation(specimen)
    shapes = bars.main_shapes(s)
    wide = style.WIDE - 2.0 * _EDGE
    length = 2.0 * bars.half_length(s)
    beam_unit = max((length + 2.0 * s.body.plate_length) / wide, s.body.depth / 32.0)
    lap = _lap(s)
    depth, width = s.body.depth / lap.unit, s.body.width / lap.unit
    heights = {"beam": s.body.depth / beam_unit + 33.0, "lap": depth + 21.0, "plan": max(width + 17.0, 52.0)}
    total = sum(heights.values()) + 8.0
    with style.sheet(style.WIDE, total, free=True) as figure:
        top = total - 7.0
        name_at = (_EDGE / style.WIDE, (total - 1.5) / total)
        figure.text(*name_at, style.plain(s.name), fontsize=9, fontweight="bold", va="top")
        figure.text(
            1.0 - _EDGE / style.WIDE, (total - 1.8) / total, "Dimensions in mm; tension face at the bottom",
            fontsize=7, color=QUIET, va="top", ha="right",
        )  # fmt: skip
        _beam(figure, top - heights["beam"], heights["beam"], beam_unit, s, plane)
        top -= heights["beam"]
        _lap_elevation(figure, top - heights["lap"], heights["lap"], lap, s, plane, shapes)
        _section(figure, top - heights["lap"], heights["lap"], lap, s, shapes)
        top -= heights["lap"]
        _plan(figure, top - heights["plan"], heights["plan"], lap, s, shapes)
        left = _EDGE + 9.0 + (lap.x1 - lap.x0) / lap.unit + 9.0
        _schedule(figure, left, top - heights["plan"], style.WIDE - left - 2.0, heights["plan"], s)
        tables = {"bars": _bar_table(s), "schedule": _schedule_table(s)}
        return style.save(figure, folder, name, tables)


def _where(s: Specimen) -> str:
    return "Midspan" if s.bars.splice == "continuous" else "Lap"


def _lap(s: Specimen) -> _Lap:
    half = max(0.5 * s.body.closure, *(abs(x) for x in bars.bar_ends(s)))
    half = half + 0.30 * s.body.depth if half > 0.0 else s.body.depth
    half = min(half, bars.half_length(s))
    free = style.WIDE - 2.0 * _EDGE - 9.0 - 26.0
    # The section stands beside the lap at the same scale; neither may outgrow the page in height.
    unit = max((2.0 * half + s.body.width) / free, s.body.depth / 85.0, s.body.width / 75.0)
    return _Lap(-half, half, unit)


# ------------------------------------------------------------------ whole beam
def _beam(figure: Any, bottom: float, height: float, unit: float, s: Specimen, plane: Plane) -> None:
    half, depth = bars.half_length(s), s.body.depth
    centre = 0.5 * style.WIDE * unit
    p = panel(figure, 0.0, bottom, style.WIDE, height, (-centre, -20.0 * unit), unit)
    p.axes.text(-centre + _EDGE * unit, depth + 9.5 * unit, "a  Beam", fontsize=8.5, fontweight="bold")
    _concrete(p, plane)
    for path in plane.paths:
        _line(p, path.points, path.role, path.name, 0.9)
    for block in plane.plates:
        box(p, block.x0, block.x1, block.y0, block.y1, facecolor=STEEL, zorder=4)
    for point in plane.points:
        if point.name.startswith("support"):
            support(p, point.x, point.y, point.name == "support:left")
        else:
            arrow(p, (point.x, point.y + 7.5 * unit), (point.x, point.y))
            p.axes.text(point.x + 1.2 * unit, point.y + 5.0 * unit, "P", fontsize=8, fontstyle="italic", va="center")
    reach = (20.0 - 12.5) * unit
    span, loads = 0.5 * s.body.span, bars.load_positions(s)
    marks = [-span, *loads, span]
    y = -11.0 * unit
    for x0, x1 in zip(marks[:-1], marks[1:]):
        across(p, x0, x1, y, f"{x1 - x0:.0f}", reach=2.5 * unit)
    across(p, -span, span, y - _ROW * unit, style.plain(f"span {s.body.span:.0f}"), reach=reach)
    for x0, x1 in ((-half, -span), (span, half)):
        across(p, x0, x1, y - _ROW * unit, f"{half - span:.0f}", reach=reach)
    if s.body.closure > 0.0:
        c = 0.5 * s.body.closure
        across(p, -c, c, depth + 3.5 * unit, f"closure {s.body.closure:.0f}", reach=-2.5 * unit, level=True)
    upward(p, -half - 3.5 * unit, 0.0, depth, f"{depth:.0f}", reach=2.5 * unit)
    _gravity(p, half - 4.0 * unit, depth, s)


def _gravity(p: Panel, x: float, depth: float, s: Specimen) -> None:
    if not s.loading.self_weight:
        return
    low, high = depth + 1.5 * p.unit, depth + 6.5 * p.unit
    ends = ((x, high), (x, low)) if s.loading.tension_face == "down" else ((x, low), (x, high))
    arrow(p, *ends, color=QUIET, linewidth=0.8)
    p.axes.text(x + 1.2 * p.unit, 0.5 * (low + high), "g", fontsize=8, fontstyle="italic", color=QUIET, va="center")


# ------------------------------------------------------------------ lap in elevation
def _lap_elevation(
    figure: Any, bottom: float, height: float, lap: _Lap, s: Specimen, plane: Plane, shapes: tuple[Shape, ...]
) -> None:
    u, depth = lap.unit, s.body.depth
    width = (lap.x1 - lap.x0) / u
    p = panel(figure, _EDGE + 9.0, bottom, width, height, (lap.x0, -13.0 * u), u)
    p.axes.text(lap.x0 - 9.0 * u, depth + 5.5 * u, f"b  {_where(s)}, elevation", fontsize=8.5, fontweight="bold")
    _concrete(p, plane, clip=(lap.x0, lap.x1))
    for path in plane.paths:
        if path.role == "main":
            colour = FAMILY[path.name]["color"]
            bar(p, path.points, path.diameter, facecolor=colour, edgecolor="white", linewidth=0.4, zorder=4)
        else:
            bar(p, path.points, path.diameter, facecolor=STEEL, linewidth=0.3, zorder=3)
    for station in plane.stations:
        if station.name.endswith("/transverse-bar"):
            dot(p, station.xy, s.confinement.diameter, facecolor="white", linewidth=0.8, zorder=5)
    _tie_marks(p, s)
    for x in (lap.x0, lap.x1):
        if abs(x) < bars.half_length(s) - 1.0:
            broken(p, x, 0.0, depth)
    y = -4.5 * u
    if s.bars.splice != "continuous":
        across(p, *bars.bar_ends(s), y, f"lap {s.bars.lap:.0f}", reach=4.5 * u + 0.12 * depth)
    if s.body.closure > 0.0:
        c = 0.5 * s.body.closure
        across(p, -c, c, y - _ROW * u, f"closure {s.body.closure:.0f}", reach=_ROW * u + 2.5 * u)
    left = s.bars.left
    upward(p, lap.x0 - 3.5 * u, depth - left.depth, depth, f"d = {left.depth:.0f}", reach=3.0 * u)
    for shape in shapes:
        _hook_notes(p, s, shape, lap)


def _hook_notes(p: Panel, s: Specimen, shape: Shape, lap: _Lap) -> None:
    row = s.bars.left if shape.name == "A" else (s.bars.right or s.bars.left)
    side, u, first = shape.side, lap.unit, shape.name == "A"
    word = f"{shape.name}: {row.number} × {style.plain(row.size)}"
    colour = FAMILY[shape.name]["color"]
    align = "right" if side > 0 else "left"
    behind = {"facecolor": CLOSURE if s.body.closure > 0.0 else CONCRETE, "edgecolor": "none", "pad": 0.4}
    y = float(shape.points[0, 1])
    if shape.bend is None or row.hook is None:
        x = 0.0 if s.bars.splice == "continuous" else float(shape.points[-1, 0]) - side * 6.0 * u
        to = (x - side * 3.0 * u, y + (6.0 if first else 11.0) * u)
        leader(p, (x, y), to, word, ha=align, color=colour, bbox=behind)
        return
    up = 1.0 if row.hook.orientation == "compression" else -1.0
    end = shape.points[-1]
    foot = shape.points[-2]
    at = foot + (0.82 if first else 0.66) * (end - foot)
    to = (float(at[0]) - side * (3.0 if first else 8.0) * u, float(at[1]))
    if row.hook.angle != 90.0:
        to = (float(at[0]) + side * 2.0 * u, float(at[1]) + (5.0 if first else 9.0) * up * u)
    leader(p, (float(at[0]), float(at[1])), to, word, ha=align, color=colour, bbox=behind)
    if first:
        turn = np.array([side, -up]) * np.sqrt(0.5)
        inside = np.array(shape.bend) + turn * 0.5 * row.hook.bend_diameter
        to = (float(shape.bend[0]) - side * 2.0 * u, float(shape.bend[1]) + 2.0 * u * up)
        word = f"bend ⌀ {row.hook.bend_diameter:.0f}"
        leader(p, (float(inside[0]), float(inside[1])), to, word, ha=align, bbox=behind)
    elif row.hook.angle == 90.0:
        x = float(end[0]) - side * 3.0 * u
        low, high = sorted((float(foot[1]), float(end[1])))
        upward(p, x, low, high, f"tail {row.hook.tail:.0f}", reach=side * 2.4 * u, left=side > 0)


def _tie_marks(p: Panel, s: Specimen) -> None:
    """A tie shows its bars above and below the pair, end on; upright legs are paths of the elevation."""
    ends = () if s.confinement.upright else bars.confinement_loops(s, 0.5)[:1]
    for x in bars.confinement_positions(s):
        for y in (y for _, _, *sides in ends for y in sides):
            dot(p, (x, y), s.confinement.diameter, facecolor="white", linewidth=0.6, zorder=5)


# ------------------------------------------------------------------ section at the lap
def _section(figure: Any, bottom: float, height: float, lap: _Lap, s: Specimen, shapes: tuple[Shape, ...]) -> None:
    u, depth, half = lap.unit, s.body.depth, 0.5 * s.body.width
    left = _EDGE + 9.0 + (lap.x1 - lap.x0) / u + 12.0
    p = panel(figure, left, bottom, 2.0 * half / u, height, (-half, -13.0 * u), u)
    p.axes.text(-half, depth + 5.5 * u, f"c  {_where(s)}, section", fontsize=8.5, fontweight="bold")
    box(p, -half, half, 0.0, depth, facecolor=CLOSURE if s.body.closure > 0.0 else CONCRETE, linewidth=0.9, zorder=1)
    for shape in shapes:
        colour = FAMILY[shape.name]["color"]
        y = float(shape.points[0, 1])
        for z in shape.positions:
            if shape.bend is not None:
                low, high = sorted((y, float(shape.points[-1, 1])))
                r = 0.5 * shape.diameter
                dashed = {"edgecolor": colour, "linewidth": 0.5, "linestyle": (0, (3, 1.5))}
                box(p, z - r, z + r, low, high, facecolor="white", zorder=2, **dashed)
            dot(p, (z, y), shape.diameter, facecolor=colour, edgecolor="white", linewidth=0.3, zorder=5)
            top = max(y, float(shape.points[-1, 1])) + (0.6 * u if shape.bend else shape.diameter)
            p.axes.text(z, top, shape.name, fontsize=7, color=colour, ha="center", va="bottom", zorder=7)
    _section_steel(p, s)
    y = -4.5 * u
    marks = sorted({*(z for m in shapes for z in m.positions)})
    reach = 4.5 * u + float(shapes[0].points[0, 1])
    for z0, z1 in zip(marks[:-1], marks[1:]):
        across(p, z0, z1, y, f"{z1 - z0:.0f}", reach=reach)
    across(p, -half, half, y - _ROW * u, f"{s.body.width:.0f}", reach=_ROW * u + 2.5 * u)
    upward(p, half + 3.5 * u, 0.0, depth, f"{depth:.0f}", reach=-2.5 * u, left=False)


def _section_steel(p: Panel, s: Specimen) -> None:
    spans = bars.compression_spans(s)
    if s.compression_bars is not None and "C" in spans:
        y = bars.compression_level(s)
        for z in bars.compression_across(s):
            dot(p, (z, y), s.compression_bars.diameter, facecolor=STEEL, linewidth=0.5, zorder=5)
    c = s.confinement
    for z0, z1, y0, y1 in bars.confinement_loops(s, 0.5):
        # ties close about the bars round, stirrups with bends of their own
        closed(p, z0, z1, y0, y1, 2.0 * c.diameter if c.upright else 0.5 * (y1 - y0), c.diameter)
        for z in c.legs_across(s.body.width)[1:-1]:
            bar(p, np.array([[z, y0], [z, y1]]), c.diameter, facecolor=STEEL, linewidth=0.3, zorder=3)
    station = next((t for t in bars.stations(s) if t.name.endswith("/transverse-bar")), None)
    if station is not None:
        edge = transverse_reach(s)
        line = np.array([[-edge, station.xy[1]], [edge, station.xy[1]]])
        bar(p, line, c.diameter, facecolor="white", linewidth=0.6, zorder=6)


# ------------------------------------------------------------------ plan of the lap
def _plan(figure: Any, bottom: float, height: float, lap: _Lap, s: Specimen, shapes: tuple[Shape, ...]) -> None:
    u, half = lap.unit, 0.5 * s.body.width
    p = panel(figure, _EDGE + 9.0, bottom, (lap.x1 - lap.x0) / u, height, (lap.x0, half + 8.0 * u - height * u), u)
    p.axes.text(lap.x0 - 9.0 * u, half + 3.0 * u, f"d  {_where(s)}, plan at bar level", fontsize=8.5, fontweight="bold")
    c = 0.5 * s.body.closure
    box(p, lap.x0, lap.x1, -half, half, facecolor=CONCRETE, edgecolor="none", zorder=0.9)
    box(p, -c, c, -half, half, facecolor=CLOSURE, edgecolor="none", zorder=1)
    for z in (-half, half):
        p.axes.plot([lap.x0, lap.x1], [z, z], color=INK, linewidth=0.9, zorder=2)
    for x in bars.joint_positions(s):
        p.axes.plot([x, x], [-half, half], color=INK, linewidth=1.3, linestyle=(0, (4, 1.5)), zorder=2)
    for shape in shapes:
        _plan_bars(p, shape)
    _plan_confinement(p, s)
    for x in (lap.x0, lap.x1):
        if abs(x) < bars.half_length(s) - 1.0:
            broken(p, x, -half, half)
    marks = sorted({-half, *(z for m in shapes for z in m.positions), half})
    for z0, z1 in zip(marks[:-1], marks[1:]):
        upward(p, lap.x0 - 3.5 * u, z0, z1, f"{z1 - z0:.0f}", reach=2.0 * u)
    if len(x := bars.confinement_positions(s)) > 1:
        word = f"{s.confinement.number} sets @ {s.confinement.spacing:.0f}"
        across(p, x[0], x[-1], -half - 3.5 * u, word, reach=2.5 * u)
    for x in bars.joint_positions(s):
        at = (x + np.sign(x) * 1.5 * u, -half - 1.0 * u)
        p.axes.text(*at, "joint face", fontsize=7, color=QUIET, ha="right" if x < 0 else "left", va="top")


def _plan_bars(p: Panel, shape: Shape) -> None:
    colour = FAMILY[shape.name]["color"]
    x = shape.points[:, 0]
    for z in shape.positions:
        line = np.array([[x.min(), z], [x.max(), z]])
        bar(p, line, shape.diameter, facecolor=colour, edgecolor="white", linewidth=0.3, zorder=4)
        if shape.bend is not None:
            # the tail, seen end on
            at = (float(shape.points[-1, 0]), z)
            dot(p, at, shape.diameter, facecolor="white", edgecolor=colour, linewidth=1.0, zorder=5)


def _plan_confinement(p: Panel, s: Specimen) -> None:
    loops = bars.confinement_loops(s, 1.0)
    lines = [((x, z0), (x, z1)) for x in bars.confinement_positions(s) for z0, z1, *_ in loops]
    edge = transverse_reach(s)
    lines += [((t.xy[0], -edge), (t.xy[0], edge)) for t in bars.stations(s) if t.name.endswith("/transverse-bar")]
    for line in lines:
        bar(p, np.array(line), s.confinement.diameter, facecolor="white", linewidth=0.6, zorder=6)


# ------------------------------------------------------------------ schedule and tables
def _schedule(figure: Any, left: float, bottom: float, width: float, height: float, s: Specimen) -> None:
    p = panel(figure, left, bottom, width, height, (0.0, 0.0), 1.0)
    rows = schedule(s)
    step = min(4.1, (height - 8.0) / max(1, sum(1 + text.count("\n") for _, text in rows)))
    y = height - 5.0
    p.axes.text(0.0, y, "e  Schedule", fontsize=8.5, fontweight="bold", va="baseline")
    y -= 4.6
    for label, text in rows:
        p.axes.text(0.0, y, label, fontsize=7, color=QUIET, va="baseline")
        for part in text.split("\n"):
            p.axes.text(19.0, y, style.plain(part), fontsize=7, va="baseline")
            y -= step


def _schedule_table(s: Specimen) -> dict[str, list[str]]:
    rows = schedule(s)
    return {"part": [a for a, _ in rows], "value": [b.replace("\n", "; ") for _, b in rows]}


def _bar_table(s: Specimen) -> dict[str, list[Any]]:
    """Centre line of every main and compression bar in space."""
    table: dict[str, list[Any]] = {k: [] for k in ("line", "bar", "x_mm", "y_mm", "z_mm", "diameter_mm")}
    for number, solid in enumerate(bars.solids(s), start=1):
        for x, y, z in solid.points.tolist():
            for column, value in zip(table, (solid.name, number, x, y, z, float(solid.diameter))):
                table[column].append(value)
    return table


# ------------------------------------------------------------------ strokes
def _concrete(p: Panel, plane: Plane, clip: tuple[float, float] | None = None) -> None:
    for block in plane.body:
        x0, x1 = (max(block.x0, clip[0]), min(block.x1, clip[1])) if clip else (block.x0, block.x1)
        colour = CLOSURE if block.part == "closure" else CONCRETE
        box(p, x0, x1, block.y0, block.y1, facecolor=colour, edgecolor="none", zorder=1)
        for y in (block.y0, block.y1):
            p.axes.plot([x0, x1], [y, y], color=INK, linewidth=0.9, zorder=2)
    ends = (plane.body[0].x0, plane.body[-1].x1)
    for x in ends:
        if clip is None or clip[0] - 1e-6 <= x <= clip[1] + 1e-6:
            p.axes.plot([x, x], [plane.body[0].y0, plane.body[0].y1], color=INK, linewidth=0.9, zorder=2)
    for j in plane.joints:
        p.axes.plot([j.x, j.x], [j.y0, j.y1], color=INK, linewidth=1.3, linestyle=(0, (4, 1.5)), zorder=2)


def _line(p: Panel, points: np.ndarray, role: str, name: str, weight: float) -> None:
    if role == "main":
        p.axes.plot(*points.T, linewidth=weight + 0.5, zorder=4, **FAMILY[name])
    else:
        p.axes.plot(*points.T, color=STEEL, linewidth=weight if role == "compression" else 0.6, zorder=3)
