"""What a figure of a run is, a view's part in the figure of both, and what both share: the drawing of the specimen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fesplice.report.drawing import specimen_drawing
from fesplice.report.view import Stage, View

Draw = Callable[[View, Path], list[Path]]


@dataclass(frozen=True)
class Figure:
    """A figure by its title, what its caption says, and the function that draws it."""

    title: str
    caption: str
    draw: Draw


@dataclass(frozen=True)
class Panel:
    """A view in the figure of both: ``title``, name of the upright axis, ``remark`` after the title, window x, y [mm].

    ``draw`` puts on axes what lies over strain and cracks at a stage; its last argument is data mm per paper mm.
    """

    title: str
    upright: str
    remark: str
    window: Callable[[View], tuple[tuple[float, float], tuple[float, float]]]
    draw: Callable[[Any, View, Stage, float], None]


def _drawing(view: View, folder: Path) -> list[Path]:
    return specimen_drawing(view.specimen, folder)


SPECIMEN = Figure(
    "Specimen",
    "The beam, and its lap in elevation, section and plan, from the same centre lines the mesh is made from. "
    "Bars A come from the left, bars B from the right.",
    _drawing,
)
