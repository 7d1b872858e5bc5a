"""How well the same thing is measured again: what repeated readings of one source tell.

Everything rests on the spread of readings around the mean of their own subject, pooled
over subjects. Subjects may have different numbers of readings. It is done on coordinates,
distances and leans, never on sizes of errors, whose spread grows with their size.

Sources: Bland & Altman, Lancet 1986;i:307-310 (repeatability, limits of agreement);
Shrout & Fleiss, Psychol Bull 1979;86:420-428 (intraclass correlation); Dahlberg 1940
(method error of duplicates); Carkeet, Optom Vis Sci 2015;92(3) (exact limits).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import nctdtrit

from pipeline.statistics.clustering import f_limits, mean_squares, typical_size
from pipeline.statistics.patients import (
    FEWEST_FOR_INTERVAL,
    FEWEST_WITHOUT_CAUTION,
    UPPER_TAIL,
    Floats,
    Labels,
    Patients,
    as_numbers,
    counted,
    group_by_patient,
)

ENOUGH_DF = 10
"""From so many degrees of freedom a source's own repeats stand for its reading error."""

_NO_SPREAD = 1e-12

Z_95 = 1.96
"""Normal quantile as limits of agreement use it."""


@dataclass(frozen=True, slots=True)
class Repeatability:
    """What repeated readings of one quantity tell.

    Attributes:
        n_subjects: things read at least twice.
        n_values: readings of them.
        df: degrees of freedom, readings less subjects.
        within_sd: standard deviation of one reading, pooled; None without repeats.
        dahlberg: square root of the sum of d^2 / 2n over the subjects with exactly two
            readings; None when there is none.
        coefficient: repeatability coefficient 2 sqrt(2) within_sd: two readings of one
            thing differ by less in about 95 of 100 cases.
        icc: one-way intraclass correlation ICC(1,1); None when refused.
        icc_low: lower 95 % limit.
        icc_high: upper 95 % limit.
        is_enough: the reading error may be taken from here.
        warning: what to say beside it; None when there is nothing.
    """

    n_subjects: int
    n_values: int
    df: int
    within_sd: float | None
    dahlberg: float | None
    coefficient: float | None
    icc: float | None
    icc_low: float | None
    icc_high: float | None
    is_enough: bool
    warning: str | None


@dataclass(frozen=True, slots=True)
class LimitsOfAgreement:
    """Second less first reading of the same subjects.

    Attributes:
        n_subjects: subjects with both readings.
        bias: mean difference, second less first; None without subjects.
        sd: standard deviation of the differences; None below two.
        low: lower limit of agreement, bias - 1.96 sd; None when refused.
        high: upper limit of agreement.
        low_low: lower end of the exact 95 % interval of the lower limit.
        low_high: upper end of it.
        high_low: lower end of the exact 95 % interval of the upper limit.
        high_high: upper end of it.
    """

    n_subjects: int
    bias: float | None
    sd: float | None
    low: float | None
    high: float | None
    low_low: float | None
    low_high: float | None
    high_low: float | None
    high_high: float | None


_NOTHING_AGAIN = Repeatability(
    n_subjects=0,
    n_values=0,
    df=0,
    within_sd=None,
    dahlberg=None,
    coefficient=None,
    icc=None,
    icc_low=None,
    icc_high=None,
    is_enough=False,
    warning="Nothing was measured more than once.",
)


def repeatability(values: ArrayLike, subjects: Labels) -> Repeatability:
    """Repeatability of one quantity from the readings of many subjects.

    Args:
        values: shape (n_values,), readings in one unit.
        subjects: what each reading is of. Subjects read once say nothing about
            repeats and are left out.

    Raises:
        ValueError: a value or a label is missing.
    """
    numbers, read = _read_again(*group_by_patient(values, subjects))
    n, n_values = read.n_patients, read.n_values
    df = n_values - n
    if df == 0:
        return _NOTHING_AGAIN
    within_sd = _within_sd(numbers, read)
    icc, refusal = _icc_or_refusal(numbers, read, within_sd)
    warning = _doubt(df, within_sd) or refusal
    return Repeatability(
        n_subjects=n,
        n_values=n_values,
        df=df,
        within_sd=within_sd,
        dahlberg=_dahlberg(numbers, read),
        coefficient=2 * sqrt(2) * within_sd,
        icc=icc[0],
        icc_low=icc[1],
        icc_high=icc[2],
        is_enough=df >= ENOUGH_DF and within_sd > 0,
        warning=warning,
    )


def one_way_icc(values: Floats, subjects: Patients) -> tuple[float, float, float]:
    """ICC(1,1) with its 95 % limits, by the one-way analysis of variance.

    Args:
        values: shape (n_values,).
        subjects: at least two, with more values than subjects and some spread within.
    """
    between, within = mean_squares(values, subjects)
    size = typical_size(subjects)
    ratio = between / within
    n, n_values = subjects.n_patients, subjects.n_values
    low, high = f_limits(ratio, n - 1, n_values - n, size)
    return (ratio - 1) / (ratio + size - 1), low, high


def limits_of_agreement(first: ArrayLike, second: ArrayLike) -> LimitsOfAgreement:
    """Limits of agreement of two readings of the same subjects.

    The intervals of the limits are exact for normal differences (noncentral t).

    Args:
        first: shape (n_subjects,), one reading of each.
        second: shape (n_subjects,), the other, in the same order.

    Raises:
        ValueError: a value is missing, or the two are not equally long.
    """
    differences = as_numbers(second) - as_numbers(first)
    n = differences.size
    bias = float(differences.mean()) if n else None
    sd = float(differences.std(ddof=1)) if n > 1 else None
    if bias is None or sd is None or n < FEWEST_FOR_INTERVAL:
        return LimitsOfAgreement(n, bias, sd, None, None, None, None, None, None)
    near, far = limit_factors(n)
    return LimitsOfAgreement(
        n_subjects=n,
        bias=bias,
        sd=sd,
        low=bias - Z_95 * sd,
        high=bias + Z_95 * sd,
        low_low=bias - far * sd,
        low_high=bias - near * sd,
        high_low=bias + near * sd,
        high_high=bias + far * sd,
    )


def limit_factors(n: int) -> tuple[float, float]:
    """Factors of the sd that hold one limit of agreement with 95 % confidence.

    The limit mean + 1.96 sd of the population lies between mean + near sd and
    mean + far sd of the sample: quantiles of the noncentral t with n - 1 degrees of
    freedom and noncentrality 1.96 sqrt n, over sqrt n (Carkeet 2015).

    Args:
        n: number of differences, at least 2.
    """
    shift = Z_95 * sqrt(n)
    near, far = (
        float(nctdtrit(n - 1, shift, tail)) / sqrt(n)
        for tail in (1 - UPPER_TAIL, UPPER_TAIL)
    )
    return near, far


def _read_again(numbers: Floats, subjects: Patients) -> tuple[Floats, Patients]:
    """Keep the readings of subjects that were read at least twice."""
    is_again = subjects.sizes > 1
    keep = is_again[subjects.index]
    place = np.cumsum(is_again) - 1
    return numbers[keep], Patients(
        place[subjects.index[keep]], subjects.sizes[is_again]
    )


def _within_sd(numbers: Floats, subjects: Patients) -> float:
    centred = numbers - numbers[0]
    means = subjects.totals(centred) / subjects.sizes
    rest = centred - means[subjects.index]
    spread = float(np.ptp(numbers))
    sd = sqrt(float(rest @ rest) / (subjects.n_values - subjects.n_patients))
    return sd if sd > _NO_SPREAD * spread else 0.0


def _dahlberg(numbers: Floats, subjects: Patients) -> float | None:
    """Dahlberg's method error; half of d^2 is the sum of squares around the mean."""
    is_double = subjects.sizes == 2
    if not is_double.any():
        return None
    centred = numbers - numbers[0]
    means = subjects.totals(centred) / subjects.sizes
    squares = subjects.totals((centred - means[subjects.index]) ** 2)
    return sqrt(float(squares[is_double].sum()) / int(is_double.sum()))


_NO_ICC = (None, None, None)


def _icc_or_refusal(
    numbers: Floats, subjects: Patients, within_sd: float
) -> tuple[tuple[float | None, float | None, float | None], str | None]:
    n = subjects.n_patients
    if n < FEWEST_WITHOUT_CAUTION:
        few = f"No intraclass correlation: {counted(n, 'subject')} read again;"
        return _NO_ICC, f"{few} at least {FEWEST_WITHOUT_CAUTION} are needed."
    if within_sd == 0:
        return _NO_ICC, None
    return one_way_icc(numbers, subjects), None


def _doubt(df: int, within_sd: float) -> str | None:
    if within_sd == 0:
        return "Repeated readings are exactly alike: copied, or read too coarsely."
    if df < ENOUGH_DF:
        return (
            f"Few repeats: {df} degrees of freedom; from {ENOUGH_DF} on they stand for"
            " the reading error of this source."
        )
    return None
