"""One HTML page of a prediction: what governs and why, the bracket, both planes, margins, passes, limits.

Made from the folder alone: prediction.json, the specimen as the runs keep it, and the runs beside it. One file, no
links outside but those to the pages of its own runs.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fesplice.contracts import FolderFault, InputFault
from fesplice.post.mechanisms import MECHANISMS
from fesplice.post.prediction import AGREED, MODEL_BAND, named
from fesplice.report import paper, prediction_figures
from fesplice.report.page import PAGE, picture, report
from fesplice.report.plan.tables import quantity
from fesplice.report.prediction_figures import Row
from fesplice.report.view import View
from fesplice.store import Run

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

RECORD, TARGET = "prediction.json", "prediction.html"
#: Readings of a prediction: key in the record, name for people.
READINGS = {
    "elevation": "elevation",
    "coupled": "plan, coupled with the elevation",
    "free": "plan, no plane to the body",
    "intact": "plan, plane that never gives way",
}
Told = Callable[[str], None]


def is_prediction(folder: str | Path) -> bool:
    """True for a folder that holds a prediction."""
    return (Path(folder) / RECORD).is_file()


def prediction_page(folder: str | Path, *, runs: bool = True, told: Told | None = None) -> Path:
    """Write FOLDER/prediction.html with its figures; with ``runs`` also the pages of elevation and coupled plan.

    Raises :class:`FolderFault` where the record or a run is missing or the disk refuses.
    """
    home = Path(folder)
    record = _record(home)
    elevation, plan = runs_of(home)
    side, top = View(elevation), None if plan is None else View(plan)
    for view in (side, top) if runs else ():
        if view is not None:
            tell = told and (lambda title, name=view.run.folder.name: told(f"{name}: {title}"))
            report(view, told=tell or None)
    if told is not None:
        told("Both planes")
    place = home / "figures"
    rows, marks = _rows(record, side.specimen)
    files = {
        "bracket": prediction_figures.bracket(rows, marks, place),
        "both": prediction_figures.both_planes(side, top, float(record["bar_stress"]), place),
    }
    return paper.write("prediction.html", home / TARGET, **_values(home, record, side, files))


def runs_of(folder: str | Path) -> tuple[Run, Run | None]:
    """The elevation of a prediction and its coupled plan, None where there is none; faults as of the page."""
    home = Path(folder)
    record = _record(home)
    plan = _run(home / f"plan-pass-{len(record['passes'])}") if record["coupled"] else None
    return _run(home / "elevation"), plan


def record_of(folder: str | Path) -> dict[str, Any]:
    """What a prediction found, as stored."""
    return _record(Path(folder))


def _record(home: Path) -> dict[str, Any]:
    try:
        return json.loads((home / RECORD).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise FolderFault(str(home), f"{RECORD} cannot be read: {error}") from error


def _run(folder: Path) -> Run:
    run = Run(folder)
    if not run.n_steps:
        raise FolderFault(str(folder), "no step is stored yet")
    return run


# ------------------------------------------------------------------ bracket
def _rows(record: Mapping[str, Any], specimen: Specimen) -> tuple[list[Row], dict[str, float]]:
    sure = bool(record[_governing(record)]["sure"])
    low, high = record["band"]
    rows = [Row("prediction", low, record["bar_stress"], high, sure, named(record["mechanism"]), "answer")]
    for key, name in READINGS.items():
        if (r := record[key]) is not None:
            value, kind = float(r["bar_stress"]), (r["governing"] or {}).get("mechanism")
            nearest = "" if r["sure"] or kind == "yielding" else "nearest: "
            rows.append(Row(name, value, value, value, bool(r["sure"]), nearest + named(kind), "plane"))
    if (formulas := _formulas(specimen)) is not None:
        rows.append(formulas)
    return rows, {"f$_y$": float(specimen.steel[specimen.bars.left.steel].yield_strength)}


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


def _governing(record: Mapping[str, Any]) -> str:
    """Key of the reading that governs."""
    return "coupled" if record["governing_plane"] == "plan" else "elevation"


#: Beginnings of the sentences that stand beside what governs.
AROUND = ("after the drop ", "passed before: ", "next: ")


# ------------------------------------------------------------------ words
def _margin(reading: Mapping[str, Any], finding: Mapping[str, Any]) -> float:
    """Multiple of the reading's strength at which a mechanism comes, by rule 6 of the mechanisms."""
    governing = reading["governing"] or {}
    strength = governing["reached_at"] if governing.get("mechanism") == "yielding" else reading["bar_stress"]
    if finding["reached_at"] is not None:
        return finding["reached_at"] / strength if strength else math.inf
    return 1.0 / finding["usage"] if finding["usage"] else math.inf


def _readings(record: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Each reading with a row for all it found: mechanism, usage, where reached, margin, evidence."""
    found = []
    for key, name in READINGS.items():
        reading = record[key]
        if reading is None:
            continue
        governing = (reading["governing"] or {}).get("mechanism")
        following = (reading["next"] or {}).get("mechanism")
        rows = []
        for f in reading["findings"]:
            kind = f["mechanism"]
            mark = "governs" if kind == governing else "next" if kind == following else ""
            if mark == "governs" and not reading["sure"] and kind != "yielding":
                mark = "nearest"
            margin = math.inf if mark == "governs" else _margin(reading, f)
            rows.append(
                {
                    "name": MECHANISMS.get(kind, kind),
                    "mark": mark,
                    "usage": f"{f['usage']:.2f}",
                    "reached": "never" if f["reached_at"] is None else f"{f['reached_at']:.0f} MPa",
                    "margin": f"{margin:.2f}" if math.isfinite(margin) else "–",
                    "evidence": list(f["evidence"]),
                }  # fmt: skip
            )
        found.append(
            {
                "name": name,
                "strength": ("" if reading["sure"] else "> ") + quantity(reading["bar_stress"], "stress"),
                "load": quantity(reading["load"], "force") + (" per ram" if key == "elevation" else " per side"),
                "dropped": reading["sure"],
                "rows": rows,
                "unresolved": list(reading["unresolved"]),
            }  # fmt: skip
        )
    return found


def _lead(record: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    low, high = record["band"]
    governing = record[_governing(record)]
    at_least = "" if governing["sure"] else "at least "
    # without a drop only yielding is known; anything else is what the plane was nearest to
    seen = governing["sure"] or record["mechanism"] in (None, "yielding")
    nearest, never = ("", "") if seen else ("nearest: ", ", whose load never dropped")
    margin = record["margin"]
    following = named(record["next"]) if record["next"] else "none found"
    bracket = f"{record['bracket'][0]:.0f} to {record['bracket'][1]:.0f} MPa"
    ends = "no plane between slab and body, and one that never gives way"
    if _outside(record):
        ends += "; the prediction lies outside, as paths past a drop scatter"
    return [
        ("Bar stress at failure", at_least + quantity(record["bar_stress"], "stress"),
         f"at the joint face; model uncertainty {low:.0f} to {high:.0f} MPa"),
        ("Load per ram", at_least + quantity(record["load"], "force"), "of the elevation at that bar stress"),
        ("What governs", nearest + named(record["mechanism"]), f"in the {record['governing_plane']}{never}"),
        ("Next", following, _when(margin, bool(record.get("margin_open")))),
        ("Bracket", bracket, ends),
    ]  # fmt: skip


def _outside(record: Mapping[str, Any]) -> bool:
    """True where the prediction is beyond its bracket by more than a thousandth."""
    low, high = record["bracket"]
    return not 0.999 * low <= record["bar_stress"] <= 1.001 * high


def _when(margin: float | None, least: bool = False) -> str:
    if margin is None:
        return "no margin known"
    return (
        f"{'no less than' if least else 'at'} {margin:.2f} times that"
        if margin >= 1.0
        else f"its limit was passed at {margin:.2f} of that"
    )


def _unresolved(readings: Sequence[Mapping[str, Any]]) -> list[str]:
    """What either plane cannot show, each text once."""
    return list(dict.fromkeys(text for r in readings for text in r["unresolved"]))


def _links(home: Path) -> list[dict[str, str]]:
    """The runs of the prediction in order, with a link where their page exists."""
    what = {"elevation": "the beam from the side", "plan-free": "slab alone", "plan-intact": "plane never gives way"}
    rows = []
    for path in sorted(p for p in home.iterdir() if (p / "manifest.json").is_file()):
        run = Run(path)
        largest = max(run.curve["load_N"], default=math.nan) if run.n_steps else math.nan
        loose = sum(str(o) == "loose" for o in run.curve.get("outcome", ())) if run.n_steps else 0
        number = path.name.removeprefix("plan-pass-")
        rows.append(
            {
                "name": path.name,
                "what": what.get(path.name, f"plane as the elevation leaves it, pass {number}"),
                "link": f"{path.name}/{PAGE}" if (path / PAGE).is_file() else "",
                "largest": quantity(float(largest), "force"),
                "steps": f"{run.n_steps}, {loose} loose",
                "outcome": run.outcome.value,
            }  # fmt: skip
        )
    return rows


def _values(home: Path, record: Mapping[str, Any], side: View, files: Mapping[str, list[Path]]) -> dict[str, Any]:
    readings = _readings(record)
    governing = record[_governing(record)]
    manifest = side.run.manifest
    return {
        "specimen": side.specimen,
        "sentence": record["sentences"][0],
        "lead": _lead(record),
        "evidence": list(governing["governing"]["evidence"]) if governing["governing"] else [],
        "figures": {name: picture(paths) for name, paths in files.items()},
        "coupled": record["coupled"] is not None,
        "readings": readings,
        "passes": [
            (str(k), f"{p['given']:.0f} MPa", f"{'' if p['sure'] else '> '}{p['found']:.0f} MPa",
             f"{100.0 * (p['found'] / p['given'] - 1.0):+.1f} %".replace("-", "−") if p["given"] else "–")
            for k, p in enumerate(record["passes"], start=1)
        ],
        "agreed": record["agreed"],
        "near": f"{100.0 * AGREED:.0f}",
        "uncoupled": quantity(record["uncoupled"], "stress"),
        "beside": str(record.get("beside", "")),
        "beside_less": (record.get("side_splitting") or math.inf) < record["bar_stress"],
        "around": [text for text in record["sentences"] if text.startswith(AROUND)],
        "notes": list(record["notes"]),
        "unresolved": _unresolved(readings),
        "band": (f"{record['band'][0]:.0f}", f"{record['band'][1]:.0f}", f"{100.0 * MODEL_BAND:.0f}"),
        "runs": _links(home),
        "versions": manifest.get("versions", {}),
        "digest": manifest["specimen"]["digest"],
        "text": side.run.specimen_text,
    }  # fmt: skip
