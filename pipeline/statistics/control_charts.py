"""Charts of cases in date order: run chart, individuals chart, EWMA.

The run chart needs no limits and is read by two rules (Anhoej and Olesen, PLoS ONE
2014;9:e113825): a run on one side of the median longer than round(log2 n + 3) cases, or
fewer crossings of the median than the 5 % point of the binomial distribution of n - 1
and one half. Its rules are seldom wrong (1 to 3 % of steady series) and see little.

Limits of the other two come from the first cases. So few cases say little about their
own spread, so the limits are prediction limits: Student's t instead of the normal, and
the error of the baseline mean in both. The cube root of a case's mean is charted: an
error cannot be below 0, and its cube root is about normal (Wilson and Hilferty, Proc
Natl Acad Sci 1931;17:684-688).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from math import log2, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr, ndtr, stdtrit

from pipeline.statistics.patients import Floats, as_numbers

FEWEST_FOR_RULES = 10
"""Cases off the median with which the rules of the run chart are read."""

BASELINE = 15
"""Cases whose mean and spread set the limits of the control charts."""

WEIGHT = 0.2
"""Weight of the newest case in the EWMA (lambda)."""

INDIVIDUALS_LEVEL = 0.99865
"""Level of the upper limit of the individuals chart: three standard deviations."""

EWMA_SIGMAS = 2.86
"""Limits of the EWMA in standard deviations, were the spread known."""

CROSSINGS_LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class RunChart:
    """A series against its median.

    Attributes:
        n_values: cases.
        n_useful: cases off the median, which the rules count.
        median: of all cases, in their unit; None without cases.
        longest_run: most useful cases in a row on one side.
        longest_allowed: a longer run is a signal; None with too few cases.
        crossings: how often neighbours among the useful cases change sides.
        fewest_allowed: fewer crossings are a signal; None with too few cases.
        is_shift: the run is too long; None with too few cases.
        is_few_crossings: the crossings are too few; None with too few cases.
    """

    n_values: int
    n_useful: int
    median: float | None
    longest_run: int
    longest_allowed: int | None
    crossings: int
    fewest_allowed: int | None
    is_shift: bool | None
    is_few_crossings: bool | None


@dataclass(frozen=True, slots=True)
class ControlChart:
    """An individuals chart and an EWMA of the cases after the baseline.

    All arrays have shape (n_values - BASELINE,) and the unit of the values; the charts
    themselves work on cube roots.

    Attributes:
        centre: baseline mean of the cube roots, cubed.
        low: lower limit of single cases, one for all.
        high: upper limit of single cases, one for all.
        is_outside: the case lies outside the limits.
        ewma: weighted mean of the cases so far.
        ewma_low: its lower limits.
        ewma_high: its upper limits.
        is_drift: the weighted mean lies outside its limits.
    """

    centre: float
    low: float
    high: float
    is_outside: NDArray[np.bool_]
    ewma: Floats
    ewma_low: Floats
    ewma_high: Floats
    is_drift: NDArray[np.bool_]


def run_chart(values: ArrayLike) -> RunChart:
    """Read the two rules of a run chart.

    Args:
        values: shape (n_values,), one a case, in date order.

    Raises:
        ValueError: a value is missing or not finite.
    """
    numbers = as_numbers(values)
    if not numbers.size:
        return RunChart(0, 0, None, 0, None, 0, None, None, None)
    median = float(np.median(numbers))
    sides = [bool(value > median) for value in numbers if value != median]
    runs = [len(list(run)) for _, run in groupby(sides)]
    n, longest, crossings = len(sides), max(runs, default=0), max(0, len(runs) - 1)
    if n < FEWEST_FOR_RULES:
        return RunChart(
            numbers.size, n, median, longest, None, crossings, None, None, None
        )
    most, fewest = round(log2(n) + 3), fewest_crossings(n)
    return RunChart(
        numbers.size,
        n,
        median,
        longest,
        most,
        crossings,
        fewest,
        longest > most,
        crossings < fewest,
    )


def fewest_crossings(n: int) -> int:
    """Return the 5 % point of the crossings of n cases, n - 1 tosses of a coin."""
    counts = np.arange(n)
    below = bdtr(counts, n - 1, 0.5) >= CROSSINGS_LEVEL
    return int(np.argmax(below))


def control_chart(values: ArrayLike) -> ControlChart | None:
    """Chart single cases and the EWMA against limits from the first cases.

    Args:
        values: shape (n_values,), the mean error of each case, 0 or more, in date order.

    Returns:
        The charts; None up to the last case of the baseline, or where the baseline
        cases do not differ at all.

    Raises:
        ValueError: a value is missing, not finite or below 0.
    """
    numbers = as_numbers(values)
    if numbers.size and numbers.min() < 0:
        raise ValueError("an error cannot be below 0")
    if numbers.size <= BASELINE:
        return None
    roots = np.cbrt(numbers)
    first, later = roots[:BASELINE], roots[BASELINE:]
    mean, sd = float(first.mean()), float(first.std(ddof=1))
    if not sd > 0 or np.ptp(first) == 0:
        return None
    single = individuals_reach(BASELINE) * sd
    smooth = ewma(later, mean)
    reach = ewma_reach(BASELINE, np.arange(1, later.size + 1)) * sd
    return ControlChart(
        centre=mean**3,
        low=_cubed(mean - single),
        high=_cubed(mean + single),
        is_outside=np.abs(later - mean) > single,
        ewma=_cubed(smooth),
        ewma_low=_cubed(mean - reach),
        ewma_high=_cubed(mean + reach),
        is_drift=np.abs(smooth - mean) > reach,
    )


def individuals_reach(n_baseline: int) -> float:
    """Return how far a case may lie from the baseline mean, in baseline sds.

    The two-sided prediction limit t sqrt(1 + 1/n) for one further value.

    Args:
        n_baseline: cases of the baseline.
    """
    t = float(stdtrit(n_baseline - 1, INDIVIDUALS_LEVEL))
    return t * sqrt(1 + 1 / n_baseline)


def ewma_reach(n_baseline: int, after: ArrayLike) -> Floats:
    """Return how far the EWMA may lie from the baseline mean, in baseline sds.

    Its own variance (Roberts, Technometrics 1959;1:239-250) and that of the baseline
    mean, which the EWMA has left by the share 1 - (1 - weight)^t.

    Args:
        n_baseline: cases of the baseline.
        after: cases since the baseline, 1 for the first; shape (n,).
    """
    kept = (1 - WEIGHT) ** np.asarray(after, dtype=np.float64)
    own = WEIGHT / (2 - WEIGHT) * (1 - kept**2)
    k = float(stdtrit(n_baseline - 1, float(ndtr(EWMA_SIGMAS))))
    return np.asarray(k * np.sqrt(own + (1 - kept) ** 2 / n_baseline))


def ewma(values: Floats, start: float | Floats, weight: float = WEIGHT) -> Floats:
    """Return the exponentially weighted mean after each value.

    Args:
        values: shape (..., n), in date order along the last axis.
        start: what it starts from, shape (...).
        weight: of the newest value.
    """
    smooth = np.empty_like(values)
    level: float | Floats = start
    for at in range(values.shape[-1]):
        level = weight * values[..., at] + (1 - weight) * level
        smooth[..., at] = level
    return smooth


def _cubed(roots: float | Floats) -> Any:
    """Return cube roots as figures of the measure; an error is never below 0."""
    return np.maximum(roots, 0.0) ** 3
