"""Figures of fields: cracks over principal tensile strain, and principal tension around the hooks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fesplice.algebra import principal
from fesplice.contracts import Floats
from fesplice.post.elevation.hooks import RADII, discs, station_tension
from fesplice.report import style
from fesplice.report.cracks import (
    concrete,
    crack_key,
    crack_table,
    cracks_of,
    draw_cracks,
    element_size,
    widest,
    widest_of,
)
from fesplice.report.dimensions import body
from fesplice.report.elevation.beam import beam_of, outline
from fesplice.report.figure import Panel
from fesplice.report.view import Stage, View, patches, window

_MARKS = ("lead", "tangent", "mid-bend", "bend-end", "tail-end")


# ------------------------------------------------------------------ cracks
def crack_map(view: View, folder: Path) -> list[Path]:
    """Cracks by their opening at each stage, over bars and faces."""
    beam = beam_of(view)
    stages, span, y = beam.stages(), beam.reach, beam.laid.y
    cracks = [cracks_of(view, s) for s in stages]
    most = widest(view, lambda v: beam_of(v).stages())
    unit, size = (span[1] - span[0]) / (style.WIDE - 16.0), element_size(view)
    height = (y[1] - y[0]) / unit
    with style.sheet(style.WIDE, len(stages) * (height + 6.5) + 14.0) as figure:
        rows = figure.subplots(len(stages), 1, squeeze=False)[:, 0]
        for axes, stage, c, mark in zip(rows, stages, cracks, style.MARKS):
            window(axes, span, y)
            concrete(axes, *_ground(view, span))
            draw_bars(axes, view, 0.5)
            draw_cracks(axes, c, size, unit)
            outline(axes, view, span)
            style.letter(axes, mark if len(stages) > 1 else "", f"{stage.title}, {widest_of(c)}")
            axes.set_ylabel("y (mm)")
            axes.tick_params(labelbottom=axes is rows[-1])
        rows[-1].set_xlabel("x from midspan (mm)")
        crack_key(figure, most, size, unit)
        return style.save(figure, folder, "cracks", {"": crack_table(stages, cracks)})


def _ground(view: View, x: tuple[float, float]) -> tuple[Any, Any, Any]:
    """Window of the concrete within ``x``, and its part that was cast later."""
    laid = beam_of(view).laid
    within = max(x[0], laid.x[0]), min(x[1], laid.x[1])
    return within, laid.y, (min(laid.joints), max(laid.joints)) if len(laid.joints) > 1 else None


# ------------------------------------------------------------------ principal tension
def principal_tension(view: View, folder: Path) -> list[Path]:
    """Principal tension around the hooks: value as colour, direction and size as strokes, stations as discs."""
    beam = beam_of(view)
    stages = list(beam.stages())
    stages = stages if stages[0].asked else [s for s in stages if s.name != "first loss"]
    x, y = beam.closure, beam.laid.y
    tensors = [view.elements.mean(view.points.values(view.fields(s.step), "stress")) for s in stages]
    seen = view.elements.inside(x)
    limit = _limit(view)
    top = style.ceiling(view.over(_limit))
    columns = len(stages)
    width = style.WIDE if columns > 1 else 0.72 * style.WIDE
    height = (y[1] - y[0]) * ((width - 13.0) / columns - 3.0) / (x[1] - x[0])
    with style.sheet(width, height + 29.0) as figure:
        row = figure.subplots(1, columns, squeeze=False, sharey=True)[0]
        shown = None
        for axes, stage, tensor, mark in zip(row, stages, tensors, style.MARKS):
            window(axes, x, y)
            major, _, angle = principal(tensor, engineering=False)
            shown = patches(axes, view.elements.corners[seen], major[seen], style.warm(), top)
            _strokes(axes, view, major, angle, seen, limit)
            draw_bars(axes, view, 0.0)
            outline(axes, view, x)
            _stations(axes, view)
            style.letter(axes, mark if columns > 1 else "", stage.title)
            axes.set_xlabel("x from midspan (mm)")
        row[0].set_ylabel("y (mm)")
        label = f"principal tension (MPa); f$_{{ct}}$ of the closure = {style.short(limit)} MPa"
        style.colour_bar(figure, shown, list(row), label, extend="max", location="bottom", aspect=50, fraction=0.06)
        tables = {"stations": _station_table(view, stages), "": _tension_table(view, stages, tensors, seen)}
        return style.save(figure, folder, "principal-tension", tables)


def _limit(view: View) -> float:
    """f_ct [MPa] of the closure, or of the only concrete."""
    strengths = beam_of(view).strengths
    return strengths.get("closure", strengths["precast"])


def _strokes(axes: Any, view: View, major: Floats, angle: Floats, seen: np.ndarray, limit: float) -> None:
    shown = seen & (major > 0.05 * limit)
    length = 0.95 * view.elements.size[shown] * np.minimum(major[shown] / limit, 1.0)
    half = 0.5 * length[:, None] * np.stack([np.cos(angle[shown]), np.sin(angle[shown])], axis=1)
    centre = view.elements.centre[shown]
    strokes = np.stack([centre - half, centre + half], axis=1)
    style.strokes(axes, strokes, {"edgecolor": style.INK, "linewidth": 0.55, "capstyle": "butt", "zorder": 3})


def draw_bars(axes: Any, view: View, weight: float) -> None:
    """Bars as thin lines of one weight [points], or at their true size when it is 0."""
    from matplotlib.collections import LineCollection, PolyCollection

    mesh = view.run.mesh
    main = [line for line in mesh.lines.values() if line.role == "main"]
    rest = [mesh.points[line.nodes] for line in mesh.lines.values() if line.role != "main"]
    if rest:
        axes.add_collection(LineCollection(rest, linewidths=0.4, colors=style.STEEL, zorder=2), autolim=False)
    paths = [mesh.points[line.nodes] for line in main]
    if weight > 0.0:
        lines = LineCollection(paths, linewidths=weight, colors="#3b6ea0", zorder=2.5)
        axes.add_collection(lines, autolim=False)
        return
    shapes = [body(path, line.diameter) for path, line in zip(paths, main)]
    # Half see-through, so that the field under a bar can still be read.
    solid = PolyCollection(shapes, facecolors="#ffffff88", edgecolors="#0b3c6f", linewidths=0.6, zorder=2.5)
    axes.add_collection(solid, autolim=False)


def _stations(axes: Any, view: View) -> None:
    from matplotlib.patches import Circle

    mesh = view.run.mesh
    halo = {"boxstyle": "round,pad=0.12", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}
    for station in mesh.stations:
        radius = RADII[0] * mesh.lines[station.line].diameter
        rim = {"edgecolor": style.INK, "linewidth": 0.7, "linestyle": (0, (3, 1.5))}
        axes.add_patch(Circle(station.xy, radius, fill=False, zorder=7, **rim))
        axes.plot(*station.xy, marker="+", markersize=3.5, markeredgewidth=0.8, color=style.INK, zorder=7)
        # The bars of both sides lie at one level: their names go above and below it.
        first = station.line == "A"
        axes.annotate(
            short_name(station.name), station.xy, xytext=(3.0, 3.5) if first else (-3.0, -3.5),
            textcoords="offset points", fontsize=7.0, ha="left" if first else "right", va="bottom" if first else "top",
            zorder=8, bbox=halo, annotation_clip=True,
        )  # fmt: skip


def short_name(station: str) -> str:
    """``A/mid-bend`` -> ``A3``: the line and the place along it; other places keep their words."""
    line, _, place = station.partition("/")
    return f"{line}{_MARKS.index(place) + 1}" if place in _MARKS else f"{line} {place}"


def station_key() -> str:
    """The places behind the numbers of :func:`short_name`, for captions."""
    return ", ".join(f"{k} {place}" for k, place in enumerate(_MARKS, start=1))


def _station_table(view: View, stages: list[Stage]) -> dict[str, list[Any]]:
    columns = ("stage", "step", "load_kN", "station", "radius_db", "x_mm", "y_mm", "radius_mm",
               "principal_tension_MPa", "angle_deg", "ratio_to_fct", "mean_positive_tension_MPa")  # fmt: skip
    table: dict[str, list[Any]] = {name: [] for name in columns}
    for diameters in RADII:
        around = discs(view.run.mesh, diameters, view.points)
        for stage in stages:
            fields, strengths = view.fields(stage.step), beam_of(view).strengths
            for t in station_tension(view.run.mesh, fields, strengths, diameters, around):
                row = (stage.name, stage.step, stage.load / 1e3, t.station, diameters, t.x, t.y, t.radius,
                       t.major, t.angle, t.ratio, t.positive)  # fmt: skip
                for name, value in zip(columns, row):
                    table[name].append(value)
    return table


def _tension_table(view: View, stages: list[Stage], tensors: list[Floats], seen: np.ndarray) -> dict[str, Any]:
    centre = view.elements.centre[seen]
    table: dict[str, Any] = {"x_mm": centre[:, 0], "y_mm": centre[:, 1]}
    for stage, tensor in zip(stages, tensors):
        major, minor, angle = principal(tensor[seen], engineering=False)
        table |= {
            f"step_{stage.step}_principal_tension_MPa": major,
            f"step_{stage.step}_principal_compression_MPa": minor,
            f"step_{stage.step}_direction_deg": np.degrees(angle),
        }
    return table


# ------------------------------------------------------------------ beside the plan
def _over(axes: Any, view: View, stage: Stage, unit: float) -> None:
    """Ground, bars and faces about the cracks."""
    x = beam_of(view).closure
    concrete(axes, *_ground(view, x))
    draw_bars(axes, view, 0.0)
    outline(axes, view, x)


PANEL = Panel(
    "Elevation", "y from the tension face (mm)", "", lambda view: (beam_of(view).closure, beam_of(view).laid.y), _over
)
