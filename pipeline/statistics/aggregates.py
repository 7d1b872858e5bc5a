"""Statistics from sums: what a centre can give that may not give its rows.

Patients with the same number of values form a class. Of each class it takes the number
of patients, the sum of their totals, the sum of the squared totals and the sum of the
squared values, all counted from a fixed number near the mean so that no digits are
lost. From these the mean, its interval, the standard deviation, the correlation of two
implants in one mouth, the design effect and a share come out the same as from rows, and
the sums of several centres add up to those of all their patients.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import ceil, floor, fsum, sqrt

import numpy as np
from numpy.typing import ArrayLike

from pipeline.statistics.clustering import (
    IntraclassCorrelation,
    icc_of_squares,
    refusal_of_icc,
)
from pipeline.statistics.means import (
    ClusteredMean,
    no_mean,
    skew_corrected_limits,
    student_limits,
    with_limits,
)
from pipeline.statistics.patients import (
    FEWEST_FOR_INTERVAL,
    Labels,
    doubt_about_count,
    group_by_patient,
)
from pipeline.statistics.shares import (
    ClusteredShare,
    effective_of_variance,
    wilson_limits,
)

_ROUNDING = 1e-13
"""A sum of squares below this part of the whole is rounding, not spread."""


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums over the patients of one class.

    Attributes:
        n: patients.
        s: sum of their totals, each value counted from the fixed number.
        s2: sum of the squares of those totals.
        y2: sum of the squares of the values, counted the same way.
    """

    n: int
    s: float
    s2: float
    y2: float

    def __add__(self, other: Sums) -> Sums:
        """Return the sums over the patients of both."""
        return Sums(
            self.n + other.n, self.s + other.s, self.s2 + other.s2, self.y2 + other.y2
        )


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums of one quantity over patients, by class.

    Attributes:
        counted_from: the fixed number that was taken off every value.
        classes: the sums of the patients with so many values each.
    """

    counted_from: float
    classes: Mapping[int, Sums]

    @property
    def n_patients(self) -> int:
        """How many patients there are."""
        return sum(sums.n for sums in self.classes.values())

    @property
    def n_values(self) -> int:
        """How many values there are."""
        return sum(size * sums.n for size, sums in self.classes.items())

    @property
    def shift(self) -> float:
        """The mean, counted from the fixed number."""
        return fsum(sums.s for sums in self.classes.values()) / self.n_values

    @property
    def squares(self) -> float:
        """Sum of the squared differences of the values from their mean."""
        y2 = fsum(sums.y2 for sums in self.classes.values())
        return y2 - self.n_values * self.shift**2

    @property
    def variance_of_mean(self) -> float:
        """Variance of the mean when patients vary by chance; two patients at least."""
        n, shift = self.n_patients, self.shift
        parts = fsum(
            sums.s2 - 2 * size * shift * sums.s + sums.n * (size * shift) ** 2
            for size, sums in self.classes.items()
        )
        return n / (n - 1) * max(parts, 0.0) / self.n_values**2


def totals_of(values: ArrayLike, clusters: Labels, counted_from: float) -> Totals:
    """Return the sums of values by class.

    Args:
        values: shape (n_values,), in one unit.
        clusters: the patient of each value.
        counted_from: a fixed number near the mean, the same at every centre.

    Raises:
        ValueError: a value or a label is missing.
    """
    numbers, patients = group_by_patient(values, clusters)
    centred = numbers - counted_from
    own = patients.totals(centred)
    squares = patients.totals(centred * centred)
    classes = {}
    for size in np.unique(patients.sizes):
        is_class = patients.sizes == size
        classes[int(size)] = Sums(
            n=int(is_class.sum()),
            s=fsum(own[is_class]),
            s2=fsum(own[is_class] ** 2),
            y2=fsum(squares[is_class]),
        )
    return Totals(counted_from, classes)


def together(parts: Iterable[Totals]) -> Totals:
    """Return the totals of several centres as those of all their patients.

    Raises:
        ValueError: they were not counted from the same number.
    """
    found: dict[int, Sums] = {}
    origins = set()
    for part in parts:
        origins.add(part.counted_from)
        for size, sums in part.classes.items():
            found[size] = found[size] + sums if size in found else sums
    if len(origins) != 1:
        raise ValueError("totals can be added only when counted from the same number")
    return Totals(origins.pop(), found)


def mean_of_totals(totals: Totals, *, is_error: bool) -> ClusteredMean:
    """Return the mean with its interval, as `clustered_mean` or `signed_mean` from rows.

    Args:
        totals: of the values.
        is_error: the values are errors, never below 0.
    """
    n, n_values = totals.n_patients, totals.n_values
    if not n_values:
        return no_mean()
    sd = sqrt(max(totals.squares, 0.0) / (n_values - 1)) if n_values > 1 else None
    se = None
    if n > 1:
        variance = totals.variance_of_mean
        y2 = fsum(sums.y2 for sums in totals.classes.values())
        se = sqrt(variance) if variance * n_values > _ROUNDING * y2 / n_values else 0.0
    limits = skew_corrected_limits if is_error else student_limits
    mean = totals.counted_from + totals.shift
    return with_limits((n, n_values), mean, sd, se, limits)


def icc_of_totals(totals: Totals) -> IntraclassCorrelation:
    """Return the correlation of a patient's values, as `intraclass_correlation` from rows.

    Args:
        totals: of the values, for errors of their square roots.
    """
    n, n_values = totals.n_patients, totals.n_values
    refusal = refusal_of_icc(n, n_values)
    if refusal:
        return IntraclassCorrelation(n, n_values, None, None, None, refusal)
    classes, shift = totals.classes.items(), totals.shift
    within = fsum(sums.y2 - sums.s2 / size for size, sums in classes)
    between = fsum(
        sums.s2 / size - 2 * shift * sums.s + sums.n * size * shift**2
        for size, sums in classes
    )
    if within <= _ROUNDING * totals.squares:
        within = 0.0
    squared_sizes = sum(sums.n * size**2 for size, sums in classes)
    size = (n_values - squared_sizes / n_values) / (n - 1)
    return icc_of_squares(
        (n, n_values), between / (n - 1), within / (n_values - n), size
    )


def share_of_totals(totals: Totals) -> ClusteredShare:
    """Return the share with its interval, as `clustered_share` from rows.

    Args:
        totals: of 1 where a value meets the criterion and 0 where not, counted from 0.
    """
    n, n_values = totals.n_patients, totals.n_values
    count_met = round(fsum(sums.s for sums in totals.classes.values()))
    share = count_met / n_values if n_values else None
    low = high = n_effective = None
    if n >= FEWEST_FOR_INTERVAL and share is not None:
        n_effective = effective_of_variance(
            share, totals.variance_of_mean, (n, n_values), fewest=n / 2
        )
        low, high = wilson_limits(share, n_effective)
    return ClusteredShare(
        n, n_values, count_met, share, low, high, n_effective, doubt_about_count(n)
    )


def quantile_of_bins(counts: Mapping[int, int], width: float, p: float) -> float:
    """Return a quantile from counts in bins: within one width of that from rows.

    Values are taken as spread evenly over their bin.

    Args:
        counts: how many values lie in bin i, from i width up to under (i + 1) width.
        width: of a bin, in the values' unit.
        p: above 0, below 1.

    Raises:
        ValueError: there is no value.
    """
    bins = sorted(place for place, count in counts.items() if count)
    if not bins:
        raise ValueError("no values")
    # type 7: between the values at the whole ranks around p (N - 1), counted from 0
    rank = p * (sum(counts.values()) - 1)
    lower = _at_rank(counts, bins, floor(rank))
    upper = _at_rank(counts, bins, ceil(rank))
    return (lower + (rank - floor(rank)) * (upper - lower)) * width


def _at_rank(counts: Mapping[int, int], bins: list[int], rank: int) -> float:
    """Return where the value of a rank lies, in widths; it lies evenly within its bin."""
    below = 0
    for place in bins:
        if rank < below + counts[place]:
            return place + (rank - below + 0.5) / counts[place]
        below += counts[place]
    raise ValueError("the rank lies beyond the values")
