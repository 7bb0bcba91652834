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

import numpy as np

from fesplice.contracts import FolderFault, Outcome
from fesplice.post.concrete import HAIRLINE, VISIBLE
from fesplice.report import paper
from fesplice.report.figures import FIGURES, Drawn, draw
from fesplice.report.plan import tables as plan_page
from fesplice.report.schedule import inputs
from fesplice.report.view import SERVICE, View
from fesplice.units import both, show

if TYPE_CHECKING:
    from fesplice.store.run import Run

PAGE = "report.html"
#: Vector figures up to this size are embedded as they are; larger ones as PNG [bytes].
_VECTOR = 700_000
#: Most rows of a long table on the page; the whole table stands in the run folder.
_ROWS = 40
_KINDS = {
    "quad4": "quadrilaterals", "tri3": "triangles", "truss2": "straight bar elements", "frame2": "bent bar elements",
    "bond": "bond elements", "joint": "joint elements",
}  # fmt: skip


def report(
    run: Run | View,
    path: str | Path | None = None,
    step: int | None = None,
    told: Callable[[str], None] | None = None,
) -> Path:
    """Draw every figure of a run and write its page (default: RUN/report.html); answer the page's path.

    ``step`` and ``told`` as for :func:`fesplice.report.figures.draw`.
    """
    view = run if isinstance(run, View) else View(run)
    drawn = draw(view, step=step, told=told)
    if told is not None:
        told("Page")
    return write_page(view, drawn, path)


def write_page(run: Run | View, drawn: Drawn, path: str | Path | None = None) -> Path:
    """Write the page of a run with figures that are already drawn.

    Raises :class:`FolderFault` when the run has no step or the disk refuses.
    """
    view = run if isinstance(run, View) else View(run)
    target = view.run.folder / PAGE if path is None else Path(path)
    html = render(view, drawn)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(html, encoding="utf-8")
    except OSError as error:
        raise FolderFault(str(target), f"cannot be written: {error.strerror or error}") from error
    return target


def render(view: View, drawn: Drawn) -> str:
    """The page as text."""
    run, s = view.run, view.specimen
    manifest = run.manifest
    own = plan_page.parts(view) if view.in_plan else _parts(view)
    return paper.render(
        "plan_page.html" if view.in_plan else "page.html",
        specimen=s,
        outcome=run.outcome,
        finished=run.outcome.finished,
        stopped=run.outcome not in (Outcome.softened, Outcome.target_reached),
        created=_day(manifest.get("created", "")),
        verdict=view.findings["verdict"],
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
        **own,
    )


def _parts(view: View) -> dict[str, Any]:
    """What the page of an elevation alone shows."""
    return {
        "lead": _lead(view),
        "findings": _findings(view),
        "events": [
            (e["what"], e["step"], both(e["load"], "force"), _mm(e["deflection"])) for e in _list(view, "events")
        ],
        "ties": _ties(view),
    }


# ------------------------------------------------------------------ findings
def _list(view: View, name: str) -> list[Mapping[str, Any]]:
    return list(view.findings.get(name) or [])


def _mm(value: float | None) -> str:
    # Thousandths of a millimetre are the last that mean anything.
    return "–" if value is None or not math.isfinite(value) else both(round(float(value), 3) + 0.0, "length")


def _day(text: str) -> str:
    """``2026-05-04T10:14:51+00:00`` -> ``2026-05-04, 10:14 UTC``; anything else as it stands."""
    match = re.fullmatch(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d):\d\d\+00:00", str(text))
    return f"{match[1]}, {match[2]} UTC" if match else str(text)


def _share(value: float | None) -> str:
    return "–" if value is None or not math.isfinite(value) else f"{100.0 * value:.0f} %"


def _or_dash(value: float | None, kind: str) -> str:
    return "–" if value is None or not math.isfinite(value) else both(float(value), kind)


def _lead(view: View) -> list[tuple[str, str, str]]:
    """The few numbers at the top: name, value, remark."""
    f, c = view.findings, view.findings["cracking"]
    stress = {k: v for k, v in (f.get("bar_stress") or {}).items() if v is not None}
    most = max(stress.values(), default=None)
    return [
        ("Largest load per ram", _or_dash(f["peak_load"], "force"), f"at {_mm(f['peak_deflection'])} at midspan"),
        ("Bar stress at the joint face", _or_dash(most, "stress"), "then, the larger of the two sides"),
        ("First crack", _or_dash(c["first"], "force"), f"visible ({VISIBLE} mm) at {_or_dash(c['visible'], 'force')}"),
        ("Failed first", f["verdict"]["kind"], f["verdict"]["what"]),
    ]


def _findings(view: View) -> list[tuple[str, str]]:
    """Rows of the table of findings; all at the largest load unless said."""
    f = view.findings
    strength, rows = f.get("strength") or {}, []
    rows.append(("Largest load per ram", f"{_or_dash(f['peak_load'], 'force')}, step {f['peak_step']}"))
    rows.append(("Midspan deflection there", _mm(f["peak_deflection"])))
    if strength.get("dropped"):
        rows.append(("Load before the first drop of 15 %", f"{_or_dash(strength['first'], 'force')}"))
        later = _or_dash(strength.get("later"), "force")
        rows.append(("Largest load after it, up to three times that deflection", later))
    rows.append(("Fall of the load after the largest", _share(f.get("drop_after_peak"))))
    for line, stress in (f.get("bar_stress") or {}).items():
        share = _share((f.get("yield_share") or {}).get(line))
        rows.append((f"Stress of bars {line} at the joint face", f"{_or_dash(stress, 'stress')}, {share} of yield"))
        hook = (f.get("hook_share") or {}).get(line)
        if hook is not None and math.isfinite(hook):
            slip = (f.get("slip") or {}).get(line)
            rows.append((f"Taken by the hooks of bars {line}", f"{_share(hook)}, slip at the bend {_mm(slip)}"))
    for side, opening in (f.get("joint_opening") or {}).items():
        # a closed joint reports the tiny overlap of its contact
        rows.append((f"Opening of the {side} joint at the tension face", _mm(max(opening, 0.0))))
    if f.get("joint_widest") is not None and math.isfinite(f["joint_widest"]):
        height = f"at y = {f['joint_widest_y']:.0f} mm"
        rows.append(("Widest joint opening over the height", f"{_mm(f['joint_widest'])} {height}"))
    spot = f.get("widest_crack")
    if spot:
        where = f"at x = {spot['x']:.0f} mm, y = {spot['y']:.0f} mm"
        rows.append(("Widest crack outside the joints", f"{_mm(spot['width'])} {where}"))
    balance = f"{_tiny(f['residual'])} of the forces, {_tiny(f['moment_residual'])} of the moments"
    rows.append(("Out of balance, whole beam", f"{balance}; at worst {_tiny(f.get('worst_residual'))} of the forces"))
    if f.get("unbalanced") is not None:
        nodes = f"{_tiny(f['unbalanced'])} of the loads; at worst {_tiny(f.get('worst_unbalanced'))}"
        rows.append(("Out of balance, sum of absolutes over all nodes", nodes))
    loose = f.get("loose_steps", 0)
    rows.append(("Accepted steps", f"{view.run.n_steps}, of which {loose} at the loose tolerance"))
    return rows


def _tiny(value: float | None) -> str:
    return "–" if value is None or not math.isfinite(value) else f"{value:.1e}"


def _ties(view: View) -> list[tuple[str, ...]]:
    return [
        (
            t["line"], show(t["demand"], "force"), show(t["capacity"], "force"), _share(t["usage"]),
            _share(t["highest_usage"]), _or_dash(t.get("bars"), "force"), _mm(t["lift"]), _mm(t["open_length"]),
        )
        for t in _list(view, "ties")
    ]  # fmt: skip


# ------------------------------------------------------------------ figures
def embedded(name: str, files: list[Path]) -> dict[str, Any]:
    """A figure as the templates show it, its picture inside the page."""
    return {**picture(files), "name": name, "title": FIGURES[name].title, "caption": FIGURES[name].caption}


def picture(files: list[Path]) -> dict[str, Any]:
    """The picture of a figure as a data URI, and the names of its files."""
    by_kind = {path.suffix[1:]: path for path in files if path.suffix != ".csv"}
    svg, png = by_kind.get("svg"), by_kind["png"]
    chosen = svg if svg is not None and svg.stat().st_size <= _VECTOR else png
    kind = "image/svg+xml" if chosen.suffix == ".svg" else "image/png"
    data = base64.b64encode(chosen.read_bytes()).decode("ascii")
    return {
        "source": f"data:{kind};base64,{data}",
        "files": ", ".join(path.name for path in files), "folder": png.parent.name,
    }  # fmt: skip


# ------------------------------------------------------------------ record
def _attempts(run: Run) -> dict[str, Any]:
    """Counts by way and outcome of all tries, and the tries that failed or were loose."""
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
