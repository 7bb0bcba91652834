"""A scaled panel of a drawing, and what draughtsmen put on it: dimension lines, leaders, bars as bodies.

A panel is an axes whose data are specimen millimetres at an exact scale, so text and arrows can be
set off by paper millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.report.spoken import MEASURE
from fesplice.report.style import INK, QUIET

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TEXT = 7.0


@dataclass(frozen=True)
class Panel:
    """``axes`` in specimen mm; ``unit`` specimen mm per paper mm."""

    axes: Axes
    unit: float


def panel(
    figure: Figure, left: float, bottom: float, width: float, height: float, origin: tuple[float, float], unit: float
) -> Panel:
    """A panel at (``left``, ``bottom``) of ``width`` x ``height`` paper mm whose lower left corner is ``origin``."""
    total = np.array(figure.get_size_inches()) * 25.4
    axes = figure.add_axes((left / total[0], bottom / total[1], width / total[0], height / total[1]))
    axes.set_xlim(origin[0], origin[0] + width * unit)
    axes.set_ylim(origin[1], origin[1] + height * unit)
    axes.set_axis_off()
    return Panel(axes, unit)


def across(p: Panel, x0: float, x1: float, y: float, text: str, *, reach: float = 0.0, level: bool = False) -> None:
    """Horizontal dimension line between ``x0`` and ``x1`` at height ``y``.

    ``reach`` [specimen mm, signed] is how far its extension lines go towards the object. A text
    that does not fit between the arrows stands upright below the line, unless ``level`` is wanted.
    """
    _line(p, (x0, y), (x1, y))
    _extensions(p, ((x0, y), (x1, y)), (0.0, reach))
    wide = level or abs(x1 - x0) > _width(p, text)
    p.axes.text(
        0.5 * (x0 + x1), y + (0.45 if wide else -0.9) * p.unit, text, fontsize=_TEXT, color=INK, ha="center",
        va="bottom" if wide else "top", rotation=0 if wide else 90, label=MEASURE,
    )  # fmt: skip


def upward(p: Panel, x: float, y0: float, y1: float, text: str, *, reach: float = 0.0, left: bool = True) -> None:
    """Vertical dimension line between ``y0`` and ``y1`` at ``x``, its text on the side ``left`` or not.

    A text that does not fit between the arrows lies level beside the line.
    """
    _line(p, (x, y0), (x, y1))
    _extensions(p, ((x, y0), (x, y1)), (reach, 0.0))
    wide = abs(y1 - y0) > _width(p, text)
    p.axes.text(
        x + (-0.45 if left else 0.45) * (1.0 if wide else 2.0) * p.unit, 0.5 * (y0 + y1), text, fontsize=_TEXT,
        color=INK, rotation=90 if wide else 0, ha="right" if left else "left", va="center", label=MEASURE,
    )  # fmt: skip


def leader(p: Panel, at: tuple[float, float], to: tuple[float, float], text: str, **options: Any) -> None:
    """Text at ``to`` with a thin line to a dot at ``at``; both in specimen mm."""
    p.axes.plot([at[0], to[0]], [at[1], to[1]], color=QUIET, linewidth=0.5, zorder=8)
    p.axes.plot(*at, marker="o", markersize=1.6, color=QUIET, zorder=8)
    look = {"ha": "left", "va": "center", "fontsize": _TEXT, "color": INK, "zorder": 9, "label": MEASURE}
    options = look | options
    shift = {"left": 0.6, "right": -0.6, "center": 0.0}[options["ha"]] * p.unit
    p.axes.text(to[0] + shift, to[1], text, **options)


def arrow(p: Panel, tail: tuple[float, float], head: tuple[float, float], **options: Any) -> None:
    """A force arrow from ``tail`` to ``head`` (specimen mm)."""
    style = {"arrowstyle": "-|>,head_width=0.22,head_length=0.45", "color": INK, "linewidth": 1.3} | options
    style |= {"shrinkA": 0.0, "shrinkB": 0.0}
    p.axes.annotate("", xy=head, xytext=tail, arrowprops=style, annotation_clip=False)


def body(points: Floats, diameter: float) -> Floats:
    """Outline (2n, 2) of a bar of ``diameter`` along the centre line ``points`` (n, 2)."""
    step = np.diff(points, axis=0)
    step = step / np.linalg.norm(step, axis=1)[:, None]
    mean = np.vstack([step[:1], step[:-1] + step[1:], step[-1:]])
    mean /= np.linalg.norm(mean, axis=1)[:, None]
    side = 0.5 * diameter * np.stack([-mean[:, 1], mean[:, 0]], axis=1)
    return np.vstack([points + side, (points - side)[::-1]])


def broken(p: Panel, x: float, y0: float, y1: float) -> None:
    """Break line across a member that goes on beyond the panel."""
    middle, tooth = 0.5 * (y0 + y1), 1.2 * p.unit
    y = [y0 - tooth, middle - tooth, middle - 0.5 * tooth, middle + 0.5 * tooth, middle + tooth, y1 + tooth]
    p.axes.plot([x, x, x - tooth, x + tooth, x, x], y, color=INK, linewidth=0.6, zorder=7, clip_on=False)


def support(p: Panel, x: float, y: float, pinned: bool) -> None:
    """A pin or a roller under (x, y) with the floor it stands on."""
    u = p.unit
    if pinned:
        corners = np.array([[x, y], [x - 2.0 * u, y - 3.4 * u], [x + 2.0 * u, y - 3.4 * u]])
        polygon(p, corners, facecolor="white")
    else:
        dot(p, (x, y - 1.5 * u), 3.0 * u, facecolor="white")
    floor = y - (3.4 if pinned else 3.0) * u
    p.axes.plot([x - 3.2 * u, x + 3.2 * u], [floor, floor], color=INK, linewidth=0.8)
    for k in np.arange(-3.0, 3.1, 1.0):
        p.axes.plot([x + k * u, x + (k - 0.9) * u], [floor, floor - 0.9 * u], color=INK, linewidth=0.4)


# ------------------------------------------------------------------ bodies
def box(p: Panel, x0: float, x1: float, y0: float, y1: float, **options: Any) -> None:
    """A rectangle; ``options`` as for every matplotlib patch."""
    _add(p, "Rectangle", (x0, y0), x1 - x0, y1 - y0, **options)


def bar(p: Panel, points: Floats, diameter: float, **options: Any) -> None:
    """A bar at its true size along ``points`` (n, 2)."""
    _add(p, "Polygon", body(points, diameter), **options)


def dot(p: Panel, at: tuple[float, float], diameter: float, **options: Any) -> None:
    """A bar seen end on."""
    _add(p, "Circle", at, 0.5 * diameter, **options)


def closed(p: Panel, x0: float, x1: float, y0: float, y1: float, radius: float, diameter: float) -> None:
    """A closed tie with rounded corners, as a line as wide as its bar; x and y of the bar's axis."""
    turn = np.linspace(0.0, 0.5 * np.pi, 7)
    round_ = radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    quarter = np.array([[0.0, 1.0], [-1.0, 0.0]])
    ring = []
    left, right, low, high = x0 + radius, x1 - radius, y0 + radius, y1 - radius
    for corner in ((right, high), (left, high), (left, low), (right, low)):
        ring.append(np.array(corner) + round_)
        round_ = round_ @ quarter
    weight = max(0.8, diameter / p.unit * 72.0 / 25.4)
    _add(p, "Polygon", np.concatenate(ring), facecolor="none", linewidth=weight, zorder=4)


def polygon(p: Panel, corners: Floats, **options: Any) -> None:
    """A closed outline (n, 2)."""
    _add(p, "Polygon", corners, **options)


def _add(p: Panel, kind: str, *shape: Any, **options: Any) -> None:
    from matplotlib import patches

    p.axes.add_patch(getattr(patches, kind)(*shape, **{"edgecolor": INK, "linewidth": 0.7} | options))


# ------------------------------------------------------------------ strokes
def _line(p: Panel, a: tuple[float, float], b: tuple[float, float]) -> None:
    style = {"arrowstyle": "<|-|>,head_width=0.09,head_length=0.28", "color": QUIET, "linewidth": 0.5}
    style |= {"shrinkA": 0.0, "shrinkB": 0.0, "mutation_scale": 8.0}
    p.axes.annotate("", xy=a, xytext=b, arrowprops=style, annotation_clip=False, zorder=8)


def _extensions(p: Panel, ends: tuple[tuple[float, float], ...], reach: tuple[float, float]) -> None:
    away = np.array(reach)
    if not away.any():
        return
    over = -away / np.abs(away).max() * 0.9 * p.unit
    for end in ends:
        line = np.array([np.array(end) + over, np.array(end) + away])
        p.axes.plot(*line.T, color=QUIET, linewidth=0.4, zorder=1.5, clip_on=False)


def _width(p: Panel, text: str) -> float:
    """Width of a text in specimen mm, with room for the arrows (a letter is about 0.57 of its height)."""
    return (0.57 * _TEXT * len(text) * 25.4 / 72.0 + 1.8) * p.unit
