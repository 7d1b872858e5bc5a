"""How alike the implants of one patient are: the intraclass correlation.

Errors are compared on the square-root scale, where the F interval keeps its coverage in
spite of their skewness. The correlation of distances is not the share of a common cause:
with half of an error vector common to both implants the distances correlate by about a
quarter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtri

from pipeline.statistics.patients import (
    FEWEST_WITHOUT_CAUTION,
    UPPER_TAIL,
    Floats,
    Labels,
    Patients,
    counted,
    doubt_about_count,
    group_by_patient,
    sum_of_squares,
)

_FEWEST_SECOND_IMPLANTS = 5
_ENOUGH_PATIENTS = 30
_NO_SPREAD = 1e-24


@dataclass(frozen=True, slots=True)
class IntraclassCorrelation:
    """Intraclass correlation of the implants of one patient, one-way.

    Attributes:
        n_clusters: patients.
        n_values: implants.
        icc: 1 when the implants of a patient are alike, 0 when no more alike than
            those of different patients; may be negative; None when refused.
        low: lower limit of the 95 % interval; None when refused.
        high: upper limit of the 95 % interval; None when refused.
        warning: what to say beside the figure; None when there is nothing.
    """

    n_clusters: int
    n_values: int
    icc: float | None
    low: float | None
    high: float | None
    warning: str | None


def intraclass_correlation(
    values: ArrayLike, clusters: Labels, *, is_error: bool
) -> IntraclassCorrelation:
    """Correlation of the implants of one patient, with the exact F interval.

    Args:
        values: shape (n_values,), in one unit.
        clusters: the patient of each value.
        is_error: whether the values are errors (0 or more), which are compared on the
            square-root scale; signed values are compared as they are.

    Raises:
        ValueError: a value or a label is missing, or an error is below 0.
    """
    numbers, patients = group_by_patient(values, clusters)
    if is_error:
        if numbers.size and numbers.min() < 0:
            raise ValueError("an error cannot be below 0: say is_error=False")
        numbers = np.sqrt(numbers)
    n, n_values = patients.n_patients, patients.n_values
    refusal = refusal_of_icc(n, n_values)
    if refusal:
        return IntraclassCorrelation(n, n_values, None, None, None, refusal)
    between, within = mean_squares(numbers, patients)
    spread = float(np.ptp(numbers))
    if within <= _NO_SPREAD * spread * spread:
        within = 0.0
    return icc_of_squares((n, n_values), between, within, typical_size(patients))


def icc_of_squares(
    counts: tuple[int, int], between: float, within: float, size: float
) -> IntraclassCorrelation:
    """Return the correlation and its limits from the mean squares of the analysis.

    Args:
        counts: patients, values; enough of both, see `refusal_of_icc`.
        between: mean square between patients.
        within: mean square within patients; 0 where they are exactly alike.
        size: values a patient, weighted for unequal sizes.
    """
    n, n_values = counts
    if not within:
        warning = "Not given: the implants of each patient are exactly alike."
        return IntraclassCorrelation(n, n_values, None, None, None, warning)
    ratio = between / within
    low, high = f_limits(ratio, n - 1, n_values - n, size)
    icc = (ratio - 1) / (ratio + size - 1)
    is_untold = n < _ENOUGH_PATIENTS and low <= 0 <= high
    untold = f"Cannot be told: {counted(n, 'patient')}, and 0 lies in the interval."
    return IntraclassCorrelation(
        n, n_values, icc, low, high, untold if is_untold else None
    )


def mean_squares(values: Floats, patients: Patients) -> tuple[float, float]:
    """Mean squares between and within patients of the one-way analysis of variance.

    Args:
        values: shape (n_values,).
        patients: at least two, with more values than patients.
    """
    n, n_values = patients.n_patients, patients.n_values
    # counted from the first value: digits survive an offset
    centred = values - values[0]
    means = patients.totals(centred) / patients.sizes
    within = centred - means[patients.index]
    between = means - centred.mean()
    return (
        float((patients.sizes * between**2).sum()) / (n - 1),
        sum_of_squares(within) / (n_values - n),
    )


def typical_size(patients: Patients) -> float:
    """Values a patient, weighted for unequal sizes: (N - sum m^2 / N) / (n - 1)."""
    n_values = patients.n_values
    squares = float(patients.sizes @ patients.sizes)
    return (n_values - squares / n_values) / (patients.n_patients - 1)


def f_limits(
    ratio: float, df_between: int, df_within: int, size: float
) -> tuple[float, float]:
    """95 % limits of ICC(1,1) from the F ratio of a one-way analysis of variance.

    Shrout & Fleiss, Psychol Bull 1979;86:420-428. With unequal sizes the typical size
    stands for the common one, which is then an approximation.

    Args:
        ratio: mean square between over mean square within.
        df_between: patients - 1.
        df_within: values - patients.
        size: values a patient.
    """

    def at(tail: float) -> float:
        scaled = ratio / float(fdtri(df_between, df_within, tail))
        return (scaled - 1) / (scaled + size - 1)

    return at(UPPER_TAIL), at(1 - UPPER_TAIL)


def refusal_of_icc(n: int, n_values: int) -> str | None:
    """Return why no correlation is given for so many patients and values; None if it is."""
    if n < FEWEST_WITHOUT_CAUTION:
        if n == 0:
            return doubt_about_count(0)
        return (
            f"Not given: {counted(n, 'patient')};"
            f" at least {FEWEST_WITHOUT_CAUTION} are needed."
        )
    count_second = n_values - n
    if count_second < _FEWEST_SECOND_IMPLANTS:
        return (
            f"Not given: {counted(count_second, 'further implant')} beside one a"
            f" patient; at least {_FEWEST_SECOND_IMPLANTS} are needed."
        )
    return None
