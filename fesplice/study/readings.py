"""The readings of a study: figures with the numbers behind them, and one page.

Strengths are bar stresses at the joint face [MPa] and loads per ram [kN] of the cases that have them; every
case that has none is listed with its reason.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FespliceError, FolderFault
from fesplice.post.mechanisms import Mechanism
from fesplice.post.runs import bar_columns
from fesplice.report import trends
from fesplice.report.trends import Bars, Curves, Line, Panel
from fesplice.report.views import VIEWS
from fesplice.store import Run
from fesplice.study.effects import Interaction, Row, by_group, effects, modes, ratios, response, tornado
from fesplice.study.runner import RUNS, STUDY
from fesplice.study.table import Table

FIGURES, PAGE = "figures", "study.html"
#: Most groups of response curves on one figure.
_GROUPS = 9


@dataclass(frozen=True)
class StudyReading:
    """One figure with its caption and files, and a small table (head, rows) that goes with it on the page."""

    title: str
    caption: str
    files: list[Path]
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class StudyReadings:
    """All readings of a study, and why others were left out."""

    about: dict[str, Any]
    rows: list[dict[str, Any]]
    strength: str
    found: list[StudyReading] = field(default_factory=list)
    left_out: dict[str, str] = field(default_factory=dict)


class _Source:
    """A study folder as the readings see it."""

    def __init__(self, folder: Path, strength: str = ""):
        self.folder, self.out = folder, folder / FIGURES
        self.about = _about(folder)
        with Table(folder) as table:
            self.rows, self.views = table.rows(), table.views
        if strength:
            response({}, strength)  # an unknown one is told at once
        self.strength = strength or ("predicted" if "prediction" in self.views else "first")
        self.factors: list[str] = self.about["factors"]
        self.sampled: list[str] = self.about["sampled"]
        self.runs = tuple(p for p in self.views if p != "prediction")

    def value(self, unit: str = "MPa", strength: str = "", views: Sequence[str] = ()) -> Callable[[Row], float]:
        return lambda row: response(row, strength or self.strength, unit, views or self.runs)

    @property
    def word(self) -> str:
        words = {
            "predicted": "of both views",
            "first": "at the strength",
            "peak": "largest",
            "bond_loss": "at loss of bond",
        }
        return words[self.strength]

    def label(self, column: str) -> str:
        """A column as an axis says it."""
        name, _, unit = column.rpartition("_")
        known = unit in ("mm", "MPa", "kN", "N")
        return f"{(name if known else column).rpartition('.')[2].replace('_', ' ')}{f' ({unit})' if known else ''}"

    def numeric(self, column: str) -> bool:
        found = [r.get(column) for r in self.rows if r.get(column) is not None]
        return bool(found) and all(isinstance(v, (int, float)) for v in found)


def _about(folder: Path) -> dict[str, Any]:
    """What the runner wrote of the study."""
    try:
        about = json.loads((folder / STUDY).read_text(encoding="utf-8"))
        return {k: about[k] for k in ("name", "note", "factors", "sampled", "text")}
    except OSError as fault:
        raise FolderFault(str(folder), f"holds no study: {STUDY}: {fault.strerror or fault}") from None
    except (ValueError, KeyError, TypeError) as fault:
        raise FolderFault(str(folder / STUDY), f"is damaged: {fault}") from None


def readings(folder: str | Path, strength: str = "") -> StudyReadings:
    """Draw all readings of a study folder into FOLDER/figures; ``strength`` as of :func:`effects.response`."""
    source = _Source(Path(folder), strength)
    answer = StudyReadings(source.about, source.rows, source.strength)
    for title, make in _READINGS.items():
        try:
            answer.found.append(make(source))
        except FespliceError as reason:
            answer.left_out[title] = str(reason)
    return answer


class _LeftOut(FespliceError):
    """A reading that this study has no numbers for."""


# ------------------------------------------------------------------ strength
#: Lines that one panel can show apart.
MOST_LINES = 10


def _strength(s: _Source) -> StudyReading:
    """Strength over the first numeric factor, a line per level of the others, a panel per view."""
    x = next((f for f in s.factors if s.numeric(f)), None)
    if x is None:
        raise _LeftOut("no number is varied on purpose")
    others = [f for f in s.factors if f != x]
    panels = []
    shown: list[tuple[str, Callable[[Row], float]]] = []
    if "prediction" in s.views:
        shown.append(("both views read together", s.value(strength="predicted")))
    words = {"peak": "largest", "bond_loss": "loss of bond"}
    how = s.strength if s.strength != "predicted" else "first"
    shown += [(f"{p}, {words.get(how, 'strength')}", s.value("MPa", how, [p])) for p in s.runs]
    rows_out = []
    # more lines than one panel can tell apart: a panel per level of the first of the other factors
    apart = len(others) > 1 and math.prod(len({r.get(f) for r in s.rows}) for f in others) > MOST_LINES
    for title, value in shown:
        groups = by_group(s.rows, [*others, x], value)
        lines: list[tuple[tuple, Line]] = []
        for group in dict.fromkeys(g[:-1] for g in groups):
            at = sorted(g[-1] for g in groups if g[:-1] == group)
            found = [groups[*group, v] for v in at]
            middle = np.array([f.p50 if s.sampled else f.mean for f in found])
            ends = ("p5", "p95") if s.sampled else ("low", "high")
            low, high = (np.array([getattr(f, k) for f in found]) for k in ends)
            bound = None
            if all(f.n == 1 for f in found):
                cases = [next(r for r in s.rows if (*(r.get(f) for f in others), r.get(x)) == (*group, v)) for v in at]
                low, high = _bracket(title, cases)
                bound = np.array([_unbroken(title, row) for row in cases])
            name = ", ".join(_level(s, f, v) for f, v in zip(others, group))
            if apart:  # the first factor goes into the title
                name = ", ".join(_level(s, f, v) for f, v in zip(others[1:], group[1:]))
            lines.append((group, Line(name, np.array(at, float), middle, low, high, bound)))
            rows_out += [(title, *map(str, group), f"{v:.4g}", f"{m:.0f}") for v, m in zip(at, middle)]
        if apart:
            panels += [
                Panel(
                    (f"{title}: " if len(shown) > 1 else "") + _level(s, others[0], level),
                    tuple(line for g, line in lines if g[0] == level),
                )
                for level in dict.fromkeys(g[0] for g, _ in lines)
            ]
        elif lines:
            panels.append(Panel(title, tuple(line for _, line in lines)))
    if not panels:
        raise _LeftOut("no case has a strength yet")
    files = trends.lines(s.out, "strength", panels, s.label(x), "bar stress at the joint face (MPa)")
    band = "the percentiles 5 to 95 of the sample" if s.sampled else (
        "for both views: from a slab that hangs on nothing to one whose interface never gives way; for a view: from "
        "the first loss of bond to the largest load where both are known"
    )  # fmt: skip
    head = ("strength", *(s.label(f) for f in others), s.label(x), "MPa")
    hollow = "" if s.sampled else " Hollow marks: the load never fell by 15 %, a lower bound."
    text = f"Bar stress at failure over {s.label(x)}. Bands: {band}.{hollow}"
    return StudyReading("Strength", text, files, head, tuple(rows_out))


def _unbroken(title: str, row: Row) -> bool:
    """True where the strength of a case is a lower bound: the load never fell."""
    if title.endswith("loss of bond"):
        return False
    exact = row.get(f"{'prediction' if title.startswith('both') else title.partition(',')[0]}_exact")
    return exact is not None and not exact


def _bracket(title: str, cases: Sequence[Row]) -> tuple[Any, Any]:
    """Least and largest of what every single case knows of its own strength."""
    view = title.partition(",")[0]
    pair = ("prediction_bracket_low_MPa", "prediction_bracket_high_MPa")
    if not title.startswith("both"):
        pair = (f"{view}_bond_loss_MPa", f"{view}_peak_MPa")
    found = [[row.get(name) if row.get(name) is not None else math.nan for name in pair] for row in cases]
    low, high = np.array(found, float).T
    return (low, high) if np.isfinite(low).any() else (None, None)


# ------------------------------------------------------------------ curves
def _curves(s: _Source) -> StudyReading:
    """Response curves of the elevation by level of the factor that is no number, or else of the first."""
    view = s.runs[0]
    by = next((f for f in s.factors if not s.numeric(f)), s.factors[0] if s.factors else "")
    groups: dict[str, list[tuple[str, Any, Any, bool]]] = {}
    fails = s.value("MPa", "" if s.strength == "predicted" else s.strength, [view])
    for row in s.rows:
        folder = s.folder / RUNS / str(row["id"]) / view
        if not (folder / "curve.csv").is_file():
            continue
        curve = Run(folder).curve
        x = curve.get(VIEWS[view].moved)
        if x is not None and len(x) > 1:
            word = _level(s, by, row.get(by)) if by else s.about["name"]
            # both views share the bar stress, whatever their loads are counted per
            stress = np.fmax.reduce(list(bar_columns(curve).values()))
            load = np.asarray(curve["load_N"], float) / 1e3
            groups.setdefault(word, []).append(
                (str(row["label"]), *trends.until(np.asarray(x, float), load, stress, fails(row)))
            )
    if not groups:
        raise _LeftOut("the run folders are not here")
    if len(groups) > _GROUPS:
        raise _LeftOut(f"{len(groups)} groups are too many for one figure")
    shown = [
        Curves(t, tuple(c[0] for c in g), tuple((c[1], c[2]) for c in g), tuple(c[3] for c in g), bool(s.sampled))
        for t, g in groups.items()
    ]
    files = trends.curves(s.out, "curves", shown, *VIEWS[view].axes)
    text = f"Every run of the {view}, up to its failure {s.word} (cross); without a cross that is not known."
    if s.sampled:
        text += " Heavy the middle one, shaded percentiles 5 to 95 of the sample, as far as three runs reach."
    return StudyReading("Response curves", text, files)


# ------------------------------------------------------------------ effects
def _effects(s: _Source) -> StudyReading:
    """Main effects with the spread over everything else."""
    if not s.factors:
        raise _LeftOut("nothing is varied on purpose")
    main, pairs = effects(s.rows, s.factors, s.value())
    if not any(sp.n for e in main for sp in e.spreads):
        raise _LeftOut("no case has a strength yet")
    panels = []
    for e in main:
        ticks = () if s.numeric(e.factor) else tuple(map(str, e.levels))
        x = np.arange(len(e.levels), dtype=float) if ticks else np.array(e.levels, float)
        ends = ("p5", "p95") if s.sampled else ("low", "high")
        mean, low, high = (np.array([getattr(sp, k) for sp in e.spreads]) for k in ("mean", *ends))
        panels.append(Panel(s.label(e.factor), (Line("", x, mean, low, high),), ticks))
    files = trends.lines(s.out, "effects", panels, "", f"bar stress {s.word} (MPa)")
    rows = [(s.label(e.factor), _share(e.share)) for e in main]
    rows += [(f"{s.label(p.factors[0])} with {s.label(p.factors[1])}, beyond both", _share(p.share)) for p in pairs]
    over = "percentiles 5 to 95" if s.sampled else "least to largest"
    text = f"Mean of all cases of a level; {over} over all else that varies. Table: shares of the variance."
    return StudyReading("Main effects", text, files, ("source", "share of variance"), tuple(rows))


def _interaction(s: _Source) -> StudyReading:
    """Means of two factors: lines that are not parallel interact."""
    _, pairs = effects(s.rows, s.factors, s.value())
    if not pairs:
        raise _LeftOut("one factor alone interacts with nothing")
    pairs = [q for p in pairs[:_GROUPS] if (q := _turned(s, p)) is not None]
    if not pairs:
        raise _LeftOut(f"every pair has more than {MOST_LINES} levels both ways")
    panels = []
    for p in pairs:
        ticks = () if s.numeric(p.factors[0]) else tuple(map(str, p.levels[0]))
        x = np.arange(len(p.levels[0]), dtype=float) if ticks else np.array(p.levels[0], float)
        lines = tuple(Line(_level(s, p.factors[1], v), x, p.means[:, j]) for j, v in enumerate(p.levels[1]))
        panels.append(Panel(" with ".join(map(s.label, p.factors)), lines, ticks))
    first = s.label(pairs[0].factors[0]) if len(panels) == 1 else "level of the first factor"
    files = trends.lines(s.out, "interaction", panels, first, f"bar stress {s.word} (MPa)")
    return StudyReading("Interaction", "Means of the cells; lines that are not parallel interact.", files)


def _turned(s: _Source, pair: Interaction) -> Interaction | None:
    """A pair with a number along the axis and few levels as lines; None where neither way shows them apart."""
    (a, b), (rows, columns) = pair.factors, pair.levels
    ways = [pair, Interaction((b, a), (columns, rows), pair.means.T, pair.share)]
    apart = [w for w in ways if len(w.levels[1]) <= MOST_LINES]
    return max(apart, key=lambda w: (s.numeric(w.factors[0]), len(w.levels[0])), default=None)


def _tornado(s: _Source) -> StudyReading:
    if len(s.sampled) < 2:
        said = "one input alone has no rank among others" if s.sampled else "nothing is random"
        raise _LeftOut(f"{said}: a rank correlation would tell no more than the figure of the strength")
    found = tornado(s.rows, s.sampled, s.value())
    if not found:
        raise _LeftOut("fewer than four cases with a strength, or nothing that varies as a number")
    labels, values = tuple(s.label(f.column) for f in found), np.array([f.correlation for f in found])
    files = trends.bars(
        s.out, "tornado", {f"bar stress {s.word}": Bars(labels, values)}, "rank correlation", (-1.0, 1.0)
    )
    rows = tuple((s.label(f.column), f"{f.correlation:+.2f}", f"{f.chance:.2g}", str(f.n)) for f in found)
    text = (
        "Rank correlation (Spearman) with the strength. Chance: how often as much would be seen without any relation."
    )
    return StudyReading("Sensitivity", text, files, ("input", "correlation", "chance", "cases"), rows)


def _modes(s: _Source) -> StudyReading:
    measured = [r for r in s.rows if r.get("measured_mode")]
    found = {p: modes(s.rows, p) for p in s.views} | ({"measured": modes(measured, "measured")} if measured else {})
    shown = {
        p: Bars(
            tuple(_words(m.mode) for m in ms), np.array([m.share for m in ms]),
            np.array([m.low for m in ms]) if s.sampled else None, np.array([m.high for m in ms]) if s.sampled else None,
        )
        for p, ms in found.items() if ms
    }  # fmt: skip
    if not shown:
        raise _LeftOut("no case has a mode yet")
    files = trends.bars(s.out, "modes", shown, "share of the cases", (0.0, 1.0))
    rows = tuple((p, _words(m.mode), str(m.count), _share(m.share)) for p, ms in found.items() for m in ms)
    text = "Mechanism that governs, as the rules of each view name it."
    text += " 95 % intervals of the share (Wilson)." if s.sampled else ""
    if measured:
        text += f" Measured: what the {len(measured)} tests with a mode were said to fail by."
    return StudyReading("Mechanisms", text, files, ("view", "mechanism", "cases", "share"), rows)


def _words(mode: str) -> str:
    """A mechanism as people read it; a text that is none of ours (of an older table) as it stands."""
    return Mechanism(mode).words if mode in Mechanism.__members__ else mode


def _percentiles(s: _Source) -> StudyReading:
    if not s.sampled:
        raise _LeftOut("nothing is random: the cases are the settings of the study, not a sample")
    rows, bars = [], {}
    for unit in ("MPa", "kN"):
        groups = by_group(s.rows, s.factors, s.value(unit))
        if not groups:
            raise _LeftOut("no case has a strength yet")
        labels = tuple(", ".join(map(str, g)) or "all cases" for g in groups)
        found = list(groups.values())
        p5, p50, p95 = (np.array([getattr(f, k) for f in found]) for k in ("p5", "p50", "p95"))
        bars["bar stress (MPa)" if unit == "MPa" else "load per ram (kN)"] = Bars(labels, p50, p5, p95)
        rows += [
            (unit, w, str(f.n), *(f"{v:.4g}" for v in (f.p5, f.p50, f.p95, f.mean))) for w, f in zip(labels, found)
        ]
    files = trends.bars(s.out, "percentiles", bars, f"strength {s.word}")
    head = ("unit", "group", "cases", "P5", "P50", "P95", "mean")
    return StudyReading("Percentiles", "P5, P50 and P95 over the sample.", files, head, tuple(rows))


def _ratios(s: _Source) -> StudyReading:
    found = {unit: ratios(s.rows, s.value(unit), unit) for unit in ("MPa", "kN")}
    shown = {u: r for u, r in found.items() if r.values}
    if not shown:
        raise _LeftOut("no case has measured values")
    notes = {str(r["label"]): _both_modes(s, r) for r in s.rows}
    told = any(notes.values())
    bars = {
        f"test / prediction ({u})": Bars(
            tuple(r.values), np.array(list(r.values.values())),
            # once is enough
            notes=tuple(notes[label] for label in r.values) if told and u == next(iter(shown)) else (),
        )
        for u, r in shown.items()
    }  # fmt: skip
    files = trends.bars(s.out, "test-over-prediction", bars, "test / prediction", one=1.0)
    rows = tuple(
        (u, str(len(r.values)), f"{r.mean:.2f}", f"{100 * r.cov:.0f} %", f"{r.low:.2f}", f"{r.high:.2f}")
        for u, r in shown.items()
    )
    text = f"Measured over computed strength {s.word}; nothing is calibrated. The broken line stands at one."
    text += " At the bars: the mode of the test, and the predicted one where it is another." if told else ""
    return StudyReading("Test over prediction", text, files, ("unit", "tests", "mean", "COV", "least", "largest"), rows)


def _both_modes(s: _Source, row: Row) -> str:
    """The measured mode of a case, and the predicted one where that is another; empty without a measured one."""
    measured = row.get("measured_mode")
    if not measured:
        return ""
    view = "prediction" if "prediction" in s.views else s.runs[0]
    computed = row.get(f"{view}_mode")
    test = _words(str(measured))
    return test if computed in (None, measured) else f"{test}\npredicted: {_words(str(computed))}"


_READINGS: dict[str, Callable[[_Source], StudyReading]] = {
    "Strength": _strength,
    "Response curves": _curves,
    "Main effects": _effects,
    "Interaction": _interaction,
    "Sensitivity": _tornado,
    "Mechanisms": _modes,
    "Percentiles": _percentiles,
    "Test over prediction": _ratios,
}


def _level(s: _Source, factor: str, value: Any) -> str:
    """A setting in words: "strength 30 MPa"; names say enough by themselves."""
    if not isinstance(value, float | int):
        return str(value)
    name, _, unit = s.label(factor).partition(" (")
    return f"{name} {value:g} {unit.rstrip(')')}".rstrip()


def _share(value: float) -> str:
    # rounding first: a small negative share of the arithmetic is no "-0 %"
    return f"{round(100 * value) + 0:d} %" if math.isfinite(value) else "–"


# ------------------------------------------------------------------ page
def show(folder: str | Path, strength: str = "") -> tuple[Path, StudyReadings]:
    """Draw the readings of a study folder and write its page FOLDER/study.html; answer the page and what it holds."""
    from fesplice.report import trends_page

    found = readings(folder, strength)
    states = [str(r["state"]) for r in found.rows]
    counts = ", ".join(f"{states.count(state)} {state}" for state in dict.fromkeys(states))
    head = ("no", "case", "state", "MPa", "kN per ram", "mode", "reason")
    entries = [trends_page.Entry(r.title, r.caption, r.files, r.head, r.rows) for r in found.found]
    page = trends_page.write(
        Path(folder) / PAGE, entries, name=found.about["name"], note=found.about["note"],
        summary=f"{len(states)} cases: {counts}; strength: {found.strength.replace('_', ' ')}",
        left_out=found.left_out, cases_head=head, cases=[_line(found, r) for r in found.rows], text=found.about["text"],
    )  # fmt: skip
    return page, found


def _line(found: StudyReadings, row: Row) -> tuple[str, ...]:
    views = [name.removesuffix("_mode_words") for name in row if name.endswith("_mode_words")]
    runs = [p for p in views if p != "prediction"]
    values = [response(row, found.strength, unit, runs) for unit in ("MPa", "kN")]
    seen = ["–" if math.isnan(v) else f"{v:.0f}" for v in values]
    governs = "prediction" if "prediction" in views else runs[0]
    mode = row.get(f"{governs}_mode_words") or row.get(f"{governs}_mode") or "–"
    return (str(row["number"]), str(row["label"]), str(row["state"]), *seen, str(mode), str(row["reason"] or ""))
