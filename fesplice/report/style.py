"""One look for every figure: sizes, letters, line styles, maps, and how a figure goes to disk.

Widths are those of one and two columns of a journal page (89 and 183 mm), letters 7 to 9 points.
Everything must survive a black-and-white copy: maps rise evenly in lightness, and lines differ in
dash and weight, not in colour alone. Nothing here changes the settings of the calling program.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from fesplice.report.spoken import speak
from fesplice.store.cells import harmless
from fesplice.store.folder import put_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure

#: Width of one and of two columns [mm].
NARROW, WIDE = 89.0, 183.0
#: Raster resolution [dots per inch].
DPI = 200

INK, QUIET, FAINT = "#1a1a1a", "#5c5c5c", "#c9c9c9"
CONCRETE, CLOSURE, STEEL = "#f1f0ec", "#dcd8cc", "#8d8d8d"

#: Line families: dark and unbroken against lighter and dashed.
FAMILY: dict[str, dict[str, Any]] = {
    "A": {"color": "#0b3c6f", "linestyle": "-"},
    "B": {"color": "#c8571b", "linestyle": (0, (4.5, 1.6))},
}
#: Stages of a test: weight and lightness tell them apart.
STAGE: dict[str, dict[str, Any]] = {
    "service": {"color": "#6f9fc4", "linestyle": "-", "linewidth": 1.0},
    "first loss": {"color": "#b4532a", "linestyle": (0, (4.0, 1.5)), "linewidth": 1.2},
    "strength": {"color": "#0b2f57", "linestyle": "-", "linewidth": 1.6},
}
#: Letters of panels.
MARKS = "abcdefgh"
#: A cycle for lines without a family of their own.
CYCLE: tuple[dict[str, Any], ...] = (
    {"color": "#0b2f57", "linestyle": "-"},
    {"color": "#b4532a", "linestyle": (0, (5.0, 1.5))},
    {"color": "#4a8f7b", "linestyle": (0, (1.2, 1.2))},
    {"color": "#8a6fae", "linestyle": (0, (6.0, 1.5, 1.2, 1.5))},
    {"color": "#a8a8a8", "linestyle": "-"},
)

# Anchors of the maps, light to dark; equal steps in CIE lightness (checked by a test).
WARM = ("#ffffff", "#fdecd2", "#f7cf9b", "#ecae6c", "#da8a48", "#be672f", "#994722", "#6f2c1b", "#461713")
COOL = ("#ffffff", "#e3edf5", "#bfd6e8", "#94b9d8", "#6799c4", "#4079ab", "#275b8c", "#173f69", "#0c2542")

#: The house settings of matplotlib.
SETTINGS: Any = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 7.5,
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 4.0,
    "axes.labelsize": 7.5,
    "axes.labelpad": 2.5,
    "axes.linewidth": 0.6,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.labelsize": 7.0,
    "ytick.labelsize": 7.0,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "xtick.color": INK,
    "ytick.color": INK,
    "legend.fontsize": 7.0,
    "legend.frameon": False,
    "legend.handlelength": 2.6,
    "lines.linewidth": 1.2,
    "lines.solid_capstyle": "butt",
    "hatch.linewidth": 0.4,
    "grid.color": "#e2e2e2",
    "grid.linewidth": 0.5,
    "savefig.dpi": DPI,
    "figure.dpi": DPI,
    "pdf.fonttype": 42,
    "svg.fonttype": "path",
    # The same run gives the same file, byte for byte.
    "svg.hashsalt": "fesplice",
    "mathtext.default": "regular",
    "path.simplify": True,
}


@contextmanager
def sheet(width: float, height: float, *, free: bool = False) -> Iterator[Figure]:
    """A figure of ``width`` x ``height`` [mm] inside the house settings, without any window system.

    Axes are fitted to the letters around them, unless the figure is ``free``: then they stay as placed.
    """
    import matplotlib
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    fitted = None if free else ConstrainedLayoutEngine(w_pad=0.03, h_pad=0.03, hspace=0.03, wspace=0.03)
    with matplotlib.rc_context(SETTINGS):
        yield Figure(figsize=(width / 25.4, height / 25.4), layout=fitted)


class Named(Protocol):
    """A step in a figure; ``asked`` where it was asked for by number, load or stress."""

    @property
    def name(self) -> str: ...

    @property
    def asked(self) -> bool: ...


def looks(stages: Sequence[Named]) -> list[dict[str, Any]]:
    """Lines of stages; steps that were asked for take the cycle, from the last that is heaviest."""
    lines = [CYCLE[k % len(CYCLE)] for k in range(len(stages))][::-1]
    return [line if s.asked else STAGE.get(s.name, STAGE["strength"]) for s, line in zip(stages, lines)]


def shapes(stages: Sequence[Named]) -> list[str]:
    """Marks of stages on curves."""
    known, rest = {"service": "D", "first loss": "h", "strength": "^", "predicted": "X"}, "oshPv*dp"
    return [rest[k % len(rest)] if s.asked else known[s.name] for k, s in enumerate(stages)]


def warm() -> Colormap:
    """White over sand to dark rust: for strains and tension."""
    return _map("warm", WARM)


def pale() -> Colormap:
    """The light half of :func:`warm`: for what lies under black lines."""
    return _map("pale", WARM[:6])


def cool() -> Colormap:
    """White over blue to night: for bars and compression."""
    return _map("cool", COOL)


def _map(name: str, anchors: tuple[str, ...]) -> Colormap:
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list(name, list(anchors))


# ------------------------------------------------------------------ numbers
def nice(value: float) -> float:
    """The greatest of 1, 2, 2.5, 5 x 10^k not above ``value`` (> 0)."""
    base = 10.0 ** math.floor(math.log10(value))
    return max(m for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * base <= value * (1.0 + 1e-9)) * base


def ceiling(value: float) -> float:
    """The smallest of 1, 1.5, 2, 3, 4, 5, 6, 8, 10 x 10^k not below ``value`` (> 0): ends of scales."""
    base = 10.0 ** math.floor(math.log10(value))
    return min(m for m in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if m * base >= value * (1.0 - 1e-9)) * base


def short(value: float, digits: int = 3) -> str:
    """``value`` with ``digits`` significant figures, never in powers of ten; a dash when not finite."""
    if not math.isfinite(value):
        return "–"
    if value == 0.0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{min(places, 6)}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-", "−")


def plain(text: str) -> str:
    """Text of a specimen as matplotlib may draw it: no formula signs, no control characters."""
    return re.sub(r"[\x00-\x1f\x7f]", " ", text).replace("$", r"\$")


# ------------------------------------------------------------------ parts of figures
def letter(axes: Axes, mark: str, title: str) -> None:
    """Panel title with its letter: ``a  Service``."""
    axes.set_title(f"{mark}  {title}" if mark else title)


def colour_bar(figure: Figure, shown: Any, axes: Any, label: str, **options: Any) -> Any:
    """A thin colour bar with a unit in its label."""
    where = {} if "cax" in options else {"ax": axes, "fraction": 0.03, "pad": 0.015, "aspect": 28}
    bar = figure.colorbar(shown, **where | options)
    bar.set_label(label)
    bar.outline.set_linewidth(0.4)
    return bar


def key(axes: Axes, **options: Any) -> None:
    """The legend, if anything is named; placed where it covers least unless told otherwise."""
    if axes.get_legend_handles_labels()[1]:
        axes.legend(**{"loc": "best", "borderaxespad": 0.3, "labelspacing": 0.35} | options)


def strokes(axes: Axes, ends: Any, look: Mapping[str, Any]) -> None:
    """Straight strokes (n, 2, 2) of one ``look`` as one path: thousands of paths of their own fill vector files."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path as Line

    ends = np.asarray(ends, float)
    if not len(ends):
        return
    path = Line(ends.reshape(-1, 2), np.tile([Line.MOVETO, Line.LINETO], len(ends)))
    path.should_simplify = False
    # an artist of its own: scales are set by what strokes lie on
    axes.add_artist(PathPatch(path, fill=False, **look))


# ------------------------------------------------------------------ to disk
#: Vector formats with what is told in the file: nothing that differs between two drawings of one figure.
_VECTORS: dict[str, dict[str, str | None]] = {
    "pdf": {"Creator": "fesplice", "Producer": None, "CreationDate": None},
    "svg": {"Creator": "fesplice", "Date": None},
}
# Coordinates of an SVG: path data, places, moves; neither scales nor the base64 text of pictures.
_PLACES = re.compile(rb'(?<= d=")[^"]+|(?<= [xy]=")[-0-9.]+(?=")|(?<=translate\()[^)]+')
_FRACTION = re.compile(rb"-?\d+\.\d{3,}")


def _raster(figure: Figure) -> bytes:
    """The figure as PNG of 256 colours, a third of the size of full colour."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image, PngImagePlugin

    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    drawn = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
    told = PngImagePlugin.PngInfo()
    told.add_text("Software", "fesplice")
    image = io.BytesIO()
    few = drawn.quantize(256, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    # each of the colours as the mean of what it stands for: white stays white
    which = np.asarray(few).ravel()
    count = np.maximum(np.bincount(which, minlength=256), 1)
    parts = np.asarray(drawn).reshape(-1, 3).T
    means = [np.rint(np.bincount(which, part, 256) / count) for part in parts]
    few.putpalette(np.stack(means, axis=1).astype(np.uint8).tobytes())
    few.save(image, "png", optimize=True, dpi=(figure.dpi, figure.dpi), pnginfo=told)
    return image.getvalue()


def _terse(svg: bytes) -> bytes:
    """An SVG with places to 0.01 points and nothing between its elements: half the size."""

    def number(found: re.Match[bytes]) -> bytes:
        text = b"%.2f" % float(found[0])
        return text.rstrip(b"0").rstrip(b".")

    terse = _PLACES.sub(lambda found: _FRACTION.sub(number, b" ".join(found[0].split())), svg)
    # no text stands between elements: letters are outlines
    return re.sub(rb">\s+<", b"><", terse)


def save(figure: Figure, folder: Path, name: str, tables: Mapping[str, Mapping[str, Any]] | None = None) -> list[Path]:
    """Write ``name``.png, .pdf and .svg, and one CSV per table; answer the paths in that order.

    ``tables`` maps a suffix (empty for the figure's own name) to columns of equal length whose
    names carry the units. Raises :class:`FolderFault` when the disk refuses or a file there is somebody's.
    The figure shows the units asked for (:func:`fesplice.units.shown_in`), its tables stay in SI.
    """
    speak(figure)
    if (layout := figure.get_layout_engine()) is not None:
        layout.execute(figure)
        # The layout stands now; solving it again for every format would only cost time.
        figure.set_layout_engine("none")
    paths = [put_whole(folder / f"{name}.png", _raster(figure))]
    for kind, told in _VECTORS.items():
        image = io.BytesIO()
        figure.savefig(image, format=kind, metadata=told)
        data = image.getvalue()
        paths.append(put_whole(folder / f"{name}.{kind}", _terse(data) if kind == "svg" else data))
    for suffix, columns in (tables or {}).items():
        paths.append(write_table(folder / (f"{name}-{suffix}.csv" if suffix else f"{name}.csv"), columns))
    return paths


def write_table(path: Path, columns: Mapping[str, Any]) -> Path:
    """Columns of equal length as CSV with a header; numbers to 7 significant figures. Faults as of :func:`save`."""
    values = [np.atleast_1d(np.asarray(c)) for c in columns.values()]
    if len({len(v) for v in values}) > 1:
        raise ValueError(f"columns of {path.name} differ in length: {[len(v) for v in values]}")
    texts = [[_cell(x) for x in v.tolist()] for v in values]
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(map(harmless, columns))
    writer.writerows(zip(*texts))
    return put_whole(path, text.getvalue().encode())


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.7g}" if math.isfinite(value) else ""
    return harmless(str(value))
