"""Regression, leave-one-out, resistance factors and fractile factors against published numbers and libraries.

Sources: NIST Statistical Reference Datasets, linear regression "Norris" (certified values; data from memory,
which the certified values then confirm); numpy and scipy as second computations; Galambos & Ravindra (1978),
compact beams: mean ratio 1.07, V 0.13, beta 3 give 0.86 (from memory); North American cold-formed steel
specification, chapter F: C_phi 1.52 and V_Q 0.21 at dead/live 1/5, factors 1.2 and 1.6 (from memory);
EN 1990:2002 tables D.1 and D.2 (from memory); hull: plane geometry.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from fesplice.contracts import InputFault
from fesplice.study.fit import fit
from fesplice.study.resistance import Loads, annex_d, combined, first_order, k_factor, lognormal

NORRIS = """0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6
778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0
228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0
778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5"""


def norris() -> list[dict]:
    """The data as logarithms over 100, so that the fit of logarithms is the regression of the data."""
    y, x = np.array(NORRIS.split(), float).reshape(-1, 2).T
    return [{"y": math.exp(b / 100), "x": math.exp(a / 100), "source": "test"} for a, b in zip(x, y)]


def database(n: int = 40, seed: int = 5) -> list[dict]:
    rng = np.random.default_rng(seed)
    f, lap, s = rng.uniform(25, 60, n), rng.uniform(10, 30, n), rng.uniform(1, 6, n)
    y = 30.0 * f**0.25 * lap**0.6 * s**-0.1 * np.exp(rng.normal(0.0, 0.12, n))
    return [
        {"stress": a, "f": b, "lap": c, "s": d, "source": "test", "label": f"T{k}"}
        for k, (a, b, c, d) in enumerate(zip(y, f, lap, s))
    ]


# ------------------------------------------------------------------ regression
def test_certified_linear_regression():
    found = fit(norris(), "y", ["x"])
    assert found.exponents["x"] == pytest.approx(1.00211681802045, rel=1e-10)
    assert 100 * math.log(found.factor) == pytest.approx(-0.262323073774029, rel=1e-8)
    assert 100 * found.sd_log == pytest.approx(0.884796396144373, rel=1e-9)
    assert found.standard_errors["x"] == pytest.approx(0.429796848199937e-3, rel=1e-8)
    assert found.r2 == pytest.approx(0.999993745883712, rel=1e-12)
    assert (found.freedom, found.sources) == (34, {"test": 36})


def test_several_terms_against_a_library_and_rows_left_out_one_by_one():
    rows = database()
    found = fit(rows, "stress", ["f", "lap"], held={"s": -0.1})
    y = np.log([r["stress"] for r in rows]) + 0.1 * np.log([r["s"] for r in rows])
    x = np.column_stack([np.ones(40), np.log([r["f"] for r in rows]), np.log([r["lap"] for r in rows])])
    b = np.linalg.lstsq(x, y, rcond=None)[0]
    assert [math.log(found.factor), found.exponents["f"], found.exponents["lap"]] == pytest.approx(b.tolist())
    assert found.exponents["s"] == -0.1 and found.interval("s") == (-0.1, -0.1)
    low, high = found.interval("lap")
    assert low < 0.6 < high
    for k in (0, 17, 39):
        rest = fit(rows[:k] + rows[k + 1 :], "stress", ["f", "lap"], held={"s": -0.1})
        assert found.left_out[k] == pytest.approx(rows[k]["stress"] / rest.at(rows[k]))
    assert found.left_out_cov > found.cov
    assert found.at(rows[3]) == pytest.approx(found.computed[3])
    line = stats.linregress(np.log([r["f"] for r in rows]), np.log([r["stress"] for r in rows]))
    single = fit(rows, "stress", ["f"])
    assert single.exponents["f"] == pytest.approx(line.slope)
    assert single.standard_errors["f"] == pytest.approx(line.stderr)


def test_hull():
    """A right-angled triangle in the logarithms: its centroid is inside, the corner opposite is not."""
    corners = [(1.0, 1.0), (math.e, 1.0), (1.0, math.e)]
    rows = [{"y": 1.0 + 0.1 * k, "a": a, "b": b, "source": "test"} for k, (a, b) in enumerate(corners * 2)]
    found = fit(rows, "y", ["a", "b"])
    assert found.inside({"a": math.exp(1 / 3), "b": math.exp(1 / 3)})
    assert found.inside({"a": math.e, "b": 1.0})
    assert not found.inside({"a": math.exp(0.6), "b": math.exp(0.6)})
    assert not found.inside({"a": math.exp(-0.1), "b": 1.1})


def test_sources_are_never_mixed_silently():
    rows = database(12)
    mixed = rows[:8] + [r | {"source": "analysis"} for r in rows[8:]]
    with pytest.raises(InputFault, match="8 rows of test"):
        fit(mixed, "stress", ["lap"])
    assert fit(mixed, "stress", ["lap"], source="test").sources == {"test": 8}
    assert fit(mixed, "stress", ["lap"], source="mixed").sources == {"analysis": 4, "test": 8}
    with pytest.raises(InputFault, match="where it comes from"):
        fit([{k: v for k, v in r.items() if k != "source"} for r in rows], "stress", ["lap"])


@pytest.mark.parametrize(
    ("terms", "word"),
    [(["nothing"], "no such column"), (["f", "f"], "once"), (["f", "double"], "independently"), (["stress"], "once")],
)
def test_what_cannot_be_fitted_is_told(terms: list[str], word: str):
    rows = [r | {"double": 2.0 * r["f"]} for r in database(12)]
    with pytest.raises(InputFault, match=word):
        fit(rows, "stress", terms)
    with pytest.raises(InputFault, match="at least 4"):
        fit(rows[:3], "stress", ["f", "lap"])


# ------------------------------------------------------------------ resistance factors
def test_published_resistance_factors():
    assert first_order(1.07, 0.13, beta=3.0, alpha=0.55) == pytest.approx(0.86, abs=0.005)
    loads = Loads(ratio=0.2)
    assert loads.cov == pytest.approx(0.21, abs=0.005)
    assert lognormal(1.0, 1e-9, loads, beta=1e-9) == pytest.approx(1.52, abs=0.005)
    by_hand = 1.52 * 0.95 * math.exp(-2.5 * math.sqrt(0.12**2 + 0.21**2))
    assert lognormal(0.95, 0.12, loads, beta=2.5) == pytest.approx(by_hand, rel=0.015)
    assert combined(0.03, 0.04) == pytest.approx(0.05)
    with pytest.raises(InputFault, match="above zero"):
        first_order(1.0, -0.1)


@pytest.mark.parametrize(
    ("n", "k_n", "k_d"),
    [(4, 2.63, 11.40), (5, 2.33, 7.85), (6, 2.18, 6.36), (8, 2.00, 5.07), (10, 1.92, 4.51), (20, 1.76, 3.64),
     (30, 1.73, 3.44), (math.inf, 1.64, 3.04)],
)  # fmt: skip
def test_fractile_factors_of_en_1990(n: float, k_n: float, k_d: float):
    assert k_factor(n) == pytest.approx(k_n, rel=0.008)
    assert k_factor(n, design=True) == pytest.approx(k_d, rel=0.008)


@pytest.mark.parametrize(("n", "k_n"), [(1, 2.31), (3, 1.89), (5, 1.80), (10, 1.72), (30, 1.67)])
def test_fractile_factors_with_known_scatter(n: int, k_n: float):
    assert k_factor(n, known=True) == pytest.approx(k_n, rel=0.008)


def test_annex_d_at_its_limits():
    """A large sample with lognormal error of 0.10 and no other scatter: fractiles of that distribution."""
    shares = (np.arange(20000) + 0.5) / 20000
    q = math.sqrt(math.log1p(0.1**2))
    error = np.exp(q * stats.norm.ppf(shares) - 0.5 * q * q)
    computed = np.full(20000, 200.0)
    found = annex_d(1.1 * computed * error, computed)
    assert found.b == pytest.approx(1.1, rel=1e-3)
    assert found.cov_delta == pytest.approx(0.10, rel=5e-3)
    assert found.characteristic == pytest.approx(1.1 * math.exp(-1.645 * q - 0.5 * q * q), rel=2e-3)
    assert found.design == pytest.approx(1.1 * math.exp(-3.04 * q - 0.5 * q * q), rel=6e-3)
    assert found.gamma == pytest.approx(math.exp((3.04 - 1.645) * q), rel=6e-3)
    few = annex_d(1.1 * computed[::2000] * error[::2000], computed[::2000])
    assert few.n == 10 and few.design < found.design
    assert annex_d(computed * error, computed, cov_variables=0.15).design < found.design
