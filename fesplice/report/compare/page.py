"""One page of tests laid over the prediction of their specimen, with its figures beside."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fesplice.report import paper
from fesplice.report.compare import curves, marks
from fesplice.report.page import picture
from fesplice.report.parts import DASH
from fesplice.report.view import View

if TYPE_CHECKING:
    from fesplice.measured.comparison import Comparison, Ratio
    from fesplice.store.run import Run

PAGE, FIGURES = "comparison.html", "figures"


@dataclass(frozen=True)
class Shown:
    """A figure on the page."""

    key: str
    title: str
    caption: str
    picture: dict[str, Any]


def comparison_page(
    found: Comparison, side: Run, top: Run | None, out: Path, progress: Callable[[str], None] | None = None
) -> Path:
    """Write ``out``/comparison.html and its figures; :class:`FolderFault` where the disk refuses."""
    tell = progress if progress is not None else lambda title: None
    place = out / FIGURES
    view, plan = View(side), None if top is None else View(top)
    shown = []

    def put(key: str, title: str, caption: str, draw: Callable[[], list[Path]]) -> None:
        tell(title)
        shown.append(Shown(key, title, caption, picture(draw())))

    band = "Black line: computed; grey: band of the prediction; marks: test, hollow where the channel is suspect."
    groups = [
        ("load-deflection", "Load over midspan deflection", ("deflection",), 1),
        ("bar-strain", "Bar strain over the load", ("bar_strain",), 3),
        ("tie-strain", "Strain of steel across the bars over the load", ("tie_strain",), 3),
        ("displacements", "Deflections, joint openings, lift, slip and rotation over the load",
         ("joint_opening", "deflection", "lift", "slip", "rotation"), 3),
        ("concrete-strain", "Concrete strain over the load", ("concrete_strain",), 3),
    ]  # fmt: skip
    for key, title, kinds, columns in groups:
        chosen = [c for c in curves.merged(found, kinds) if c.turned == (key == "load-deflection")]
        if key == "bar-strain" and (stretches := [a for t in found.tests for a in t.along]):
            yields = _yields(view)
            put("bar-stress", "Bar stress along the bars",
                "Lines: computed at the loads of the first test; marks: gauges through the steel curve, own weight's "
                "strain added from the run, bars of twice the standard uncertainty, hollow where a channel is suspect. "
                "Dashed: joint face; dotted: yield strength.",
                lambda stretches=stretches, yields=yields: curves.along_bars(stretches, yields, place))  # fmt: skip
        if chosen:
            put(key, title, band, lambda c=chosen, key=key, n=columns: curves.overlay(c, place, key, n))
    put("cracks", "Cracks",
        "Orange to dark: computed at the largest load of the first test, by their opening; blue: traced in tests.",
        lambda: marks.crack_map(view, plan, found, place))  # fmt: skip
    put("events", "Order of events",
        "The same event is joined by a line; of many tests the first four, all in the CSV.",
        lambda: marks.events(found, place))  # fmt: skip
    put("ratios", "Test over prediction", "By quantity; suspect channels are left out.",
        lambda: marks.ratios(found, place))  # fmt: skip
    return paper.write(
        "compare.html", out / PAGE, found=found, shown=shown, specimen=view.specimen, ratio_cells=_cells,
        load=_load, per=lambda v: f"{100.0 * v:.0f} %" if math.isfinite(v) else DASH,
    )  # fmt: skip


def _yields(view: View) -> dict[str, float]:
    s = view.specimen
    rows = {"A": s.bars.left, "B": s.bars.right}
    return {k: float(s.steel[row.steel].yield_strength) for k, row in rows.items() if row is not None}


def _load(value: float) -> str:
    return f"{value / 1e3:.0f} kN" if math.isfinite(value) else DASH


def _cells(r: Ratio) -> tuple[str, ...]:
    """Quantity, test, prediction, ratio, band, note."""
    unit, scale = ("kN", 1e-3) if r.unit == "N" else (r.unit, 1.0)
    spread = f" ± {r.uncertainty * scale:.2g}" if math.isfinite(r.uncertainty) else ""
    inside = {None: DASH, True: "inside", False: "outside"}[r.inside]
    test = f"{r.test * scale:.4g}{spread} {unit}"
    return r.quantity, test, f"{r.predicted * scale:.4g} {unit}", f"{r.ratio:.2f}", inside, r.note
