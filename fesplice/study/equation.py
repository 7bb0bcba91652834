"""From tables of results to a fitted equation told in words, with its resistance factors and a figure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fesplice.contracts import Fault, InputFault
from fesplice.report import trends
from fesplice.study.fit import Equation, fit
from fesplice.study.resistance import Loads, annex_d, combined, first_order, lognormal
from fesplice.study.table import Table, read_csv

#: Least number of rows per free coefficient before a fit is worth a warning (common practice, no source).
_ROWS_PER_COEFFICIENT = 10
#: Shares alpha of the first-order factor that are told.
_ALPHAS = (0.55, 0.75)
_DEAD_OVER_LIVE = (0.5, 1.0, 2.0)


def gather(places: Sequence[str | Path]) -> list[dict[str, Any]]:
    """Rows of several tables: folders of studies (their rows are analyses) and CSV files with a column ``source``."""
    rows: list[dict[str, Any]] = []
    for place in map(Path, places):
        if place.is_dir():
            with Table(place) as table:
                rows += table.rows()
        else:
            rows += read_csv(place)
    return rows


def numbers(option: str, text: str) -> dict[str, float]:
    """``"a=0.25, b=2"`` -> numbers by name; InputFault for anything else."""
    out = {}
    for part in filter(None, map(str.strip, text.split(","))):
        name, sign, value = part.partition("=")
        try:
            out[name.strip()] = float(value)
        except ValueError:
            sign = ""
        if not sign or not name.strip():
            raise InputFault(option, [Fault(option, part, "column=number, several by commas")])
    return out


def describe(
    rows: Sequence[Mapping[str, Any]],
    response: str,
    terms: Sequence[str],
    held: Mapping[str, float],
    *,
    source: str = "",
    at: Mapping[str, float] | None = None,
    beta: float = 3.0,
    more_cov: float = 0.0,
    folder: Path | None = None,
) -> list[str]:
    """Fit, and say what was found, line by line; with a ``folder`` also draw it there."""
    found = fit(rows, response, terms, held=held, source=source)
    if at and (missing := [name for name in found.exponents if name not in at]):
        raise InputFault("--at", f"missing: {', '.join(missing)}")
    lines = [*_fit(found), *_resistance(found, beta, more_cov)]
    if at:
        where = (
            "inside the convex hull of the data"
            if found.inside(at)
            else "OUTSIDE the data (convex hull): extrapolation"
        )
        lines.append(f"there: {found.at(at):.4g} ({where})")
    if folder is not None:
        unit = response.rpartition("_")[2]
        files = trends.parity(folder, "equation", found.computed, found.observed, found.labels, unit, found.cov)
        lines += [str(path) for path in files]
    return lines


def _fit(found: Equation) -> list[str]:
    lines = [found.text, f"rows: {', '.join(f'{n} of {name}' for name, n in found.sources.items())}"]
    if len(found.sources) > 1:
        lines.append("tests and analyses are mixed here because it was asked for: the scatter is of neither")
    elif "analysis" in found.sources:
        lines.append(
            "fitted to analyses: bias and scatter are those of the equation against the program, not against tests"
        )
    for name in found.exponents:
        low, high = found.interval(name)
        told = "held" if name in found.held else f"95 % interval {low:.3g} to {high:.3g}"
        lines.append(f"exponent of {name}: {found.exponents[name]:.3g} ({told})")
    free = len(found.exponents) - len(found.held) + 1
    if len(found.observed) < _ROWS_PER_COEFFICIENT * free:
        lines.append(f"only {len(found.observed)} rows for {free} coefficients: treat the exponents with care")
    lines.append(
        f"observed over computed: mean {found.bias:.3f}, COV {found.cov:.3f}, R2 of the logarithms {found.r2:.3f}"
    )
    lines.append(f"leave-one-out: mean {found.left_out.mean():.3f}, COV {found.left_out_cov:.3f}")
    return lines


def _resistance(found: Equation, beta: float, more_cov: float) -> list[str]:
    if not more_cov >= 0.0:
        raise InputFault("fit", [Fault("--more-cov", more_cov, "0 or more")])
    cov = combined(max(found.left_out_cov, found.cov), more_cov)
    first = ", ".join(f"{first_order(found.bias, cov, beta=beta, alpha=a):.2f} (alpha {a})" for a in _ALPHAS)
    loads = ", ".join(f"{lognormal(found.bias, cov, Loads(r), beta=beta):.2f} (dead/live {r})" for r in _DEAD_OVER_LIVE)
    d = annex_d(found.observed, found.computed, cov_variables=more_cov)
    return [
        f"resistance factors for beta {beta:g}, V {cov:.3f} (larger of fit and leave-one-out, {more_cov:g} added):",
        f"  first order: {first}",
        f"  lognormal with loads: {loads}",
        f"  EN 1990 annex D, n {d.n}: characteristic {d.characteristic:.2f}, design {d.design:.2f} times the equation, "
        f"gamma_M {d.gamma:.2f}",
    ]
