"""One HTML page of a prediction: what governs and why, the bracket, both views, margins, passes, limits.

Made from the folder alone: the prediction, the specimen as the runs keep it, and the runs beside it. One file, no
links outside but those to the pages of its own runs.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fesplice.contracts import FolderFault, InputFault, Outcome
from fesplice.post.mechanisms import Assessment
from fesplice.post.prediction import AGREED, Prediction
from fesplice.post.trust import TEXT
from fesplice.report import paper, prediction_figures
from fesplice.report.figures import draw
from fesplice.report.page import picture, report
from fesplice.report.parts import DASH, fixed, quantity
from fesplice.report.prediction_figures import Row
from fesplice.report.view import Shown, View
from fesplice.report.views import VIEWS
from fesplice.report.within import PAGE, PASS, TARGET, viewer_of
from fesplice.store import Run

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

#: What the runs of a prediction are; those of the coupling have a number after this name.
RUNS = {
    "elevation": "the beam from the side",
    "plan-free": "plane open, steel across alone",
    "plan-intact": "plane never gives way",
}


def prediction_page(
    folder: str | Path,
    *,
    runs: bool = True,
    progress: Callable[[str], None] | None = None,
    shown: Shown | None = None,
    ready: Callable[[], None] = lambda: None,
) -> Path:
    """Write FOLDER/prediction.html with its figures; with ``runs`` also the pages of elevation and coupled plan.

    ``progress`` hears what is drawn next, ``shown.beside`` are runs whose axes hold here too; ``ready`` is called
    before the page is written, which links to the pages that stand by then. Raises :class:`FolderFault` where the
    prediction or a run is missing or the disk refuses.
    """
    home = Path(folder)
    found = Prediction.read(home)
    views = [View(run, shown) for run in runs_of(home, found) if run is not None]
    for view in views if runs else ():
        name = view.run.folder.name
        report(view, progress=None if progress is None else lambda title, name=name: progress(f"{name}: {title}"))
    if progress is not None:
        progress("Both views")
    place, side = home / "figures", views[0]
    marks = {"f$_y$": float(side.specimen.steel[side.specimen.bars.left.steel].yield_strength)}
    files = {
        "bracket": prediction_figures.bracket(bracket_rows(found, side.specimen), marks, place),
        "both": prediction_figures.both_views(views, found.bar_stress, place),
    }
    ready()
    return paper.write("prediction.html", home / TARGET, **_values(home, found, side, files))


def pictures_at(folder: str | Path, shown: Shown, progress: Callable[[str], None] | None = None) -> list[Path]:
    """Figures of both views at the loads per ram or bar stresses asked for; answers their PNG files.

    The plan is shown at the bar stress of the elevation at that load. Raises :class:`InputFault` for a step by its
    number, which each run counts for itself, and for what was never carried; :class:`FolderFault` as the page.
    """
    if shown.steps:
        raise InputFault("step", f"{folder} is a prediction; its runs count their own steps: ask for a load or stress")
    home = Path(folder)
    side, top = runs_of(home)
    views = [View(side, shown)]
    stresses = shown.stresses
    if shown.loads:
        loaded = View(side, replace(shown, stresses=()))
        stresses += tuple(stage.bar_stress for stage in VIEWS["elevation"].stages(loaded))
    views += [] if top is None else [View(top, Shown(stresses=stresses, beside=shown.beside))]
    files = []
    for view in views:
        name = view.run.folder.name
        drawn = draw(view, progress=None if progress is None else lambda title, name=name: progress(f"{name}: {title}"))
        files += [paths[0] for paths in drawn.files.values()]
    for stress in stresses:
        place = home / "figures" / f"stress-{stress:.4g}-MPa"
        files.append(prediction_figures.both_views(views, stress, place)[0])
    return files


def runs_of(folder: str | Path, found: Prediction | None = None) -> tuple[Run, Run | None]:
    """The elevation of a prediction and its coupled plan, None where there is none; faults as of the page."""
    home = Path(folder)
    found = Prediction.read(home) if found is None else found
    plan = None if found.coupled is None else _run(home / f"{PASS}{len(found.passes)}")
    return _run(home / "elevation"), plan


def _run(folder: Path) -> Run:
    run = Run(folder)
    if not run.n_steps:
        raise FolderFault(str(folder), "no step is stored yet")
    return run


def readings(found: Prediction) -> list[tuple[str, Assessment]]:
    """Every view that was judged, with its name for people."""
    named = (
        ("elevation", found.elevation),
        ("plan, coupled with the elevation", found.coupled),
        ("plan, open plane to the body", found.free),
        ("plan, plane that never gives way", found.intact),
    )
    return [(name, judged) for name, judged in named if judged is not None]


# ------------------------------------------------------------------ bracket
def bracket_rows(found: Prediction, specimen: Specimen) -> list[Row]:
    """Bars of the bracket: the prediction, every view judged, the hand formulas."""
    low, high = found.band
    note = _note(found.governing)
    rows = [Row("prediction", low, found.bar_stress, high, found.exact, note, "answer")]
    for name, r in readings(found):
        rows.append(Row(name, r.bar_stress, r.bar_stress, r.bar_stress, r.dropped, _note(r), "view"))
    if math.isfinite(value := found.side_splitting):
        rows.append(Row("side splitting, by formula", value, value, value, True, "", "formula"))
    formulas = _formulas(specimen)
    return rows if formulas is None else [*rows, formulas]


def _note(judged: Assessment) -> str:
    if judged.governing is None:
        return ""
    return judged.mode.words if judged.certain else f"nearest: {judged.governing.name}"


def _formulas(specimen: Specimen) -> Row | None:
    """The band of hand formulas; None where they have no answer for this specimen."""
    from fesplice.sizing import check

    try:
        band = check(specimen).band
    except InputFault:
        return None
    if band.yields:
        return None
    low, middle, high = (float(e.stress) for e in (band.low, band.central, band.high))
    return Row("hand formulas", min(low, middle), middle, max(high, middle), True, "", "formula")


# ------------------------------------------------------------------ words
@dataclass(frozen=True)
class Judged:
    """One view as the page shows it: name, strength, load, what it failed by, and a row for every mechanism."""

    name: str
    strength: str
    load: str
    dropped: bool
    sentence: str
    rows: tuple[MechanismRow, ...]


@dataclass(frozen=True)
class MechanismRow:
    """A mechanism in the table of a view."""

    name: str
    role: str
    utilisation: str
    reached: str
    multiple: str
    evidence: tuple[str, ...]


def judged_of(name: str, judged: Assessment) -> Judged:
    """A view in words."""
    rows = tuple(
        MechanismRow(
            name=state.name,
            role=judged.role(state),
            utilisation=f"{state.utilisation:.2f}",
            reached=f"{state.reached_at:.0f} MPa" if state.reached else "never",
            multiple=f"{judged.multiple(state):.2f}" if math.isfinite(judged.multiple(state)) else DASH,
            evidence=tuple(e.text for e in state.evidence),
        )
        for state in judged.states
    )
    load = f"{quantity(judged.load, 'force')} {VIEWS[judged.view].per}"
    return Judged(name, _least(judged) + quantity(judged.bar_stress, "stress"), load, judged.dropped,
                  judged.sentence, rows)  # fmt: skip


def _least(judged: Assessment) -> str:
    return "" if judged.dropped else "at least "


def lead(found: Prediction) -> list[tuple[str, str, str]]:
    """The few numbers at the top: name, value, remark."""
    low, high = found.band
    least, following = "" if found.exact else "at least ", found.next
    ends = "low end: {}; high end: {}".format(*found.bracket_ends)
    if found.outside:
        ends += "; the prediction lies outside, as paths past a drop scatter"
    none = "no other mechanism reached its limit in either view"
    numbers = [
        ("Bar stress at failure", least + quantity(found.bar_stress, "stress"),
         f"at the joint face; model uncertainty {low:.0f} to {high:.0f} MPa"),
        ("Load per ram", least + quantity(found.load, "force"), "of the elevation at that bar stress"),
        ("What governs", found.headline, found.place),
        ("Next", "none found" if following is None else following.mechanism.words,
         none if following is None else following.place),
    ]  # fmt: skip
    if found.coupled is not None:
        numbers.append(("Bracket", "{:.0f} to {:.0f} MPa".format(*found.bracket), ends))
    return numbers


def _links(home: Path) -> list[dict[str, str]]:
    """The runs of the prediction in order, with a link where their page exists."""
    rows = []
    for path in sorted(p for p in home.iterdir() if (p / "manifest.json").is_file()):
        run = Run(path)
        curve = run.curve
        largest = max(curve["load_N"], default=math.nan) if run.n_steps else math.nan
        relaxed = sum(str(o) in Outcome.unconverged.spellings for o in curve.get("outcome", ())) if run.n_steps else 0
        number = path.name.removeprefix(PASS)
        rows.append(
            {
                "name": path.name,
                "what": RUNS.get(path.name, f"plane as the elevation leaves it, pass {number}"),
                "link": f"{path.name}/{PAGE}" if (path / PAGE).is_file() else "",
                "largest": quantity(float(largest), "force"),
                "steps": f"{run.n_steps}, {relaxed} at the relaxed tolerance",
                "outcome": run.outcome.value,
            }  # fmt: skip
        )
    return rows


def _passes(found: Prediction) -> list[tuple[str, str, str, str]]:
    return [
        (
            str(k), fixed(p.given, 0, "MPa"), f"{'' if p.exact else 'at least '}{p.found:.0f} MPa",
            f"{100.0 * (p.found / p.given - 1.0):+.1f} %".replace("-", "−") if p.given else DASH,
        )
        for k, p in enumerate(found.passes, start=1)
    ]  # fmt: skip


def _instruments(found: Prediction) -> list[tuple[str, str, str]]:
    """Gauges and sensors by name and place, with what they read at the predicted load."""
    if found.expected is None:
        return []
    places = {"mm": 2, "microstrain": 0}
    return [(g.name, g.place, fixed(g.value, places.get(g.unit, 2), g.unit)) for g in found.expected.gauges]


def _values(home: Path, found: Prediction, side: View, files: Mapping[str, Sequence[Path]]) -> dict[str, Any]:
    manifest = side.run.manifest
    return {
        "viewer": viewer_of(home),
        "specimen": side.specimen,
        "found": found,
        "lead": lead(found),
        "figures": {name: picture(list(paths)) for name, paths in files.items()},
        "readings": [judged_of(name, judged) for name, judged in readings(found)],
        "instruments": _instruments(found),
        "passes": _passes(found),
        "near": f"{100.0 * AGREED:.0f}",
        "uncoupled": quantity(found.uncoupled, "stress"),
        "band": tuple(f"{v:.0f}" for v in found.band),
        "rests": TEXT if side.specimen.bars.splice == "hooked" else "",
        "runs": _links(home),
        "versions": manifest.get("versions", {}),
        "digest": manifest["specimen"]["digest"],
        "text": side.run.specimen_text,
    }
