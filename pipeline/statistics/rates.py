"""How often something happens a year, and the 95 % interval of that rate.

Events of one wearer belong together: a few wearers have many. Counted as if they came
by chance alone, a rate looks far more certain than it is. The interval here lets the
patients vary, allows for the skewness of counts, and is never narrower than the exact
one of counts that come by chance alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincinv

from pipeline.statistics.means import skew_corrected_limits
from pipeline.statistics.patients import (
    FEWEST_FOR_INTERVAL,
    UPPER_TAIL,
    Floats,
    Labels,
    Patients,
    doubt_about_count,
    group_by_patient,
)


@dataclass(frozen=True, slots=True)
class EventRate:
    """Events a year with the uncertainty of the patients.

    Attributes:
        n_clusters: patients with some exposure.
        count_events: events.
        exposure: years under observation.
        rate: events a year; None without exposure.
        low: lower limit of the 95 % interval; None when no interval can be given.
        high: upper limit of the 95 % interval; without events the upper limit of
            counts that come by chance alone; None when no interval can be given.
        variance_to_mean: Pearson's statistic over its degrees of freedom: 1 when the
            counts vary as chance alone makes them, more when patients differ; None
            without events or below two patients.
        warning: what to say beside the figure; None when there is nothing.
    """

    n_clusters: int
    count_events: int
    exposure: float
    rate: float | None
    low: float | None
    high: float | None
    variance_to_mean: float | None
    warning: str | None


def event_rate(counts: ArrayLike, exposure: ArrayLike, clusters: Labels) -> EventRate:
    """Rate of events with its 95 % interval, patients varying.

    r = E / X. Its variance is the ratio estimate over patients of unequal exposure,
    n/(n-1) sum(e_i - r x_i)^2 / X^2 (Cochran, Sampling Techniques, 3rd ed. 1977), its
    limits those of `skew_corrected_limits`, widened at each end to Garwood's exact ones
    (Biometrika 1936;28:437-442). Without events the upper limit is Garwood's.

    Args:
        counts: shape (n,), events of each denture, 0 or more.
        exposure: shape (n,), years of each, 0 or more; those of 0 years may not have
            events.
        clusters: the patient of each denture.

    Raises:
        ValueError: a number is missing or below 0, there are events without exposure,
            or the lengths differ.
    """
    events, patients = group_by_patient(counts, clusters)
    years = np.asarray(exposure, dtype=np.float64)
    _refuse_impossible(events, years)
    e, x = _observed(events, years, patients)
    n, total, years_all = e.size, float(e.sum()), float(x.sum())
    if not n:
        return EventRate(0, 0, 0.0, None, None, None, None, doubt_about_count(0))
    rate = total / years_all
    lowest, highest = garwood_limits(total)
    if not total:
        warning = doubt_about_count(n)
        return EventRate(n, 0, years_all, 0.0, 0.0, highest / years_all, None, warning)
    ratio = _variance_to_mean(e, rate * x) if n > 1 else None
    low = high = None
    if n >= FEWEST_FOR_INTERVAL:
        low, high = lowest / years_all, highest / years_all
        se = _standard_error(e - rate * x, years_all)
        if se > 0:
            skewed = skew_corrected_limits(rate, se, n)
            low, high = min(low, skewed[0]), max(high, skewed[1])
    return EventRate(
        n, int(total), years_all, rate, low, high, ratio, doubt_about_count(n)
    )


def garwood_limits(count: float) -> tuple[float, float]:
    """Exact 95 % limits of the mean of a Poisson count (Garwood 1936).

    Quantiles of the gamma distribution with shapes count and count + 1, which are half
    those of chi-square with 2 count and 2 count + 2 degrees of freedom.
    """
    low = float(gammaincinv(count, 1 - UPPER_TAIL)) if count else 0.0
    return low, float(gammaincinv(count + 1, UPPER_TAIL))


def _refuse_impossible(events: Floats, years: Floats) -> None:
    if years.shape != events.shape:
        raise ValueError(f"{events.size} counts but {years.size} exposures")
    if not np.isfinite(years).all() or (years < 0).any() or (events < 0).any():
        raise ValueError("counts and exposures are 0 or more")
    if ((years == 0) & (events > 0)).any():
        raise ValueError("events without exposure")


def _observed(
    events: Floats, years: Floats, patients: Patients
) -> tuple[Floats, Floats]:
    """Events and years of each patient that was observed at all."""
    e, x = patients.totals(events), patients.totals(years)
    is_observed = x > 0
    return e[is_observed], x[is_observed]


def _standard_error(deviations: Floats, years_all: float) -> float:
    n = deviations.size
    return sqrt(n / (n - 1) * float(deviations @ deviations)) / years_all


def _variance_to_mean(e: Floats, expected: Floats) -> float:
    return float((((e - expected) ** 2) / expected).sum()) / (e.size - 1)
