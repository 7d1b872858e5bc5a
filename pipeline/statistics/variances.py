"""Variances with intervals that allow for heavy tails, and differences of them.

A few bad guides make the tails heavy, and the ordinary chi-square interval of a variance
then holds the truth far too seldom. Its degrees of freedom are reduced by the excess
kurtosis seen: 2 / (2/(n-1) + kappa/n), from Var(s^2) = sigma^4 (2/(n-1) + kappa/n).
Differences and sums of independent variances get their limits from those of their terms
(method of variance estimates recovery: Zou & Donner, Stat Med 2008;27:1693-1702).
Arrays have the cases last; all shapes are those of the arrays without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

from pipeline.statistics.patients import UPPER_TAIL

Floats = NDArray[np.float64]

LARGEST_KURTOSIS: Final = 8.0
"""The excess kurtosis of a small sample is not believed beyond this."""


@dataclass(frozen=True, slots=True)
class Variance:
    """A variance, or a sum or difference of variances, with its 95 % limits.

    Attributes:
        value: may be negative where it is a difference; cut at 0 only when printed.
        low: lower limit.
        high: upper limit.
    """

    value: Floats
    low: Floats
    high: Floats

    def times(self, factor: float) -> Variance:
        """Return the variance in other units."""
        return Variance(self.value * factor, self.low * factor, self.high * factor)


def sample_variance(values: Floats) -> Floats:
    """Return the variance over the last axis, divisor n - 1."""
    spread: Floats = np.var(values, axis=-1, ddof=1)
    return spread


def without_each(values: Floats) -> Floats:
    """Return the variance left when each value in turn is taken out: same shape.

    Args:
        values: (.., n), n at least 3.
    """
    n = values.shape[-1]
    off = values - values.mean(axis=-1, keepdims=True)
    squares = (off**2).sum(axis=-1, keepdims=True)
    left: Floats = (squares - n / (n - 1) * off**2) / (n - 2)
    return left


def excess_kurtosis(values: Floats) -> Floats:
    """Return the unbiased excess kurtosis (G2) over the last axis, n at least 4."""
    n = values.shape[-1]
    off = values - values.mean(axis=-1, keepdims=True)
    squares = off * off
    second = squares.mean(axis=-1)
    fourth = (squares * squares).mean(axis=-1)
    plain = fourth / np.where(second > 0, second, 1) ** 2 - 3
    unbiased = (n - 1) / ((n - 2) * (n - 3)) * ((n + 1) * plain + 6)
    return np.where(second > 0, unbiased, 0.0)


def average_kurtosis(modes: Sequence[Floats]) -> Floats:
    """Return the mean excess kurtosis of modes of one kind, (.., n) each."""
    average: Floats = np.mean([excess_kurtosis(values) for values in modes], axis=0)
    return average


def degrees_of_freedom(values: Floats, average: Floats) -> Floats:
    """Return the degrees of freedom of a variance that heavy tails leave.

    Args:
        values: (.., n).
        average: mean excess kurtosis of all modes of its kind; it counts where that of
            the values is smaller, because one small sample tells it poorly.
    """
    n = values.shape[-1]
    kurtosis = np.maximum(average, excess_kurtosis(values))
    kappa = np.clip(kurtosis, 0.0, LARGEST_KURTOSIS)
    left: Floats = 2 / (2 / (n - 1) + kappa / n)
    return left


def with_limits(value: Floats, df: Floats) -> Variance:
    """Return a sample variance with its chi-square limits on df degrees of freedom."""
    return Variance(
        value,
        value * df / _chi2(df, UPPER_TAIL),
        value * df / _chi2(df, 1 - UPPER_TAIL),
    )


def combined(*terms: tuple[float, Variance]) -> Variance:
    """Return a sum of independent variances, each times its factor, with its limits."""
    shape = terms[0][1].value.shape
    value, below, above = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for factor, term in terms:
        down, up = (term.low, term.high) if factor > 0 else (term.high, term.low)
        value = value + factor * term.value
        below = below + (factor * (term.value - down)) ** 2
        above = above + (factor * (up - term.value)) ** 2
    return Variance(value, value - np.sqrt(below), value + np.sqrt(above))


def _chi2(df: Floats, p: float) -> Floats:
    """Return the p quantile of chi-square."""
    return np.asarray(2 * gammaincinv(df / 2, p), dtype=np.float64)
