"""The median and the high quantiles of an error, with rank limits.

The limits are order statistics, so they hold whatever the shape of the errors. High
quantiles of few implants are little more than the largest value: they are not given.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from math import ceil, log

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc

from pipeline.statistics.patients import (
    FEWEST_FOR_INTERVAL,
    UPPER_TAIL,
    Floats,
    Labels,
    Patients,
    counted,
    doubt_about_count,
    group_by_patient,
)
from pipeline.statistics.shares import effective_count

_VALUES_BEYOND = 2
"""A quantile is given when this many values are expected beyond it."""


@dataclass(frozen=True, slots=True)
class ClusteredQuantile:
    """A quantile over implants with rank limits that allow for two in one mouth.

    Attributes:
        n_clusters: patients.
        n_values: implants (or pairs).
        p: which quantile, 0.5 for the median.
        value: the quantile (linear between neighbours, type 7), in the values' unit;
            None when there are too few values for it.
        low: lower limit of the 95 % interval; None when there is no such limit.
        high: upper limit of the 95 % interval; None when there is no such limit.
        n_effective: independent values worth as much; None without value or interval.
        warning: what to say beside the figure; None when there is nothing.
    """

    n_clusters: int
    n_values: int
    p: float
    value: float | None
    low: float | None
    high: float | None
    n_effective: float | None
    warning: str | None


def clustered_quantile(
    values: ArrayLike, clusters: Labels, p: float
) -> ClusteredQuantile:
    """Quantile p of the values, with its 95 % limits by rank.

    The point is type 7 of Hyndman & Fan (Am Stat 1996;50:361-365), the one of numpy and
    of SQL's quantile_cont. The 90th percentile needs 20 values, the 95th 40; the median
    is always given.

    Args:
        values: shape (n_values,), in one unit.
        clusters: the patient of each value.
        p: above 0, below 1.

    Raises:
        ValueError: a value or a label is missing, or p is not between 0 and 1.
    """
    if not 0 < p < 1:
        raise ValueError("p must lie between 0 and 1")
    numbers, patients = group_by_patient(values, clusters)
    n, n_values = patients.n_patients, patients.n_values
    count_missing = fewest_values(p) - n_values
    if count_missing > 0 or not n_values:
        warning = (
            f"Not given: needs {counted(count_missing, f'more {patients.unit}')}."
            if n_values
            else doubt_about_count(0)
        )
        return ClusteredQuantile(n, n_values, p, None, None, None, None, warning)
    ordered = np.sort(numbers)
    value = float(np.quantile(ordered, p))
    if n < FEWEST_FOR_INTERVAL:
        warning = doubt_about_count(n)
        return ClusteredQuantile(n, n_values, p, value, None, None, None, warning)
    is_below = (numbers <= value).astype(np.float64)
    n_effective = effective_count(is_below, patients, fewest=0.75 * n)
    lower, upper = rank_limits(n_values, n_effective, p)
    return ClusteredQuantile(
        n_clusters=n,
        n_values=n_values,
        p=p,
        value=value,
        low=_at_rank(ordered, lower),
        high=_at_rank(ordered, upper),
        n_effective=n_effective,
        warning=_doubt(patients, n_effective, p, (lower, upper)),
    )


def fewest_values(p: float) -> int:
    """How many values quantile p needs: 20 for 0.9, 40 for 0.95, 1 for the median."""
    # rounded first: 2 / (1 - 0.9) is a hair above 20 in binary
    return 1 if p == 0.5 else ceil(round(_VALUES_BEYOND / min(p, 1 - p), 6))


def rank_limits(
    n_values: int, n_effective: float, p: float
) -> tuple[int | None, int | None]:
    """Ranks (1 = smallest) of the values that limit quantile p with 95 % confidence.

    For independent values the j-th smallest lies below the quantile with probability
    P(Bin(n, p) >= j), the Beta(j, n + 1 - j) distribution function at p (Hahn & Meeker,
    Statistical Intervals, 1991). Here n is the effective number and j shrinks with it.

    Args:
        n_values: how many values there are.
        n_effective: how many independent ones they are worth.
        p: above 0, below 1.

    Returns:
        The largest rank below and the smallest rank above the quantile with
        probability at least 0.975 each; None where no rank is.
    """
    ranks = range(1, n_values + 1)

    def chance_below(rank: int) -> float:
        shrunk = rank * (n_effective + 1) / (n_values + 1)
        return float(betainc(shrunk, n_effective + 1 - shrunk, p))

    # both searches rest on chance_below falling with the rank
    lower = bisect_left(ranks, x=True, key=lambda j: chance_below(j) < UPPER_TAIL)
    upper = 1 + bisect_left(
        ranks, x=True, key=lambda j: 1 - chance_below(j) >= UPPER_TAIL
    )
    return lower or None, upper if upper <= n_values else None


def _at_rank(ordered: Floats, rank: int | None) -> float | None:
    return None if rank is None else float(ordered[rank - 1])


def _doubt(
    patients: Patients,
    n_effective: float,
    p: float,
    ranks: tuple[int | None, int | None],
) -> str | None:
    few = doubt_about_count(patients.n_patients)
    if None not in ranks:
        return few
    lower, upper = ranks
    count_more = _values_until_limits(patients.n_values, n_effective, p)
    needs = f"needs about {counted(count_more, f'more {patients.unit}')}."
    if lower is None and upper is None:
        return f"An interval {needs}"
    lacking = f"{'A lower' if lower is None else 'An upper'} limit {needs}"
    return f"{few} {lacking}" if few else lacking


def _values_until_limits(n_values: int, n_effective: float, p: float) -> int:
    """How many more values, as informative as these, would give both limits."""
    worth = n_effective / n_values
    # independent values need log(0.025) / log(max(p, 1 - p)); twice that is enough
    most = ceil(2 * log(1 - UPPER_TAIL) / log(max(p, 1 - p)) / worth)
    more = range(1, most + 1)
    return 1 + bisect_left(
        more,
        x=True,
        key=lambda k: None not in rank_limits(n_values + k, (n_values + k) * worth, p),
    )
