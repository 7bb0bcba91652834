"""Points of a published descriptive equation for hooked bars without ties, computed as the tests of ``hooks`` are.

Ajaam, Yasso, Darwin, O'Reilly & Sperry (2018), a fit to several hundred tests. Twelve of the points gave the constant
of the hook's plane (:data:`fesplice.laws.hook_plane.FITTED`), so that the mean of this series tells nothing of its own;
its scatter and its exponents do. Points of a regression are no tests and are never pooled with them.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from validation import hooks
from validation.case import Case
from validation.target import Row as Compared
from validation.target import Target

#: So many points are computed unless others are asked for by name; see :func:`spread`.
CHOSEN = 12
TARGET = Target(mean=(0.95, 1.05), cov=0.09, counts=("surrogate",))


def cases(data: Path) -> list[Case]:
    """Every point of the table; none where the folder lacks it."""
    path = data / "hook_head_equation_points.csv"
    return hooks.cases_of(hooks.described(path) if path.is_file() else [], "hook_points", set())


def spread(found: Sequence[Case]) -> list[Case]:
    """12 points at even steps of their list sorted by d_b, f_cm, l_eh."""
    points = sorted((c for c in found if c.use == "surrogate"), key=lambda c: numbers(c.name))
    take = np.unique(np.linspace(0, len(points) - 1, min(CHOSEN, len(points))).round().astype(int))
    return [points[k] for k in take]


def numbers(name: str) -> tuple[float, ...]:
    """d_b, f_cm, l_eh of a point by its name."""
    f, d, length = name.split("-")
    return float(d[1:]), float(f[1:]), float(length[1:])


def summary(found: Sequence[Compared]) -> list[str]:
    """The table of the tests for the points, and exponents of f_cm, d_b and l_eh of equation and predictions."""
    lines = hooks.summary(found)
    points = [r for r in found if r.case.use == "surrogate" and r.found is not None]
    if len(points) < 8:
        return lines
    x = np.log([numbers(r.case.name) for r in points])
    x = np.column_stack([np.ones(len(x)), x[:, 1], x[:, 0], x[:, 2]])
    lines += ["", "| T proportional to | f_cm^ | d_b^ | l_eh^ |", "|---|--:|--:|--:|"]
    for name, values in (
        ("the equation at these points", [r.case.test for r in points]),
        ("the predictions", [r.found.prediction for r in points if r.found]),
    ):
        _, f_cm, d_b, l_eh = np.linalg.lstsq(x, np.log(np.array(values, float)), rcond=None)[0]
        lines.append(f"| {name} | {f_cm:.2f} | {d_b:.2f} | {l_eh:.2f} |")
    return lines
