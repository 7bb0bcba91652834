"""Laps under the default bond law, wedging and local laws on trial, side by side: models/validation/LAPS.md.

This comparison decides the default for straight bars, by what :data:`validation.laps.TARGET` asks. Rows are those of
the validation; beside each computed law stands its chain, the same law by slip alone, over the same rows and all.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fesplice.contracts import Floats
from fesplice.laws.slip import lap_stress
from validation import frame, laps, record
from validation.case import Case, Settings
from validation.lap_laws import TRIALS, curve_of
from validation.laps import TARGET, Lap
from validation.record import Record
from validation.sensitivity import told

PAGE = record.ROOT / "models" / "validation" / "LAPS.md"
#: What is compared: the word of the settings and what the page calls it. The default's records serve the validation.
LAWS = {
    "default": "default: mean of 6.1-19, length once",
    "twice": "6.1-5 by the length, length twice",
    "wedging": "wedging",
    "local": "6.1-5 at every length",
    "ring": "ring, partly cracked",
    "cohesive": "ring, cohesive",
    "softening": "ring, softening",
    "shared": "ring, softening, shared",
}
HEAD = """# Which bond law for laps

Written by `bash scripts/validate --laws`. The rows of laps that RESULTS.md has, computed with the default law, with
wedging, and with laws on trial whose splitting strength knows the cover, the concrete and the legs but no length
(`scripts/validation/lap_laws.py` says what each is made of and from where). The length then comes from the mechanics of
slip alone. "Length twice" is the default of earlier versions. Mean of three published equations over computed: above 1
is on the safe side. No row is a test.

"""


def main(data: Path, processes: int, again: bool, table: bool = False) -> int:
    """Compute what is open and write the page; with ``table`` the page from what is kept."""
    began = time.perf_counter()
    cases = frame.gather(data, "laps")
    jobs = {law: frame.jobs(cases, Settings(splitting=law)) for law in LAWS}  # type: ignore[arg-type]
    every = [job for rows in jobs.values() for job in rows]
    try:
        if table:
            held = ((job.key, record.load(frame.RUNS, job.case, job.key)) for job in every)
            kept = {key: r for key, r in held if r is not None}
        else:
            kept = frame.run(every, data=data, processes=processes, again=again, tell=told)
    except KeyboardInterrupt:
        print("\nstopped; finished cases are kept, the same command goes on from here", file=sys.stderr)
        return 130
    found = {law: [kept.get(job.key) for job in rows] for law, rows in jobs.items()}
    part = PAGE.with_name(f"{PAGE.name}.partial")
    part.write_text(page(cases, laps.read_rows(data / laps.TABLE), found), encoding="utf-8")
    os.replace(part, PAGE)
    print(f"{len(every)} cases, {time.perf_counter() - began:.0f} s; {PAGE}")
    return 0


# ------------------------------------------------------------------ the page
def page(cases: Sequence[Case], rows: Sequence[Lap], found: dict[str, list[Record | None]]) -> str:
    """Statistics of every law, its trends, and every row."""
    by_name = {row.name: row for row in rows}
    here = [by_name[c.name] for c in cases]
    test = np.array([row.mean for row in here])
    stress = {law: np.array([_stress(r) for r in records]) for law, records in found.items()}
    lines = [HEAD.rstrip("\n"), "", *verdict(test, stress), ""]
    lines += ["| law | rows | mean | COV | least | most | failed increments of all tried |", "|---|" + "--:|" * 6]
    for law, records in found.items():
        done = [r.found for r in records if r is not None and r.found is not None]
        failed, steps = sum(f.failed for f in done), sum(f.steps for f in done)
        share = f"{100 * failed / max(failed + steps, 1):.0f} %"
        lines.append(f"| {LAWS[law]} | {len(done)} of {len(here)} | {statistics(test / stress[law])} | {share} |")
    lines += ["", *by_hand(rows, here, stress), ""]
    names = [c.name for c in cases]
    series = {LAWS[law]: values for law, values in stress.items() if np.isfinite(values).all()}
    equations = {
        word: np.array([row.equations[k] for row in here])
        for k, word in enumerate(("ACI 408R-03", "Orangun, Jirsa & Breen", "fib MC2010 6.1-19"))
    }
    lines += ["## Trends", "", *laps.trends(names, {"mean of the three": test, **equations, **series}), ""]
    lines += ["## Rows", "", f"| row | mean of three, MPa | {' | '.join(LAWS[law] for law in found)} |"]
    lines += ["|---|--:|" + "--:|" * len(found)]
    for k, row in enumerate(here):
        cells = [_cell(test[k], records[k]) for records in found.values()]
        lines.append(f"| {row.name} | {row.mean:.0f} | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def verdict(test: Floats, stress: dict[str, Floats]) -> list[str]:
    """What is asked, who meets how much of it, and which law scatters least."""
    assert TARGET.mean is not None and TARGET.cov is not None and TARGET.within is not None
    (low, high), (least, most) = TARGET.mean, TARGET.within
    asked = f"mean {low:g} to {high:g}, COV at most {100 * TARGET.cov:g} %, every row {least:g} to {most:g}"
    said = []
    for law, values in stress.items():
        q = test / values
        q = q[np.isfinite(q)]
        if len(q) < 2:
            continue
        met = [low <= q.mean() <= high, _cov(q) <= TARGET.cov, bool(((q >= least) & (q <= most)).all())]
        words = [word for word, ok in zip(("mean", "COV", "every row"), met) if ok]
        said.append((LAWS[law], _cov(q), words))
    if not said:
        return [f"Asked: {asked}. Nothing is computed yet."]
    best = min(said, key=lambda item: item[1])
    lines = [f"- {name}: meets {', '.join(words) if words else 'none of them'}." for name, _, words in said]
    return [
        f"Asked: {asked}.",
        "",
        *lines,
        "",
        f"Least scatter of those computed: {best[0]}, COV {100 * best[1]:.1f} %.",
    ]


def by_hand(rows: Sequence[Lap], here: Sequence[Lap], stress: dict[str, Floats]) -> list[str]:
    """Closed form and chain of every law that has one, over the rows that are computed and over all of the file."""
    lines = [
        "## The same laws by hand",
        "",
        "At its strength: the law's largest bond stress along the whole lap. Chain: two elastic bars in cracked "
        f"concrete, the law, and slip; no beam. Over all {len(rows)} rows of the file; computed over chain for the "
        f"{len(here)} rows above: how much of the answer is law and slip.",
        "",
        "| law | at its strength: mean, COV, least, most | chain: mean, COV, least, most | computed/chain: mean, COV |",
        "|---|---|---|---|",
    ]
    test = np.array([row.mean for row in rows])
    for law in LAWS:
        if law == "wedging":  # bond that hangs on the opening beside it has no chain
            continue
        given = [(row.fc, row.db, row.ls, row.cover, row.legs) for row in rows]
        curves = [curve_of(TRIALS.get(law), *numbers) for numbers in given]
        full = np.array([4.0 * float(c.top[0]) * row.ls / row.db for c, row in zip(curves, rows)])
        slid = np.array([lap_stress(c, row.db, row.ls) for c, row in zip(curves, rows)])
        at = {row.name: k for k, row in enumerate(rows)}
        share = stress[law] / slid[[at[row.name] for row in here]]
        share = share[np.isfinite(share)]
        both = f"{share.mean():.2f}, {100 * _cov(share):.0f} %" if len(share) > 1 else "–"
        first, second = (statistics(test / v).replace(" | ", ", ") for v in (full, slid))
        lines.append(f"| {LAWS[law]} | {first} | {second} | {both} |")
    return lines


def statistics(ratio: Floats) -> str:
    """Mean, COV, least and most of what is finite, as cells."""
    q = ratio[np.isfinite(ratio)]
    if len(q) < 2:
        return "– | – | – | –"
    return f"{q.mean():.3f} | {100 * _cov(q):.1f} % | {q.min():.2f} | {q.max():.2f}"


def _cov(q: Floats) -> float:
    return float(q.std(ddof=1) / q.mean())


def _stress(done: Record | None) -> float:
    return done.found.prediction if done is not None and done.found is not None else float("nan")


def _cell(test: float, done: Record | None) -> str:
    if done is None:
        return "not computed"
    if done.found is None:
        return f"none ({' '.join(done.reason.replace('|', '/').split())[:60]})"
    return f"{test / done.found.prediction:.2f}"
