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
    return [{**style.CYCLE[k % len(style.CYCLE)], "marker": mark} for k, mark in enumerate(_MARKS)]


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
    """Panels side by side on one scale, a line with its band per entry; ``one`` draws a level across."""
    columns = 2 if len(panels) == 4 else min(len(panels), 3)
    rows = math.ceil(len(panels) / columns)
    width = style.NARROW if len(panels) == 1 else style.WIDE
    columns_of = ("panel", "line", x_label, y_label, "low", "high", "lower_bound")
    table: dict[str, list[Any]] = {k: [] for k in columns_of}
    with style.sheet(width, 62.0 * rows + 8.0) as figure:
        grid = figure.subplots(rows, columns, squeeze=False, sharey=True)
        for k, axes in enumerate(grid.ravel()):
            if k >= len(panels):
                axes.set_visible(False)
                continue
            panel = panels[k]
            for i, line in enumerate(panel.lines):
                look = looks()[i % len(_MARKS)]
                if not marks:
                    look = {key: value for key, value in look.items() if key != "marker"}
                axes.plot(line.x, line.y, label=style.plain(line.label), markersize=3.2, **look)
                if line.bound is not None and marks and line.bound.any():
                    hollow = look | {"linestyle": "none", "markerfacecolor": "white"}
                    axes.plot(line.x[line.bound], line.y[line.bound], markersize=3.6, **hollow)
                if line.low is not None and line.high is not None:
                    axes.fill_between(line.x, line.low, line.high, color=look["color"], alpha=0.13, linewidth=0.0)
                _note(table, panel, line, x_label, y_label)
            if one is not None:
                axes.axhline(one, color=style.INK, linewidth=0.6, linestyle=(0, (1, 1.5)))
            if panel.ticks:
                many = len(panel.ticks) > 6
                told = [style.plain(t) if many else fill(style.plain(t), 11) for t in panel.ticks]
                axes.set_xticks(range(len(panel.ticks)), told, rotation=90 if many else 0)
            style.letter(axes, ascii_lowercase[k % 26] if len(panels) > 1 else "", style.plain(panel.title))
            if k >= len(panels) - columns:
                axes.set_xlabel(style.plain(x_label))
        for row in grid:
            row[0].set_ylabel(style.plain(y_label))
        if min((np.nanmin(ln.y) for p in panels for ln in p.lines if np.isfinite(ln.y).any()), default=0.0) >= 0.0:
            grid[0, 0].set_ylim(bottom=0.0)
        _key(figure, grid[0, 0])
        return style.save(figure, folder, name, {"": table})


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
    folder: Path, name: str, shown: Mapping[str, Bars], x_label: str, limits: tuple[float, float] | None = None
) -> list[Path]:
    """Panels of horizontal bars by title, the first bar on top."""
    longest = max((len(b.labels) for b in shown.values()), default=1)
    table: dict[str, list[Any]] = {k: [] for k in ("panel", "label", x_label, "low", "high")}
    columns = max(len(shown), 1) if len(shown) < 4 else 2
    rows = max(math.ceil(len(shown) / columns), 1)
    height = (22.0 + 6.0 * max(longest, 2)) * rows
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
            if limits is not None:
                axes.set_xlim(*limits)
            axes.set_xlabel(style.plain(x_label))
            style.letter(axes, ascii_lowercase[k % 26] if len(shown) > 1 else "", style.plain(title))
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
    """Response curves of one group: each (deflection, load), and percentiles on common deflections."""

    title: str
    labels: tuple[str, ...]
    curves: tuple[tuple[Floats, Floats], ...]

    def band(self, points: int = 60) -> tuple[Floats, Floats]:
        """Deflections (n,) and loads (3, n): percentiles 5, 50, 95 over the curves that reach there (at least 3)."""
        end = sorted((float(x[-1]) for x, _ in self.curves), reverse=True)
        if len(end) < 3:
            return np.zeros(0), np.zeros((3, 0))
        at = np.linspace(0.0, end[2], points)
        seen = np.array([np.interp(at, x, y, right=math.nan) for x, y in self.curves])
        return at, np.nanpercentile(seen, [5, 50, 95], axis=0)


def curves(folder: Path, name: str, groups: Sequence[Curves], x_label: str, y_label: str) -> list[Path]:
    """Response curves by group: each run thin, the middle heavy, percentiles 5 to 95 shaded."""
    columns = min(len(groups), 3)
    rows = math.ceil(len(groups) / columns)
    table: dict[str, list[Any]] = {k: [] for k in ("group", "case", x_label, y_label)}
    bands: dict[str, list[Any]] = {k: [] for k in ("group", x_label, "p5", "p50", "p95")}
    with style.sheet(style.NARROW if len(groups) == 1 else style.WIDE, 58.0 * rows + 4.0) as figure:
        grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
        for k, axes in enumerate(grid.ravel()):
            if k >= len(groups):
                axes.set_visible(False)
                continue
            group = groups[k]
            for label, (x, y) in zip(group.labels, group.curves):
                axes.plot(x, y, color=style.CYCLE[0]["color"], linewidth=0.5, alpha=0.55)
                for column, part in zip(table.values(), ([group.title] * len(x), [label] * len(x), x, y)):
                    column.extend(np.asarray(part).tolist())
            at, band = group.band()
            if len(at):
                axes.fill_between(at, band[0], band[2], color=style.CYCLE[0]["color"], alpha=0.13, linewidth=0.0)
                axes.plot(at, band[1], color=style.INK, linewidth=1.5)
                for column, part in zip(bands.values(), ([group.title] * len(at), at, *band)):
                    column.extend(np.asarray(part).tolist())
            style.letter(axes, ascii_lowercase[k % 26] if len(groups) > 1 else "", style.plain(group.title))
            if k >= len(groups) - columns:
                axes.set_xlabel(style.plain(x_label))
                axes.tick_params(labelbottom=True)  # also above a place of the grid that stays empty
        for row in grid:
            row[0].set_ylabel(style.plain(y_label))
        return style.save(figure, folder, name, {"": table, "bands": bands})


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
