"""Findings of any run: computed from its steps, or as its folder keeps them; the same object either way.

``READERS`` is all that the reading side knows of there being two views.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fesplice.contracts import FolderFault, Outcome, ViewName
from fesplice.post.elevation.findings import ElevationFindings, elevation_findings
from fesplice.post.plan.findings import PlanFindings, plan_findings
from fesplice.post.values import from_dict, to_dict
from fesplice.store.run import believing

if TYPE_CHECKING:
    from fesplice.store.run import Run

Findings = ElevationFindings | PlanFindings


@dataclass(frozen=True)
class Reader:
    """What is read of a view: the ``kind`` of its findings, how they are ``read`` from the steps.

    ``of_rams``: its loads are those of the rams, its gauges those of a test.
    """

    kind: type[Findings]
    read: Callable[..., Findings]
    of_rams: bool


#: By view.
READERS: dict[str, Reader] = {
    ViewName.elevation: Reader(ElevationFindings, elevation_findings, of_rams=True),
    ViewName.plan: Reader(PlanFindings, plan_findings, of_rams=False),
}
#: Edition of the stored findings: those of another edition are read anew from the steps.
EDITION = 4


def view_of(run: Run) -> str:
    """``elevation`` or ``plan``. Raises :class:`FolderFault` for a run of neither."""
    view = str(run.settings.get("view") or run.settings.get("plane") or "")
    if view not in READERS:
        raise FolderFault(str(run.folder), f"is a run of the view {view!r}; this program knows {', '.join(READERS)}")
    return view


@believing
def findings(run: Run, *, stored: bool = True, outcome: Outcome | None = None) -> Findings:
    """Findings of a run, finished or not: as the folder keeps them where ``stored``, else from its steps.

    ``outcome``: how it ended, where the folder does not know yet. Raises :class:`FolderFault` when it has no step yet
    or keeps findings that cannot be read.
    """
    reader = READERS[view_of(run)]
    kept = run.summary
    if stored and kept.get("edition") == EDITION:
        return from_dict(reader.kind, kept.get("findings"), str(run.folder))
    return reader.read(run, outcome=outcome)


def as_stored(found: Findings) -> dict[str, Any]:
    """Findings as a folder keeps them."""
    return {"edition": EDITION, "findings": to_dict(found)}
