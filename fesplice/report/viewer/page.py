"""The page one can play as one file: what it holds, how it is put together, what it may do.

Nothing of a specimen stands in the page as markup: all of it is in the parcel, and the scripts put it on the page as
text. The content security policy names the digests of the one script and the one style sheet, so nothing else runs.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fesplice.contracts import InputFault
from fesplice.post.prediction import Prediction
from fesplice.report import style
from fesplice.report.cracks import CLASSES
from fesplice.report.prediction_page import runs_of
from fesplice.report.view import View, nearest
from fesplice.report.viewer.pack import Parcel
from fesplice.report.viewer.scene import put_scene
from fesplice.report.within import VIEWER, is_prediction, link_viewer
from fesplice.store.folder import put_whole
from fesplice.store.run import Run
from fesplice.units import KINDS

if TYPE_CHECKING:
    from fesplice.contracts import Floats

#: Systems of units that the page begins with.
UNITS = ("si", "us")
#: Said on the page whatever it shows.
CAUTION = (
    "Research aid: not a design check and not a safety system; local codes and licensed engineers decide. "
    "Two dimensions only: no side blow-out, no spalling, no true pressure inside a bend."
)
#: Scripts in the order in which they are read.
SCRIPTS = ("parcel.js", "colour.js", "mesh.js", "chart.js", "state.js", "panel.js", "player.js")


def viewer(source: Run | Prediction | View | str | Path, out: str | Path | None = None, *, units: str = "si") -> Path:
    """Write the page one can play and answer its path.

    ``source``: a run, or the folder of a run or of a prediction; both views of a prediction stand side by side.
    ``out``: default viewer.html in that folder, where the pages then link to it. ``units``: what it begins with, "si"
    or "us"; both are in it.
    Raises :class:`InputFault` for other units, :class:`FolderFault` where there is no step to show, a run is damaged,
    the disk refuses or a file of somebody stands there.
    """
    if units not in UNITS:
        raise InputFault("units", f"{units!r}; allowed: {', '.join(UNITS)}")
    folder, views, found = _views(source)
    parcel = Parcel(_header(views, found, units))
    parcel.header["views"] = [put_scene(view, parcel, f"{k}/") for k, view in enumerate(views)]
    parcel.header["follow"] = follow([view.bar_stress for view in views])
    written = put_whole(folder / VIEWER if out is None else Path(out), _page(views[0].specimen.name, parcel).encode())
    if out is None:
        link_viewer(folder)
    return written


def _views(source: Run | Prediction | View | str | Path) -> tuple[Path, list[View], Prediction | None]:
    """The folder, its views in their order, and the prediction they belong to."""
    if isinstance(source, Prediction):
        raise InputFault("viewer", "a prediction does not know where its runs lie: give the folder it is in")
    if isinstance(source, View):
        return source.run.folder, [source], None
    if isinstance(source, Run):
        return source.folder, [View(source)], None
    if is_prediction(source):
        found = Prediction.read(source)
        return Path(source), [View(run) for run in runs_of(source, found) if run is not None], found
    run = Run(source)
    return run.folder, [View(run)], None


def _header(views: Sequence[View], found: Prediction | None, units: str) -> dict[str, Any]:
    s = views[0].specimen
    judged = views[0].findings.assessment
    lead = 0
    if found is not None and found.view == "plan":
        lead = len(views) - 1
    return {
        "name": s.name,
        "note": s.note,
        "sentence": judged.sentence if found is None else found.sentence,
        "caution": CAUTION,
        "bar_stress": None if found is None else found.bar_stress,
        "lead": lead,
        "units": unit_table(),
        "begin": units,
        "classes": list(CLASSES),
        "maps": {"warm": list(style.WARM), "cool": list(style.COOL)},
        "version": str(views[0].run.manifest.get("versions", {}).get("fesplice", "")),
        "digest": views[0].run.manifest["specimen"]["digest"][:12],
    }


def unit_table() -> dict[str, dict[str, list[Any]]]:
    """By kind and system: the unit, and how many inner units it is."""

    def pair(kind: str, metric: str, customary: str) -> dict[str, list[Any]]:
        return {"si": [metric, KINDS[kind].factors[metric]], "us": [customary, KINDS[kind].factors[customary]]}

    return {
        "length": pair("length", "mm", "in"),
        # openings and slips: small lengths, told with more figures
        "opening": pair("length", "mm", "in"),
        "stress": pair("stress", "MPa", "ksi"),
        "force": pair("force", "kN", "kip"),
        "angle": {"si": ["mrad", 1e-3], "us": ["mrad", 1e-3]},
        "strain": {"si": ["microstrain", 1e-6], "us": ["microstrain", 1e-6]},
        "share": {"si": ["%", 0.01], "us": ["%", 0.01]},
    }


def follow(highest: Sequence[Floats]) -> list[list[list[int]]]:
    """``[lead][row][view]``: the row that each view shows while view ``lead`` shows ``row``.

    Both views share the bar stress at the joint face. A view follows the largest stress that the leading one has
    carried so far: at the first of its steps that carried it, or the one before where that is nearer; a view that
    never carries it stays at the largest it carries.
    """
    return [
        [[row if k == lead else nearest(other, float(stress)) for k, other in enumerate(highest)]
         for row, stress in enumerate(own)]
        for lead, own in enumerate(highest)
    ]  # fmt: skip


# ------------------------------------------------------------------ one file
def _page(name: str, parcel: Parcel) -> str:
    """Page, style, scripts and parcel in one."""
    from markupsafe import Markup

    from fesplice.report import paper

    script = "\n".join(["'use strict';", "(() => {", *(_part(n) for n in SCRIPTS), "})();"])
    look = _part("look.css")
    policy = (
        f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(look)}'; img-src data: blob:; "
        "base-uri 'none'; form-action 'none'"
    )
    return paper.render(
        "viewer.html", name=name, policy=policy, look=Markup(look), script=Markup(script), caution=CAUTION,
        parcel=Markup(parcel.text()),
    )  # fmt: skip


def _part(name: str) -> str:
    return files("fesplice.report.viewer").joinpath(name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    """A source of a content security policy: the SHA-256 of a script or style sheet (CSP Level 3, 2.3.1)."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}"
