"""RESULTS.md and RESULTS.csv from the records of all cases."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

import numpy as np

from validation import frame, meshes
from validation.target import TARGETS, Row, Target, counted, mean_and_cov, same_words, steps_of, verdicts

#: At most this share of all increments may fail over the whole validation.
FAILED = 0.10
USES = {
    "pass_fail": "counts", "surrogate": "counts (descriptive equations)",
    "indication": "indication", "lower_bound": "lower bound",
}  # fmt: skip


def rows_of(jobs: Sequence[frame.Job], records: dict) -> dict[str, list[Row]]:
    """Rows by series, in the order of the cases."""
    out: dict[str, list[Row]] = {}
    for job in jobs:
        agrees = getattr(frame.module(job.case.series), "agrees", same_words)
        out.setdefault(job.case.series, []).append(Row(job.case, records.get(job.key), agrees))
    return out


def target_of(series: str) -> Target:
    """The series' own target, or the one stated for it."""
    return getattr(frame.module(series), "TARGET", TARGETS.get(series, Target()))


# ------------------------------------------------------------------ Markdown
def markdown(series: dict[str, list[Row]], seconds: float, figures: Sequence[str] = ()) -> str:
    """The whole page; ``seconds`` is the computing time of all cases added up."""
    every = [r for rows in series.values() for r in rows]
    steps, failed, loose, iterations = steps_of(every)
    lines = [
        "# Published tests and predictions",
        "",
        "Written by `scripts/validate`; what the columns mean stands in [README.md](README.md).",
        f"One set of defaults for all cases. fesplice {version('fesplice')}, numpy {version('numpy')}, "
        f"scipy {version('scipy')}, gmsh {version('gmsh')}; {len(every)} cases, {seconds / 60:.0f} minutes of "
        "computing added up, shared between two processes.",
        "",
        "## Summary",
        "",
        "| series | cases | counted | mean test/prediction | COV | targets |",
        "|---|--:|--:|--:|--:|---|",
    ]
    for name, rows in series.items():
        target = target_of(name)
        use = counted(rows, target)
        mean, cov = mean_and_cov(use)
        bounds = verdicts(rows, target)
        told = "; ".join(f"{v.what}: {v.told()}" for v in bounds) or "none"
        lines.append(f"| [{name}](#{name}) | {len(rows)} | {len(use)} | {_mean(mean)} | {_percent(cov)} | {told} |")
    share = failed / max(steps + failed, 1)
    bare = [f"{r.case.series}/{r.case.name}" for r in every if r.found is not None and not r.found.passed]
    lost = [f"{r.case.series}/{r.case.name}" for r in every if r.found is None]
    lines += [
        "",
        f"Robustness over all cases: {steps} steps, {failed} failed increments ({100 * share:.1f} % of all tried; "
        f"target below {100 * FAILED:g} %: {'met' if share < FAILED else 'missed'}), {loose} loose steps, "
        f"{iterations / max(steps, 1):.1f} iterations per step (failed ones included). "
        + (f"Neither past a peak nor on a plateau: {', '.join(bare)}. " if bare else "Every case passed its peak "
           "or proved a plateau, or is no march at all. ")
        + (f"Ended without a result: {', '.join(lost)}." if lost else "None ended without a result."),
        "",
    ]  # fmt: skip
    for name, rows in series.items():
        lines += _section(name, rows, f"{name}.png" in figures)
    return "\n".join(lines).rstrip() + "\n"


def _section(name: str, rows: Sequence[Row], figure: bool) -> list[str]:
    target = target_of(name)
    use = counted(rows, target)
    mean, cov = mean_and_cov(use)
    lines = [f"## {name}", ""]
    if use:
        which = ", ".join(sorted({USES[r.case.use] for r in use}))
        lines += [f"Mean {mean:.3f}, COV {_percent(cov)} over {len(use)} rows ({which}).", ""]
    if bounds := verdicts(rows, target):
        lines += ["| target | wanted | reached | |", "|---|---|---|---|"]
        lines += [f"| {v.what} | {v.wanted} | {v.reached} | {v.told(bold=True)} |" for v in bounds]
        lines.append("")
    lines += [
        "| case | quantity | test | prediction | test/pred. | mode: test | predicted | use, value known | unknowns "
        "| steps | failed | loose | it/step | s |",
        "|---|---|--:|--:|--:|---|---|---|--:|--:|--:|--:|--:|--:|",
        *(_line(r) for r in rows),
        "",
    ]
    summary = getattr(frame.module(name), "summary", None)
    if summary is not None:
        try:
            lines += [*summary(list(rows)), ""]
        except Exception as fault:  # a table is worth more than the remark below it
            lines += [f"The remarks on this series could not be made ({type(fault).__name__}: {fault}).", ""]
    lines += meshes.lines(rows)
    ends = [f"- {r.case.name}: {r.record.reason or (r.found.ending if r.found else '')}" for r in rows if r.record]
    if ends:
        lines += ["<details><summary>How each case ended</summary>", "", *ends, "", "</details>", ""]
    if sources := sorted({r.case.source for r in rows if r.case.source}):
        lines += ["Sources: " + "; ".join(sources) + ".", ""]
    if figure:
        lines += [f"![{name}](figures/{name}.png)", ""]
    return lines


def _line(row: Row) -> str:
    case, found = row.case, row.found
    known = f"{USES[case.use]}, {'from memory' if case.memory else 'found'}"
    if case.test is not None:
        test = _n(case.test)
    elif case.band is not None:
        test = f"{_n(case.band[0])} to {_n(case.band[1])}"
    else:
        test, known = "–", USES[case.use]
    head = f"| {case.name} | {case.quantity} [{case.unit}] | {test} "
    if found is None:
        why = row.record.reason if row.record else "not computed yet"
        seconds = f"{row.record.seconds:.0f}" if row.record else ""
        return head + f"| **none** | | {case.mode} | {_cell(why)} | {known} | | | | | | {seconds} |"
    ratio = f"{row.ratio:.3f}" if np.isfinite(row.ratio) else ""
    if case.band is not None and row.outside > 0.0:
        ratio = f"{100 * row.outside:.1f} % outside" if not ratio else ratio
    elif case.band is not None and not ratio:
        ratio = "inside"
    mode = f"**{_cell(found.mode)}**" if row.wrong_mode else _cell(found.mode)
    per = f"{found.iterations / found.steps:.1f}" if found.steps else ""
    seconds = f"{row.record.seconds:.0f}" if row.record else ""
    return head + (
        f"| {_n(found.prediction)} | {ratio} | {_cell(case.mode)} | {mode} | {known} | {found.unknowns} "
        f"| {found.steps} | {found.failed} | {found.loose} | {per} | {seconds} |"
    )


def _cell(text: str) -> str:
    return " ".join(text.replace("|", "/").split())


def _n(value: float) -> str:
    """Three or four figures that a reader can compare."""
    if not np.isfinite(value):
        return "–"
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.4g}" if abs(value) >= 100 else f"{value:.3g}"


def _mean(value: float) -> str:
    return f"{value:.3f}" if np.isfinite(value) else "–"


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %" if np.isfinite(share) else "–"


# ------------------------------------------------------------------ CSV
def comma_separated(series: dict[str, list[Row]]) -> str:
    """One line per case; the extras of all cases as columns of their own at the end."""
    every = [r for rows in series.values() for r in rows]
    extras = sorted({key for r in every if r.found for key in r.found.extras})
    out = io.StringIO()
    w = csv.writer(out, lineterminator="\n")
    w.writerow([
        "series", "case", "quantity", "unit", "test", "band_low", "band_high", "prediction", "test_over_prediction",
        "mode_test", "mode_predicted", "use", "known", "unknowns", "steps", "failed", "loose", "iterations_per_step",
        "seconds", "passed", "ending", "source", *extras,
    ])  # fmt: skip
    for r in every:
        c, f = r.case, r.found
        low, high = c.band or ("", "")
        reached = ["", "", ""] if f is None else [f"{f.prediction:.6g}", _blank(r.ratio), f.mode]
        counts: list = [""] * 4 if f is None else [f.unknowns, f.steps, f.failed, f.loose]
        per = f"{f.iterations / f.steps:.2f}" if f and f.steps else ""
        seconds = f"{r.record.seconds:.1f}" if r.record else ""
        ending = f.ending if f else (r.record.reason if r.record else "not computed yet")
        w.writerow([
            c.series, c.name, c.quantity, c.unit, "" if c.test is None else c.test, low, high, *reached[:2],
            c.mode, reached[2], c.use, "memory" if c.memory else "found", *counts, per, seconds,
            "" if f is None else f.passed, ending, c.source,
            *("" if f is None else _extra(f.extras.get(key, "")) for key in extras),
        ])  # fmt: skip
    return out.getvalue()


def _extra(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.6g}"


def _blank(value: float) -> str:
    return f"{value:.4f}" if np.isfinite(value) else ""


def write(folder: Path, series: dict[str, list[Row]]) -> Path:
    """RESULTS.md, RESULTS.csv and figures into ``folder``; returns the page."""
    from validation import figures

    (folder / "figures").mkdir(parents=True, exist_ok=True)
    drawn = figures.draw(folder / "figures", series)
    seconds = sum(r.record.seconds for rows in series.values() for r in rows if r.record)
    for name, text in (("RESULTS.md", markdown(series, seconds, drawn)), ("RESULTS.csv", comma_separated(series))):
        part = folder / f"{name}.partial"
        part.write_text(text)
        os.replace(part, folder / name)
    return folder / "RESULTS.md"
