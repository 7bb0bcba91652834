"""Figures of a prediction: what every way of reading gives as bars, and both planes side by side at one scale."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.post.plan.truss import truss
from fesplice.report import style
from fesplice.report.elevation.fields import (
    Cracks,
    closure_window,
    crack_key,
    crack_table,
    cracks_of,
    draw_bars,
    draw_cracks,
    major,
    widest_of,
)
from fesplice.report.plan.fields import WIDE, draw_truss
from fesplice.report.plan.slab import bars_to_scale, slab_outline
from fesplice.report.view import Stage, View, outline, patches, window


@dataclass(frozen=True)
class Row:
    """One bar of the bracket: bar stress ``value`` with its bounds [MPa]; ``sure`` False for a lower bound.

    ``kind``: "answer", "plane" or "formula".
    """

    name: str
    low: float
    value: float
    high: float
    sure: bool
    note: str
    kind: str


def bracket(rows: Sequence[Row], marks: Mapping[str, float], folder: Path) -> list[Path]:
    """Bar stresses at the joint face by every way of reading, ``marks`` [MPa] as dotted lines with their names."""
    answer = next((r for r in rows if r.kind == "answer"), None)
    most = max(r.high for r in rows)
    with style.sheet(style.WIDE, 16.0 + 8.0 * len(rows)) as figure:
        axes = figure.subplots()
        for k, r in enumerate(reversed(rows)):
            _bar(axes, k, r, most)
        if answer is not None:
            axes.axvline(answer.value, color=style.INK, linewidth=0.8, zorder=1)
        for name, at in marks.items():
            axes.axvline(at, color=style.QUIET, linewidth=0.8, linestyle=(0, (1, 1.5)), zorder=1)
            told = f"{name} = {at:.0f} MPa"
            # the name stands on the side where the line of the prediction does not run through it
            left = answer is not None and at <= answer.value < at + 0.35 * most
            where = {"x": at - 0.012 * most, "ha": "right"} if left else {"x": at + 0.012 * most, "ha": "left"}
            axes.text(y=len(rows) - 0.45, s=told, fontsize=7, va="bottom", color=style.QUIET, **where)
        axes.set_yticks(range(len(rows)), [r.name for r in reversed(rows)])
        axes.tick_params(axis="y", length=0)
        axes.set_xlim(0.0, 1.75 * most)
        axes.set_ylim(-0.6, len(rows) - 0.4 + (0.35 if marks else 0.0))
        axes.set_xlabel("bar stress at the joint face (MPa)")
        table = {
            "reading": [r.name for r in rows], "low_MPa": [r.low for r in rows], "value_MPa": [r.value for r in rows],
            "high_MPa": [r.high for r in rows], "lower_bound": [not r.sure for r in rows],
            "mechanism": [r.note for r in rows],
        }  # fmt: skip
        return style.save(figure, folder, "bracket", {"": table})


def _bar(axes: Any, k: int, r: Row, most: float) -> None:
    looks: dict[str, dict[str, Any]] = {
        "answer": {"facecolor": "#bfd6e8", "edgecolor": style.INK},
        "plane": {"facecolor": "#dcd8cc", "edgecolor": style.INK},
        "formula": {"facecolor": "#ffffff", "edgecolor": style.INK, "hatch": "////"},
    }
    start = r.low if r.kind != "plane" else 0.0
    axes.barh(k, r.high - start, 0.56, left=start, linewidth=0.6, zorder=2, **looks[r.kind])
    axes.plot([r.value, r.value], [k - 0.28, k + 0.28], color=style.INK, linewidth=2.2, zorder=4)
    end = r.high
    if not r.sure:
        end += 0.045 * most
        arrow = {"arrowstyle": "-|>", "color": style.INK, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", (end, k), (r.high, k), arrowprops=arrow, zorder=4)
    value = f"{'' if r.sure else '> '}{r.value:.0f} MPa"
    text = f"{value} ({r.low:.0f} to {r.high:.0f})" if r.kind != "plane" else value
    axes.text(
        end + 0.015 * most, k, f"{text}{', ' if r.note else ''}{r.note}", fontsize=7, va="center", zorder=5,
        fontweight="bold" if r.kind == "answer" else "normal",
        bbox={"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.85},
    )  # fmt: skip


# ------------------------------------------------------------------ both planes
def at_bar_stress(view: View, stress: float) -> Stage:
    """The first step at which the most stressed bar carries ``stress`` [MPa], or else the one nearest below it."""
    curve = view.curve
    columns = [np.asarray(v, float) for k, v in curve.items() if k.startswith("bar_stress_")]
    highest = np.maximum.accumulate(np.max(columns, axis=0))
    reached = np.flatnonzero(highest >= stress * (1.0 - 1e-6))
    row = int(reached[0]) if len(reached) else int(np.argmax(highest))
    # of the steps on either side the nearer one: steps may be wide
    if row and stress - highest[row - 1] < highest[row] - stress:
        row -= 1
    like = view.stages(int(curve["step"][row]))[0]
    return replace(like, name="strength")


def both_planes(side: View, top: View | None, stress: float, folder: Path) -> list[Path]:
    """Cracks of the elevation and of the plan at one scale at the bar stress [MPa], the plan with its truss."""
    windows = [(closure_window(side), side.plan.y)]
    if top is not None:
        windows.append(top.slab.window)
    views = [side] if top is None else [side, top]
    stages = [at_bar_stress(v, stress) for v in views]
    cracks = [cracks_of(v, s) for v, s in zip(views, stages)]
    strain = [1e3 * major(v, s, "strain") for v, s in zip(views, stages)]
    largest = max(float(c.width.max(initial=0.0)) for c in cracks)
    peak = style.ceiling(float(np.clip(max(np.quantile(e, 0.99) for e in strain), 0.1, 3.0)))
    wide = [w[0][1] - w[0][0] for w in windows]
    width = style.WIDE if top is not None else 0.72 * style.WIDE
    unit = sum(wide) / (width - 17.0 * len(views))
    tall = max(w[1][1] - w[1][0] for w in windows)
    with style.sheet(width, tall / unit + 41.0) as figure:
        row = figure.subplots(1, len(views), squeeze=False, width_ratios=wide)[0]
        shown = None
        for k, (axes, view, stage, (x, y)) in enumerate(zip(row, views, stages, windows)):
            window(axes, x, y)
            shown = patches(axes, view.elements.corners, strain[k], style.pale(), peak)
            capped = replace(cracks[k], width=np.minimum(cracks[k].width, WIDE))
            draw_cracks(axes, capped, min(largest, WIDE) or 1.0)
            per = "per side" if view.in_plan else "per ram"
            name = f"{'Plan' if view.in_plan else 'Elevation'}, {stage.load / 1e3:.0f} kN {per}\n{widest_of(cracks[k])}"
            # the picture is shown without its caption, too: the numbers at the members need their unit
            name += "; forces in kN" if view.in_plan else ""
            style.letter(axes, "ab"[k] if len(views) > 1 else "", name)
            axes.set_xlabel("x from midspan (mm)")
            if view.in_plan:
                bars_to_scale(axes, view.slab, names=False, quiet=True)
                model = truss(view.slab.forces, view.fields(stage.step))
                draw_truss(axes, view.slab, model, unit, bands=False)
                slab_outline(axes, view.slab)
                axes.set_ylabel("y across the beam (mm)")
            else:
                draw_bars(axes, view, 0.0)
                outline(axes, view, x)
                axes.set_ylabel("y from the tension face (mm)")
        label = "principal tensile strain (‰)"
        style.colour_bar(figure, shown, list(row), label, extend="max", location="bottom", aspect=50, fraction=0.05)
        crack_key(figure, min(largest, WIDE), more=largest > WIDE)
        return style.save(figure, folder, "both-planes", {"": _table(views, stages, cracks)})


def _table(views: Sequence[View], stages: Sequence[Stage], cracks: Sequence[Cracks]) -> dict[str, Any]:
    planes = ["plan" if v.in_plan else "elevation" for v, c in zip(views, cracks) for _ in c.width]
    return {"plane": planes} | crack_table(tuple(stages), list(cracks))
