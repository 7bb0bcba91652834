"""Figures, scenes and the page of a run. Nothing here is loaded before it is asked for.

    report        draw everything and write RUN/report.html       (page)
    draw          figures by name, for the usual stages or one step  (figures)
    specimen_drawing   drawing of a specimen, no run needed       (drawing)

``views`` is the registry of both views: what page, terminal and figures need to know of each; their figures, tables
and texts stand in ``elevation`` and ``plan``. ``view`` reads what figures share, ``style`` holds their look, ``parts``
tables and numbers in words, ``schedule`` a specimen in words.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fesplice.report.drawing import specimen_drawing
    from fesplice.report.figures import FIGURES, Drawn, draw
    from fesplice.report.page import report, write_page

__all__ = ["FIGURES", "Drawn", "draw", "report", "specimen_drawing", "write_page"]

_HOME = {"FIGURES": "figures", "Drawn": "figures", "draw": "figures", "report": "page", "write_page": "page",
         "specimen_drawing": "drawing"}  # fmt: skip


def __getattr__(name: str) -> Any:
    if name in _HOME:
        from importlib import import_module

        return getattr(import_module(f"fesplice.report.{_HOME[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
