"""Answers on matplotlib axes: what a notebook asks for with ``.plot()``.

Axes handed in are left as they are but for what is drawn and their names; new ones belong to a figure in the house
look. Units are those shown (:func:`fesplice.units.shown_in`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fesplice.answers import Chart, Drawable, Line, Span
from fesplice.contracts import InputFault
from fesplice.report import style
from fesplice.report.spoken import speak

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot(answer: Drawable | Chart, ax: Axes | None = None, **which: Any) -> Axes:
    """Draw an answer on axes and answer them: a run, the profile of a bar, a prediction, a study, a test, a check.

    ``ax``: axes to draw on, which several answers may share; new ones where it is left out. ``which`` is handed to the
    answer: ``plot(profile, quantity="slip")``, ``plot(study, x=..., y=...)``. Raises :class:`InputFault` for something
    that has no picture.
    """
    if not isinstance(answer, Drawable | Chart):
        raise InputFault("plot", f"{type(answer).__name__} has no picture; a run, a bar's profile, a prediction have")
    chart = answer.chart(**which) if isinstance(answer, Drawable) else answer
    axes, own = _axes(ax, chart)
    before = len(axes.lines)
    for k, line in enumerate(chart.lines):
        _line(axes, line, before + k)
    if chart.spans:
        _spans(axes, chart.spans)
    axes.set_xlabel(chart.across)
    if chart.up:
        axes.set_ylabel(chart.up)
    if own:
        axes.set_title(style.plain(chart.title))
        axes.grid(True, axis="x" if chart.spans else "both", zorder=0)
    if chart.lines:
        style.key(axes)
    if own:
        speak(axes.figure)
    return axes


def _axes(ax: Axes | None, chart: Chart) -> tuple[Any, bool]:
    """The axes to draw on, and whether they were made here."""
    if ax is not None:
        return ax, False
    from matplotlib import pyplot, rc_context

    high = 18.0 + 7.5 * len(chart.spans) if chart.spans else 80.0
    with rc_context({**style.SETTINGS, "figure.dpi": 110}):
        _, axes = pyplot.subplots(figsize=(style.WIDE * 0.68 / 25.4, high / 25.4), layout="constrained")
    return axes, True


def _line(axes: Any, line: Line, number: int) -> None:
    look = dict(style.CYCLE[number % len(style.CYCLE)])
    if line.marks:
        look |= {"linestyle": "none", "marker": "osh^vD*P"[number % 8], "markersize": 4.5}
    axes.plot(line.x, line.y, label=style.plain(line.name) or None, **look)


def _spans(axes: Any, spans: tuple[Span, ...]) -> None:
    most = max(s.high for s in spans)
    for row, s in enumerate(reversed(spans)):
        axes.barh(row, s.high - s.low, left=s.low, height=0.55, color=style.CLOSURE, edgecolor=style.INK,
                  linewidth=0.5, zorder=2)  # fmt: skip
        axes.plot([s.value] * 2, [row - 0.28, row + 0.28], color=style.INK, linewidth=1.8, zorder=3)
        value = f"{'at least ' if s.open else ''}{s.value:.0f}"
        axes.text(s.high + 0.015 * most, row, f"{value}{f', {s.note}' if s.note else ''}", va="center", fontsize=7)
    axes.set_yticks(range(len(spans)), [style.plain(s.name) for s in reversed(spans)])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(-0.6, len(spans) - 0.4)
    axes.set_xlim(0.0, 1.75 * most)
