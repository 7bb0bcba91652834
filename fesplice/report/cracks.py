"""Cracks of one step as segments, in either view: read, drawn as heavy as they are wide, and kept as tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fesplice.algebra import principal
from fesplice.contracts import Floats
from fesplice.post.concrete import HAIRLINE
from fesplice.report import style
from fesplice.report.view import Stage, View

# Line weights of the widest crack shown, and the least that prints [points].
_HEAVIEST, _LIGHTEST = 2.6, 0.25


@dataclass(frozen=True)
class Cracks:
    """Crack segments, one per element or joint face: ends (n, 2, 2) [mm], width (n,) [mm], angle (n,) [deg]."""

    ends: Floats
    width: Floats
    angle: Floats


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
