"""How far predictions move when what is not known is varied: models/validation/SENSITIVITY.md.

A few cases of every series are computed with the defaults and with one setting changed at a time. Each
is kept like any other case, so that a second start takes up where the first stopped.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from validation import frame, record
from validation.case import Case, Settings
from validation.record import Record

PAGE = record.ROOT / "models" / "validation" / "SENSITIVITY.md"


@dataclass(frozen=True)
class Variant:
    """One change of the defaults, and the series it means something to."""

    name: str
    settings: Settings
    series: tuple[str, ...] = frame.SERIES


DEFAULT = Variant("default", Settings())
VARIANTS = (
    Variant("elements x 0.7", Settings(mesh=0.7), ("plain", "beams", "bond", "laps", "hooks", "hook_points")),
    Variant("elements x 1.4", Settings(mesh=1.4), ("plain", "beams", "bond", "laps", "hooks", "hook_points")),
    Variant("steps x 0.5", Settings(step=0.5)),
    Variant("steps x 2", Settings(step=2.0)),
    Variant("fixed cracks", Settings(crack="fixed"), ("plain", "panels", "beams", "laps")),
    Variant("no tension stiffening", Settings(stiffening=False), ("panels", "beams", "bond", "laps")),
    Variant("perfect bond", Settings(bond="perfect"), ("beams",)),
    Variant("splitting branch", Settings(splitting="branch"), ("laps", "beams")),
    Variant("wedging", Settings(splitting="wedging"), ("laps",)),
    Variant("no splitting", Settings(splitting="none"), ("laps", "beams")),
)
#: Cases that stand for their series, by name; of other series the first, middle and last counted case.
CHOSEN = {
    "panels": ("PV20", "PV27", "PV12", "PV28"),
    "beams": ("VS-OA1", "VS-C1"),
}
#: How many cases stand for a series that is not named above.
MANY = {"plain": 2, "bond": 2, "laps": 2, "hooks": 3, "hook_points": 3}


def chosen(cases: Sequence[Case]) -> list[Case]:
    """The cases of one series that are varied."""
    series = cases[0].series
    named = [c for name in CHOSEN.get(series, ()) for c in cases if c.name == name]
    if named:
        return named
    use = [c for c in cases if c.use in ("pass_fail", "surrogate")] or list(cases)
    quick = [c for c in use if c.quick]
    pick = np.unique(np.linspace(0, len(use) - 1, MANY.get(series, 2)).round().astype(int))
    return quick[: MANY.get(series, 2)] or [use[k] for k in pick]


def main(data: Path, only: str, processes: int, again: bool) -> int:
    """Compute and write the page; exit code 0 when every default case has a result."""
    began = time.perf_counter()
    by_series: dict[str, list[Case]] = {}
    for case in frame.gather(data, only):
        by_series.setdefault(case.series, []).append(case)
    table: dict[str, dict[str, list[frame.Job]]] = {}
    for series, cases in by_series.items():
        picked = chosen(cases)
        table[series] = {v.name: frame.jobs(picked, v.settings) for v in (DEFAULT, *VARIANTS) if series in v.series}
    every = [job for rows in table.values() for jobs in rows.values() for job in jobs]
    try:
        kept = frame.run(every, data=data, processes=processes, again=again, tell=told)
    except KeyboardInterrupt:
        print("\nstopped; finished cases are kept, the same command goes on from here", file=sys.stderr)
        return 130
    text = page(table, kept)
    target = PAGE if not only and data == frame.DATA.resolve() else frame.RUNS / "latest" / PAGE.name
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f"{target.name}.partial")
    part.write_text(text)
    os.replace(part, target)
    print(f"{len(every)} cases, {time.perf_counter() - began:.0f} s; {target}")
    defaults = [job for rows in table.values() for job in rows[DEFAULT.name]]
    return 0 if all(kept[job.key].found is not None for job in defaults) else 1


def told(done: Record, k: int, n: int) -> None:
    """One line per case that ended."""
    changed = {k: v for k, v in vars(done.settings).items() if v != getattr(Settings(), k)}
    what = ", ".join(f"{k}={v}" for k, v in changed.items()) or "default"
    text = f"{done.found.prediction:.4g}" if done.found else f"no result: {done.reason}"
    print(f"[{k}/{n}] {done.series}/{done.name} {what} ({done.seconds:.0f} s): {text}", flush=True)


# ------------------------------------------------------------------ the page
def page(table: dict[str, dict[str, list[frame.Job]]], kept: dict[str, Record]) -> str:
    """Predictions of the variants over that of the default, and the band they make."""
    lines = [
        "# Sensitivity of the predictions",
        "",
        "Written by `scripts/validate --sensitivity`. Every number is a prediction with one setting changed over the "
        "prediction with the defaults. The band at the end of each series is what a user must expect of modelling "
        "choices alone, without the scatter of tests and materials.",
        "",
        "Cracks inclined to the grid lock where there are bars. Laws that take that away were tried by hand on the "
        "plan of AS29-100-U: its bar stress moved from 441 MPa to between 385 and 441 (0.87 to 1.00 of the default); "
        "none was robust, so the default keeps the lock, and this range belongs to every strength that hangs on an "
        "inclined crack.",
        "",
    ]
    for series, rows in table.items():
        names = [job.case.name for job in rows[DEFAULT.name]]
        lines += [f"## {series}", "", "| changed | " + " | ".join(names) + " |", "|---|" + "--:|" * len(names)]
        spread: list[float] = []
        solver: list[float] = []
        for variant, jobs in rows.items():
            cells = []
            for job, base in zip(jobs, rows[DEFAULT.name]):
                value, reference = _value(kept.get(job.key)), _value(kept.get(base.key))
                if variant == DEFAULT.name:
                    cells.append(f"{value:.4g} {base.case.unit}" if np.isfinite(value) else _why(kept.get(job.key)))
                    continue
                ratio = value / reference
                cells.append(f"{ratio:.3f}" if np.isfinite(ratio) else _why(kept.get(job.key)))
                if np.isfinite(ratio):
                    (solver if variant.startswith(("elements", "steps")) else spread).append(ratio)
            lines.append(f"| {variant} | " + " | ".join(cells) + " |")
        lines.append("")
        for what, values in (("mesh and steps", solver), ("choices of the model", spread)):
            if values:
                low, high, rms = min(values), max(values), float(np.sqrt(np.mean((np.array(values) - 1.0) ** 2)))
                lines.append(f"- {what}: {low:.2f} to {high:.2f} of the default, root mean square {100 * rms:.1f} %")
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


def _value(done: Record | None) -> float:
    return done.found.prediction if done is not None and done.found is not None else float("nan")


def _why(done: Record | None) -> str:
    return "not computed" if done is None else f"none ({' '.join(done.reason.replace('|', '/').split())[:60]})"
