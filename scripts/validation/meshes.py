"""Strength on finer and coarser elements, row by row of a few cases: the part of RESULTS.md on it.

Computed by ``scripts/validate --meshes`` and kept as every case is; the tables print what is kept. A case stands for
its kind: beams without stirrups of both sets, one with light stirrups in a wide web, one in a narrow web.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from validation import frame, record
from validation.case import Case, Settings
from validation.target import Row

CHOSEN = {"beams": ("VS-OA1", "BS-OA1", "BS-A1", "VS-B1")}
#: Element sizes over that of the default.
SIZES = (0.7, 1.4)
#: Most that the strength may move.
GOAL = 0.04


def jobs(cases: Sequence[Case]) -> list[frame.Job]:
    """The chosen of the cases with the default elements and on the other sizes."""
    picked = [c for c in cases if c.name in CHOSEN.get(c.series, ())]
    return [job for size in (1.0, *SIZES) for job in frame.jobs(picked, Settings(mesh=size))]


def lines(rows: Sequence[Row], root: Path = frame.RUNS) -> list[str]:
    """Strength on the other sizes over the default's, for those of the rows that are chosen; nothing where none is."""
    picked = [r for r in rows if r.case.name in CHOSEN.get(r.case.series, ())]
    if not picked:
        return []
    out = [
        f"Strength on other elements over that of the default (wanted within {100 * GOAL:g} %; "
        "`scripts/validate --meshes`):",
        "",
        "| case | " + " | ".join(f"elements x {size:g}" for size in SIZES) + " | met |",
        "|---|" + "--:|" * len(SIZES) + "---|",
    ]
    for r in picked:
        ratios = [_ratio(r, size, root) for size in SIZES]
        cells = [f"{v:.3f}" if np.isfinite(v) else "not computed" for v in ratios]
        off = any(abs(v - 1.0) > GOAL for v in ratios if np.isfinite(v))
        done = sum(np.isfinite(v) for v in ratios)
        met = "**no**" if off else "yes" if done == len(SIZES) else f"not judged: {done} of {len(SIZES)} computed"
        out.append(f"| {r.case.name} | {' | '.join(cells)} | {met} |")
    return [*out, ""]


def _ratio(row: Row, size: float, root: Path) -> float:
    settings = Settings(mesh=size)
    kept = record.load(root, row.case, record.digest(row.case, settings))
    if kept is None or kept.found is None or row.found is None:
        return float("nan")
    return kept.found.prediction / row.found.prediction
