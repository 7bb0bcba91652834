"""Does the answer hang on the mesh, the step or the thickness of the plan? One study of a specimen, and its verdict.

Three element sizes, two step sizes, two thicknesses of the slab in plan, each varied alone from the
specimen as it is given. The answer counts as converged when no strength moves by more than 5 % and no mode
changes (common practice, no source); it is told either way.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.pipeline import manifest
from fesplice.pipeline.progress import Hears
from fesplice.report import trends
from fesplice.report.trends import Bars
from fesplice.report.trends_page import Entry, write
from fesplice.specimen import Specimen
from fesplice.study.description import VIEWS, Factor, Level, Resources, Study
from fesplice.study.effects import Row, response
from fesplice.study.keys import key
from fesplice.study.runner import run_study
from fesplice.study.table import Table

#: Element sizes over the given one, coarse and fine; the step; the thickness of the plan (its usual scatter is 20 %).
COARSE, FINE, STEP, THICKNESS = 1.4, 0.7, 0.5, 1.2
#: Largest change of a strength that counts as converged.
LIMIT = 0.05
BASE = "as given"


def convergence_study(specimen: Specimen, views: str = "both", resources: Resources | None = None) -> Study:
    """The study behind the page: the specimen as it is, and one change at a time."""
    s = specimen
    step = s.analysis.step or float(manifest.settings(s)["expected_deflection_mm"]) / manifest.STEPS_TO_PEAK

    def sizes(factor: float) -> dict[str, Any]:
        scaled = {"mesh.splice": s.mesh.splice * factor, "mesh.elsewhere": s.mesh.elsewhere * max(factor, 1.0)}
        if views != "elevation":
            scaled["plan.element"] = s.plan.element * factor
        # the coarse parts far from the splice have a largest size of their own
        scaled["mesh.elsewhere"] = min(scaled["mesh.elsewhere"], 0.33 * s.body.depth)
        return {path: key(path).text(value) for path, value in scaled.items()}

    levels = [
        Level(BASE, {}),
        Level(f"elements x {COARSE}", sizes(COARSE)),
        Level(f"elements x {FINE}", sizes(FINE)),
    ]
    if views != "plan":
        # steps of half the size are twice as many to the same deflection
        most = round(s.analysis.max_steps / STEP)
        changes = {"analysis.step": key("analysis.step").text(step * STEP), "analysis.max_steps": most}
        levels.append(Level(f"step x {STEP}", changes))
    if views != "elevation" and not math.isnan(s.plan.thickness):
        thickness = key("plan.thickness").text(s.plan.thickness * THICKNESS)
        levels.append(Level(f"plan thickness x {THICKNESS}", {"plan.thickness": thickness}))
    return Study(
        name=f"{s.name}: convergence", note=s.note, base=s.text, base_source=s.name, views=VIEWS[views], seed=0,
        fixed={}, factors=(Factor("change", tuple(levels)),), sample=None, resources=resources or Resources(), text="",
    )  # fmt: skip


@dataclass(frozen=True)
class Moved:
    """One strength under one change: values [MPa] before and after, the share it moved, modes before and after."""

    strength: str
    change: str
    before: float
    after: float
    moved: float
    mode_before: str
    mode_after: str
    reason: str = ""

    @property
    def held(self) -> bool:
        """True when the strength stays within the limit, the mode is the same and both runs came to their end."""
        return abs(self.moved) <= LIMIT and self.mode_before == self.mode_after and not self.reason


def judge(rows: list[dict[str, Any]], views: tuple[str, ...]) -> list[Moved]:
    """Every strength under every change, from the rows of the study; a change without a result has not held."""
    base = next(r for r in rows if r["change"] == BASE)
    wanted: dict[str, tuple[Callable[[Row], float], str]] = {}
    for view in (p for p in views if p != "prediction"):
        wanted[f"{view}, strength"] = (
            lambda r, p=view: response(r, "first", "MPa", [p]),
            f"{view}_mode",
        )
        wanted[f"{view}, largest"] = (lambda r, p=view: response(r, "peak", "MPa", [p]), f"{view}_mode")
    if "prediction" in views:
        wanted["both views read together"] = (lambda r: response(r, "predicted"), "prediction_mode")
    found = []
    for name, (value, mode) in wanted.items():
        for row in rows:
            if row is base:
                continue
            before, after = value(base), value(row)
            moved = after / before - 1.0 if before > 0.0 else math.nan
            words = [str(r.get(mode) or "–") for r in (base, row)]
            if row["state"] == "done":
                reason = "; ".join(_remarks(row, mode) + [f"as given: {r}" for r in _remarks(base, mode)])
            else:
                reason = f"{row['state']}: {row['reason'] or ''}"
            found.append(Moved(name, str(row["change"]), before, after, moved, words[0], words[1], reason))
    return found


def _remarks(row: dict[str, Any], mode: str) -> list[str]:
    """What the runs behind a strength, whose mode stands in the column ``mode``, say against it."""
    view = mode.removesuffix("_mode")
    runs = ("elevation", "plan") if view == "prediction" else (view,)
    return [f"{run} {said}" for run in runs if (said := row.get(f"{run}_reason"))]


def convergence(
    specimen: Specimen,
    folder: str | Path,
    *,
    views: str = "both",
    resources: Resources | None = None,
    progress: Hears | None = None,
) -> tuple[Path, list[Moved]]:
    """Compute what is open, draw it, write FOLDER/convergence.html; answer the page and every comparison."""
    place = Path(folder)
    study = convergence_study(specimen, views, resources)
    run_study(study, place, progress=progress)
    with Table(place) as table:
        rows = table.rows()
    found = judge(rows, study.views)
    changes = {name: [m for m in found if m.strength == name] for name in dict.fromkeys(m.strength for m in found)}
    bars = {
        name: Bars(tuple(m.change for m in moved), np.array([100.0 * m.moved for m in moved]))
        for name, moved in changes.items() if any(math.isfinite(m.moved) for m in moved)
    }  # fmt: skip
    files = trends.bars(place / "figures", "convergence", bars, "change (%)") if bars else []
    missed = [m for m in found if not m.held]
    verdict = (
        f"Converged: no strength moved by more than {100 * LIMIT:.0f} %, no mode changed." if not missed
        else f"NOT converged: {len(missed)} of {len(found)} comparisons moved by more than {100 * LIMIT:.0f} %, "
        "changed their mode or lack a run that came to its end."
    )  # fmt: skip
    table_rows = [
        (m.strength, m.change, _told(m.before), _told(m.after), _told(100.0 * m.moved, "+.1f", " %"),
         m.mode_before, m.mode_after, "yes" if m.held else "NO", m.reason)
        for m in found
    ]  # fmt: skip
    head = ("strength", "change", "MPa as given", "MPa then", "moved", "mode as given", "mode then", "held", "remark")
    page = write(
        place / "convergence.html", [Entry("Convergence", verdict, files, head, table_rows)],
        name=study.name, note=study.note,
        summary="each of element size, step size and thickness of the plan changed alone", text=specimen.text,
    )  # fmt: skip
    return page, found


def _told(value: float, form: str = ".0f", unit: str = "") -> str:
    return f"{value:{form}}{unit}" if math.isfinite(value) else "–"
