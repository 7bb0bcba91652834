"""One HTML page of a run: findings, figures, inputs, assumptions, cautions, record. One file, no links outside.

Figures are embedded; texts from the specimen file pass through autoescaping like everything else.
"""

from __future__ import annotations

import base64
import math
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np

from fesplice.contracts import Outcome
from fesplice.post.concrete import HAIRLINE, VISIBLE
from fesplice.report import paper
from fesplice.report.figures import FIGURES, Drawn, draw
from fesplice.report.schedule import inputs
from fesplice.report.view import SERVICE, View
from fesplice.report.views import VIEWS
from fesplice.report.within import PAGE, viewer_of, within
from fesplice.store.folder import put_whole
from fesplice.store.run import believing

if TYPE_CHECKING:
    from fesplice.store.run import Run

#: Vector figures up to this size are embedded as they are; larger ones as PNG [bytes].
_VECTOR = 700_000
#: What stands in a data URI and in an attribute as it is.
_SPARED = " !$()*+,-./:;=?@_~"
#: Most rows of a long table on the page; the whole table stands in the run folder.
_ROWS = 40
_KINDS = {
    "quad4": "quadrilaterals", "tri3": "triangles", "truss2": "straight bar elements", "frame2": "bent bar elements",
    "bond": "bond elements", "joint": "joint elements",
}  # fmt: skip


@believing
def report(
    run: Run | View,
    path: str | Path | None = None,
    step: int | None = None,
    progress: Callable[[str], None] | None = None,
) -> Path:
    """Draw every figure of a run and write its page (default: RUN/report.html); answer the page's path.

    ``step`` and ``progress`` as for :func:`fesplice.report.figures.draw`.
    """
    view = run if isinstance(run, View) else View(run)
    drawn = draw(view, step=step, progress=progress)
    if progress is not None:
        progress("Page")
    return write_page(view, drawn, path)


def write_page(run: Run | View, drawn: Drawn, path: str | Path | None = None) -> Path:
    """Write the page of a run with figures that are already drawn.

    Raises :class:`FolderFault` when the run has no step or the disk refuses.
    """
    view = run if isinstance(run, View) else View(run)
    target = view.run.folder / PAGE if path is None else Path(path)
    return put_whole(target, render(view, drawn).encode())


def render(view: View, drawn: Drawn) -> str:
    """The page as text."""
    run, s = view.run, view.specimen
    manifest = run.manifest
    kind = VIEWS[view.name]
    own = kind.parts(view)
    return paper.render(
        kind.template,
        view=kind,
        half=kind.half(s),
        whole=view.part(within),
        viewer=viewer_of(run.folder),
        specimen=s,
        outcome=run.outcome,
        finished=run.outcome.finished,
        stopped=run.outcome not in (Outcome.softened, Outcome.target_reached),
        created=_day(manifest.get("created", "")),
        assessment=view.findings.assessment,
        lead=own.lead,
        findings=own.findings,
        tables=own.tables,
        figures=[embedded(name, files) for name, files in drawn.files.items()],
        left_out={FIGURES[name].title: reason for name, reason in drawn.left_out.items()},
        inputs=inputs(s),
        text=run.specimen_text,
        warnings=run.warnings,
        attempts=_attempts(run),
        settings=_flat(run.settings),
        versions=manifest.get("versions", {}),
        digests={"specimen": manifest["specimen"]["digest"], "mesh": manifest["mesh"]["digest"]},
        size=_size(view),
        files=_files(run.folder),
        service=SERVICE,
        hairline=HAIRLINE,
        visible=VISIBLE,
    )


def _day(text: str) -> str:
    """``2026-05-04T10:14:51+00:00`` -> ``2026-05-04, 10:14 UTC``; anything else as it stands."""
    match = re.fullmatch(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d):\d\d\+00:00", str(text))
    return f"{match[1]}, {match[2]} UTC" if match else str(text)


# ------------------------------------------------------------------ figures
def embedded(name: str, files: list[Path]) -> dict[str, Any]:
    """A figure as the templates show it, its picture inside the page."""
    return {**picture(files), "name": name, "title": FIGURES[name].title, "caption": FIGURES[name].caption}


def picture(files: list[Path]) -> dict[str, Any]:
    """The picture of a figure as a data URI, and the names of its files."""
    by_kind = {path.suffix[1:]: path for path in files if path.suffix != ".csv"}
    svg, png = by_kind.get("svg"), by_kind["png"]
    chosen = svg if svg is not None and svg.stat().st_size <= _VECTOR else png
    data = chosen.read_bytes()
    if chosen.suffix == ".svg":
        # letters as they are: a base64 text would be a sixth longer
        source = f"data:image/svg+xml,{quote(data, safe=_SPARED)}"
    else:
        source = f"data:image/png;base64,{base64.b64encode(data).decode('ascii')}"
    return {
        "source": source, "files": ", ".join(path.name for path in files), "folder": png.parent.name,
    }  # fmt: skip


# ------------------------------------------------------------------ record
def _attempts(run: Run) -> dict[str, Any]:
    """Counts by way and outcome of all tries, and the tries that failed or were accepted at the relaxed tolerance."""
    table = run.attempts
    if not table or "outcome" not in table:
        return {"counts": [], "columns": [], "failed": [], "hidden": 0, "tries": 0}
    known = ("step", "try", "size", "method", "outcome", "iterations", "residual", "seconds")
    columns = [c for c in known if c in table]
    outcome = [str(o) for o in table["outcome"]]
    method = [str(m) for m in table.get("method", np.full(len(outcome), ""))]
    # A relaxed try tells its viscosity after its name; the counts leave that out.
    counts = Counter((re.sub(r"\s+[-+.\deE]+$", "", m), o) for m, o in zip(method, outcome))
    bad = [k for k, o in enumerate(outcome) if o not in (Outcome.converged.name, Outcome.relaxed.name)]
    shown = [[_cell(table[c][k]) for c in columns] for k in bad[:_ROWS]]
    return {
        "counts": [(m, o, n) for (m, o), n in sorted(counts.items())],
        "columns": columns, "failed": shown, "hidden": max(0, len(bad) - _ROWS), "tries": len(outcome),
    }  # fmt: skip


def _cell(value: Any) -> str:
    if isinstance(value, (float, np.floating)):
        return f"{value:.3g}" if math.isfinite(value) else "–"
    return str(value)


def _flat(settings: Mapping[str, Any], head: str = "") -> list[tuple[str, str]]:
    rows: list[tuple[str, str]] = []
    for key, value in settings.items():
        name = f"{head}{key}"
        if isinstance(value, Mapping):
            rows += _flat(value, f"{name}.")
        else:
            rows.append((name, _cell(value)))
    return rows


def _size(view: View) -> list[tuple[str, str]]:
    mesh = view.run.mesh
    kinds: Counter[str] = Counter()
    for group in mesh.groups.values():
        kinds[group.kind] += len(group.cells)
    return [("nodes", str(len(mesh.points))), *((_KINDS.get(k, k), str(n)) for k, n in kinds.items())]


def _files(folder: Path) -> list[tuple[str, str]]:
    """Files of the run folder with their sizes; the steps as one row."""
    rows, steps = [], []
    for path in sorted(_walk(folder)):
        size = path.stat().st_size
        if path.parent.name == "steps":
            steps.append(size)
        elif path.name not in (PAGE, "lock"):
            rows.append((path.relative_to(folder).as_posix(), _bytes(size)))
    if steps:
        rows.append((f"steps/ ({len(steps)} files)", _bytes(sum(steps))))
    return rows


def _walk(folder: Path) -> Iterable[Path]:
    return (path for path in folder.rglob("*") if path.is_file())


def _bytes(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size >= 1e6 else f"{max(1, round(size / 1e3))} kB"
