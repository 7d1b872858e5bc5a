"""The mean of several studies' means, when the studies themselves differ.

Random effects: each study has a true mean of its own, spread with variance tau2 around
the common one. tau2 is estimated by restricted maximum likelihood (REML) or by moments
(DerSimonian & Laird, Control Clin Trials 1986;7:177-188). The interval of the mean is
Hartung and Knapp's (Stat Med 2001;20:3875-3889), which allows for tau2 being estimated
from a handful of studies; the prediction interval, where the mean of one further study
of the kind would lie, is that of Higgins, Thompson & Spiegelhalter (J R Stat Soc A
2009;172:137-159), t with two degrees of freedom fewer than studies.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from pipeline.statistics.patients import UPPER_TAIL, Floats, as_numbers

Method: TypeAlias = Literal["REML", "DerSimonian-Laird"]

FEWEST_STUDIES = 3
"""Fewer studies show no spread between studies that could be relied on."""

_HALVINGS = 200
"""Bisections of tau2; more than a float can tell apart."""


@dataclass(frozen=True, slots=True)
class PooledMean:
    """The common mean of several studies.

    Attributes:
        n_studies: studies.
        method: how tau2 was estimated.
        tau2: variance of the true means between studies, the values' unit squared;
            None, like everything below, when refused.
        q: Cochran's Q, the spread seen over the spread by chance within studies.
        i2: part of that spread which chance within studies does not explain, 0 to 1.
        mean: the common mean, in the values' unit.
        se: its standard error were tau2 known.
        low: lower limit of its 95 % interval (Hartung-Knapp).
        high: upper limit.
        prediction_low: lower 95 % limit for the true mean of one further study.
        prediction_high: upper limit.
        warning: why it is refused; None when it is not.
    """

    n_studies: int
    method: Method
    tau2: float | None = None
    q: float | None = None
    i2: float | None = None
    mean: float | None = None
    se: float | None = None
    low: float | None = None
    high: float | None = None
    prediction_low: float | None = None
    prediction_high: float | None = None
    warning: str | None = None


def pooled_mean(
    means: ArrayLike, variances: ArrayLike, method: Method = "REML"
) -> PooledMean:
    """Pool the means of independent studies by random effects.

    Args:
        means: shape (n_studies,), one unit.
        variances: shape (n_studies,), the squared standard error of each mean.
        method: how the variance between studies is estimated.

    Raises:
        ValueError: a value is missing, or a variance is not above 0.
    """
    y, v = as_numbers(means), as_numbers(variances)
    if y.size != v.size or not (v > 0).all():
        raise ValueError("each mean needs one variance above 0")
    k = int(y.size)
    if k < FEWEST_STUDIES:
        warning = (
            f"Not pooled: {k} {'study' if k == 1 else 'studies'} with a mean, an SD and"
            " a number of patients;"
            f" fewer than {FEWEST_STUDIES} cannot show how much studies differ."
        )
        return PooledMean(k, method, warning=warning)
    tau2 = _TAU2[method](y, v)
    weights = 1 / (v + tau2)
    mean = float(weights @ y / weights.sum())
    se = 1 / sqrt(float(weights.sum()))
    around = float(weights @ (y - mean) ** 2) / (k - 1)
    reach = float(stdtrit(k - 1, UPPER_TAIL)) * se * sqrt(around)
    ahead = float(stdtrit(k - 2, UPPER_TAIL)) * sqrt(tau2 + se * se)
    q = _cochran_q(y, v)
    return PooledMean(
        n_studies=k,
        method=method,
        tau2=tau2,
        q=q,
        i2=max(0.0, 1 - (k - 1) / q) if q > 0 else 0.0,
        mean=mean,
        se=se,
        low=mean - reach,
        high=mean + reach,
        prediction_low=mean - ahead,
        prediction_high=mean + ahead,
    )


def _cochran_q(y: Floats, v: Floats) -> float:
    weights = 1 / v
    return float(weights @ (y - weights @ y / weights.sum()) ** 2)


def _by_moments(y: Floats, v: Floats) -> float:
    weights = 1 / v
    freedom = weights.sum() - (weights @ weights) / weights.sum()
    return max(0.0, float((_cochran_q(y, v) - (y.size - 1)) / freedom))


def _by_restricted_likelihood(y: Floats, v: Floats) -> float:
    """Return the tau2 where the slope of the restricted likelihood is 0, or 0.

    A slope that falls already at 0 leaves tau2 at its boundary.
    """
    if _slope(0.0, y, v) <= 0:
        return 0.0
    low, high = 0.0, float(np.var(y, ddof=1) + v.max())
    while _slope(high, y, v) > 0:
        high *= 2
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if _slope(middle, y, v) > 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _slope(tau2: float, y: Floats, v: Floats) -> float:
    """Twice the derivative of the restricted log-likelihood by tau2.

    Viechtbauer, J Educ Behav Stat 2005;30:261-293.
    """
    weights = 1 / (v + tau2)
    total = weights.sum()
    squares = weights * weights
    around = y - weights @ y / total
    return float(squares @ around**2 - (total - squares.sum() / total))


_TAU2: Mapping[Method, Callable[[Floats, Floats], float]] = {
    "REML": _by_restricted_likelihood,
    "DerSimonian-Laird": _by_moments,
}
METHODS: tuple[Method, ...] = tuple(_TAU2)
"""The ways to estimate the variance between studies, the one to print first."""
