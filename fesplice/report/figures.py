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
from fesplice.report.view import LeftOut, Shown, View
from fesplice.report.views import VIEWS
from fesplice.store.run import believing

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: Figures of all views by name.
FIGURES: dict[str, Figure] = {name: figure for kind in VIEWS.values() for name, figure in kind.figures.items()}


@dataclass(frozen=True)
class Drawn:
    """Files of every figure by name (PNG, PDF, SVG, then CSV), and why figures were left out."""

    files: dict[str, list[Path]] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)


@believing
def draw(
    run: Run | View,
    folder: str | Path | None = None,
    step: int | None = None,
    names: Iterable[str] | None = None,
    progress: Callable[[str], None] | None = None,
    shown: Shown | None = None,
) -> Drawn:
    """Draw the figures ``names`` (default: all of its view) of a run into ``folder`` (default: RUN/figures).

    ``step``: the one step to show, negative from the last; ``shown`` steps by number, load or bar stress; without
    either service, first loss and strength.
    ``progress`` hears the title of each figure before it is drawn. Raises :class:`InputFault` for an
    unknown name or a load that was never carried, :class:`FolderFault` for a step that is not stored or a disk that
    refuses.
    """
    asked = Shown(steps=(step,)) if step is not None else shown
    view = View(run.run if isinstance(run, View) else run, asked) if asked is not None else viewed(run)
    kind = VIEWS[view.name]
    wanted = list(kind.figures) if names is None else list(names)
    if unknown := [name for name in wanted if name not in FIGURES]:
        raise InputFault("figures", f"no figure {', '.join(map(repr, unknown))}; there are {', '.join(FIGURES)}")
    place = figure_folder(view) if folder is None else Path(folder)
    drawn = Drawn()
    for name in wanted:
        if progress is not None:
            progress(FIGURES[name].title)
        try:
            if name not in kind.figures:
                raise LeftOut(f"is of the {_home(name)}; this run is the {kind.name}")
            drawn.files[name] = FIGURES[name].draw(view, place)
        except LeftOut as reason:
            drawn.left_out[name] = str(reason)
    return drawn


def _home(name: str) -> str:
    return " and the ".join(kind.name for kind in VIEWS.values() if name in kind.figures)


def viewed(run: Run | View) -> View:
    """The run as figures see it, with the stages."""
    return run if isinstance(run, View) else View(run)


def figure_folder(view: View) -> Path:
    """Where figures go unless told otherwise: RUN/figures, or a folder inside that is named by what was asked for.

    Raises :class:`FolderFault` for a step that is not stored.
    """
    shown = view.shown
    base = view.run.folder / "figures"
    return base / folder_name(shown, [view.run.step(k).index for k in shown.steps]) if shown.chosen else base


def folder_name(shown: Shown, steps: Iterable[int] = ()) -> str:
    """``load-134-kN``, ``stress-400-MPa``, ``step-000040``: what was asked for, ``steps`` counted from the first."""
    names = [f"step-{k:06d}" for k in steps]
    names += [f"load-{load / 1e3:.4g}-kN" for load in shown.loads]
    return "_".join([*names, *(f"stress-{stress:.4g}-MPa" for stress in shown.stresses)])
