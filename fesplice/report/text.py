"""The findings of a run as one screen of plain text."""

from __future__ import annotations

from pathlib import Path

from fesplice.contracts import Outcome
from fesplice.report.parts import relaxed
from fesplice.report.view import View
from fesplice.report.views import VIEWS
from fesplice.store import Run
from fesplice.store.run import believing

CAUTION = "Research aid: not a design check and not a safety system. Local codes and licensed engineers decide."


@believing
def summary_text(run: Run, page: Path | None = None) -> str:
    """Loads, stresses, what the view failed by, what else was seen, balance, files; for a terminal."""
    if not run.n_steps:
        return f"{run.specimen_name}: no step is stored yet ({run.outcome.value})"
    view = View(run)
    kind, found = VIEWS[view.name], view.findings
    rows = [
        ("specimen", f"{found.specimen}, {kind.place}"),
        ("ended", f"{_ended(run)}; last step {run.indices[-1]}{relaxed(found.relaxed_steps)}"),
        *kind.loads(view),
        ("failed by", found.assessment.failure),
        *(("", f"- {line}") for line in found.assessment.evidence),
        *kind.details(view),
        # what was estimated stands on the page, line by line
        *(("note", text) for text in run.warnings if " estimated by " not in text),
        ("run folder", str(run.folder)),
    ]
    if page is not None:
        rows.append(("page", str(page)))
    wide = max(len(name) for name, _ in rows)
    said = [f"{name:<{wide}}  {text}" for name, text in rows]
    return "\n".join([*said, "", CAUTION, kind.caution, *filter(None, [kind.half(view.specimen)])])


def _ended(run: Run) -> str:
    return "not finished: it runs, or was stopped" if run.outcome is Outcome.running else run.outcome.value
