"""Does the strength jump where its inputs do not? AS19-100-U predicted along sweeps of lap, spacing and concrete.

One value at a time is varied in small steps and both views are computed and coupled. A step of the prediction by
more than ``LARGE`` from one value to the next is marked, and so is a longer lap that is weaker by more than ``WEAKER``;
a step at which the governing mechanism changes is told as such. Elements, step size and every other value stay.

    python scripts/sweeps.py                     computes what is missing into runs/sweeps and writes the page
    python scripts/sweeps.py --read FOLDER       the page from the predictions that stand in a folder
"""

from __future__ import annotations

import argparse
import csv
import shutil
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from validation.record import ROOT, engine

from fesplice import Prediction, Run, findings, predict, read, vary
from fesplice.contracts import FespliceError
from fesplice.post.runs import bar_columns
from fesplice.post.strength import Strength, strength
from fesplice.report import trends
from fesplice.report.trends import Line, Panel
from fesplice.specimen import Specimen
from fesplice.specimen.read import vary_many

BASE = ROOT / "models" / "as19-100-u.toml"
RUNS, PAGE = ROOT / "runs" / "sweeps", ROOT / "models" / "studies" / "sweeps"
RECORDED = ROOT / "tests" / "data" / "strength"
#: A larger step of the strength than this is marked, and a loss by a longer lap [share].
LARGE, WEAKER = 0.06, 0.02
#: Concrete that a closure has beyond the lap [mm].
BEYOND = 100.0


# ------------------------------------------------------------------ the sweeps
@dataclass(frozen=True)
class Sweep:
    """One value in steps: ``vary(specimen, value)`` gives the specimen."""

    title: str
    unit: str
    values: tuple[float, ...]
    make: Callable[[Specimen, float], Specimen]


def _lap(s: Specimen, lap: float) -> Specimen:
    return vary_many(s, {"bars.lap": f"{lap:g} mm", "body.closure": f"{lap + BEYOND:g} mm"})


def _spacing(s: Specimen, spacing: float) -> Specimen:
    contact = spacing <= s.bars.left.diameter
    return vary(s, "bars.spacing", "contact" if contact else f"{spacing:g} mm")


def _strength(s: Specimen, f_cm: float) -> Specimen:
    # stiffness and tensile strength go with it, by the usual estimates
    named = ("elastic_modulus", "tensile_strength")
    changes = {"concrete.closure.strength": f"{f_cm:g} MPa"} | {f"concrete.closure.{key}": None for key in named}
    return vary_many(s, changes)


SWEEPS: dict[str, Sweep] = {
    "lap": Sweep(
        "lap, closure with it", "mm",
        (245.0, 262.5, 280.0, 297.5, 315.0, 332.5, 350.0, 367.5, 385.0, 420.0, 455.0, 490.0, 525.0), _lap,
    ),
    "spacing": Sweep(
        "spacing of a pair", "mm",
        (19.1, 25.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0, 120.0, 135.0), _spacing,
    ),
    "fcm": Sweep(
        "closure concrete", "MPa",
        (25.0, 29.0, 33.0, 37.0, 41.0, 45.0, 50.0, 55.0, 60.0), _strength,
    ),
}  # fmt: skip


# ------------------------------------------------------------------ one point
@dataclass(frozen=True)
class View:
    """One view: bar stress [MPa] before its first fall and of its strength; deepest fall [share]; what it failed by."""

    first: float
    strength: float
    exact: bool
    fall: float
    mechanism: str

    @property
    def cells(self) -> tuple[str | int, ...]:
        """For the table of results."""
        return f"{self.first:.1f}", f"{self.strength:.1f}", int(self.exact), f"{self.fall:.3f}", self.mechanism


@dataclass(frozen=True)
class Point:
    """One value of a sweep."""

    value: float
    stress: float
    exact: bool
    view: str
    mechanism: str
    elevation: View
    coupled: View


def point(value: float, folder: Path) -> Point:
    """A prediction as its folder keeps it. Raises :class:`FolderFault` for a folder that cannot be read."""
    found = Prediction.read(folder)
    passes = f"plan-pass-{len(found.passes)}"
    named = {"elevation": ("elevation", found.elevation), "coupled": (passes, found.coupled)}
    views = {}
    for name, (run, judged) in named.items():
        held, highest = _curve(Run(folder / run))
        first = float(highest[held.falls[0].row]) if held.falls else judged.bar_stress
        deepest = held.deepest
        fall = deepest.share if deepest else 0.0
        views[name] = View(min(first, judged.bar_stress), judged.bar_stress, held.exact, fall, judged.mode.words)
    answer = found.bar_stress, found.exact, found.view, found.mode.words
    return Point(value, *answer, views["elevation"], views["coupled"])


def _curve(run: Run) -> tuple[Strength, np.ndarray]:
    """Strength of a run and its largest bar stress so far (n,) [MPa]."""
    columns = list(bar_columns(run.curve).values())
    return findings(run).strength, np.maximum.accumulate(np.max(columns, axis=0))


def compute(sweep: Sweep, folder: Path, again: bool) -> None:
    """Predict every value that is not there, or was computed by another source."""
    base = read(BASE)
    for value in sweep.values:
        home, mark = folder / f"{value:g}", folder / f"{value:g}.source"
        if again or not mark.is_file() or mark.read_text(encoding="utf-8") != engine():
            shutil.rmtree(home, ignore_errors=True)
        try:
            said = predict(sweep.make(base, value), home).sentence
        except FespliceError as fault:
            said = str(fault)
        else:
            mark.write_text(engine(), encoding="utf-8")
        print(f"{folder.name} {value:g} {sweep.unit}: {said}", flush=True)


# ------------------------------------------------------------------ judging
@dataclass(frozen=True)
class Step:
    """From one value to the next: change of the strength [share], and what is to be said of it."""

    change: float
    note: str
    bad: bool


def step(sweep: str, before: Point, after: Point) -> Step:
    """Judge one step: too large with the same mechanism, or a longer lap that is weaker."""
    change = after.stress / before.stress - 1.0
    other = (before.view, before.mechanism) != (after.view, after.mechanism)
    large, weaker = abs(change) > LARGE, sweep == "lap" and change < -WEAKER
    note = f"governing changes: {before.view}, {before.mechanism} to {after.view}, {after.mechanism}" if other else ""
    return Step(change, note, weaker or (large and not other))


# ------------------------------------------------------------------ page and figures
HEAD = """# Strength along sweeps of AS19-100-U

Written by `scripts/sweeps.py` (the text at the end from `SWEEPS.notes.md`, by hand). One value is varied at a time,
both views computed and coupled; an invented specimen, computations, not tests. Bar stress at the joint face in MPa.
"first": before the first fall of 5 % that was made good later; "strength": by the rule of `fesplice/post/strength.py`;
">": the load never fell by 15 % afterwards, a lower bound; "fall": the deepest on the way. Steps of the prediction are
marked above 6 % where the same mechanism governs before and after, and where a longer lap loses more than 2 %.
"""


def _told(view: View) -> list[str]:
    fall = f"{100 * view.fall:.0f} %" if view.fall else "–"
    return [f"{view.first:.0f}", f"{'' if view.exact else '>'}{view.strength:.0f}", fall, view.mechanism]


def table(name: str, points: Sequence[Point]) -> list[str]:
    """Rows of one sweep with its steps, and what is to be said."""
    sweep = SWEEPS[name]
    out = ["", f"## {sweep.title[0].upper()}{sweep.title[1:]}", "",
           f"| [{sweep.unit}] | elevation: first | strength | fall | mechanism | plan, coupled: first | strength | "
           "fall | mechanism | prediction | step |",
           "|--:|--:|--:|--:|---|--:|--:|--:|---|--:|--:|"]  # fmt: skip
    steps = [step(name, a, b) for a, b in pairwise(points)]
    for k, p in enumerate(points):
        change = "" if k == 0 else f"{100 * steps[k - 1].change:+.1f} %"
        change = f"**{change}**" if k and steps[k - 1].bad else change
        answer = f"{'' if p.exact else '>'}{p.stress:.0f} ({p.view})"
        out.append(f"| {' | '.join([f'{p.value:g}', *_told(p.elevation), *_told(p.coupled), answer, change])} |")
    bad = [f"{a.value:g} to {b.value:g}" for (a, b), s in zip(pairwise(points), steps) if s.bad]
    most = max((abs(s.change) for s in steps), default=0.0)
    out += ["", f"Largest step {100 * most:.1f} %. Marked: {', '.join(bad) if bad else 'none'}."]
    out += [f"From {a.value:g} to {b.value:g}: {s.note}." for (a, b), s in zip(pairwise(points), steps) if s.note]
    return out


def draw(name: str, points: Sequence[Point], folder: Path) -> list[Path]:
    """Prediction, elevation and coupled plan over the value, with the load before the first fall in thin."""
    sweep = SWEEPS[name]
    x = np.array([p.value for p in points])
    answer = _line("strength", x, [p.stress for p in points], [p.exact for p in points])
    first = [(p.coupled if p.view == "plan" else p.elevation).first for p in points]
    panels = [Panel("prediction", (answer, Line("before the first fall", x, np.array(first))))]
    for title, views in (("elevation", [p.elevation for p in points]), ("plan, coupled", [p.coupled for p in points])):
        held = _line("strength", x, [v.strength for v in views], [v.exact for v in views])
        panels.append(Panel(title, (held, Line("before the first fall", x, np.array([v.first for v in views])))))
    return trends.lines(folder, name, panels, f"{sweep.title} ({sweep.unit})", "bar stress at the joint face (MPa)")


def _line(label: str, x: np.ndarray, y: Sequence[float], exact: Sequence[bool]) -> Line:
    return Line(label, x, np.array(y), bound=~np.array(exact))


def rules(folder: Path) -> list[str]:
    """The rule beside that of the first fall of 15 %, on the recorded curves that the tests hold."""
    panels, rows = [], []
    for sweep, view in (("lap", "elevation"), ("lap", "plan"), ("fcm", "elevation")):
        curves = _recorded(RECORDED / f"{sweep}.csv", view)
        x = np.array(list(curves))
        rule, first = [], []
        for load, stress in curves.values():
            held = strength(np.arange(len(load), dtype=float), load)
            rule.append(held.at(load, np.maximum.accumulate(stress)))
            first.append(float(stress[: _first_drop(load) + 1].max()))
        shown = {"strength": rule, "before the first fall of 15 %": first}
        title = f"{view if view == 'elevation' else 'plan, plane intact'}: {sweep.replace('fcm', 'concrete')}"
        panels.append(Panel(title, tuple(Line(label, x, np.array(y)) for label, y in shown.items())))
        cells = [
            f"{min(y):.0f} to {max(y):.0f}, {100 * max(abs(b / a - 1) for a, b in pairwise(y)):.1f} %"
            for y in shown.values()
        ]
        rows.append(
            f"| {title}, {x[0]:g} to {x[-1]:g} {SWEEPS[sweep].unit} in {len(x) - 1} steps | {' | '.join(cells)} |"
        )
    label = "lap (mm); concrete (MPa)"
    trends.lines(folder, "rules", panels, label, "bar stress at the joint face (MPa)")
    return ["", "## Single views: this rule and that of the first fall of 15 %", "",
            "From the recorded curves in `tests/data/strength`: smallest to largest [MPa], largest step.", "",
            "| view and sweep | strength | before the first fall of 15 % |", "|---|---|---|", *rows, "",
            "![Two rules on the same curves](figures/rules.png)"]  # fmt: skip


def _recorded(path: Path, view: str) -> dict[float, tuple[np.ndarray, np.ndarray]]:
    """Load [N] and bar stress [MPa] (n,) by the value that was varied."""
    found: dict[float, list[tuple[float, float]]] = {}
    with path.open(encoding="utf-8") as file:
        for r in csv.DictReader(line for line in file if not line.startswith("#")):
            if r["view"] == view:
                found.setdefault(float(r["value"]), []).append((float(r["load_N"]), float(r["bar_stress_MPa"])))
    return {value: (np.array(points)[:, 0], np.array(points)[:, 1]) for value, points in sorted(found.items())}


def _first_drop(load: np.ndarray) -> int:
    """Row of the largest load before the first fall of 15 % (of all, where there is none)."""
    best = np.maximum.accumulate(load)
    low = np.flatnonzero((load <= 0.85 * best) & (best > 0.0))
    return int(np.argmax(load[: low[0] + 1] if len(low) else load))


def write(found: Mapping[str, Sequence[Point]], folder: Path, drawn: Path) -> None:
    """Page, table and figures, which are drawn in ``drawn`` before what is kept of them is copied."""
    page = [HEAD.rstrip("\n")]
    (folder / "figures").mkdir(parents=True, exist_ok=True)
    with (folder / "results.csv").open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["sweep", "value", "prediction_MPa", "exact", "view", "mechanism", *_COLUMNS])
        for name, points in found.items():
            page += table(name, points)
            page += ["", f"![{SWEEPS[name].title}](figures/{name}.png)"]
            draw(name, points, drawn)
            for p in points:
                cells = [cell for v in (p.elevation, p.coupled) for cell in v.cells]
                out.writerow([name, f"{p.value:g}", f"{p.stress:.1f}", int(p.exact), p.view, p.mechanism, *cells])
    page += rules(drawn)
    for made in sorted(drawn.iterdir()):
        if made.suffix in (".png", ".csv"):
            shutil.copy(made, folder / "figures")
    notes = PAGE / "SWEEPS.notes.md"
    if notes.is_file():
        page += ["", notes.read_text(encoding="utf-8").rstrip("\n")]
    (folder / "SWEEPS.md").write_text("\n".join([*page, ""]), encoding="utf-8")


_COLUMNS = [
    f"{view}_{what}"
    for view in ("elevation", "coupled")
    for what in ("first_MPa", "strength_MPa", "exact", "fall", "mechanism")
]


def main() -> int:
    """Compute what is missing, read, write the page."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("sweeps", nargs="*", choices=[*SWEEPS, []], help="left out: all")
    ask.add_argument("--runs", type=Path, default=RUNS, help="where the predictions go and stay")
    ask.add_argument("--read", type=Path, help="read the predictions of this folder and compute nothing")
    ask.add_argument("--out", type=Path, default=PAGE, help="where page, table and figures go")
    ask.add_argument("--again", action="store_true", help="compute everything anew")
    wish = ask.parse_args()
    found = {}
    for name in wish.sweeps or SWEEPS:
        runs = (wish.read or wish.runs) / name
        if wish.read is None:
            compute(SWEEPS[name], runs, wish.again)
        points = []
        for value in SWEEPS[name].values:
            try:
                points.append(point(value, runs / f"{value:g}"))
            except FespliceError as fault:
                print(f"{name} {value:g}: left out: {fault}", file=sys.stderr)
        if points:
            found[name] = points
    with tempfile.TemporaryDirectory() as drawn:
        write(found, wish.out, Path(drawn))
    marked = sum(step(name, a, b).bad for name, points in found.items() for a, b in pairwise(points))
    print(f"{marked} steps marked; {wish.out / 'SWEEPS.md'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
