"""Figures of a comparison that are no curves: events side by side, ratios by quantity, traced and computed cracks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.report import style
from fesplice.report.cracks import crack_key, crack_table, cracks_of, draw_cracks, element_size, widest_of
from fesplice.report.prediction_figures import at_bar_stress
from fesplice.report.view import View, window
from fesplice.report.views import VIEWS

if TYPE_CHECKING:
    from fesplice.measured.comparison import Comparison
    from fesplice.measured.record import Crack

#: Most tests with a column of their own in the figure of events; all are in its CSV.
COLUMNS = 4
#: Faces that are seen from the side; the others are seen from above or below.
SIDES = ("N", "S", "left", "right")


# ------------------------------------------------------------------ events
def events(comparison: Comparison, folder: Path) -> list[Path]:
    """Loads of the computed events to the left, those of each test to the right of it, the same event joined.

    The first ``COLUMNS`` tests; the table has all.
    """
    every = [(t.name, t.pairs) for t in comparison.tests]
    rows = every[:COLUMNS]
    top = max((v for _, pairs in rows for p in pairs for v in (p.computed, p.seen) if math.isfinite(v)), default=1.0)
    with style.sheet(style.WIDE, 105.0) as figure:
        axes = figure.subplots()
        for r, (_, pairs) in enumerate(rows, start=1):
            for p in pairs:
                if math.isfinite(p.seen):
                    axes.plot(r, p.seen / 1e3, marker="s", markersize=3.5, color=style.CYCLE[1]["color"], zorder=4)
                if math.isfinite(p.seen) and math.isfinite(p.computed):
                    ends = [p.computed / 1e3, p.seen / 1e3]
                    axes.plot([0.0, r], ends, color=style.FAINT, linewidth=0.8, zorder=1)
        known = [(p.computed, p.what) for p in rows[0][1] if math.isfinite(p.computed)]
        for load, _ in known:
            axes.plot(0.0, load / 1e3, marker="o", markersize=3.5, color=style.INK, zorder=4)
        highest = [_labels(axes, known, 0.0, -1.0, top / 1e3)]
        last = rows[-1][1]
        seen = [(p.seen, p.what) for p in last if math.isfinite(p.seen)]
        highest.append(_labels(axes, seen, float(len(rows)), 1.0, top / 1e3))
        axes.set_xticks(range(len(rows) + 1), ["computed", *(style.plain(n) for n, _ in rows)])
        axes.set_xlim(-2.1, len(rows) + 2.1)
        axes.set_ylim(0.0, 1.05 * max(top / 1e3, *highest))
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.set_title("loads per ram in kN", loc="left")
        for x in range(len(rows) + 1):
            axes.axvline(x, color=style.FAINT, linewidth=0.5, zorder=0)
        table: dict[str, list[Any]] = {
            "test": [n for n, pairs in every for _ in pairs], "event": [p.what for _, pairs in every for p in pairs],
            "computed_N": [p.computed for _, pairs in every for p in pairs],
            "seen_N": [p.seen for _, pairs in every for p in pairs],
            "how": [p.how for _, pairs in every for p in pairs],
        }  # fmt: skip
        return style.save(figure, folder, "events", {"": table})


def _labels(axes: Any, marks: Sequence[tuple[float, str]], x: float, side: float, top: float) -> float:
    """Words beside the marks of a column; those that would lie on one another step upwards and keep a thin line.

    Answers the height of the last.
    """
    gap, last = 0.034 * top, -math.inf
    for load, what in sorted(marks):
        y = load / 1e3
        at = max(y, last + gap)
        last = at
        axes.plot([x, x + 0.08 * side], [y, at], color=style.FAINT, linewidth=0.5, zorder=1)
        words = (f"{y:.0f}", style.plain(what))
        told = "  ".join(words if side > 0.0 else words[::-1])
        axes.text(x + 0.1 * side, at, told, fontsize=7, ha="left" if side > 0.0 else "right", va="center")
    return max(last, 0.0)


# ------------------------------------------------------------------ ratios
def ratios(comparison: Comparison, folder: Path) -> list[Path]:
    """Test over prediction by quantity, a mark for every test; the band of the strength in grey."""
    names = list(dict.fromkeys(r.quantity for t in comparison.tests for r in t.ratios))
    low, high = comparison.found.factors
    with style.sheet(style.WIDE, 18.0 + 4.6 * len(names)) as figure:
        axes = figure.subplots()
        axes.axvspan(low, high, label="band of the prediction's strength", **{**_BAND, "zorder": 0})
        axes.axvline(1.0, color=style.INK, linewidth=0.8)
        most = 2.0
        for k, t in enumerate(comparison.tests):
            colour = style.CYCLE[(k + 1) % len(style.CYCLE)]["color"]
            alike: dict[tuple[str, str], list[tuple[float, int]]] = {}
            for r in t.ratios:
                y = len(names) - 1 - names.index(r.quantity)
                at = min(max(r.ratio, 0.0), most)
                marker = _MARKS[k % len(_MARKS)] if at == r.ratio else ">"
                alike.setdefault((marker, "none" if r.inside is False else colour), []).append((at, y))
                if at != r.ratio:
                    axes.text(most - 0.04, y, f"{r.ratio:.3g}", fontsize=7, ha="right", va="center")
            for (marker, face), places in alike.items():
                axes.plot(*zip(*places, strict=True), marker=marker, markersize=4.0, color=colour,
                          markerfacecolor=face, linestyle="none")  # fmt: skip
        axes.set_yticks(range(len(names)), [style.plain(n) for n in reversed(names)])
        axes.set_xlim(0.0, most)
        axes.set_ylim(-0.7, len(names) - 0.3)
        axes.set_xlabel("test over prediction (hollow: outside the band of that reading)")
        rows = [(t.name, r) for t in comparison.tests for r in t.ratios]
        table = {
            "test": [n for n, _ in rows], "quantity": [r.quantity for _, r in rows], "unit": [r.unit for _, r in rows],
            "test_value": [r.test for _, r in rows], "uncertainty": [r.uncertainty for _, r in rows],
            "predicted": [r.predicted for _, r in rows], "ratio": [r.ratio for _, r in rows],
            "inside_band": ["" if r.inside is None else r.inside for _, r in rows],
        }  # fmt: skip
        return style.save(figure, folder, "ratios", {"": table})


_BAND: dict[str, Any] = {"color": "#cfd9e2", "linewidth": 0.0}
_MARKS = ("o", "s", "^", "D", "v")


# ------------------------------------------------------------------ cracks
def crack_map(side: View, top: View | None, comparison: Comparison, folder: Path) -> list[Path]:
    """Computed cracks at the largest load of the first test with the cracks traced on it, from the side and in plan.

    Traced: x from midspan, y from the tension face on sides, from the centre line on faces seen from above or below.
    """
    first = comparison.tests[0]
    load = first.test.results["largest load"].value
    traced = [c for t in comparison.tests for c in t.cracks]
    curve = np.maximum.accumulate(np.asarray(side.curve["load_N"], float))
    row = min(int(np.searchsorted(curve, load)), len(curve) - 1)
    stage = side.stage("step", row, VIEWS["elevation"].moved)
    parts = [(side, stage, [c for c in traced if c.face in SIDES])]
    if top is not None:
        stresses = [np.asarray(v, float) for k, v in side.curve.items() if k.startswith("bar_stress_")]
        parts.append((top, at_bar_stress(top, float(np.nanmax([s[row] for s in stresses]))),
                      [c for c in traced if c.face not in SIDES]))  # fmt: skip
    seen = [cracks_of(v, s) for v, s, _ in parts]
    largest = max((float(c.width.max(initial=0.0)) for c in seen), default=0.0)
    windows = [VIEWS[v.name].panel.window(v) for v, _, _ in parts]
    wide = [w[0][1] - w[0][0] for w in windows]
    unit = sum(wide) / (style.WIDE - 17.0 * len(parts))
    tall, size = max(w[1][1] - w[1][0] for w in windows), min(element_size(v) for v, _, _ in parts)
    with style.sheet(style.WIDE, tall / unit + 34.0) as figure:
        panels = figure.subplots(1, len(parts), squeeze=False, width_ratios=wide)[0]
        for k, (axes, (view, at, lines), cracks, (x, y)) in enumerate(zip(panels, parts, seen, windows)):
            window(axes, x, y)
            draw_cracks(axes, cracks, size, unit)
            _trace(axes, lines)
            told = f"{len(lines)} traced" if lines else "none traced"
            panel = VIEWS[view.name].panel
            style.letter(
                axes,
                "ab"[k] if len(parts) > 1 else "",
                f"{panel.title}, {at.load / 1e3:.0f} kN {VIEWS[view.name].per}\n{widest_of(cracks)}, {told}",
            )
            axes.set_xlabel("x from midspan (mm)")
            axes.set_ylabel(panel.upright)
        crack_key(figure, largest, size, unit)
        tables = {"": crack_table(tuple(s for _, s, _ in parts), list(seen)), "traced": _traced(traced)}
        return style.save(figure, folder, "cracks", tables)


def _trace(axes: Any, cracks: Sequence[Crack]) -> None:
    for c in cracks:
        xy = np.array(c.points)
        axes.plot(xy[:, 0], xy[:, 1], color=style.FAMILY["A"]["color"], linewidth=1.3, zorder=8)


def _traced(cracks: Sequence[Crack]) -> dict[str, list[Any]]:
    rows = [(c, x, y) for c in cracks for x, y in c.points]
    return {
        "face": [c.face for c, _, _ in rows], "crack": [c.name for c, _, _ in rows],
        "load_N": [c.load for c, _, _ in rows], "x_mm": [x for _, x, _ in rows], "y_mm": [y for _, _, y in rows],
    }  # fmt: skip
