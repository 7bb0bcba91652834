"""All pages of a prediction, the two views drawn side by side."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from fesplice.pipeline import beside
from fesplice.report.page import report
from fesplice.report.prediction_page import prediction_page, runs_of


def draw_pages(folder: str | Path, progress: Callable[[str], None] | None = None) -> Path:
    """Draw and write the pages of elevation, coupled plan and prediction; answers the prediction's.

    The elevation is drawn in a process of its own, beside the plan and the figures of both; ``progress`` hears what is
    drawn next. Raises :class:`FolderFault` where the prediction or a run is missing or the disk refuses.
    """
    home = Path(folder)
    tell = progress or (lambda title: None)
    side, plan = runs_of(home)
    with beside.page(side.folder) as work:
        tell("elevation: all figures")
        if plan is not None:
            report(plan, progress=lambda title: tell(f"{plan.folder.name}: {title}"))
        return prediction_page(
            home, runs=False, progress=progress, ready=lambda: beside.wait([work], lambda name, now: None)
        )
