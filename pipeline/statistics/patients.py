"""Values grouped by patient: the patient, not the implant, is what varies by chance.

Every estimator of this package starts here. Two implants in one mouth share the plan,
the guide and the hand, so the spread that counts is the spread between patients.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from operator import eq
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats: TypeAlias = NDArray[np.float64]
Labels: TypeAlias = "NDArray[Any] | Iterable[Hashable] | Patients"

UPPER_TAIL = 0.975
"""Level of the upper limit of every two-sided 95 % interval."""

FEWEST_FOR_INTERVAL = 5
"""With fewer patients no interval is given."""

FEWEST_WITHOUT_CAUTION = 8
"""With fewer patients an interval carries a caution and no verdict is given."""


@dataclass(frozen=True, slots=True)
class Patients:
    """Which patient each value belongs to.

    Attributes:
        index: shape (n_values,), the patient of each value, 0 to n_patients - 1.
        sizes: shape (n_patients,), how many values each patient has, all above 0.
    """

    index: NDArray[np.intp]
    sizes: NDArray[np.intp]

    @property
    def n_patients(self) -> int:
        """How many patients have at least one value."""
        return self.sizes.size

    @property
    def n_values(self) -> int:
        """How many values there are."""
        return self.index.size

    @property
    def unit(self) -> str:
        """The word for what is counted: patients when each has one value."""
        return "patient" if self.n_values == self.n_patients else "implant"

    def totals(self, values: Floats) -> Floats:
        """Sum of the values of each patient, shape (n_patients,)."""
        totals = np.bincount(self.index, weights=values, minlength=self.n_patients)
        return np.asarray(totals, dtype=np.float64)


def group_by_patient(values: ArrayLike, clusters: Labels) -> tuple[Floats, Patients]:
    """Take values and the patient of each; nothing is dropped.

    Args:
        values: shape (n_values,), finite numbers.
        clusters: one label a value: an array or any hashable labels; or the patients
            as an earlier call gave them, which spares the grouping.

    Returns:
        The values as float64, and their patients.

    Raises:
        ValueError: a value or a label is missing, a value is not finite, or there are
            not as many labels as values.
    """
    numbers = as_numbers(values)
    patients = _group_labels(clusters)
    if patients.n_values != numbers.size:
        message = f"{numbers.size} values but {patients.n_values} patient labels"
        raise ValueError(message)
    return numbers, patients


def as_numbers(values: ArrayLike) -> Floats:
    """Values as a float64 vector.

    Raises:
        ValueError: not one row of finite numbers.
    """
    if np.ma.is_masked(values):
        raise ValueError("some values are masked: set missing values aside first")
    numbers = np.asarray(values, dtype=np.float64)
    if numbers.ndim != 1:
        message = f"values must be one row of numbers, not {numbers.ndim} dimensions"
        raise ValueError(message)
    count_missing = numbers.size - int(np.count_nonzero(np.isfinite(numbers)))
    if count_missing:
        message = (
            f"{count_missing} of {numbers.size} values are missing or not finite:"
            " set them aside first"
        )
        raise ValueError(message)
    return numbers


def variance_of_mean(deviations: Floats, patients: Patients) -> float:
    """Variance of the mean over values when patients vary by chance.

    The ratio (linearised, cluster-robust) form n/(n-1) sum(s_i - m_i mean)^2 / N^2,
    with s_i and m_i the sum and the number of values of patient i (ratio estimate over
    clusters of unequal size: Cochran, Sampling Techniques, 3rd ed. 1977; equal to the
    cluster-robust variance of a regression on a constant).

    Args:
        deviations: values minus their mean.
        patients: at least two of them.
    """
    n = patients.n_patients
    totals = patients.totals(deviations)
    return n / (n - 1) * sum_of_squares(totals) / patients.n_values**2


def sum_of_squares(values: Floats) -> float:
    """Return the sum of the squares of a vector.

    Not ``values @ values``: on a busy machine the threads of that product wait for each
    other far longer than the sum takes, and their number changes its last digits.
    """
    return float(np.square(values).sum())


def doubt_about_count(n_patients: int) -> str | None:
    """What has to be said because there are few patients; None when nothing has."""
    if n_patients == 0:
        return "No values."
    if n_patients < FEWEST_FOR_INTERVAL:
        return (
            f"No interval: {counted(n_patients, 'patient')}; fewer than"
            f" {FEWEST_FOR_INTERVAL} cannot show how much patients differ."
        )
    if n_patients < FEWEST_WITHOUT_CAUTION:
        return f"Few: only {n_patients} patients, so read the interval with caution."
    return None


def counted(number: int, noun: str) -> str:
    """Number and noun, the noun in the plural where it must be."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _group_labels(clusters: Labels) -> Patients:
    if isinstance(clusters, Patients):
        return clusters
    if np.ma.is_masked(clusters):
        raise ValueError("some patient labels are masked")
    if not hasattr(clusters, "__array__"):
        return _group_hashable(list(clusters))
    labels = np.asarray(clusters)
    if labels.ndim != 1:
        message = f"patient labels must be one row, not {labels.ndim} dimensions"
        raise ValueError(message)
    if labels.dtype.kind in "iu":
        return _group_integers(labels)
    return _group_hashable(labels.tolist())


def _group_integers(labels: NDArray[Any]) -> Patients:
    """Count integer labels in place when they are small, which codes mostly are."""
    if labels.size and (labels.min() < 0 or labels.max() > 4 * labels.size + 1000):
        _, index, sizes = np.unique(labels, return_inverse=True, return_counts=True)
        return Patients(index, sizes)
    sizes = np.bincount(labels)
    is_used = sizes > 0
    if is_used.all():
        return Patients(labels.astype(np.intp), sizes)
    position = np.cumsum(is_used) - 1
    return Patients(position[labels], sizes[is_used])


def _group_hashable(labels: list[Hashable]) -> Patients:
    """Number the labels in order of appearance; the loops run inside dict and map."""
    position = dict.fromkeys(labels)
    if None in position or not all(map(eq, position, position)):
        raise ValueError("some patient labels are missing")
    numbered = dict(zip(position, range(len(position)), strict=True))
    index = np.fromiter(map(numbered.__getitem__, labels), np.intp, len(labels))
    return Patients(index, np.bincount(index))
