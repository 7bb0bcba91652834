"""How the figures of a run are made: by name, each with its caption, in the order of its page.

Every figure goes to PNG, PDF and SVG, with the numbers behind it as CSV beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from fesplice.contracts import InputFault
from fesplice.report.figure import Figure
from fesplice.report.view import LeftOut, View
from fesplice.report.views import VIEWS

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: Figures of all views by name.
FIGURES: dict[str, Figure] = {name: figure for kind in VIEWS.values() for name, figure in kind.figures.items()}


@dataclass(frozen=True)
class Drawn:
    """Files of every figure by name (PNG, PDF, SVG, then CSV), and why figures were left out."""

    files: dict[str, list[Path]] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)


def draw(
    run: Run | View,
    folder: str | Path | None = None,
    step: int | None = None,
    names: Iterable[str] | None = None,
    progress: Callable[[str], None] | None = None,
) -> Drawn:
    """Draw the figures ``names`` (default: all of its view) of a run into ``folder`` (default: RUN/figures).

    ``step``: the one step to show, negative from the last; None shows service, peak and end.
    ``progress`` hears the title of each figure before it is drawn. Raises :class:`InputFault` for an
    unknown name, :class:`FolderFault` for a step that is not stored or a disk that refuses.
    """
    view = run if isinstance(run, View) else View(run)
    kind = VIEWS[view.name]
    wanted = list(kind.figures) if names is None else list(names)
    if unknown := [name for name in wanted if name not in FIGURES]:
        raise InputFault("figures", f"no figure {', '.join(map(repr, unknown))}; there are {', '.join(FIGURES)}")
    place = figure_folder(view, step) if folder is None else Path(folder)
    drawn = Drawn()
    for name in wanted:
        if progress is not None:
            progress(FIGURES[name].title)
        try:
            if name not in kind.figures:
                raise LeftOut(f"is of the {_home(name)}; this run is the {kind.name}")
            drawn.files[name] = FIGURES[name].draw(view, place, step)
        except LeftOut as reason:
            drawn.left_out[name] = str(reason)
    return drawn


def _home(name: str) -> str:
    return " and the ".join(kind.name for kind in VIEWS.values() if name in kind.figures)


def figure_folder(view: View, step: int | None = None) -> Path:
    """Where figures go unless told otherwise: RUN/figures, or a folder of its own for a chosen step."""
    base = view.run.folder / "figures"
    return base if step is None else base / f"step-{view.run.step(step).index:06d}"
