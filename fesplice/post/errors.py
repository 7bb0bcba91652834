"""Errors of models as log-normal, learnt from tests in closed form: what a test gives over what a model says.

Model of the ratios. e = ln(test/prediction) of test i in series j is normal about the mean of its series, with variance
s^2; means of series are normal about an overall mean, with variance a s^2; the overall mean is normal about ``mean``,
with variance b s^2; s^2 is inverse gamma (``shape``, ``rate``). For given a and b everything is one normal vector with
covariance s^2 V, V = I + a (same series) + b, so that posterior and predictive are those of the conjugate
normal-inverse-gamma model (Gelman et al., Bayesian Data Analysis, 3rd ed., sections 3.3 and 14.8; from memory): a
Student t for the next test. With one series it is the textbook update with a + b for 1/kappa_0; with two or more it
is hierarchical: series share their overall mean.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import optimize, stats

from fesplice.contracts import Floats


@dataclass(frozen=True)
class Prior:
    """What is held of the logarithms of test over prediction before the tests at hand.

    ``mean`` of them; s^2 ~ inverse gamma (``shape``, ``rate``); ``between`` = a and ``overall`` = b over s^2;
    ``source`` in words.
    """

    mean: float
    shape: float
    rate: float
    between: float
    overall: float
    source: str


@dataclass(frozen=True)
class Spread:
    """Predictive Student t of ln(test/prediction): ``freedom`` degrees, ``centre`` and ``scale``."""

    freedom: float
    centre: float
    scale: float

    def quantile(self, share: float) -> float:
        """Test over prediction that is not exceeded with probability ``share``."""
        return math.exp(self.centre + self.scale * float(stats.t.ppf(share, self.freedom)))

    def below(self, ratio: float) -> float:
        """Probability of a ratio up to ``ratio``."""
        if ratio <= 0.0:
            return 0.0
        return float(stats.t.cdf((math.log(ratio) - self.centre) / self.scale, self.freedom))


def prior_of(ratios: Sequence[float], series: Sequence[str], source: str) -> Prior:
    """Prior from a record of tests over predictions in at least two series: moments within and between series.

    a from the variance of the series' means less what the scatter within explains (never below a tenth of s^2), b from
    that of the mean of as many series. Raises :class:`ValueError` below two series or three degrees of freedom.
    """
    e = np.log(np.asarray(ratios, float))
    names = sorted(set(series))
    groups = [e[[s == n for s in series]] for n in names]
    free = len(e) - len(groups)
    if len(groups) < 2 or free < 3:
        raise ValueError(f"a prior needs two series and five tests: {len(groups)} series, {len(e)} tests")
    within = float(sum(((g - g.mean()) ** 2).sum() for g in groups)) / free
    means = np.array([g.mean() for g in groups])
    size = len(groups) / float(sum(1.0 / len(g) for g in groups))
    between = max(float(means.var(ddof=1)) - within / size, 0.1 * within) / within
    overall = (between + 1.0 / size) / len(groups)
    return Prior(float(means.mean()), 0.5 * free, 0.5 * free * within, between, overall, source)


def predictive(prior: Prior, errors: Sequence[float], series: Sequence[str], of: str) -> Spread:
    """The next test in series ``of`` after tests of logarithms ``errors`` in ``series``."""
    r = np.asarray(errors, float) - prior.mean
    n = len(r)
    alone = 1.0 + prior.between + prior.overall
    if not n:
        return Spread(2.0 * prior.shape, prior.mean, math.sqrt(prior.rate / prior.shape * alone))
    v = _covariance(prior, series)
    here = prior.between * np.array([s == of for s in series], float) + prior.overall
    solved = np.linalg.solve(v, np.column_stack([r, here]))
    shape, rate = prior.shape + 0.5 * n, prior.rate + 0.5 * float(r @ solved[:, 0])
    spare = alone - float(here @ solved[:, 1])
    return Spread(2.0 * shape, prior.mean + float(here @ solved[:, 0]), math.sqrt(rate / shape * spare))


def evidence(prior: Prior, errors: Sequence[float], series: Sequence[str]) -> float:
    """Logarithm of the density that the model gives to the tests together: how well it predicted them."""
    r = np.asarray(errors, float) - prior.mean
    n = len(r)
    if not n:
        return 0.0
    v = _covariance(prior, series)
    rate = prior.rate + 0.5 * float(r @ np.linalg.solve(v, r))
    shape = prior.shape + 0.5 * n
    return (
        math.lgamma(shape) - math.lgamma(prior.shape) - 0.5 * n * math.log(2.0 * math.pi)
        - 0.5 * float(np.linalg.slogdet(v)[1]) + prior.shape * math.log(prior.rate) - shape * math.log(rate)
    )  # fmt: skip


def _covariance(prior: Prior, series: Sequence[str]) -> Floats:
    names = np.asarray(series, dtype=object)
    same = (names[:, None] == names[None, :]).astype(float)
    return np.eye(len(names)) + prior.between * same + prior.overall


def mixed_quantile(parts: Sequence[tuple[float, float, Spread]], share: float) -> float:
    """Quantile of a mixture: ``parts`` (weight, value predicted, error); the weights sum to one."""
    ends = [value * e.quantile(q) for _, value, e in parts for q in (1e-6, 1.0 - 1e-6)]

    def missing(log_x: float) -> float:
        x = math.exp(log_x)
        return sum(w * e.below(x / value) for w, value, e in parts) - share

    root: Any = optimize.brentq(missing, math.log(min(ends)) - 1.0, math.log(max(ends)) + 1.0)
    return math.exp(float(root))


def leave_one_out(prior: Prior, errors: Sequence[float], series: Sequence[str], level: float = 0.9) -> tuple[bool, ...]:
    """Whether each test lies in the band of probability ``level`` that the prior and all others give."""
    out = []
    for k, (e, of) in enumerate(zip(errors, series, strict=True)):
        rest = [x for i, x in enumerate(errors) if i != k]
        spread = predictive(prior, rest, [s for i, s in enumerate(series) if i != k], of)
        out.append(abs(float(stats.t.cdf((e - spread.centre) / spread.scale, spread.freedom)) - 0.5) <= 0.5 * level)
    return tuple(out)
