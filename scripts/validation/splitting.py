"""Laps and hooks with MC2010's splitting branch and with wedging bond, side by side: models/validation/SPLITTING.md.

This comparison decides which of the two is the default of the product. Rows are those of the validation.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from validation import frame, record
from validation.case import Case, Settings
from validation.record import Record
from validation.sensitivity import told

PAGE = record.ROOT / "models" / "validation" / "SPLITTING.md"
SERIES = ("laps", "hooks", "hook_points")
#: What is compared; the branch is the default, so that its records serve the validation too.
OPTIONS = {"branch": Settings(), "wedging": Settings(splitting="wedging")}
HEAD = """# Splitting branch and wedging side by side

Written by `scripts/validate --splitting`: the rows of laps and hooks that count in RESULTS.md, computed with the
splitting branch of MC2010 (the default) and with bond that wedges the concrete apart. Test over prediction; above 1 is
on the safe side. A row without a number says why.

"""


def main(data: Path, processes: int, again: bool) -> int:
    """Compute what is open and write the page."""
    began = time.perf_counter()
    cases = [c for c in frame.gather(data) if c.series in SERIES and c.use != "lower_bound"]
    jobs = {option: frame.jobs(cases, settings) for option, settings in OPTIONS.items()}
    every = [job for rows in jobs.values() for job in rows]
    try:
        kept = frame.run(every, data=data, processes=processes, again=again, tell=told)
    except KeyboardInterrupt:
        print("\nstopped; finished cases are kept, the same command goes on from here", file=sys.stderr)
        return 130
    found = {option: [kept.get(job.key) for job in rows] for option, rows in jobs.items()}
    part = PAGE.with_name(f"{PAGE.name}.partial")
    part.write_text(page(cases, found), encoding="utf-8")
    os.replace(part, PAGE)
    print(f"{len(every)} cases, {time.perf_counter() - began:.0f} s; {PAGE}")
    return 0


def page(cases: Sequence[Case], found: dict[str, list[Record | None]]) -> str:
    """Both tables and their statistics."""
    lines = [HEAD.rstrip("\n"), ""]
    for series in dict.fromkeys(c.series for c in cases):
        rows = [k for k, c in enumerate(cases) if c.series == series]
        lines += [f"## {series}", "", "| | rows | mean | COV | least | most | failed increments of all tried |",
                  "|---|--:|--:|--:|--:|--:|--:|"]  # fmt: skip
        for option, records in found.items():
            ratio = np.array([_ratio(cases[k], records[k]) for k in rows])
            ratio = ratio[np.isfinite(ratio)]
            done = [r.found for k in rows if (r := records[k]) is not None and r.found is not None]
            failed, steps = sum(f.failed for f in done), sum(f.steps for f in done)
            cov = f"{100 * ratio.std(ddof=1) / ratio.mean():.1f} %" if len(ratio) > 1 else "–"
            extremes = (f"{ratio.min():.2f}", f"{ratio.max():.2f}") if len(ratio) else ("–", "–")
            shown = (f"{ratio.mean():.3f}" if len(ratio) else "–", cov, *extremes)
            share = f"{100 * failed / max(failed + steps, 1):.0f} %"
            lines.append(f"| {option} | {len(ratio)} of {len(rows)} | {' | '.join(shown)} | {share} |")
        lines += ["", f"| row | test | {' | '.join(found)} |", "|---|--:|" + "--:|" * len(found)]
        for k in rows:
            cells = [_cell(cases[k], records[k]) for records in found.values()]
            lines.append(f"| {cases[k].name} | {cases[k].test:.4g} {cases[k].unit} | {' | '.join(cells)} |")
        lines.append("")
    return "\n".join(lines)


def _ratio(case: Case, done: Record | None) -> float:
    if done is None or done.found is None or case.test is None or not done.found.prediction:
        return float("nan")
    return case.test / done.found.prediction


def _cell(case: Case, done: Record | None) -> str:
    ratio = _ratio(case, done)
    if np.isfinite(ratio):
        assert done is not None and done.found is not None
        return f"{ratio:.2f} ({done.found.mode})"
    return "not computed" if done is None else f"none ({' '.join(done.reason.replace('|', '/').split())[:60]})"
