"""Figures of fields in the plan: cracks over principal tensile strain; compression and the truss it amounts to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.concrete import VISIBLE
from fesplice.post.plan.truss import Member, Truss, truss
from fesplice.report import style
from fesplice.report.cracks import (
    Cracks,
    colours,
    concrete,
    crack_key,
    crack_table,
    cracks_of,
    draw_cracks,
    element_size,
    widest,
    widest_of,
)
from fesplice.report.figure import Panel
from fesplice.report.plan.slab import Labels, Slab, along, bars_to_scale, slab_of, slab_outline
from fesplice.report.plan.trajectories import Trajectory, trajectories
from fesplice.report.view import Stage, View, window

# Weights of the most pressed trajectory and of the least that prints [points].
_THICK, _THIN = 2.4, 0.35
# Weights that trajectories are drawn in.
_STEPS = 24
#: Members below this share of the largest bar force are left out of the picture; the table holds them.
SMALL = 0.02
#: Kinds of member that are forces at a place, drawn as arrows.
ACTING = ("body", "shear", "hold")
_STRUT, _TIE, _CONCRETE, _BODY = "#275b8c", "#994722", "#994722", "#5c5c5c"


# ------------------------------------------------------------------ cracks
def plan_cracks(view: View, folder: Path) -> list[Path]:
    """Cracks of the slab by their opening at each stage, with bars and steel across to scale."""
    slab = slab_of(view)
    stages = slab.stages()
    x, y = slab.window
    cracks = [cracks_of(view, s) for s in stages]
    largest = widest(view, lambda v: slab_of(v).stages())
    count, size = len(stages), element_size(view)
    width = style.WIDE if count > 1 else 0.62 * style.WIDE
    unit = (x[1] - x[0]) / ((width - 11.0) / count - 3.0)
    with style.sheet(width, (y[1] - y[0]) / unit + 26.0) as figure:
        row = figure.subplots(1, count, squeeze=False, sharey=True)[0]
        for axes, stage, c, mark in zip(row, stages, cracks, style.MARKS):
            window(axes, x, y)
            concrete(axes, slab.laid.x, slab.laid.y, None)
            bars_to_scale(axes, slab)
            draw_cracks(axes, c, size, unit)
            slab_outline(axes, slab)
            style.letter(axes, mark if count > 1 else "", f"{stage.title}\n{widest_of(c)}")
            axes.set_xlabel("x from midspan (mm)")
        row[0].set_ylabel("y across the beam (mm)")
        crack_key(figure, largest, size, unit)
        return style.save(figure, folder, "plan-cracks", {"": crack_table(stages, cracks)})


# ------------------------------------------------------------------ struts and ties
def plan_struts(view: View, folder: Path) -> list[Path]:
    """Principal-compression trajectories over the cracks, and beside them struts and ties with their forces."""
    slab = slab_of(view)
    stage = slab.leading()
    fields = view.fields(stage.step)
    x, y = slab.window
    model = truss(slab.forces, fields)
    cracks = cracks_of(view, stage)
    lines = view.part(_leading_lines)
    unit = (x[1] - x[0]) / (0.5 * style.WIDE - 12.0)
    with style.sheet(style.WIDE, (y[1] - y[0]) / unit + 28.0) as figure:
        left, right = figure.subplots(1, 2, sharey=True)
        for axes, mark, title in (
            (left, "a", f"Compression, {stage.title[:1].lower()}{stage.title[1:]}"),
            (right, "b", f"Struts and ties (kN); nodes balance to {100.0 * model.left_out:.1f} %"),
        ):
            window(axes, x, y)
            slab_outline(axes, slab)
            style.letter(axes, mark, title)
            axes.set_xlabel("x from midspan (mm)")
        left.set_ylabel("y across the beam (mm)")
        bars_to_scale(left, slab)
        concrete(left, slab.laid.x, slab.laid.y, None)
        seen = cracks.width >= VISIBLE
        draw_cracks(left, Cracks(cracks.ends[seen], cracks.width[seen], cracks.angle[seen]), element_size(view), unit)
        top = view.over(_most)
        draw_trajectories(left, lines, top)
        bars_to_scale(right, slab, names=False, quiet=True)
        draw_truss(right, slab, model, unit)
        _keys(figure, top)
        tables = {"": _members(model), "nodes": _nodes(model), "trajectories": _trajectories(lines)}
        return style.save(figure, folder, "plan-struts", tables)


def compression(view: View, step: int) -> list[Trajectory]:
    """Trajectories of the slab at one step."""
    tensor = view.elements.mean(view.points.values(view.fields(step), "stress"))
    laid = slab_of(view).laid
    (x0, x1), (y0, y1) = laid.x, laid.y
    size = float(np.median(view.elements.size))
    return trajectories(view.elements.centre, tensor, (x0, x1), (y0, y1), max((y1 - y0) / 42.0, 0.8 * size), size)


def _leading_lines(view: View) -> list[Trajectory]:
    return compression(view, slab_of(view).leading().step)


def _most(view: View) -> float:
    """The end of the scale of trajectories [MPa]."""
    lines = view.part(_leading_lines)
    return style.ceiling(float(np.quantile(np.concatenate([t.stress for t in lines]), 0.99))) if lines else 0.0


def draw_trajectories(axes: Any, lines: list[Trajectory], top: float) -> None:
    """Lines as heavy as their stress, the heaviest at ``top`` [MPa]."""
    if not lines:
        return
    pieces = np.concatenate([np.stack([t.xy[:-1], t.xy[1:]], axis=1) for t in lines])
    stress = np.concatenate([0.5 * (t.stress[:-1] + t.stress[1:]) for t in lines])
    share = np.clip(stress / top, 0.0, 1.0)
    for weight, which in zip(*_weights(share), strict=True):
        look = {"edgecolor": _STRUT, "linewidth": weight, "capstyle": "round", "zorder": 3}
        style.strokes(axes, pieces[which], look)


def _weights(share: Floats) -> tuple[list[float], list[np.ndarray]]:
    """Line weights by share of the heaviest stress, in steps too fine for the eye, and which pieces have each."""
    step = np.minimum((share * _STEPS).astype(int), _STEPS - 1)
    some = [k for k in range(_STEPS) if (step == k).any()]
    return [max(_THICK * (k + 0.5) / _STEPS, _THIN) for k in some], [step == k for k in some]


def draw_truss(axes: Any, slab: Slab, model: Truss, unit: float, *, bands: bool = True) -> None:
    """Members of a truss with their forces [kN], struts on ``bands`` of their width; ``unit`` data mm per paper mm."""
    labels = Labels.on(axes, unit)
    most = max((abs(m.force) for m in model.members if m.kind == "bar"), default=0.0)
    shown = [m for m in model.members if abs(m.force) > SMALL * most]
    for node in model.nodes:
        axes.plot(
            node.x, node.y, marker="o", markersize=4.2, markerfacecolor="white", markeredgecolor=style.INK,
            markeredgewidth=1.0, zorder=8,
        )  # fmt: skip
        labels.block(node.x, node.y, 2.2 * unit, 2.2 * unit)
    for m in shown:
        _draw_member(axes, m, most, slab.laid.x if bands else None)
    for node in model.nodes:
        out = 1.0 if node.y >= 0.0 else -1.0
        near = [(dx * unit, dy * unit * out) for dx, dy in ((0, 3.6), (4.0, 3.2), (-4.0, 3.2), (0, -3.6), (5, 0))]
        labels.put(node.name, [(node.x + a, node.y + b) for a, b in near], fontweight="bold", color=style.INK)
    order = ("strut", "bar", "tie", "shear", "body", "hold", "concrete")
    # the two halves of a shear are alike: one of them is told
    told = [m for m in shown if m.kind != "shear" or m.name.split()[1].endswith(f"-{m.start}")]
    for m in sorted(told, key=lambda m: order.index(m.kind)):
        start, end = np.array([m.x0, m.y0]), np.array([m.x1, m.y1])
        text = f"{abs(m.force) / 1e3:.{0 if abs(m.force) > 10e3 else 1}f}"
        if m.kind == "bar":
            places = along(start, end, (0.3, 0.15, 0.5, 0.7))
        elif m.kind in ACTING:
            way = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
            places = along(end, end + way, (2.5 * unit, 5.0 * unit, 8.0 * unit)) + along(start, end, (0.5,))
        else:
            places = along(start, end, (0.5, 0.4, 0.6, 0.3, 0.7, 0.22, 0.78))
        labels.put(text, places, upright=m.kind in ("tie", "concrete"), color=_colour(m))


def _colour(m: Member) -> str:
    known = {"strut": _STRUT, "bar": "#0b3c6f", "tie": _TIE, "concrete": _CONCRETE, "shear": _STRUT}
    return known.get(m.kind, _BODY)


def _band(axes: Any, m: Member, x: tuple[float, float]) -> None:
    """A strut between its two bars as wide as it is, within the slab ``x``."""
    from matplotlib.patches import Polygon, Rectangle

    # its ends lie along the bars: there it is as long as its width cut at its inclination
    half = 0.5 * m.width / max(float(np.sin(np.radians(m.inclination))), 0.1)
    corners = [(m.x0 - half, m.y0), (m.x1 - half, m.y1), (m.x1 + half, m.y1), (m.x0 + half, m.y0)]
    band = Polygon(corners, facecolor="#6799c4", alpha=0.3, edgecolor="none", zorder=3)
    axes.add_patch(band)
    band.set_clip_path(Rectangle((x[0], min(m.y0, m.y1)), x[1] - x[0], abs(m.y1 - m.y0), transform=axes.transData))


def _draw_member(axes: Any, m: Member, most: float, x: tuple[float, float] | None) -> None:
    start, end = np.array([m.x0, m.y0]), np.array([m.x1, m.y1])
    if m.kind in ACTING:
        arrow = {"arrowstyle": "-|>", "color": _colour(m), "mutation_scale": 7.0, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", tuple(end), tuple(start), arrowprops=arrow, zorder=6.5, annotation_clip=True)
        return
    weight = max(2.6 * abs(m.force) / most, 0.7)
    if m.kind == "strut":
        if x is not None:
            _band(axes, m, x)
        axes.plot(*zip(start, end), color=_STRUT, linewidth=weight, linestyle=(0, (4, 1.4)), zorder=6)
        return
    dashes: Any = (0, (1.0, 1.2)) if m.kind == "concrete" else "-"
    level = 6 if m.kind == "bar" else 5
    axes.plot(*zip(start, end), color=_colour(m), linewidth=weight, linestyle=dashes, zorder=level)


def _keys(figure: Any, top: float) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = []
    for share in (1.0, 0.25) if top > 0.0 else ():
        weight = max(_THICK * share, _THIN)
        name = f"compression {style.short(share * top)} MPa"
        handles.append(Line2D([], [], color=_STRUT, linewidth=weight, label=name))
    handles += [
        Line2D([], [], color=colours()[3], linewidth=1.2, label=f"crack of {VISIBLE} mm or more"),
        Patch(facecolor="#6799c4", alpha=0.45, label="strut, as wide as drawn"),
        Line2D([], [], color="#0b3c6f", linewidth=2.0, label="bar"),
        Line2D([], [], color=_TIE, linewidth=1.2, label="steel across"),
        Line2D([], [], color=_CONCRETE, linewidth=1.2, linestyle=(0, (1, 1.2)), label="tension of concrete"),
        Line2D([], [], color=_STRUT, linewidth=1.0, marker=">", markersize=4, label="shear beside the strut"),
        Line2D([], [], color=_BODY, linewidth=1.0, marker=">", markersize=4, label="force from outside the slab"),
    ]
    figure.legend(handles=handles, ncols=4, loc="outside lower center", handlelength=2.2, columnspacing=1.4)


# ------------------------------------------------------------------ tables
def _members(model: Truss) -> dict[str, list[Any]]:
    table: dict[str, list[Any]] = {}
    for m in model.members:
        row = {"member": m.name, "kind": m.kind, "from": m.start, "to": m.end, "x0_mm": m.x0, "y0_mm": m.y0,
               "x1_mm": m.x1, "y1_mm": m.y1, "force_N": m.force, "inclination_deg": m.inclination,
               "width_mm": m.width}  # fmt: skip
        for name, value in row.items():
            table.setdefault(name, []).append(value)
    return table


def _nodes(model: Truss) -> dict[str, Any]:
    return {
        "node": [n.name for n in model.nodes], "x_mm": [n.x for n in model.nodes], "y_mm": [n.y for n in model.nodes],
        "residual_over_bar_force": [n.residual for n in model.nodes],
    }  # fmt: skip


def _trajectories(lines: list[Trajectory]) -> dict[str, Any]:
    xy: Floats = np.concatenate([t.xy for t in lines]) if lines else np.zeros((0, 2))
    return {
        "line": [k for k, t in enumerate(lines, start=1) for _ in t.stress], "x_mm": xy[:, 0], "y_mm": xy[:, 1],
        "compression_MPa": np.concatenate([t.stress for t in lines]) if lines else np.zeros(0),
    }  # fmt: skip


# ------------------------------------------------------------------ beside the elevation
def _over(axes: Any, view: View, stage: Stage, unit: float) -> None:
    """Ground, bars, struts and ties about the cracks."""
    slab = slab_of(view)
    concrete(axes, slab.laid.x, slab.laid.y, None)
    bars_to_scale(axes, slab, names=False, quiet=True)
    draw_truss(axes, slab, truss(slab.forces, view.fields(stage.step)), unit, bands=False)
    slab_outline(axes, slab)


# the picture is shown without its caption, too: the numbers at the members need their unit
PANEL = Panel("Plan", "y across the beam (mm)", "; forces in kN", lambda view: slab_of(view).window, _over)
