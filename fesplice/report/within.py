"""What lies about a run: the prediction it is half of, the page of the other half, the page one can play."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fesplice.contracts import FespliceError
from fesplice.post.prediction import RECORD, Prediction
from fesplice.report import paper
from fesplice.report.view import View
from fesplice.store.folder import put_whole

#: Names of pages: of a run, and of a prediction; and how the runs of the coupling begin, with a number after it.
PAGE, TARGET = "report.html", "prediction.html"
#: Name of the page one can play, and what a page holds in its place until there is one.
VIEWER, _WAITS = "viewer.html", "<!-- no viewer yet -->"
PASS = "plan-pass-"
#: A prediction ends before a view does where it is less than this share of what the view holds (judgement).
EARLIER = 0.99


def is_prediction(folder: str | Path) -> bool:
    """True for a folder that holds a prediction."""
    return (Path(folder) / RECORD).is_file()


@dataclass(frozen=True)
class Within:
    """The prediction about a run: its ``sentence``, load per ram [N] and bar stress [MPa] at the predicted failure,
    the link to its page, and the ``other`` half by name and link; ``failure`` in few words for a mark on the curve.
    """

    sentence: str
    load: float
    bar_stress: float
    failure: str
    answer: str
    other: tuple[str, str] | None


def within(view: View) -> Within | None:
    """The prediction in whose folder a run lies; None for a run by itself or beside a record that cannot be read."""
    home = view.run.folder.resolve().parent
    if not is_prediction(home):
        return None
    try:
        found = Prediction.read(home)
    except FespliceError:
        return None
    if view.name == "plan":
        other = "elevation", f"../elevation/{PAGE}"
    else:
        name = f"{PASS}{len(found.passes)}"
        other = None if found.coupled is None else ("plan", f"../{name}/{PAGE}")
    what = "predicted failure" if found.exact else "predicted, at least"
    failure = f"{what}, {found.load / 1e3:.0f} kN, {found.bar_stress:.0f} MPa"
    return Within(found.sentence, found.load, found.bar_stress, failure, f"../{TARGET}", other)


def viewer_of(folder: Path) -> str:
    """The link from a page in ``folder`` to the page one can play, its own or that of the prediction; else empty."""
    if (folder / VIEWER).is_file():
        return VIEWER
    return f"../{VIEWER}" if is_prediction(folder.parent) and (folder.parent / VIEWER).is_file() else ""


def link_viewer(folder: Path) -> None:
    """Put the link into the pages of a run or a prediction that were written before its viewer.

    Raises :class:`FolderFault` when the disk refuses.
    """
    for page in [folder / TARGET, folder / PAGE, *sorted(folder.glob(f"*/{PAGE}"))]:
        text = page.read_text(encoding="utf-8") if page.is_file() else ""
        if _WAITS in text:
            link = paper.render("_viewer.html", viewer=viewer_of(page.parent))
            put_whole(page, text.replace(_WAITS, link, 1).encode())
