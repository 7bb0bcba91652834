"""Figures of fields: cracks over principal tensile strain, and principal tension around the hooks."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.algebra import principal
from fesplice.contracts import Floats
from fesplice.post.concrete import HAIRLINE
from fesplice.post.elevation.hooks import RADII, discs, station_tension
from fesplice.report import style
from fesplice.report.dimensions import body
from fesplice.report.view import Stage, View, outline, patches, window

_MARKS = ("lead", "tangent", "mid-bend", "bend-end", "tail-end")
# Line weights of the widest crack shown, and the least that prints [points].
_HEAVIEST, _LIGHTEST = 2.6, 0.25


# ------------------------------------------------------------------ cracks
@dataclass(frozen=True)
class Cracks:
    """Crack segments, one per element or joint face: ends (n, 2, 2) [mm], width (n,) [mm], angle (n,) [deg]."""

    ends: Floats
    width: Floats
    angle: Floats


def crack_map(view: View, folder: Path, step: int | None = None) -> list[Path]:
    """Cracks, as heavy as they are wide, over the principal tensile strain at each stage."""
    stages = view.stages(step)
    span = _reach(view)
    y = view.plan.y
    strain = [major(view, s, "strain") for s in stages]
    cracks = [cracks_of(view, s) for s in stages]
    seen = view.elements.inside(span)
    widest = max((float(c.width.max(initial=0.0)) for c in cracks), default=0.0)
    top = style.ceiling(max(1e3 * max(float(np.quantile(e[seen], 0.99)) for e in strain), 0.1))
    height = (y[1] - y[0]) * (style.WIDE - 26.0) / (span[1] - span[0])
    with style.sheet(style.WIDE, len(stages) * (height + 6.5) + 14.0) as figure:
        rows = figure.subplots(len(stages), 1, squeeze=False)[:, 0]
        shown = None
        for axes, stage, e, c, mark in zip(rows, stages, strain, cracks, "abc"):
            window(axes, span, y)
            shown = patches(axes, view.elements.corners[seen], 1e3 * e[seen], style.pale(), top)
            draw_bars(axes, view, 0.5)
            draw_cracks(axes, c, widest)
            outline(axes, view, span)
            style.letter(axes, mark if len(stages) > 1 else "", f"{stage.title}, {widest_of(c)}")
            axes.set_ylabel("y (mm)")
            axes.tick_params(labelbottom=axes is rows[-1])
        rows[-1].set_xlabel("x from midspan (mm)")
        style.colour_bar(figure, shown, list(rows), "principal tensile strain (‰)", extend="max")
        crack_key(figure, widest)
        tables = {"strain": strain_table(view, stages, strain, seen), "": crack_table(stages, cracks)}
        return style.save(figure, folder, "cracks", tables)


def _reach(view: View) -> tuple[float, float]:
    """The beam between the loads and one depth beyond, where bending cracks form; all of a short beam."""
    low, high = view.plan.x
    depth = view.plan.y[1] - view.plan.y[0]
    if high - low < 6.0 * depth:
        return low, high
    mesh = view.run.mesh
    loads = [float(mesh.points[nodes, 0].mean()) for name, nodes in mesh.node_sets.items() if name.startswith("load:")]
    ends = [*loads, *view.plan.joints]
    return max(low, min(ends) - depth), min(high, max(ends) + depth)


def major(view: View, stage: Stage, quantity: str) -> Floats:
    """Major principal value of the elements' mean tensors."""
    tensor = view.elements.mean(view.points.values(view.fields(stage.step), quantity))
    return principal(tensor, engineering=quantity == "strain")[0]


def cracks_of(view: View, stage: Stage) -> Cracks:
    """One crack per element: its points lie in one crack band, so their widths are averaged, not added."""
    fields, elements = view.fields(stage.step), view.elements
    strain, normal, band = view.points.values(fields, "crack").T
    opening = np.maximum(strain, 0.0) * band
    width = elements.mean(opening)
    # A normal and its opposite are one crack: directions are averaged at twice their angle.
    twice = np.arctan2(elements.mean(opening * np.sin(2.0 * normal)), elements.mean(opening * np.cos(2.0 * normal)))
    along = 0.5 * twice + 0.5 * np.pi
    keep = width >= HAIRLINE
    half = 0.5 * elements.size[keep, None] * np.stack([np.cos(along[keep]), np.sin(along[keep])], axis=1)
    centre = elements.centre[keep]
    ends = [np.stack([centre - half, centre + half], axis=1)]
    widths = [width[keep]]
    for name, g in view.run.mesh.of_kind("joint").items():
        gap = np.asarray(fields[f"{name}/opening"], float).mean(axis=1)
        ends.append(view.run.mesh.points[g.cells[:, :2]][gap >= HAIRLINE])
        widths.append(gap[gap >= HAIRLINE])
    segments, width = np.concatenate(ends), np.concatenate(widths)
    run = segments[:, 1] - segments[:, 0]
    angle = (np.degrees(np.arctan2(run[:, 1], run[:, 0])) + 90.0) % 180.0 - 90.0
    return Cracks(segments, width, angle)


def draw_cracks(axes: Any, cracks: Cracks, widest: float) -> None:
    """Segments as heavy as they are wide; the heaviest stands for ``widest`` [mm]."""
    from matplotlib.collections import LineCollection

    if not len(cracks.width):
        return
    weight = _HEAVIEST * cracks.width / widest
    lines = LineCollection(
        list(cracks.ends), linewidths=np.maximum(weight, _LIGHTEST), colors=style.INK, capstyle="butt", zorder=6,
        rasterized=len(weight) > 6000,
    )  # fmt: skip
    axes.add_collection(lines, autolim=False)


def widest_of(cracks: Cracks) -> str:
    """The widest crack in words, for panel titles."""
    if not len(cracks.width):
        return "no crack"
    return f"widest crack {style.short(float(cracks.width.max()), 2)} mm"


def crack_key(figure: Any, widest: float, more: bool = False) -> None:
    """Lines of known opening, drawn with the weights of the map; with ``more``, wider cracks look like the widest."""
    from matplotlib.lines import Line2D

    if widest <= 0.0:
        return
    largest = style.nice(widest)
    shown = [largest * share for share in (0.1, 0.2, 0.5, 1.0)]
    weight = [max(_HEAVIEST * w / widest, _LIGHTEST) for w in shown]
    handles = [
        Line2D([], [], color=style.INK, linewidth=v, label=f"{style.short(w)} mm") for w, v in zip(shown, weight)
    ]
    if more:
        handles[-1].set_label(f"{style.short(largest)} mm and more")
    handles.insert(0, Line2D([], [], linewidth=0.0, label="crack opening"))
    figure.legend(handles=handles, ncols=len(handles), loc="outside lower left", handlelength=2.2, columnspacing=1.2)


def strain_table(view: View, stages: tuple[Stage, ...], strain: list[Floats], seen: np.ndarray) -> dict[str, Any]:
    """Major strain of the elements ``seen`` at every stage, by their centres."""
    centre = view.elements.centre[seen]
    table: dict[str, Any] = {"x_mm": centre[:, 0], "y_mm": centre[:, 1]}
    for stage, e in zip(stages, strain):
        table[f"step_{stage.step}_principal_tensile_strain"] = e[seen]
    return table


def crack_table(stages: tuple[Stage, ...], cracks: list[Cracks]) -> dict[str, Any]:
    """Every crack segment of every stage: place [mm], angle [degree], opening [mm]."""
    middle = np.concatenate([c.ends.mean(axis=1) for c in cracks])
    return {
        "stage": [s.name for s, c in zip(stages, cracks) for _ in c.width],
        "step": [s.step for s, c in zip(stages, cracks) for _ in c.width],
        "x_mm": middle[:, 0],
        "y_mm": middle[:, 1],
        "angle_deg": np.concatenate([c.angle for c in cracks]),
        "opening_mm": np.concatenate([c.width for c in cracks]),
    }


# ------------------------------------------------------------------ principal tension
def principal_tension(view: View, folder: Path, step: int | None = None) -> list[Path]:
    """Principal tension around the hooks: value as colour, direction and size as strokes, stations as discs."""
    stages = [s for s in view.stages(step) if s.name != "end"] or list(view.stages(step))
    x, y = closure_window(view), view.plan.y
    tensors = [view.elements.mean(view.points.values(view.fields(s.step), "stress")) for s in stages]
    seen = view.elements.inside(x)
    limit = view.strengths.get("closure", view.strengths["precast"])
    top = style.ceiling(limit)
    columns = len(stages)
    width = style.WIDE if columns > 1 else 0.72 * style.WIDE
    height = (y[1] - y[0]) * ((width - 13.0) / columns - 3.0) / (x[1] - x[0])
    with style.sheet(width, height + 29.0) as figure:
        row = figure.subplots(1, columns, squeeze=False, sharey=True)[0]
        shown = None
        for axes, stage, tensor, mark in zip(row, stages, tensors, "ab"):
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


def closure_window(view: View) -> tuple[float, float]:
    """The lap with a quarter depth on both sides."""
    plan = view.plan
    ends = [*plan.joints, *(a.tip for a in plan.anchors.values())]
    depth = plan.y[1] - plan.y[0]
    if not ends:
        return max(plan.x[0], -depth), min(plan.x[1], depth)
    return max(plan.x[0], min(ends) - 0.25 * depth), min(plan.x[1], max(ends) + 0.25 * depth)


def _strokes(axes: Any, view: View, major: Floats, angle: Floats, seen: np.ndarray, limit: float) -> None:
    from matplotlib.collections import LineCollection

    shown = seen & (major > 0.05 * limit)
    length = 0.95 * view.elements.size[shown] * np.minimum(major[shown] / limit, 1.0)
    half = 0.5 * length[:, None] * np.stack([np.cos(angle[shown]), np.sin(angle[shown])], axis=1)
    centre = view.elements.centre[shown]
    strokes = np.stack([centre - half, centre + half], axis=1)
    axes.add_collection(LineCollection(list(strokes), linewidths=0.55, colors=style.INK, zorder=3), autolim=False)


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
            for t in station_tension(view.run.mesh, view.fields(stage.step), view.strengths, diameters, around):
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
