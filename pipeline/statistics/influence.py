"""What one patient does to a mean: always said, seldom flagged.

Leaving out one patient moves a mean by at most one standard error, so "moves it a lot" is
no test; in small audits an ordinary patient often has the largest influence. A flag is
raised only when a patient's mean is unusual among the others, or by the caller when a
verdict changes without the patient.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from pipeline.statistics.patients import (
    FEWEST_FOR_INTERVAL,
    FEWEST_WITHOUT_CAUTION,
    Floats,
    Labels,
    group_by_patient,
)

FALSE_FLAGS: Final = 0.05
"""Share of audits without an odd patient in which one is called unusual, at most."""


@dataclass(frozen=True, slots=True)
class Influence:
    """The patient whose leaving out moves the mean most.

    Attributes:
        n_clusters: patients.
        mean: over all values.
        mean_without: over the values of the others.
        is_of_patient: (n_values,) True for the values of that patient.
        is_unusual: the patient's mean is unusually large among the others'; None where
            it is not judged (signed values, few patients).
    """

    n_clusters: int
    mean: float
    mean_without: float
    is_of_patient: NDArray[np.bool_]
    is_unusual: bool | None


def largest_influence(
    values: ArrayLike, clusters: Labels, *, is_error: bool
) -> Influence | None:
    """Return the largest influence of one patient; None below 5 patients.

    Args:
        values: shape (n_values,), in one unit.
        clusters: the patient of each value.
        is_error: the values are errors (0 or more); only then is a patient's mean
            judged, on the log scale.

    Raises:
        ValueError: a value or a label is missing.
    """
    numbers, patients = group_by_patient(values, clusters)
    n, n_values = patients.n_patients, patients.n_values
    if n < FEWEST_FOR_INTERVAL:
        return None
    totals = patients.totals(numbers)
    mean = float(numbers.mean())
    without = (totals.sum() - totals) / (n_values - patients.sizes)
    place = int(np.argmax(np.abs(without - mean)))
    is_unusual = None
    if is_error and n >= FEWEST_WITHOUT_CAUTION:
        residuals = studentised(_logs(totals / patients.sizes))
        is_unusual = bool(residuals[place] > unusual_from(n))
    return Influence(
        n, mean, float(without[place]), patients.index == place, is_unusual
    )


def unusual_from(n: int) -> float:
    """Return the residual from which one of n patients is unusual (t, .05/n above)."""
    return float(stdtrit(n - 2, 1 - FALSE_FLAGS / n))


def studentised(values: Floats) -> Floats:
    """Return externally studentised residuals from a common mean, n - 2 degrees.

    Each value against the mean and the spread of the others.

    Args:
        values: shape (n,), n at least 3; 0 everywhere where the others do not differ.
    """
    n = len(values)
    off = values - values.mean()
    left = float(off @ off) - n / (n - 1) * off**2
    spread = np.sqrt(np.maximum(left, 0) / (n - 2))
    is_told = spread > 0
    scaled = off * sqrt(n / (n - 1)) / np.where(is_told, spread, 1)
    return np.where(is_told, scaled, 0.0)


def _logs(means: Floats) -> Floats:
    """Return logarithms; a mean of 0 counts as half of the smallest other one."""
    above = means[means > 0]
    if not above.size:
        return np.zeros_like(means)
    logs: Floats = np.log(np.where(means > 0, means, above.min() / 2))
    return logs
