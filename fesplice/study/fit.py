"""Design equation by log-linear regression: y = exp(b0) x1^b1 x2^b2 ..., with its error told honestly.

Some exponents may be held (``f_cm_MPa`` to the power 0.25, say). Rows carry their ``source``, test or analysis,
and rows of several sources are refused unless the mixture is asked for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.stats import t as student

from fesplice.contracts import Fault, Floats, InputFault

Row = Mapping[str, Any]
SOURCES = ("test", "analysis")
MIXED = "mixed"


@dataclass(frozen=True)
class Equation:
    """A fitted equation.

    ``exponents`` of the terms with their ``standard_errors`` (0 for held ones); ``factor`` exp(b0), the
    geometric mean level. Ratios are observed over computed: ``bias`` their mean, ``cov``, ``r2`` of the
    logarithms, ``sd_log`` their residual standard deviation. ``left_out``: ratios of each row against the equation
    fitted without it. ``points`` (n, k) logarithms of the terms; ``sources`` number of rows by source.
    """

    response: str
    factor: float
    exponents: dict[str, float]
    standard_errors: dict[str, float]
    held: tuple[str, ...]
    labels: tuple[str, ...]
    observed: Floats
    computed: Floats
    left_out: Floats
    leverage: Floats
    r2: float
    sd_log: float
    freedom: int
    points: Floats = field(repr=False)
    sources: dict[str, int] = field(default_factory=dict)

    @property
    def ratio(self) -> Floats:
        """Observed over computed (n,)."""
        return self.observed / self.computed

    @property
    def bias(self) -> float:
        """Mean of observed over computed."""
        return float(self.ratio.mean())

    @property
    def cov(self) -> float:
        """Coefficient of variation of observed over computed."""
        return float(self.ratio.std(ddof=1) / self.ratio.mean())

    @property
    def left_out_cov(self) -> float:
        """Coefficient of variation of the ratios against equations that never saw their row."""
        return float(self.left_out.std(ddof=1) / self.left_out.mean())

    def interval(self, term: str, confidence: float = 0.95) -> tuple[float, float]:
        """Confidence interval of an exponent by Student's t."""
        half = float(student.ppf(0.5 + 0.5 * confidence, self.freedom)) * self.standard_errors[term]
        return self.exponents[term] - half, self.exponents[term] + half

    def at(self, values: Mapping[str, float]) -> float:
        """The equation at the values of its terms."""
        return self.factor * math.prod(float(values[name]) ** power for name, power in self.exponents.items())

    def inside(self, values: Mapping[str, float]) -> bool:
        """Whether the values lie within the convex hull of the data (in logarithms); outside is extrapolation."""
        point = np.log([float(values[name]) for name in self.exponents])
        spread = np.maximum(np.ptp(self.points, axis=0), 1e-12)
        here, there = (self.points - self.points[0]) / spread, (point - self.points[0]) / spread
        # is the point a mean of data points with weights that sum to one?
        found = linprog(
            np.zeros(len(here)),
            A_eq=np.vstack([here.T, np.ones(len(here))]),
            b_eq=np.append(there, 1.0),
            bounds=(0.0, None),
        )
        return bool(found.status == 0)

    @property
    def text(self) -> str:
        """``y = 12.3 f_cm_MPa^0.25 l_s_over_d_b^0.61``."""
        terms = " ".join(f"{name}^{power:.3g}" for name, power in self.exponents.items())
        return f"{self.response} = {self.factor:.4g} {terms}".rstrip()


def fit(
    rows: Sequence[Row],
    response: str,
    terms: Sequence[str],
    *,
    held: Mapping[str, float] | None = None,
    source: str = "",
) -> Equation:
    """Least squares of the logarithms; ``terms`` with free exponents, ``held`` with given ones.

    ``source``: "test" or "analysis" takes the rows of that source, "mixed" all of them. Rows without a number
    above zero in every column are left out. Raises :class:`InputFault` for unknown columns, too few rows, terms
    that do not vary independently, or sources that would be mixed silently.
    """
    held = dict(held or {})
    names = [*terms, *held]
    kept, faults = _usable(rows, [response, *names])
    if len(set(names)) < len(names) or response in names:
        faults.append(Fault("terms", names, "every column once, and not the response"))
    found = {
        s: n
        for s in sorted({str(r.get("source")) for r in kept})
        if (n := sum(str(r.get("source")) == s for r in kept))
    }
    if unknown := [s for s in found if s not in SOURCES]:
        faults.append(
            Fault("source", ", ".join(unknown), f"every row says where it comes from: {' or '.join(SOURCES)}")
        )
    if source not in ("", MIXED, *SOURCES):
        faults.append(Fault("source", source, f"allowed: {', '.join((*SOURCES, MIXED))}"))
    elif not source and len(found) > 1:
        told = ", ".join(f"{n} rows of {s}" for s, n in found.items())
        faults.append(Fault("source", None, f"{told}: say which one to fit, or {MIXED!r}"))
    if faults:
        raise InputFault("fit", faults)
    if source in SOURCES:
        kept = [r for r in kept if r["source"] == source]
        found = {source: len(kept)}
    n, k = len(kept), len(terms) + 1
    if n < k + 1:
        raise InputFault("fit", f"{n} usable rows for {k} coefficients; at least {k + 1} are needed")
    x = np.log(np.array([[float(r[c]) for c in names] for r in kept]).reshape(n, len(names)))
    y = np.log(np.array([float(r[response]) for r in kept]))
    matrix = np.column_stack([np.ones(n), x[:, : len(terms)]])
    rest = x[:, len(terms) :] @ np.array(list(held.values()))
    centred = matrix[:, 1:] - matrix[:, 1:].mean(axis=0)
    if still := [name for name, column in zip(terms, centred.T) if np.ptp(column) < 1e-9]:
        raise InputFault("fit", f"{', '.join(still)}: the same in all rows, no exponent can be found")
    if k > 1 and np.linalg.matrix_rank(centred / np.maximum(np.abs(centred).max(axis=0), 1e-300), tol=1e-8) < k - 1:
        raise InputFault("fit", f"{', '.join(terms)} do not vary independently in these rows")
    q, r = np.linalg.qr(matrix)
    b = np.linalg.solve(r, q.T @ (y - rest))
    error = y - rest - matrix @ b
    leverage = (q**2).sum(axis=1)
    variance = float(error @ error) / (n - k)
    inverse = np.linalg.solve(r, np.eye(k))
    sizes = np.sqrt(variance * (inverse**2).sum(axis=1))
    # the error against an equation without the row follows from its leverage
    alone = error / np.maximum(1.0 - leverage, 1e-12)
    return Equation(
        response=response,
        factor=float(np.exp(b[0])),
        exponents={**dict(zip(terms, b[1:].tolist())), **held},
        standard_errors={**dict(zip(terms, sizes[1:].tolist())), **dict.fromkeys(held, 0.0)},
        held=tuple(held),
        labels=tuple(str(row.get("label", i + 1)) for i, row in enumerate(kept)),
        observed=np.exp(y),
        computed=np.exp(y - error),
        left_out=np.exp(alone),
        leverage=leverage,
        r2=1.0 - float(error @ error) / max(float(((y - y.mean()) ** 2).sum()), 1e-300),
        sd_log=math.sqrt(variance),
        freedom=n - k,
        points=x,
        sources=found,
    )


def _usable(rows: Sequence[Row], columns: Sequence[str]) -> tuple[list[Row], list[Fault]]:
    there = {name for row in rows for name in row}
    faults = [Fault(c, None, "no such column in the table") for c in dict.fromkeys(columns) if c not in there]

    def usable(row: Row) -> bool:
        values = [row.get(c) for c in columns]
        return all(isinstance(v, (int, float)) and math.isfinite(v) and v > 0.0 for v in values)

    return [] if faults else [row for row in rows if usable(row)], faults
