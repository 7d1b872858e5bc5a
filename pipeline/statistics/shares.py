"""The share of implants that meet a criterion, and its 95 % interval.

Wilson's interval on an effective number of values: as many independent implants as
would give a share the same uncertainty as these, two in a mouth, do.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from pipeline.statistics.patients import (
    FEWEST_FOR_INTERVAL,
    UPPER_TAIL,
    Floats,
    Labels,
    Patients,
    doubt_about_count,
    group_by_patient,
    variance_of_mean,
)


@dataclass(frozen=True, slots=True)
class ClusteredShare:
    """A share of implants with the uncertainty of the patients.

    Attributes:
        n_clusters: patients.
        n_values: implants (or pairs) judged.
        count_met: how many of them meet the criterion.
        share: count_met / n_values, 0 to 1; None without values.
        low: lower limit of the 95 % interval; None when no interval can be given.
        high: upper limit of the 95 % interval; None when no interval can be given.
        n_effective: independent values worth as much; None without interval.
        warning: what to say beside the figure; None when there is nothing.
    """

    n_clusters: int
    n_values: int
    count_met: int
    share: float | None
    low: float | None
    high: float | None
    n_effective: float | None
    warning: str | None


def clustered_share(is_met: ArrayLike, clusters: Labels) -> ClusteredShare:
    """Share of values that meet a criterion, with Wilson's interval on n effective.

    Args:
        is_met: shape (n_values,), true or false (or 1 and 0) for each value.
        clusters: the patient of each value.

    Raises:
        ValueError: a value or a label is missing, or a value is not true or false.
    """
    flags, patients = group_by_patient(is_met, clusters)
    if not ((flags == 0) | (flags == 1)).all():
        raise ValueError("each value must be true or false (1 or 0)")
    n, n_values = patients.n_patients, patients.n_values
    count_met = int(np.count_nonzero(flags))
    share = count_met / n_values if n_values else None
    low = high = n_effective = None
    if n >= FEWEST_FOR_INTERVAL and share is not None:
        n_effective = effective_count(flags, patients, fewest=n / 2)
        low, high = wilson_limits(share, n_effective)
    return ClusteredShare(
        n, n_values, count_met, share, low, high, n_effective, doubt_about_count(n)
    )


def effective_count(flags: Floats, patients: Patients, *, fewest: float) -> float:
    """How many independent values would tell as much about the share of ones.

    share (1 - share) / V with V the variance between patients, kept between `fewest`
    and the number of values. All alike, nothing is known about V: then the number of
    patients.

    Args:
        flags: 0 or 1 for each value.
        patients: at least two.
        fewest: lower bound, above 0.
    """
    share = float(flags.mean())
    variance = variance_of_mean(flags - share, patients)
    counts = (patients.n_patients, patients.n_values)
    return effective_of_variance(share, variance, counts, fewest=fewest)


def effective_of_variance(
    share: float, variance: float, counts: tuple[int, int], *, fewest: float
) -> float:
    """Return the same from the share and the variance of it between patients.

    Args:
        share: 0 to 1.
        variance: of the share, patients varying.
        counts: patients, values.
        fewest: lower bound, above 0.
    """
    n, n_values = counts
    if share in {0.0, 1.0}:
        return float(n)
    simple = share * (1 - share)
    if variance * n_values <= simple:
        return float(n_values)
    return max(simple / variance, fewest)


def wilson_limits(share: float, n: float) -> tuple[float, float]:
    """Wilson's 95 % score limits for a share of n values.

    Wilson, J Am Stat Assoc 1927;22:209-212; method 3 of Newcombe, Stat Med
    1998;17:857-872.

    Args:
        share: 0 to 1.
        n: values, whole or effective, above 0.
    """
    z = float(ndtri(UPPER_TAIL))
    middle = share + z * z / (2 * n)
    reach = z * sqrt(share * (1 - share) / n + (z / (2 * n)) ** 2)
    below = 0.0 if share == 0 else max(0.0, (middle - reach) / (1 + z * z / n))
    above = 1.0 if share == 1 else min(1.0, (middle + reach) / (1 + z * z / n))
    return below, above
