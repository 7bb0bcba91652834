"""Figures of a prediction: what every way of reading gives as bars, and both views side by side at one scale."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fesplice.report import style
from fesplice.report.cracks import Cracks, crack_key, crack_table, cracks_of, draw_cracks, element_size, widest_of
from fesplice.report.view import Stage, View, nearest, window
from fesplice.report.views import VIEWS


@dataclass(frozen=True)
class Row:
    """One bar of the bracket: bar stress ``value`` with its bounds [MPa]; ``exact`` False for a lower bound.

    ``kind``: "answer", "view" or "formula".
    """

    name: str
    low: float
    value: float
    high: float
    exact: bool
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
        axes.set_xlim(0.0, _room(rows, most))
        axes.set_ylim(-0.6, len(rows) - 0.4 + (0.35 if marks else 0.0))
        axes.set_xlabel("bar stress at the joint face (MPa)")
        table = {
            "reading": [r.name for r in rows], "low_MPa": [r.low for r in rows], "value_MPa": [r.value for r in rows],
            "high_MPa": [r.high for r in rows], "lower_bound": [not r.exact for r in rows],
            "mechanism": [r.note for r in rows],
        }  # fmt: skip
        return style.save(figure, folder, "bracket", {"": table})


def _words(r: Row) -> str:
    """What stands behind a bar."""
    value = f"{'' if r.exact else 'at least '}{r.value:.0f} MPa"
    text = f"{value} ({r.low:.0f} to {r.high:.0f} MPa)" if r.low < r.high else value
    return f"{text}, {r.note}" if r.note else text


def _room(rows: Sequence[Row], most: float) -> float:
    """End of the scale [MPa] at which all words behind the bars stay on the sheet."""
    # letters of 7 points are about 1.2 mm wide, bold ones and those of 7.5 points a little more
    wide = style.WIDE - 8.0 - 1.35 * max(len(r.name) for r in rows)
    letters = [len(_words(r)) * (1.5 if r.kind == "answer" else 1.25) for r in rows]
    ends = [r.high + (0.06 if r.exact else 0.105) * most for r in rows]
    return max(end / (1.0 - min(words / wide, 0.74)) for end, words in zip(ends, letters))


def _bar(axes: Any, k: int, r: Row, most: float) -> None:
    looks: dict[str, dict[str, Any]] = {
        "answer": {"facecolor": "#bfd6e8", "edgecolor": style.INK},
        "view": {"facecolor": "#dcd8cc", "edgecolor": style.INK},
        "formula": {"facecolor": "#ffffff", "edgecolor": style.INK, "hatch": "////"},
    }
    start = r.low if r.kind != "view" else 0.0
    axes.barh(k, r.high - start, 0.56, left=start, linewidth=0.6, zorder=2, **looks[r.kind])
    axes.plot([r.value, r.value], [k - 0.28, k + 0.28], color=style.INK, linewidth=2.2, zorder=4)
    end = r.high
    if not r.exact:
        end += 0.045 * most
        arrow = {"arrowstyle": "-|>", "color": style.INK, "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", (end, k), (r.high, k), arrowprops=arrow, zorder=4)
    axes.text(
        end + 0.015 * most, k, _words(r), fontsize=7, va="center", zorder=5,
        fontweight="bold" if r.kind == "answer" else "normal",
        bbox={"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.85},
    )  # fmt: skip


# ------------------------------------------------------------------ both views
def at_bar_stress(view: View, stress: float) -> Stage:
    """The step nearest to where the most stressed bar first carries ``stress`` [MPa], or else the one nearest below."""
    return view.stage("stress", nearest(view.bar_stress, stress), VIEWS[view.name].moved)


def both_views(views: Sequence[View], stress: float, folder: Path) -> list[Path]:
    """Cracks of the views at one scale at the bar stress [MPa], the plan with its truss; one panel each."""
    kinds = [VIEWS[v.name] for v in views]
    windows = [kind.panel.window(v) for kind, v in zip(kinds, views)]
    stages = [at_bar_stress(v, stress) for v in views]
    cracks = [cracks_of(v, s) for v, s in zip(views, stages)]
    largest = max(float(c.width.max(initial=0.0)) for c in cracks)
    wide = [w[0][1] - w[0][0] for w in windows]
    width = style.WIDE if len(views) > 1 else 0.72 * style.WIDE
    unit = sum(wide) / (width - 17.0 * len(views))
    tall, size = max(w[1][1] - w[1][0] for w in windows), min(element_size(v) for v in views)
    with style.sheet(width, tall / unit + 29.0) as figure:
        row = figure.subplots(1, len(views), squeeze=False, width_ratios=wide)[0]
        for k, (axes, view, kind, stage, (x, y)) in enumerate(zip(row, views, kinds, stages, windows)):
            window(axes, x, y)
            draw_cracks(axes, cracks[k], size, unit)
            kind.panel.draw(axes, view, stage, unit)
            head = f"{kind.panel.title}, {stage.load / 1e3:.0f} kN {kind.per}, {stage.bar_stress:.0f} MPa"
            name = f"{head}\n{widest_of(cracks[k])}{kind.panel.remark}"
            style.letter(axes, "ab"[k] if len(views) > 1 else "", name)
            axes.set_xlabel("x from midspan (mm)")
            axes.set_ylabel(kind.panel.upright)
        crack_key(figure, largest, size, unit)
        return style.save(figure, folder, "both-views", {"": _table(views, stages, cracks)})


def _table(views: Sequence[View], stages: Sequence[Stage], cracks: Sequence[Cracks]) -> dict[str, Any]:
    return {"view": [v.name for v, c in zip(views, cracks) for _ in c.width]} | crack_table(tuple(stages), list(cracks))
