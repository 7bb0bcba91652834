"""Cracks of one step as segments, in either view: read, drawn by their opening, and kept as tables.

Weight and colour of a line tell the class of its opening. The classes are the same in every figure of every specimen,
so that any two can be laid side by side; only as many stand in a key as are needed up to the widest crack.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fesplice.contracts import Floats, Ints
from fesplice.post.concrete import HAIRLINE, VISIBLE
from fesplice.report import style
from fesplice.report.view import Stage, View

#: Openings [mm] from which the classes count: the hairline, what the eye sees, then 1, 2, 5 on and on.
CLASSES = (HAIRLINE, VISIBLE, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
# Line weights of the first and the last class [points], and the most as a share of the elements as they are printed:
# cracks of neighbouring elements keep a gap, however wide they are.
_LIGHTEST, _HEAVIEST, _SHARE = 0.5, 2.4, 0.55
_POINTS = 72.0 / 25.4


@dataclass(frozen=True)
class Cracks:
    """Crack segments, one per element or joint face: ends (n, 2, 2) [mm], width (n,) [mm], angle (n,) [deg]."""

    ends: Floats
    width: Floats
    angle: Floats


def openings(view: View, stage: Stage) -> Floats:
    """Crack opening of every element (n,) [mm]: its points lie in one crack band, so they are averaged, not added."""
    strain, _, band = view.points.values(view.fields(stage.step), "crack").T
    return view.elements.mean(np.maximum(strain, 0.0) * band)


def cracks_of(view: View, stage: Stage) -> Cracks:
    """One crack per element, as wide as :func:`openings` tells, and one per joint face."""
    fields, elements = view.fields(stage.step), view.elements
    strain, normal, band = view.points.values(fields, "crack").T
    opening = np.maximum(strain, 0.0) * band
    width = openings(view, stage)
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


def colours() -> list[str]:
    """One colour for each class, falling evenly in lightness."""
    from matplotlib.colors import to_hex

    return [to_hex(c) for c in style.warm()(np.linspace(0.34, 1.0, len(CLASSES)))]


def classes(width: Floats) -> Ints:
    """Class of each opening (n,), -1 below the first."""
    # a width that stands at a limit up to rounding counts as there
    return np.searchsorted(CLASSES, np.asarray(width) * (1.0 + 1e-9), side="right").astype(np.int32) - 1


def weights(size: float, unit: float) -> Floats:
    """Line weight of each class [points] over elements of ``size`` [mm], ``unit`` data mm per paper mm."""
    most = min(_HEAVIEST, max(_SHARE * size / unit * _POINTS, 1.6 * _LIGHTEST))
    return np.linspace(_LIGHTEST, most, len(CLASSES))


def draw_cracks(axes: Any, cracks: Cracks, size: float, unit: float) -> None:
    """Segments by class, the widest on top; ``size`` [mm] of the elements, ``unit`` data mm per paper mm."""
    place = np.maximum(classes(cracks.width), 0)
    # round caps let the pieces of one crack meet where it turns
    for k, (colour, weight) in enumerate(zip(colours(), weights(size, unit), strict=True)):
        look = {"edgecolor": colour, "linewidth": weight, "capstyle": "round", "zorder": 6}
        style.strokes(axes, cracks.ends[place == k], look)


def element_size(view: View) -> float:
    """Usual size [mm] of the elements in the splice: the small ones."""
    return float(np.quantile(view.elements.size, 0.25))


def widest_of(cracks: Cracks) -> str:
    """The widest crack in words, for panel titles."""
    if not len(cracks.width):
        return "no crack"
    return f"widest crack {style.short(float(cracks.width.max()), 2)} mm"


def widest(view: View, stages: Callable[[View], Sequence[Stage]]) -> float:
    """The widest crack [mm] of the stages, over the runs of a series: as far as the key of all of them goes."""
    return view.over(lambda v: max((float(cracks_of(v, s).width.max(initial=0.0)) for s in stages(v)), default=0.0))


def crack_key(figure: Any, most: float, size: float, unit: float) -> None:
    """The classes up to the largest opening ``most`` [mm], drawn as on the map."""
    from matplotlib.lines import Line2D

    shown = max(int(classes(np.array([most]))[0]) + 1, 1)
    handles = [
        Line2D([], [], color=c, linewidth=w, label=f"{low:g}") for low, c, w in
        zip(CLASSES[:shown], colours(), weights(size, unit))
    ]  # fmt: skip
    handles.insert(0, Line2D([], [], linewidth=0.0, label="crack open (mm) from"))
    figure.legend(
        handles=handles, ncols=len(handles), loc="outside lower left", handlelength=1.6, columnspacing=0.9,
        handletextpad=0.5,
    )  # fmt: skip


def concrete(axes: Any, x: tuple[float, float], y: tuple[float, float], cast: tuple[float, float] | None) -> None:
    """The ground under cracks: concrete of the window, darker where it was cast later."""
    from matplotlib.patches import Rectangle

    spans = [(x, style.CONCRETE)] if cast is None else [(x, style.CONCRETE), (cast, style.CLOSURE)]
    for (low, high), fill in spans:
        axes.add_patch(Rectangle((low, y[0]), high - low, y[1] - y[0], facecolor=fill, edgecolor="none", zorder=0.5))


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
