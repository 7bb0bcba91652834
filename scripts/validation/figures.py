"""One figure per series: test against prediction, and the curves of cases that have some. Legible in grey.

The first two columns of a case's curve are drawn; columns whose names begin with "measured " are
drawn as the test's, paired in their order.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np

from validation.target import Row

#: At most this many curves are drawn for one series, evenly picked.
MOST = 18
MARKS = {"pass_fail": "o", "surrogate": "s", "indication": "^", "lower_bound": "v"}
STYLE = {
    "font.size": 8, "axes.spines.top": False, "axes.spines.right": False, "axes.grid": True,
    "grid.color": "0.9", "grid.linewidth": 0.6, "axes.axisbelow": True, "svg.hashsalt": "fesplice",
}  # fmt: skip


def draw(folder: Path, series: dict[str, list[Row]]) -> list[str]:
    """Figures of all series; returns the file names."""
    drawn = []
    with plt.rc_context(STYLE):
        for name, rows in series.items():
            ratios = [r for r in rows if np.isfinite(r.ratio)]
            curves = [r for r in rows if r.found is not None and len(r.found.curve) >= 2]
            if not ratios and not curves:
                continue
            if len(curves) > MOST:
                curves = [curves[int(k)] for k in np.linspace(0, len(curves) - 1, MOST)]
            figure = _figure(name, ratios, curves)
            figure.savefig(folder / f"{name}.png", dpi=110, metadata={"Software": None})
            plt.close(figure)
            drawn.append(f"{name}.png")
    return drawn


def _figure(name: str, ratios: Sequence[Row], curves: Sequence[Row]):
    across = 3
    lines = -(-len(curves) // across)
    tall = max(1.6, 0.17 * len(ratios) + 0.9) if ratios else 0.0
    heights = ([tall] if ratios else []) + [2.1] * lines
    figure = plt.figure(figsize=(7.2, sum(heights) + 0.3), layout="constrained")
    grid = figure.add_gridspec(len(heights), across, height_ratios=heights)
    if ratios:
        _strip(figure.add_subplot(grid[0, :]), ratios)
    for k, row in enumerate(curves):
        _curve(figure.add_subplot(grid[k // across + bool(ratios), k % across]), row)
    figure.suptitle(name, fontsize=9, fontweight="bold")
    return figure


def _strip(axes, rows: Sequence[Row]) -> None:
    """Test/prediction of every case on a line of its own."""
    axes.axvspan(0.9, 1.1, color="0.93", zorder=0)
    axes.axvline(1.0, color="0.4", linewidth=0.8)
    for k, row in enumerate(rows):
        counts = row.case.use in ("pass_fail", "surrogate")
        axes.plot(
            row.ratio, k, MARKS[row.case.use], markersize=4.5, markeredgecolor="black", markeredgewidth=0.8,
            markerfacecolor="black" if counts else "white", clip_on=False,
        )  # fmt: skip
        if row.wrong_mode:
            axes.annotate("other mode", (row.ratio, k), (6, -2.5), textcoords="offset points", fontsize=6.5)
    axes.set_yticks(range(len(rows)), [r.case.name for r in rows], fontsize=6.5)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    low, high = min(r.ratio for r in rows), max(r.ratio for r in rows)
    axes.set_xlim(min(0.7, low - 0.05), max(1.3, high + 0.05))
    axes.set_xlabel("test / prediction (filled: counted; hollow: indication or lower bound; band: 10 %)")


def _curve(axes, row: Row) -> None:
    assert row.found is not None
    names = list(row.found.curve)
    own = [n for n in names if not n.startswith("measured ")]
    measured = [n for n in names if n.startswith("measured ")]
    if len(own) < 2:
        return
    axes.plot(row.found.curve[own[0]], row.found.curve[own[1]], color="black", linewidth=1.1)
    for x, *ys in [measured] if measured else []:
        for y in ys:
            lone = len(row.found.curve[x]) == 1
            axes.plot(
                row.found.curve[x], row.found.curve[y], "o" if lone else "--", color="0.45", linewidth=1.1,
                markerfacecolor="white", markersize=5,
            )  # fmt: skip
    axes.set_title(row.case.name, fontsize=7.5)
    axes.set_xlabel(own[0], fontsize=6.5, labelpad=1)
    axes.set_ylabel(own[1], fontsize=6.5, labelpad=1)
    axes.tick_params(labelsize=6)
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
