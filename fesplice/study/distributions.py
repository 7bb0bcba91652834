"""Named distributions, and Latin-hypercube samples of several of them with given correlations.

Latin hypercube: McKay, Beckman & Conover (1979), Technometrics 21(2). Correlation by a Gaussian copula
whose scores re-order the strata, so that every margin stays stratified: Iman & Conover (1982),
Communications in Statistics 11(3). The drawing itself uses nothing but numpy's generator, so
that a study gives the same cases with every release of the libraries around it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from fesplice.contracts import Floats

#: What each distribution is described by; of a "|" pair one is given.
NEEDS: dict[str, tuple[str, ...]] = {
    "normal": ("mean", "cov|sd"),
    "lognormal": ("mean", "cov|sd"),
    "uniform": ("low", "high"),
    "triangular": ("low", "mode", "high"),
}


@dataclass(frozen=True)
class Distribution:
    """A distribution by its name and numbers in inner units; ``mean`` nan stands for the case's own value."""

    name: str
    mean: float = math.nan
    cov: float = math.nan
    sd: float = math.nan
    low: float = math.nan
    mode: float = math.nan
    high: float = math.nan

    def at(self, share: float, own: float = math.nan) -> float:
        """The value below which the share ``share`` (0..1) lies; ``own`` is the mean where none was given."""
        mean = own if math.isnan(self.mean) else self.mean
        sd = self.cov * abs(mean) if math.isnan(self.sd) else self.sd
        match self.name:
            case "normal":
                return mean + sd * float(ndtri(share))
            case "lognormal":
                spread = math.sqrt(math.log1p((sd / mean) ** 2))
                return mean * math.exp(spread * float(ndtri(share)) - 0.5 * spread**2)
            case "uniform":
                return self.low + share * (self.high - self.low)
        rise, width = (self.mode - self.low) / (self.high - self.low), self.high - self.low
        if share < rise:
            return self.low + math.sqrt(share * rise) * width
        return self.high - math.sqrt((1.0 - share) * (1.0 - rise)) * width


def correlation_matrix(names: Sequence[str], pairs: Mapping[tuple[str, str], float]) -> Floats:
    """Matrix (n, n) of the correlations of the normal scores; ValueError when no such scores exist."""
    matrix = np.eye(len(names))
    for (a, b), value in pairs.items():
        i, j = names.index(a), names.index(b)
        matrix[i, j] = matrix[j, i] = value
    if np.linalg.eigvalsh(matrix).min() <= 1e-9:
        raise ValueError("these correlations contradict each other (their matrix is not positive definite)")
    return matrix


def latin_hypercube(number: int, correlation: Floats, seed: int) -> Floats:
    """Shares (number, n) in 0..1, each column with one value in each of ``number`` equal strata."""
    rng = np.random.default_rng(seed)
    n = len(correlation)
    strata = np.stack([rng.permutation(number) for _ in range(n)], axis=1)
    share = (strata + rng.random((number, n))) / number
    if np.array_equal(correlation, np.eye(n)):
        return share
    scores = ndtri(share)
    if number > n + 1:
        # what correlates by chance is taken out first
        by_chance = np.linalg.cholesky(np.corrcoef(scores, rowvar=False))
        scores = np.linalg.solve(by_chance, (scores - scores.mean(axis=0)).T).T
    scores = scores @ np.linalg.cholesky(correlation).T
    order = np.argsort(np.argsort(scores, axis=0), axis=0)
    return np.take_along_axis(np.sort(share, axis=0), order, axis=0)
