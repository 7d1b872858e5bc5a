"""A bound that most implants keep, with stated confidence and no assumed shape.

The rank is chosen for the number of patients and applied to all implants. One implant a
patient is a sample of independent values; the r-th largest of all implants is never
below the r-th largest of those, so the bound keeps its confidence however alike the two
implants of a patient are.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from math import expm1, log1p

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc

from pipeline.statistics.patients import Labels, counted, group_by_patient

_MOST_PATIENTS = 10**9


@dataclass(frozen=True, slots=True)
class ToleranceBound:
    """An upper bound for a stated part of all implants.

    Attributes:
        n_clusters: patients.
        n_values: implants (or pairs).
        coverage: the part of all implants meant to stay at or below the bound.
        confidence: how sure the bound covers them.
        rank: the bound is the rank-th largest value; None when refused.
        bound: in the values' unit; None when refused.
        n_more: patients that are lacking; 0 when none is.
        warning: what to say beside the figure; None when there is nothing.
    """

    n_clusters: int
    n_values: int
    coverage: float
    confidence: float
    rank: int | None
    bound: float | None
    n_more: int
    warning: str | None


def tolerance_bound(
    values: ArrayLike,
    clusters: Labels,
    coverage: float = 0.95,
    confidence: float = 0.95,
) -> ToleranceBound:
    """Bound that covers a part of all implants with stated confidence.

    Args:
        values: shape (n_values,), in one unit; larger is worse.
        clusters: the patient of each value.
        coverage: part of all implants to cover, above 0, below 1.
        confidence: above 0, below 1.

    Raises:
        ValueError: a value or a label is missing, or a part is not between 0 and 1.
    """
    if not (0 < coverage < 1 and 0 < confidence < 1):
        raise ValueError("coverage and confidence must lie between 0 and 1")
    numbers, patients = group_by_patient(values, clusters)
    n, n_values = patients.n_patients, patients.n_values
    rank = largest_rank(n, coverage, confidence)
    if rank is None:
        n_more = fewest_patients(coverage, confidence) - n
        warning = f"Not given: needs {counted(n_more, 'more patient')}."
        return ToleranceBound(
            n, n_values, coverage, confidence, None, None, n_more, warning
        )
    place = n_values - rank
    bound = float(np.partition(numbers, place)[place])
    return ToleranceBound(n, n_values, coverage, confidence, rank, bound, 0, None)


def largest_rank(n: int, coverage: float, confidence: float) -> int | None:
    """Largest r such that the r-th largest of n is a tolerance bound; None if none is.

    Wilks, Ann Math Stat 1941;12:91-96; Meeker, Hahn & Escobar, Statistical Intervals,
    2nd ed. 2017, table J11.

    Args:
        n: independent values.
        coverage: above 0, below 1.
        confidence: above 0, below 1.
    """
    rank = bisect_left(
        range(1, n + 1),
        x=True,
        key=lambda r: chance_beyond(n, r, coverage) < confidence,
    )
    return rank or None


def chance_beyond(n: int, rank: int, coverage: float) -> float:
    """P(Bin(n, 1 - coverage) >= rank): the rank-th largest of n covers that part."""
    return float(betainc(rank, n - rank + 1, 1 - coverage))


def fewest_patients(coverage: float, confidence: float) -> int:
    """Smallest n whose largest value is a bound: 59 for 95 % with confidence 95 %."""
    log_coverage = log1p(coverage - 1)
    return 1 + bisect_left(
        range(1, _MOST_PATIENTS),
        x=True,
        key=lambda n: -expm1(n * log_coverage) >= confidence,
    )
