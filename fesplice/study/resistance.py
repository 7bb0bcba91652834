"""Resistance factors from bias and scatter of an equation, and characteristic and design values after EN 1990.

All three assume a lognormal resistance. Bias m is mean observed over computed, V its coefficient of variation;
scatter of material and dimensions is added by the caller: V = sqrt(V_model^2 + V_material^2 + V_dimension^2).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm
from scipy.stats import t as student

from fesplice.contracts import Fault, Floats, InputFault

#: EN 1990:2002 annex D and table B.2 (from memory): share of the resistance, and reliability index in 50 years.
ALPHA_R, BETA_50 = 0.8, 3.8


def combined(*cov: float) -> float:
    """Coefficient of variation of a product of independent factors, sqrt(sum V^2)."""
    return math.hypot(*cov)


def first_order(bias: float, cov: float, *, beta: float = 3.0, alpha: float = 0.55) -> float:
    """phi = m exp(-alpha beta V), Galambos & Ravindra (1978), J. Struct. Div. 104(9); alpha 0.55-0.75, from memory."""
    _positive(bias=bias, cov=cov, beta=beta, alpha=alpha)
    return bias * math.exp(-alpha * beta * cov)


@dataclass(frozen=True)
class Loads:
    """Dead and live load: bias, coefficient of variation and factor of each, and ``ratio`` dead/live (nominal).

    The defaults are those of buildings: bias 1.05 and V 0.10, bias 1.00 and V 0.25, factors 1.2 and 1.6
    (Ellingwood et al. 1980, NBS SP 577, from memory).
    """

    ratio: float = 0.5
    bias_dead: float = 1.05
    cov_dead: float = 0.10
    bias_live: float = 1.00
    cov_live: float = 0.25
    factor_dead: float = 1.2
    factor_live: float = 1.6

    @property
    def cov(self) -> float:
        """Coefficient of variation of the load effect."""
        dead, live = self.bias_dead * self.ratio, self.bias_live
        return math.hypot(dead * self.cov_dead, live * self.cov_live) / (dead + live)


def lognormal(bias: float, cov: float, loads: Loads | None = None, *, beta: float = 3.0) -> float:
    """phi = m (g_D r + g_L)/(m_D r + m_L) exp(-beta sqrt(V^2 + V_Q^2)), the two-lognormal format with loads."""
    loads = loads or Loads()
    _positive(bias=bias, cov=cov, beta=beta)
    factored = loads.factor_dead * loads.ratio + loads.factor_live
    mean = loads.bias_dead * loads.ratio + loads.bias_live
    return bias * factored / mean * math.exp(-beta * math.hypot(cov, loads.cov))


def _positive(**values: float) -> None:
    if faults := [Fault(k, v, "must be a number above zero") for k, v in values.items() if not v > 0.0]:
        raise InputFault("resistance factor", faults)


# ------------------------------------------------------------------ EN 1990 annex D
def k_factor(n: float, *, design: bool = False, known: bool = False) -> float:
    """Fractile factor for ``n`` tests: k_n of table D.1 (5 % fractile), for ``design`` k_d,n of table D.2.

    Student's t with sqrt(1 + 1/n) where the coefficient of variation is unknown, the normal fractile where it is
    ``known`` beforehand: the formulas behind the tables, met within 1 %. Table D.2 takes the fractile 0.1 % for a
    finite number of tests, and alpha beta = 3.04 for an infinite one; so does this function.
    """
    if math.isinf(n):
        return ALPHA_R * BETA_50 if design else float(-norm.ppf(0.05))
    if n < (1 if known else 2):
        raise InputFault("k_n", [Fault("n", n, "at least 1 test with known scatter, at least 2 without")])
    share = 0.001 if design else 0.05
    fractile = -norm.ppf(share) if known else student.ppf(1.0 - share, n - 1)
    return float(fractile * math.sqrt(1.0 + 1.0 / n))


@dataclass(frozen=True)
class AnnexD:
    """Evaluation of EN 1990 annex D8: r = b g_rt(X) delta.

    ``b`` mean correction, ``cov_delta`` scatter of the error, ``cov_r`` with that of the variables. Factors on
    the equation at mean variables: ``characteristic`` (5 %) and ``design`` (alpha 0.8, beta 3.8); ``phi`` is the
    design factor, ``gamma`` characteristic over design.
    """

    n: int
    b: float
    cov_delta: float
    cov_r: float
    characteristic: float
    design: float

    @property
    def gamma(self) -> float:
        """Partial factor gamma_M*: characteristic over design."""
        return self.characteristic / self.design


def annex_d(observed: Floats, computed: Floats, *, cov_variables: float = 0.0) -> AnnexD:
    """EN 1990:2002 D8.2 and D8.3 for pairs (n,) of observed and computed resistance, V of the variables given.

    b by least squares through the origin; V_delta from the logarithms of r_e/(b r_t); the error takes k_n for
    n tests, the variables take the fractile of infinitely many.
    """
    e, t = np.asarray(observed, float), np.asarray(computed, float)
    if e.shape != t.shape or len(e) < 2 or not (e > 0).all() or not (t > 0).all():
        raise InputFault("EN 1990 annex D", "needs at least two pairs of observed and computed values above zero")
    n = len(e)
    b = float((e * t).sum() / (t * t).sum())
    logs = np.log(e / (b * t))
    v_delta = math.sqrt(math.expm1(float(logs.var(ddof=1))))
    q_rt, q_delta = (math.sqrt(math.log1p(v * v)) for v in (cov_variables, v_delta))
    v_r = math.sqrt((1 + cov_variables**2) * (1 + v_delta**2) - 1)
    q = math.sqrt(math.log1p(v_r * v_r))

    def factor(design: bool) -> float:
        if q == 0.0:
            return b
        k_n, k_inf = k_factor(n, design=design), k_factor(math.inf, design=design)
        return b * math.exp(-k_inf * q_rt * q_rt / q - k_n * q_delta * q_delta / q - 0.5 * q * q)

    return AnnexD(n, b, v_delta, v_r, factor(False), factor(True))
