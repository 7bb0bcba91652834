"""Figures of many runs: strength over a variable, response curves with bands, effects, sensitivities, modes, ratios.

They take plain numbers, so that any table of results can be drawn; every figure saves the numbers behind it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from string import ascii_lowercase
from textwrap import fill
from typing import Any

import numpy as np

from fesplice.contracts import Floats
from fesplice.report import style

#: Looks after those of the usual cycle: other colours with other dashes.
_FURTHER: tuple[dict[str, Any], ...] = (
    {"color": "#7a1f3d", "linestyle": "-"},
    {"color": "#3f78a8", "linestyle": (0, (3.0, 1.0, 1.0, 1.0, 1.0, 1.0))},
    {"color": "#9c7a1c", "linestyle": (0, (5.0, 1.5))},
    {"color": "#2f5d3a", "linestyle": (0, (8.0, 2.0))},
    {"color": "#5c5c5c", "linestyle": (0, (1.2, 1.2))},
)
_MARKS = ("o", "s", "^", "D", "v", "P", "X", "<", "*", ">")


@dataclass(frozen=True)
class Line:
    """A line of a figure: points (n,), a band (n,) between ``low`` and ``high`` where given.

    ``bound`` (n,) marks points that are lower bounds.
    """

    label: str
    x: Floats
    y: Floats
    low: Floats | None = None
    high: Floats | None = None
    bound: np.ndarray | None = None


@dataclass(frozen=True)
class Panel:
    """One pair of axes with its lines."""

    title: str
    lines: tuple[Line, ...]
    ticks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Bars:
    """Horizontal bars, each with an optional interval; ``zero`` is where they begin."""

    labels: tuple[str, ...]
    values: Floats
    low: Floats | None = None
    high: Floats | None = None
    notes: tuple[str, ...] = field(default=())


def looks() -> list[dict[str, Any]]:
    """Colours, dashes and marks of consecutive lines."""
    return [{**look, "marker": mark} for look, mark in zip((*style.CYCLE, *_FURTHER), _MARKS)]


def lines(
    folder: Path,
    name: str,
    panels: Sequence[Panel],
    x_label: str,
    y_label: str,
    *,
    marks: bool = True,
    one: float | None = None,
) -> list[Path]:
    """Panels side by side on one scale, a line with its band per entry; ``one`` draws a level across.

    Panels whose lines are named alike share one key; otherwise each has its own.
    """
    columns = 2 if len(panels) == 4 else min(len(panels), 3)
    rows = math.ceil(len(panels) / columns)
    width = style.NARROW if len(panels) == 1 else style.WIDE
    alike = len({tuple(line.label for line in p.lines) for p in panels}) <= 1
    columns_of = ("panel", "line", x_label, y_label, "low", "high", "lower_bound")
    table: dict[str, list[Any]] = {k: [] for k in columns_of}
    titles = [_titled(p.title, width / columns) for p in panels]
    keys = 0.0 if alike else 4.2 * max(len(p.lines) for p in panels) + 2.0
    tall = _height(panels, titles)
    with style.sheet(width, (tall + keys) * rows + 8.0) as figure:
        grid, below = _grid(figure, rows, columns, tall, keys)
        for k, axes in enumerate(grid.ravel()):
            if k >= len(panels):
                axes.set_visible(False)
                continue
            panel = panels[k]
            for i, line in enumerate(panel.lines):
                _draw(axes, line, looks()[i % len(_MARKS)], marks)
                _note(table, panel, line, x_label, y_label)
            if one is not None:
                axes.axhline(one, color=style.INK, linewidth=0.6, linestyle=(0, (1, 1.5)))
            if panel.ticks:
                many = len(panel.ticks) > _UPRIGHT
                told = [style.plain(t) if many else fill(style.plain(t), 11) for t in panel.ticks]
                axes.set_xticks(range(len(panel.ticks)), told, rotation=90 if many else 0)
            style.letter(axes, ascii_lowercase[k % 26] if len(panels) > 1 else "", titles[k])
            if k >= len(panels) - columns:
                axes.set_xlabel(style.plain(x_label))
            if not alike and any(line.label for line in panel.lines):
                below.ravel()[k].legend(*axes.get_legend_handles_labels(), loc="upper left", borderaxespad=0.0)
        for row in grid:
            row[0].set_ylabel(style.plain(y_label))
        if min((np.nanmin(ln.y) for p in panels for ln in p.lines if np.isfinite(ln.y).any()), default=0.0) >= 0.0:
            grid[0, 0].set_ylim(bottom=0.0)
        if alike:
            _key(figure, grid[0, 0])
        return style.save(figure, folder, name, {"": table})


def _grid(figure: Any, rows: int, columns: int, tall: float, keys: float) -> tuple[np.ndarray, np.ndarray]:
    """Axes on one scale, and below each a place for its own key where ``keys`` [mm] are left for that."""
    if not keys:
        grid = figure.subplots(rows, columns, squeeze=False, sharey=True)
        return grid, grid
    places = figure.subplots(2 * rows, columns, squeeze=False, height_ratios=[tall, keys] * rows)
    grid, below = places[::2], places[1::2]
    for axes in below.ravel():
        axes.set_axis_off()
    for axes in grid.ravel()[1:]:
        axes.sharey(grid[0, 0])
    for axes in grid[:, 1:].ravel():
        axes.tick_params(labelleft=False)
    return grid, below


def _draw(axes: Any, line: Line, look: dict[str, Any], marks: bool) -> None:
    """One line with its band, points that are lower bounds hollow."""
    if not marks:
        look = {key: value for key, value in look.items() if key != "marker"}
    axes.plot(line.x, line.y, label=style.plain(line.label), markersize=3.2, **look)
    if line.bound is not None and marks and line.bound.any():
        hollow = look | {"linestyle": "none", "markerfacecolor": "white"}
        axes.plot(line.x[line.bound], line.y[line.bound], markersize=3.6, **hollow)
    if line.low is not None and line.high is not None:
        axes.fill_between(line.x, line.low, line.high, color=look["color"], alpha=0.13, linewidth=0.0)


def _titled(title: str, width: float) -> str:
    """A title in lines that fit a panel ``width`` [mm] wide: bold letters of 8.5 points are about 2 mm wide."""
    return fill(style.plain(title), max(int((width - 18.0) / 2.0), 12))


#: More ticks with names than this stand upright.
_UPRIGHT = 6


def _tall(panel: Panel) -> float:
    """Height [mm] that the names of ticks take: upright letters of 7 points are about 1.3 mm wide."""
    if not panel.ticks:
        return 4.0
    if len(panel.ticks) > _UPRIGHT:
        return 4.0 + 1.3 * max(map(len, panel.ticks))
    return 3.0 * max(fill(t, 11).count("\n") + 1 for t in panel.ticks) + 2.0


def _height(panels: Sequence[Panel], titles: Sequence[str]) -> float:
    """Height of a row [mm]: axes, ticks, titles of several lines."""
    head = 4.2 * max((t.count("\n") for t in titles), default=0)
    return 56.0 + max((_tall(p) for p in panels), default=4.0) + head


def _note(table: dict[str, list[Any]], panel: Panel, line: Line, x_label: str, y_label: str) -> None:
    n = len(line.x)
    nothing = np.full(n, math.nan)
    values = (
        [panel.title] * n, [line.label] * n, [panel.ticks[int(v)] if panel.ticks else float(v) for v in line.x],
        line.y, nothing if line.low is None else line.low, nothing if line.high is None else line.high,
        np.zeros(n, int) if line.bound is None else line.bound.astype(int),
    )  # fmt: skip
    for column, part in zip(table.values(), values):
        column.extend(np.asarray(part).tolist())


def _key(figure: Any, axes: Any) -> None:
    handles, labels = axes.get_legend_handles_labels()
    if len(labels) > 1 or (labels and labels[0]):
        columns = 2 if figure.get_figwidth() < 4.5 else 4
        figure.legend(handles, labels, loc="outside lower center", ncols=min(columns, len(labels)), columnspacing=1.4)


def bars(
    folder: Path,
    name: str,
    shown: Mapping[str, Bars],
    x_label: str,
    limits: tuple[float, float] | None = None,
    one: float | None = None,
) -> list[Path]:
    """Panels of bars by title, the first bar on top; ``one`` draws a level across, notes stand at the bars."""
    longest = max((len(b.labels) for b in shown.values()), default=1)
    table: dict[str, list[Any]] = {k: [] for k in ("panel", "label", x_label, "low", "high")}
    columns = max(len(shown), 1) if len(shown) < 4 else 2
    rows = max(math.ceil(len(shown) / columns), 1)
    pitch = 8.0 if any("\n" in note for b in shown.values() for note in b.notes) else 6.0
    height = (22.0 + pitch * max(longest, 2)) * rows
    with style.sheet(style.NARROW if len(shown) == 1 else style.WIDE, height) as figure:
        grid = figure.subplots(rows, columns, squeeze=False).ravel()
        for axes in grid[len(shown) :]:
            axes.set_visible(False)
        for k, (axes, (title, b)) in enumerate(zip(grid, shown.items())):
            places = -np.arange(len(b.labels), dtype=float)
            axes.barh(places, b.values, height=0.62, color="#8fa9c4", edgecolor=style.INK, linewidth=0.5)
            if b.low is not None and b.high is not None:
                reach = np.abs(np.vstack([b.values - b.low, b.high - b.values]))
                axes.errorbar(b.values, places, xerr=reach, fmt="none", ecolor=style.INK, elinewidth=0.8, capsize=2.0)
            axes.set_yticks(places, [style.plain(t) for t in b.labels])
            axes.axvline(0.0, color=style.INK, linewidth=0.6)
            if one is not None:
                axes.axvline(one, color=style.INK, linewidth=0.9, linestyle=(0, (3, 1.5)), zorder=4)
            for place, value, note in zip(places, b.values, b.notes):
                axes.annotate(
                    "\n".join(map(style.plain, note.split("\n"))), (max(value, one or 0.0), place), xytext=(3, 0),
                    textcoords="offset points", fontsize=7, va="center",
                )  # fmt: skip
            if b.notes:
                # room for the words: letters of 7 points are about 1.3 mm wide
                wide = (style.NARROW if len(shown) == 1 else style.WIDE / columns) - 25.0
                words = 1.3 * max(len(part) for note in b.notes for part in note.split("\n")) + 4.0
                axes.set_xlim(0.0, max(float(np.max(b.values)), one or 0.0) / (1.0 - min(words / wide, 0.7)))
            if limits is not None:
                axes.set_xlim(*limits)
            axes.set_xlabel(style.plain(x_label))
            style.letter(axes, ascii_lowercase[k % 26] if len(shown) > 1 else "", _titled(title, style.WIDE / columns))
            n = len(b.labels)
            none = [math.nan] * n
            parts = (
                [title] * n,
                b.labels,
                b.values,
                none if b.low is None else b.low,
                none if b.high is None else b.high,
            )
            for column, part in zip(table.values(), parts):
                column.extend(np.asarray(part).tolist())
        return style.save(figure, folder, name, {"": table})


@dataclass(frozen=True)
class Curves:
    """Response curves of one group: each (deflection, load), up to where its case fails; ``failed`` (n,) False where
    that is not known and the curve is shown whole. ``sampled``: they are a sample, so that percentiles mean something.
    """

    title: str
    labels: tuple[str, ...]
    curves: tuple[tuple[Floats, Floats], ...]
    failed: tuple[bool, ...] = ()
    sampled: bool = False

    def band(self, points: int = 60) -> tuple[Floats, Floats]:
        """Deflections (n,) and loads (3, n): percentiles 5, 50, 95 over the curves that reach there (at least 3)."""
        end = sorted((float(x[-1]) for x, _ in self.curves), reverse=True)
        if not self.sampled or len(end) < 3:
            return np.zeros(0), np.zeros((3, 0))
        at = np.linspace(0.0, end[2], points)
        seen = np.array([np.interp(at, x, y, right=math.nan) for x, y in self.curves])
        return at, np.nanpercentile(seen, [5, 50, 95], axis=0)


def until(x: Floats, y: Floats, measure: Floats, end: float) -> tuple[Floats, Floats, bool]:
    """The curve up to where the largest ``measure`` (n,) so far first reaches ``end``, its last point between two rows;
    whole and False where ``end`` is not a number or never reached.
    """
    highest = np.maximum.accumulate(np.asarray(measure, float))
    over = np.flatnonzero(highest >= end * (1.0 - 1e-6)) if math.isfinite(end) else np.zeros(0, int)
    if not len(over):
        return x, y, False
    k = int(over[0])
    if k == 0:
        return x[:1], y[:1], True
    rise = highest[k] - highest[k - 1]
    share = min(max((end - highest[k - 1]) / rise, 0.0), 1.0) if rise > 0.0 else 1.0
    last = [float(v[k - 1] + share * (v[k] - v[k - 1])) for v in (x, y)]
    return np.append(x[:k], last[0]), np.append(y[:k], last[1]), True


def curves(folder: Path, name: str, groups: Sequence[Curves], x_label: str, y_label: str) -> list[Path]:
    """Curves by group, each up to where it fails (a cross); of a sample the middle heavy, percentiles shaded."""
    columns = min(len(groups), 3)
    rows = math.ceil(len(groups) / columns)
    width = style.NARROW if len(groups) == 1 else style.WIDE
    titles = [_titled(g.title, width / columns) for g in groups]
    table: dict[str, list[Any]] = {k: [] for k in ("group", "case", x_label, y_label)}
    bands: dict[str, list[Any]] = {k: [] for k in ("group", x_label, "p5", "p50", "p95")}
    head = 4.2 * max(t.count("\n") for t in titles)
    with style.sheet(width, (58.0 + head) * rows + 4.0) as figure:
        grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
        for k, axes in enumerate(grid.ravel()):
            if k >= len(groups):
                axes.set_visible(False)
                continue
            group = groups[k]
            ended = group.failed or (False,) * len(group.curves)
            for label, (x, y), failed in zip(group.labels, group.curves, ended):
                axes.plot(x, y, color=style.CYCLE[0]["color"], linewidth=0.5, alpha=0.55)
                if failed:
                    axes.plot(x[-1], y[-1], marker="x", markersize=3.5, color=style.CYCLE[1]["color"], zorder=4)
                for column, part in zip(table.values(), ([group.title] * len(x), [label] * len(x), x, y)):
                    column.extend(np.asarray(part).tolist())
            at, band = group.band()
            if len(at):
                axes.fill_between(at, band[0], band[2], color=style.CYCLE[0]["color"], alpha=0.13, linewidth=0.0)
                axes.plot(at, band[1], color=style.INK, linewidth=1.5)
                for column, part in zip(bands.values(), ([group.title] * len(at), at, *band)):
                    column.extend(np.asarray(part).tolist())
            style.letter(axes, ascii_lowercase[k % 26] if len(groups) > 1 else "", titles[k])
            if k >= len(groups) - columns:
                axes.set_xlabel(style.plain(x_label))
                axes.tick_params(labelbottom=True)  # also above a place of the grid that stays empty
        for row in grid:
            row[0].set_ylabel(style.plain(y_label))
        tables = {"": table} | ({"bands": bands} if any(g.sampled for g in groups) else {})
        return style.save(figure, folder, name, tables)


def parity(
    folder: Path, name: str, computed: Floats, observed: Floats, labels: Sequence[str], unit: str, cov: float
) -> list[Path]:
    """Observed over computed values with the line of equality and one coefficient of variation about it."""
    with style.sheet(style.NARROW, 78.0) as figure:
        axes = figure.subplots()
        top = 1.08 * float(max(computed.max(), observed.max()))
        ends = np.array([0.0, top])
        axes.fill_between(ends, (1 - cov) * ends, (1 + cov) * ends, color=style.FAINT, alpha=0.4, linewidth=0.0)
        axes.plot(ends, ends, color=style.INK, linewidth=0.7)
        axes.plot(computed, observed, "o", color=style.CYCLE[0]["color"], markersize=3.0)
        axes.set(xlim=(0.0, top), ylim=(0.0, top), aspect="equal")
        axes.set_xlabel(f"equation ({unit})")
        axes.set_ylabel(f"observed ({unit})")
        columns = {"label": list(labels), "computed": computed, "observed": observed, "ratio": observed / computed}
        return style.save(figure, folder, name, {"": columns})
