"""Figures of a comparison that are curves: load-deflection, gauges over the load, stress along the bars, envelopes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.report import style

if TYPE_CHECKING:
    from fesplice.measured.comparison import Along, Comparison, Point
    from fesplice.measured.courses import Course

#: What the computed line, its band and an envelope look like.
LINE: dict[str, Any] = {"color": style.INK, "linewidth": 1.3}
BAND: dict[str, Any] = {"color": "#cfd9e2", "linewidth": 0.0, "zorder": 0}
#: Most marks of all tests in one panel: more lie on one another. The CSV has all of them.
MOST = 4000
#: Most names in the key of a figure.
NAMED = 8
MARKS = ("o", "s", "^", "D", "v")


def overlay(courses: Sequence[Course], folder: Path, name: str, columns: int = 3) -> list[Path]:
    """One panel per course: the computed line with its band, what was measured as points; CSV of both beside."""
    columns = min(columns, len(courses))
    rows = math.ceil(len(courses) / columns)
    width = style.NARROW if columns == 1 else style.WIDE
    with style.sheet(width, 12.0 + rows * (62.0 if columns == 1 else 44.0)) as figure:
        panels = figure.subplots(rows, columns, squeeze=False).ravel()
        for k, (axes, course) in enumerate(zip(panels, courses)):
            _panel(axes, course)
            style.letter(axes, "" if len(courses) == 1 else _mark(k), style.plain(course.name))
        for axes in panels[len(courses) :]:
            axes.set_axis_off()
        handles, labels = panels[0].get_legend_handles_labels()
        if len(labels) > NAMED:
            # so many names would leave no room for the curves; the CSV has them
            labels[NAMED - 1] = f"{labels[NAMED - 1]} and {len(labels) - NAMED} more"
            handles, labels = handles[:NAMED], labels[:NAMED]
        figure.legend(handles, labels, loc="outside lower left", ncols=3 if columns > 1 else 2)
        return style.save(figure, folder, name, {"": _table(courses)})


def _mark(k: int) -> str:
    return chr(ord("a") + k) if k < 26 else f"a{chr(ord('a') + k - 26)}"


def _panel(axes: Any, c: Course) -> None:
    known = np.isfinite(c.low) & np.isfinite(c.high)
    order = np.argsort(c.x[known], kind="stable")
    x, low, high = (v[known][order] for v in (c.x, c.low, c.high))
    fill = axes.fill_betweenx if c.turned else axes.fill_between
    if len(x):
        fill(x, low, high, label="band of the prediction", **BAND)
    axes.plot(*_turned(c, c.x, c.y), label="computed", **LINE)
    every = max(1, math.ceil(sum(len(s.x) for s in c.seen) / MOST))
    for k, s in enumerate(c.seen):
        look = style.CYCLE[(k + 1) % len(style.CYCLE)]
        if len(s.low):
            # an envelope of repeats rather than one test
            bounds = axes.fill_betweenx if c.turned else axes.fill_between
            bounds(s.x, s.low, s.high, color=look["color"], alpha=0.35, linewidth=0.0, label=style.plain(s.name))
            continue
        told = f"{s.name}, {s.doubt}" if s.doubt else s.name
        points: dict[str, Any] = {"marker": MARKS[k % len(MARKS)], "markersize": 2.2, "linestyle": "none"}
        face = "none" if s.doubt else look["color"]
        label = style.plain(s.name)
        axes.plot(*_turned(c, s.x[::every], s.y[::every]), label=label, markerfacecolor=face,
                  markeredgecolor=look["color"], markeredgewidth=0.4, **points)  # fmt: skip
        if s.doubt:
            axes.text(0.03, 0.95, style.plain(told.partition(", ")[2]), transform=axes.transAxes, fontsize=7, va="top",
                      color=style.FAMILY["B"]["color"])  # fmt: skip
    axes.set_xlabel(c.y_axis if c.turned else c.x_axis)
    axes.set_ylabel(c.x_axis if c.turned else c.y_axis)
    _window(axes, c)


def _turned(c: Course, x: Any, y: Any) -> tuple[Any, Any]:
    return (y, x) if c.turned else (x, y)


def _window(axes: Any, c: Course) -> None:
    """What was measured with room about it; the computed curve may go on outside, by half as much again."""
    xs, ys = ([v for s in c.seen for v in (getattr(s, which).tolist())] for which in ("x", "y"))
    if not xs:
        return
    right = 1.5 * max(xs)
    inside = c.x <= right
    reach = [*ys, *(v for v in c.y[inside].tolist() if math.isfinite(v))]
    low, high = min(0.0, *reach), max(reach)
    room = 0.06 * (high - low) or 1.0
    if c.turned:
        axes.set_ylim(0.0, 1.04 * min(right, float(np.nanmax([*c.x, *xs]))))
        axes.set_xlim(low, 1.35 * max(ys) if ys else high + room)
    else:
        axes.set_xlim(0.0, min(right, float(np.nanmax([*c.x, *xs]))))
        axes.set_ylim(low - room, high + room)


def _table(courses: Sequence[Course]) -> dict[str, list[Any]]:
    """Long table: curve, series, abscissa, ordinate, bounds."""
    out: dict[str, list[Any]] = {k: [] for k in ("curve", "series", "x", "y", "low", "high", "doubt")}

    def put(course: str, series: str, columns: Sequence[Any], doubt: str = "") -> None:
        n = len(columns[0])
        out["curve"] += [course] * n
        out["series"] += [series] * n
        out["doubt"] += [doubt] * n
        for key, values in zip(("x", "y", "low", "high"), columns, strict=True):
            out[key] += [float(v) for v in values] if len(values) else [math.nan] * n

    for c in courses:
        name = f"{c.name}: {c.y_axis} over {c.x_axis}"
        put(name, "computed", (c.x, c.y, c.low, c.high))
        for s in c.seen:
            put(name, s.name, (s.x, s.y, s.low, s.high), s.doubt)
    return out


# ------------------------------------------------------------------ several tests in one panel
def merged(comparison: Comparison, kinds: Sequence[str]) -> list[Course]:
    """Courses of some kinds, those of one gauge in all tests as one, in the order of the first test."""
    by: dict[str, Course] = {}
    for test in comparison.tests:
        for c in test.courses:
            if c.kind in kinds:
                by[c.name] = replace(by[c.name], seen=(*by[c.name].seen, *c.seen)) if c.name in by else c
    return list(by.values())


# ------------------------------------------------------------------ along the bars
def along_bars(stretches: Sequence[Along], yields: Mapping[str, float], folder: Path) -> list[Path]:
    """Computed stress along each line of bars at the loads of the tests, with gauges and their uncertainty (k = 2)."""
    lines = sorted({a.line for a in stretches})
    loads = sorted({(a.test, round(a.load)) for a in stretches})
    first = [key for key in loads if key[0] == stretches[0].test]
    with style.sheet(style.WIDE, 76.0) as figure:
        panels = figure.subplots(1, len(lines), squeeze=False, sharey=True)[0]
        for k, (axes, line) in enumerate(zip(panels, lines)):
            gauged: dict[tuple[str, bool], list[Point]] = {}
            for a in (a for a in stretches if a.line == line):
                shade = first.index((a.test, round(a.load))) if (a.test, round(a.load)) in first else len(first)
                look = style.CYCLE[shade % len(style.CYCLE)]
                if shade < len(first):
                    axes.plot(a.arc, a.stress, linewidth=1.1, label=f"computed, {a.load / 1e3:.0f} kN", **look)
                for p in a.points:
                    gauged.setdefault((look["color"], bool(p.doubt)), []).append(p)
            _bars_of(axes, gauged)
            axes.axvline(0.0, color=style.QUIET, linewidth=0.6, linestyle=(0, (4, 1.5)))
            if line in yields:
                axes.axhline(yields[line], color=style.QUIET, linewidth=0.6, linestyle=(0, (1, 1.5)))
            style.letter(axes, "ab"[k] if len(lines) > 1 else "", f"Bars {line}")
            right = max((float(p.arc) for a in stretches for p in a.points), default=0.0)
            axes.set_xlim(-400.0, max(400.0, 1.1 * right))
            axes.set_xlabel("along the bar from the joint face (mm)")
        panels[0].set_ylabel("bar stress (MPa)")
        style.key(panels[0], loc="upper right")
        return style.save(figure, folder, "bar-stress", {"": _along_table(stretches), "gauges": _points(stretches)})


def _bars_of(axes: Any, gauged: Mapping[tuple[str, bool], Sequence[Point]]) -> None:
    """Gauges with their uncertainty by colour and doubt, those of all tests at once."""
    for (colour, doubt), points in gauged.items():
        arc, stress, uncertainty = ([getattr(p, which) for p in points] for which in ("arc", "stress", "uncertainty"))
        axes.errorbar(arc, stress, yerr=2.0 * np.array(uncertainty), marker="o", markersize=3.4, color=colour,
                      linestyle="none", markerfacecolor="none" if doubt else colour, markeredgewidth=0.7,
                      elinewidth=0.7, capsize=1.6, zorder=5)  # fmt: skip


def _along_table(stretches: Sequence[Along]) -> dict[str, list[Any]]:
    return {
        "test": [a.test for a in stretches for _ in a.arc], "line": [a.line for a in stretches for _ in a.arc],
        "load_N": [a.load for a in stretches for _ in a.arc],
        "arc_mm": [float(v) for a in stretches for v in a.arc],
        "computed_MPa": [float(v) for a in stretches for v in a.stress],
    }  # fmt: skip


def _points(stretches: Sequence[Along]) -> dict[str, list[Any]]:
    rows = [(a, p) for a in stretches for p in a.points]
    return {
        "test": [a.test for a, _ in rows], "load_N": [a.load for a, _ in rows], "gauge": [p.gauge for _, p in rows],
        "arc_mm": [p.arc for _, p in rows], "stress_MPa": [p.stress for _, p in rows],
        "uncertainty_MPa": [p.uncertainty for _, p in rows], "doubt": [p.doubt for _, p in rows],
    }  # fmt: skip
