"""The test-day sheet on paper: the map of gauges and sensors, and the whole page as HTML or PDF.

HTML prints as one A4 page; the suffix of the file chooses.
"""

from __future__ import annotations

import base64
import io
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.contracts import Fault, InputFault
from fesplice.geometry import bars
from fesplice.report import paper, style
from fesplice.report.parts import Table
from fesplice.report.sheet import Sheet
from fesplice.report.spoken import speak
from fesplice.report.style import CLOSURE, CONCRETE, FAMILY, INK, QUIET, STEEL
from fesplice.store.folder import put_whole
from fesplice.units import told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_MARGIN = 10.0
#: Width and height of papers [mm] (ISO 216, ANSI/ASME Y14.1).
PAPERS = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}
_MAP, _PLAN = 50.0, 24.0
_LINE = 0.43  # mm of line height for every point of letters


@contextmanager
def map_figure(page: Sheet) -> Iterator[Figure]:
    """The map as a figure of its own, two columns wide."""
    with style.sheet(190.0, _tall(page), free=True) as figure:
        draw_map(figure, page, (0.0, 0.0, 1.0, 1.0))
        yield figure


def draw_map(figure: Figure, page: Sheet, box: tuple[float, float, float, float]) -> None:
    """Lap with the gauges beside the whole beam with the sensors, inside ``box`` (shares of the figure)."""
    s, (x0, y0, w, h) = page.specimen, box
    if _in_plan(page):
        low = h * _PLAN / _tall(page)
        _draw_plan(figure.add_axes((x0, y0, w, low)), page)
        y0, h = y0 + low, h - low
    half = bars.half_length(s)
    reach = min(half, 0.5 * s.body.closure + 0.35 * s.body.depth) if s.body.closure > 0.0 else min(half, s.body.depth)
    lap = figure.add_axes((x0, y0, 0.40 * w, h))
    _body(lap, page, (-reach, reach))
    _gauge_marks(lap, page, reach)
    beam = figure.add_axes((x0 + 0.41 * w, y0, 0.59 * w, h))
    _body(beam, page, (-half, half))
    _sensor_marks(beam, page)


def _in_plan(page: Sheet) -> bool:
    """Whether the page knows where its gauges sit across the beam."""
    return any(np.isfinite(spot.z) for spot in page.spots)


def _tall(page: Sheet) -> float:
    """Height of the map [mm]."""
    return _MAP + (_PLAN if _in_plan(page) else 0.0)


def _draw_plan(axes: Any, page: Sheet) -> None:
    """The closure from above with its bars, steel across and gauges; z across the beam upwards."""
    from matplotlib.patches import Rectangle

    s = page.specimen
    half, wide = 0.5 * s.body.closure + 0.35 * s.body.depth, 0.5 * s.body.width
    axes.add_patch(Rectangle((-half, -wide), 2.0 * half, 2.0 * wide, facecolor=CONCRETE, edgecolor="none", zorder=0))
    c = 0.5 * s.body.closure
    axes.add_patch(Rectangle((-c, -wide), 2.0 * c, 2.0 * wide, facecolor=CLOSURE, edgecolor="none", zorder=0))
    for joint in bars.joint_positions(s):
        axes.plot([joint, joint], [-wide, wide], color=INK, linewidth=0.9, linestyle=(0, (4, 1.5)))
    for at in bars.confinement_positions(s):
        axes.plot([at, at], [-0.9 * wide, 0.9 * wide], color=STEEL, linewidth=0.6, zorder=1)
    for shape in bars.main_shapes(s):
        for z in shape.positions:
            x = np.clip([shape.points[:, 0].min(), shape.points[:, 0].max()], -half, half)
            axes.plot(x, [z, z], linewidth=1.1, **FAMILY[shape.name])
    # gauges at one place, a pair in a bend, share one mark and one label
    shared: dict[tuple[int, int], list[str]] = {}
    below = {(round(spot.x), round(spot.z)) for spot in page.spots if spot.line == "A" and np.isfinite(spot.z)}
    for spot in page.spots:
        if np.isfinite(spot.z) and np.isfinite(spot.x) and abs(spot.x) <= half:
            shared.setdefault((round(spot.x), round(spot.z)), []).append(spot.label)
    for (x, z), labels in sorted(shared.items()):
        axes.plot(x, z, marker="s", markersize=3.0, color=INK, zorder=6)
        side = -1.0 if (x, z) in below else 1.0
        axes.text(x, z + 0.13 * side * wide, ", ".join(labels), fontsize=6, ha="center", zorder=7,
                  va="top" if side < 0.0 else "bottom", bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3},
                  )  # fmt: skip
    axes.set_xlim(-half, half)
    axes.set_ylim(-1.3 * wide, 1.3 * wide)
    axes.set_axis_off()


def _body(axes: Any, page: Sheet, x: tuple[float, float]) -> None:
    from matplotlib.patches import Rectangle

    s, depth = page.specimen, page.specimen.body.depth
    axes.add_patch(Rectangle((x[0], 0.0), x[1] - x[0], depth, facecolor=CONCRETE, edgecolor="none", zorder=0))
    c = 0.5 * s.body.closure
    axes.add_patch(Rectangle((-c, 0.0), 2.0 * c, depth, facecolor=CLOSURE, edgecolor="none", zorder=0))
    for y in (0.0, depth):
        axes.plot(x, [y, y], color=INK, linewidth=0.8)
    for joint in bars.joint_positions(s):
        axes.plot([joint, joint], [0.0, depth], color=INK, linewidth=0.9, linestyle=(0, (4, 1.5)))
    for places, low, high in ((bars.confinement_positions(s), *_legs(page)),):
        for at in places:
            axes.plot([at, at], [low, high], color=STEEL, linewidth=0.7)
    for shape in bars.main_shapes(s):
        # the two rows lie in one layer: drawn a hair apart so that both are seen
        shift = 0.3 * shape.diameter if shape.name == "A" else -0.3 * shape.diameter
        axes.plot(shape.points[:, 0], shape.points[:, 1] + shift, linewidth=1.3, **FAMILY[shape.name])
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.set_xlim(x)


def _legs(page: Sheet) -> tuple[float, float]:
    """Lower and upper end of the confinement as drawn."""
    s = page.specimen
    if s.confinement.upright:
        return s.confinement.cover, s.body.depth - s.confinement.cover
    y = bars.level(s, s.bars.left)
    return y - s.bars.left.diameter, y + s.bars.left.diameter


def _gauge_marks(axes: Any, page: Sheet, reach: float) -> None:
    depth = page.specimen.body.depth
    axes.set_ylim(-0.30 * depth, 1.12 * depth)
    axes.set_xlim(-reach, reach)
    used: list[tuple[float, float]] = []
    for spot in page.spots:
        if not spot.label.startswith("G") or abs(spot.x) > reach:
            continue
        axes.plot(spot.x, spot.y, marker="s", markersize=3.2, color=INK, zorder=6)
        side = -1.0 if spot.line == "A" else 1.0
        y = spot.y + side * 0.13 * depth
        while any(abs(y - v) < 0.10 * depth and abs(spot.x - u) < 0.11 * depth for u, v in used):
            y += side * 0.11 * depth
        used.append((spot.x, y))
        colour = FAMILY[spot.line]["color"] if spot.line in FAMILY else INK
        axes.plot([spot.x, spot.x], [spot.y, y - side * 0.02 * depth], color=QUIET, linewidth=0.4, zorder=5)
        axes.text(spot.x, y, spot.label, fontsize=7, ha="center", va="center", color=colour, zorder=7,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5})  # fmt: skip


def _sensor_marks(axes: Any, page: Sheet) -> None:
    s = page.specimen
    depth, half = s.body.depth, bars.half_length(s)
    axes.set_xlim(-half, half)
    axes.set_ylim(-2.2 * depth, 2.2 * depth)
    for x in bars.load_positions(s):
        style_of = {"arrowstyle": "-|>,head_width=0.2,head_length=0.4", "color": INK, "linewidth": 1.0}
        axes.annotate("", xy=(x, depth), xytext=(x, 1.7 * depth), arrowprops=style_of)
        axes.text(x + 0.12 * depth, 1.4 * depth, "P", fontsize=7, fontstyle="italic")
    for x in (-0.5 * s.body.span, 0.5 * s.body.span):
        axes.plot(x, -0.18 * depth, marker="^", markersize=5, color=INK)
    low = [spot for spot in page.spots if spot.label.startswith("D") and spot.y == 0.0]
    for spot in low:
        axes.plot(spot.x, -0.08 * depth, marker="o", markersize=3, color=INK, zorder=6)
    # labels that would meet step down, row by row
    ends = [-np.inf] * 4
    for spot in sorted(low, key=lambda at: at.x):
        row = next((k for k, end in enumerate(ends) if spot.x - end > 0.75 * depth), 0)
        ends[row] = spot.x
        y = -(0.55 + 0.45 * row) * depth
        axes.plot([spot.x, spot.x], [-0.12 * depth, y + 0.15 * depth], color=QUIET, linewidth=0.4)
        axes.text(spot.x, y, spot.label, fontsize=7, ha="center", va="center")
    for spot in page.spots:
        if spot.label.startswith("D") and spot.y > 0.0:
            axes.plot([-0.5 * depth, 0.5 * depth], [spot.y] * 2, color=INK, linewidth=1.6, zorder=6)
            axes.plot([0.5 * depth, 1.0 * depth], [spot.y] * 2, color=QUIET, linewidth=0.4, zorder=6)
            behind = {"facecolor": "white", "edgecolor": "none", "pad": 0.4}
            axes.text(1.05 * depth, spot.y, spot.label, fontsize=7, ha="left", va="center", zorder=7, bbox=behind)


# ------------------------------------------------------------------ to disk
def write_sheet(page: Sheet, path: str | Path, size: str = "A4") -> Path:
    """Write the page as .html or .pdf on paper of ``size``, and its readings as CSV beside, where it has any.

    Raises :class:`InputFault` for another suffix or paper, :class:`FolderFault` where the disk refuses.
    """
    target = Path(path)
    kind = target.suffix.lower()
    if size not in PAPERS:
        raise InputFault("sheet", [Fault("--paper", size, " or ".join(PAPERS))])
    if page.csv and kind in (".html", ".htm", ".pdf"):
        put_whole(target.with_suffix(".csv"), page.csv.encode())
    if kind == ".pdf":
        return print_sheet(page, target, PAPERS[size])
    if kind not in (".html", ".htm"):
        raise InputFault("sheet", [Fault("--out", str(target), "name a file ending in .html or .pdf")])
    buffer = io.BytesIO()
    with map_figure(page) as figure:
        speak(figure)
        figure.savefig(buffer, format="svg", metadata={"Creator": "fesplice", "Date": None})
    picture = "data:image/svg+xml;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
    return paper.write("sheet.html", target, page=page, specimen=page.specimen, picture=picture, size=size)


def print_sheet(page: Sheet, path: Path, paper_size: tuple[float, float] = PAPERS["A4"]) -> Path:
    """One page as PDF; letters shrink a little where there is much to say."""
    for size in (6.6, 6.2, 5.8, 5.4, 5.0, 4.6):
        with style.sheet(*paper_size, free=True) as figure:
            left = _write(figure, page, size, paper_size)
            if left >= 0.0 or size == 4.6:
                _save(figure, path)
                return path
    return path


def _save(figure: Figure, path: Path) -> None:
    image = io.BytesIO()
    figure.savefig(image, format="pdf", metadata={"Creator": "fesplice", "Producer": None, "CreationDate": None})
    put_whole(path, image.getvalue())


def _write(figure: Figure, page: Sheet, size: float, paper_size: tuple[float, float]) -> float:
    """Puts everything on the page, top to bottom; answers the paper mm left below."""
    pen = _Pen(figure, size, paper_size)
    s = page.specimen
    title = f"{s.name}: test-day sheet"
    pen.text(_MARGIN, style.plain(title), size + 4.0, fontweight="bold")
    pen.down(1.6 * (size + 4.0) * _LINE)
    up = "down" if s.loading.tension_face == "down" else "up: rams push upwards"
    pen.text(_MARGIN, style.plain(f"{s.note + '. ' if s.note else ''}Tension face {up}; {page.source}"), color=QUIET)
    pen.down(1.7 * size * _LINE)
    pen.text(_MARGIN, "        ".join(f"{b}: ______________" for b in page.blanks))
    pen.down(2.0 * size * _LINE)
    wide, high = paper_size
    full = wide - 2.0 * _MARGIN
    pen.table(page.events, _MARGIN, (46, 33, 36, 32, 18, 25))
    top, half = pen.y, 0.5 * full - 2.0
    pen.table(page.steps, _MARGIN, (28, half - 28))
    low = pen.y
    pen.y = top
    pen.table(page.rig, _MARGIN + half + 4.0, (32, half - 32))
    pen.y = min(low, pen.y)
    pen.list("Stop when", page.stops, _MARGIN, full)
    tall = _tall(page)
    draw_map(figure, page, (_MARGIN / wide, (pen.y - tall) / high, full / wide, tall / high))
    pen.down(tall + 1.0)
    if page.csv:
        widths = (7, 26, 34, 18, 18, 18, 18, 18, 18, 15)
        pen.table(page.gauges, _MARGIN, widths)
        pen.table(page.sensors, _MARGIN, widths)
    else:
        pen.table(page.gauges, _MARGIN, (7, 24, 33, 28, 28, 28, 42))
        pen.table(page.sensors, _MARGIN, (7, 42, 42, 33, 33, 33))
    pen.list("Cautions", page.cautions, _MARGIN, full)
    return pen.y - 6.0


class _Pen:
    """Writes texts from the top of the page downwards; ``y`` in paper mm from the bottom."""

    def __init__(self, figure: Figure, size: float, paper_size: tuple[float, float]):
        self.figure, self.size, self.paper, self.y = figure, size, paper_size, paper_size[1] - 9.0

    def down(self, by: float) -> None:
        self.y -= by

    def text(self, x: float, words: str, size: float | None = None, **options: Any) -> None:
        at = (x / self.paper[0], self.y / self.paper[1])
        look: dict[str, Any] = {"va": "top", "color": INK, "fontsize": size or self.size} | options
        self.figure.text(at[0], at[1], told(words), **look)

    def rule(self, x0: float, x1: float, weight: float) -> None:
        from matplotlib.lines import Line2D

        at = [x0 / self.paper[0], x1 / self.paper[0]], [self.y / self.paper[1]] * 2
        self.figure.add_artist(Line2D(*at, color=INK, linewidth=weight))

    def heading(self, x: float, width: float, words: str) -> None:
        self.rule(x, x + width, 0.9)
        self.down(0.7)
        self.text(x, words, self.size + 1.0, fontweight="bold")
        self.down(1.5 * (self.size + 1.0) * _LINE)

    def wrapped(self, words: str, width: float) -> list[str]:
        # a letter is about half as wide as it is high
        return textwrap.wrap(told(words), max(4, int(width / (0.50 * self.size * 25.4 / 72.0)))) or [""]

    def table(self, table: Table, x: float, widths: tuple[float, ...]) -> None:
        self.heading(x, sum(widths), table.title)
        if table.heads:
            self._row(x, table.heads, widths, color=QUIET)
        for row in table.rows:
            self._row(x, row, widths)
        if table.note:
            for line in self.wrapped(table.note, sum(widths)):
                self.text(x, style.plain(line), self.size - 0.4, color=QUIET)
                self.down(1.15 * self.size * _LINE)
        self.down(1.6)

    def _row(self, x: float, row: tuple[str, ...], widths: tuple[float, ...], **options: Any) -> None:
        cells = [self.wrapped(cell, width - 1.0) for cell, width in zip(row, widths)]
        start, tall = self.y, max(map(len, cells))
        for k, lines in enumerate(cells):
            self.y = start
            for line in lines:
                self.text(x + sum(widths[:k]), style.plain(line), **options)
                self.down(1.12 * self.size * _LINE)
        self.y = start - tall * 1.12 * self.size * _LINE - 0.25

    def list(self, title: str, items: tuple[str, ...], x: float, width: float) -> None:
        self.heading(x, width, title)
        for line in self.wrapped("   •   ".join(items), width):
            self.text(x, style.plain(line))
            self.down(1.2 * self.size * _LINE)
        self.down(1.6)
