"""The mean and its 95 % interval, allowing for two implants in one mouth.

Two forms. The mean of an *error* (a distance or an unsigned angle, never below 0) has a
skewed distribution, and with few patients a symmetric interval lies below the truth too
often; its limits are corrected for skewness. The mean of a *signed* quantity (deeper or
shallower, mesial or distal) takes the t interval.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import cbrt, sqrt
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from pipeline.statistics.patients import (
    FEWEST_FOR_INTERVAL,
    UPPER_TAIL,
    Floats,
    Labels,
    Patients,
    doubt_about_count,
    group_by_patient,
    sum_of_squares,
    variance_of_mean,
)

Limits: TypeAlias = Callable[[float, float, int], tuple[float, float]]

_NO_SPREAD = 1e-12
"""A standard error below this part of the largest difference is rounding, not spread."""


@dataclass(frozen=True, slots=True)
class ClusteredMean:
    """A mean over implants with the uncertainty of the patients.

    Attributes:
        n_clusters: patients.
        n_values: implants (or pairs).
        mean: mean over the values, in their unit; None without values.
        sd: standard deviation of the values, divisor n_values - 1; None below two.
        se: standard error of the mean, patients varying; None below two patients.
        low: lower limit of the 95 % interval; None when no interval can be given.
        high: upper limit of the 95 % interval; None when no interval can be given.
        design_effect: variance of the mean over what it would be were all values
            independent; 1 when each patient has one value; None without interval.
        warning: what to say beside the figure; None when there is nothing.
    """

    n_clusters: int
    n_values: int
    mean: float | None
    sd: float | None
    se: float | None
    low: float | None
    high: float | None
    design_effect: float | None
    warning: str | None


def clustered_mean(values: ArrayLike, clusters: Labels) -> ClusteredMean:
    """Mean of an error (never below 0) with its skew-corrected 95 % interval.

    Args:
        values: shape (n_values,), errors in one unit, all 0 or more.
        clusters: the patient of each value.

    Raises:
        ValueError: a value is missing or below 0, or labels are missing.
    """
    numbers, patients = group_by_patient(values, clusters)
    if numbers.size and numbers.min() < 0:
        raise ValueError(
            "an error cannot be below 0: use signed_mean for signed values"
        )
    return _mean_with_limits(numbers, patients, skew_corrected_limits)


def signed_mean(values: ArrayLike, clusters: Labels) -> ClusteredMean:
    """Mean of a signed quantity (a bias) with its 95 % t interval.

    Args:
        values: shape (n_values,), in one unit, of either sign.
        clusters: the patient of each value.

    Raises:
        ValueError: a value or a label is missing.
    """
    numbers, patients = group_by_patient(values, clusters)
    return _mean_with_limits(numbers, patients, student_limits)


def skew_corrected_limits(mean: float, se: float, n: int) -> tuple[float, float]:
    """95 % limits for the mean of an error, inverting Hall's cubic transformation.

    The studentised mean is made symmetric by a monotone cubic in the skewness (Hall,
    J R Stat Soc B 1992;54:221-228). Here the skewness of a case is taken as twice its
    coefficient of variation, as in a gamma distribution, so a = skewness / sqrt(n)
    = 2 se / mean, and g(x) = (3/a) (cbrt(1 + a (x - a/6)) - 1). As a goes to 0 the
    limits become those of `student_limits`.

    Args:
        mean: above 0.
        se: above 0, same unit.
        n: patients; n - 1 degrees of freedom.
    """
    a = 2 * se / mean
    t = float(stdtrit(n - 1, UPPER_TAIL))

    def g(x: float) -> float:
        # (cbrt(1 + z) - 1) = z / (c^2 + c + 1): no cancellation when a is small
        c = cbrt(1 + a * (x - a / 6))
        return 3 * (x - a / 6) / (c * c + c + 1)

    return max(0.0, mean - se * g(t)), mean - se * g(-t)


def student_limits(mean: float, se: float, n: int) -> tuple[float, float]:
    """95 % limits mean -+ t se with n - 1 degrees of freedom, n patients."""
    t = float(stdtrit(n - 1, UPPER_TAIL))
    return mean - t * se, mean + t * se


def _mean_with_limits(
    values: Floats, patients: Patients, limits: Limits
) -> ClusteredMean:
    n, n_values = patients.n_patients, patients.n_values
    if not n_values:
        return no_mean()
    mean, deviations, spread = _centre(values)
    sd = se = None
    if n_values > 1:
        sd = sqrt(sum_of_squares(deviations) / (n_values - 1))
    if n > 1:
        se = sqrt(variance_of_mean(deviations, patients))
        se = se if se > _NO_SPREAD * spread else 0.0
    return with_limits((n, n_values), mean, sd, se, limits)


def no_mean() -> ClusteredMean:
    """Return what is said where there is no value."""
    return ClusteredMean(0, 0, None, None, None, None, None, None, doubt_about_count(0))


def with_limits(
    counts: tuple[int, int],
    mean: float,
    sd: float | None,
    se: float | None,
    limits: Limits,
) -> ClusteredMean:
    """Complete a mean with its 95 % limits and its design effect.

    Args:
        counts: patients, values.
        mean: of the values.
        sd: of the values; None below two.
        se: of the mean, 0 where the patients do not differ at all; None below two patients.
        limits: how the limits follow from mean, se and patients.
    """
    n, n_values = counts
    warning = doubt_about_count(n)
    low = high = design_effect = None
    if n >= FEWEST_FOR_INTERVAL and se is not None and sd is not None:
        if se > 0:
            low, high = limits(mean, se, n)
            design_effect = n_values * (se / sd) ** 2
        else:
            warning = (
                "No interval: the patients do not differ at all, which measured"
                " values never do; look for copied values."
            )
    return ClusteredMean(n, n_values, mean, sd, se, low, high, design_effect, warning)


def _centre(values: Floats) -> tuple[float, Floats, float]:
    """Mean, deviations from it, and the largest difference to the first value.

    Counting from the first value keeps the digits of values far from 0, and makes the
    deviations of equal values exactly 0.
    """
    first = float(values[0])
    shifted = values - first
    mean_shift = float(shifted.mean())
    spread = float(np.abs(shifted).max())
    return first + mean_shift, shifted - mean_shift, spread
