"""Readings of a table of results: effects, interactions, sensitivities, modes, percentiles, test over prediction.

All functions take rows (column -> value, None where nothing is known) as :meth:`Table.rows` or a CSV file gives
them, and leave out rows without the numbers they need. What is left out can be counted by the caller:
every answer carries its number of rows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from scipy import stats

from fesplice.contracts import Floats, InputFault

Row = Mapping[str, Any]
Rows = Sequence[Row]

#: Strengths of a run by name: which columns of its view they are read from; the first that is known counts.
RESPONSES: dict[str, tuple[str, ...]] = {
    "bond_loss": ("bond_loss",),
    "first": ("drop", "peak"),
    "peak": ("peak",),
    "predicted": (),
}
UNITS = ("kN", "MPa")


def response(row: Row, name: str, unit: str = "MPa", views: Sequence[str] = ("elevation",)) -> float:
    """A strength of a case: ``bond_loss`` at the first loss of bond, ``first`` the strength of a view
    (:mod:`fesplice.post.strength`), ``peak`` its largest load, or ``predicted`` from both views read together.

    Load per ram [kN] or bar stress at the joint face [MPa]; of several views the least. nan where unknown.
    """
    if name not in RESPONSES or unit not in UNITS:
        raise InputFault("response", f"{name}_{unit}: there are {', '.join(RESPONSES)} in {' and '.join(UNITS)}")
    if name == "predicted":
        value = row.get(f"prediction_{unit}")
        return float(value) if isinstance(value, (int, float)) else math.nan
    found = []
    for view in views:
        values = [row.get(f"{view}_{part}_{unit}") for part in RESPONSES[name]]
        known = [float(v) for v in values if isinstance(v, (int, float))]
        if not known:
            return math.nan
        found.append(known[0])
    return min(found, default=math.nan)


def known(rows: Rows, columns: Sequence[str], value: Callable[[Row], float]) -> tuple[list[Row], Floats]:
    """Rows that have all ``columns`` and a finite value, and the values (n,)."""
    kept = [r for r in rows if all(r.get(c) is not None for c in columns) and math.isfinite(value(r))]
    return kept, np.array([value(r) for r in kept], float)


def levels(rows: Rows, column: str) -> list[Any]:
    """Values of a column, numbers in order, texts as they come."""
    found = list(dict.fromkeys(r[column] for r in rows if r.get(column) is not None))
    return sorted(found) if all(isinstance(v, (int, float)) for v in found) else found


# ------------------------------------------------------------------ effects
@dataclass(frozen=True)
class Spread:
    """``n`` values: mean, least and largest, and percentiles 5, 50, 95 by linear interpolation."""

    n: int
    mean: float
    low: float
    p5: float
    p50: float
    p95: float
    high: float


def spread(values: Floats) -> Spread:
    """Spread of values (n,); all nan without any."""
    if not len(values):
        return Spread(0, *(math.nan,) * 6)
    p5, p50, p95 = np.percentile(values, [5, 50, 95])
    return Spread(len(values), float(np.mean(values)), float(np.min(values)), p5, p50, p95, float(np.max(values)))


@dataclass(frozen=True)
class Effect:
    """Main effect of a factor: spread at every level, and its ``share`` of the whole variance."""

    factor: str
    levels: tuple[Any, ...]
    spreads: tuple[Spread, ...]
    share: float


@dataclass(frozen=True)
class Interaction:
    """Two factors: means (n_a, n_b), nan in empty cells, and the share of the variance beyond both main effects."""

    factors: tuple[str, str]
    levels: tuple[tuple[Any, ...], tuple[Any, ...]]
    means: Floats
    share: float


def effects(
    rows: Rows, factors: Sequence[str], value: Callable[[Row], float]
) -> tuple[list[Effect], list[Interaction]]:
    """Main effects and two-factor interactions by the sums of squares that each adds to a linear model.

    For a complete grid these are the shares of the usual analysis of variance; where cells are empty, a main
    effect is what it explains alone, an interaction what it adds to its two factors.
    """
    kept, y = known(rows, factors, value)
    total = float(((y - y.mean()) ** 2).sum()) if len(y) else 0.0
    values = {f: levels(kept, f) for f in factors}
    place = {f: np.array([values[f].index(r[f]) for r in kept], int) for f in factors}

    def explained(*groups: np.ndarray) -> float:
        """Sum of squares explained by indicator variables of each group."""
        if total <= 0.0:
            return 0.0
        columns = [np.eye(g.max() + 1)[g] for g in groups]
        fit = np.column_stack([np.ones(len(y)), *columns])
        coefficients = np.linalg.lstsq(fit, y, rcond=None)[0]
        return 1.0 - float(((y - fit @ coefficients) ** 2).sum()) / total

    found = []
    for f in factors:
        parts = tuple(spread(y[place[f] == k]) for k in range(len(values[f])))
        found.append(Effect(f, tuple(values[f]), parts, explained(place[f]) if len(y) else math.nan))
    pairs = []
    for a, b in combinations(factors, 2):
        cells = [[y[(place[a] == i) & (place[b] == j)] for j in range(len(values[b]))] for i in range(len(values[a]))]
        means = np.array([[c.mean() if len(c) else math.nan for c in row] for row in cells])
        both = place[a] * max(len(values[b]), 1) + place[b] if len(y) else np.zeros(0, int)
        share = explained(both) - explained(place[a], place[b]) if len(y) else math.nan
        pairs.append(Interaction((a, b), (tuple(values[a]), tuple(values[b])), means, share))
    return found, pairs


# ------------------------------------------------------------------ sensitivity
@dataclass(frozen=True)
class Sensitivity:
    """Rank correlation of an input with a response over ``n`` rows, and the chance of it without any relation."""

    column: str
    correlation: float
    chance: float
    n: int


def tornado(rows: Rows, columns: Sequence[str], value: Callable[[Row], float]) -> list[Sensitivity]:
    """Spearman's rank correlation of every numeric column that varies, the strongest first."""
    out = []
    for column in columns:
        kept, y = known(rows, [column], value)
        x = [r[column] for r in kept]
        if len(kept) < 4 or not all(isinstance(v, (int, float)) for v in x) or len(set(x)) < 2 or np.ptp(y) == 0.0:
            continue
        correlation, chance = tuple(stats.spearmanr(np.array(x, float), y))
        out.append(Sensitivity(column, float(correlation), float(chance), len(kept)))
    return sorted(out, key=lambda s: -abs(s.correlation))


# ------------------------------------------------------------------ modes and percentiles
@dataclass(frozen=True)
class Mode:
    """A mechanism with its number of rows, its share, and the 95 % interval of that share (Wilson, 1927)."""

    mode: str
    count: int
    share: float
    low: float
    high: float


def modes(rows: Rows, view: str) -> list[Mode]:
    """How often each mechanism governs in a view, the most frequent first."""
    column = f"{view}_mode"
    found = [str(r[column]) for r in rows if r.get(column)]
    n, z = len(found), 1.959964
    out = []
    for mode in dict.fromkeys(found):
        p = found.count(mode) / n
        middle, half = p + z * z / (2 * n), z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
        scale = 1.0 + z * z / n
        out.append(
            Mode(mode, found.count(mode), p, max((middle - half) / scale, 0.0), min((middle + half) / scale, 1.0))
        )
    return sorted(out, key=lambda m: -m.count)


def by_group(rows: Rows, factors: Sequence[str], value: Callable[[Row], float]) -> dict[tuple[Any, ...], Spread]:
    """Spread of a response for every combination of the factors: over the sample, where there is one."""
    kept, y = known(rows, factors, value)
    groups: dict[tuple[Any, ...], list[float]] = {}
    for row, v in zip(kept, y):
        groups.setdefault(tuple(row[f] for f in factors), []).append(float(v))
    return {g: spread(np.array(v)) for g, v in groups.items()}


# ------------------------------------------------------------------ tests
@dataclass(frozen=True)
class Ratios:
    """Test over prediction: ``values`` by label, their mean, coefficient of variation, least and largest."""

    values: dict[str, float]
    mean: float
    cov: float
    low: float
    high: float


def ratios(rows: Rows, value: Callable[[Row], float], unit: str = "MPa") -> Ratios:
    """Measured strength over the computed one, nothing calibrated, for the rows that have both."""
    column = f"measured_{unit}"
    kept, y = known(rows, [column], value)
    ratios = {str(r["label"]): float(r[column]) / v for r, v in zip(kept, y.tolist()) if v > 0.0}
    x = np.array(list(ratios.values()))
    if not len(x):
        return Ratios({}, *(math.nan,) * 4)
    cov = float(x.std(ddof=1) / x.mean()) if len(x) > 1 else math.nan
    return Ratios(ratios, float(x.mean()), cov, float(x.min()), float(x.max()))
