"""Do deviations shrink with a trainee's own case number: a mixed model over trainees.

The logarithm of a case's mean deviation may depend on the own case number (the fourth case
and the eighth are as far apart as the first and the second: its logarithm is taken), and
on what made the case hard; each trainee has a level and a slope of their own. The estimate
reads as a ratio for twice as many cases. Intervals use t with trainees less two degrees of
freedom, since so many slopes is what there is to see (the sandwich error of so few clusters
is too small).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtr, stdtrit

from pipeline.statistics.factors import ALL_ALIKE, LEAST
from pipeline.statistics.mixed import (
    MixedModel,
    is_of_full_rank,
    leaves_nothing,
    random_slope,
)
from pipeline.statistics.patients import UPPER_TAIL, Floats, Labels, group_by_patient

FEWEST_TRAINEES = 6
"""With fewer trainees the interval of a slope is too wide to be of use: t with three
degrees of freedom or fewer."""

FEWEST_CASES = 3
"""Cases a trainee needs to show a slope."""

CASES_PER_TERM = 10
"""Cases wanted for each coefficient. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Learning:
    """What twice as many own cases go with.

    Attributes:
        n_trainees: trainees with at least FEWEST_CASES cases, taken in.
        n_cases: their cases.
        ratio: deviation after twice as many own cases over before; None when refused.
        low: lower limit of its 95 % interval; None when refused.
        high: upper limit; None when refused.
        p: two-sided, of the ratio being 1; None when refused.
        covariates: those the model allows for; others were left out.
        why_not: why it is refused; None when it is not.
    """

    n_trainees: int
    n_cases: int
    ratio: float | None = None
    low: float | None = None
    high: float | None = None
    p: float | None = None
    covariates: tuple[str, ...] = ()
    why_not: str | None = None


@dataclass(frozen=True, slots=True)
class Covariate:
    """Something that makes a case hard.

    Attributes:
        name: what it is called.
        values: shape (n,), a number for each case; not a number where it is not known.
    """

    name: str
    values: Floats


def learning(
    case_means: ArrayLike,
    case_numbers: ArrayLike,
    trainees: Labels,
    covariates: Sequence[Covariate] = (),
) -> Learning:
    """Estimate what twice as many own cases go with.

    A covariate joins where it is known in every case taken in, varies, and enough cases
    stand behind each coefficient.

    Args:
        case_means: shape (n,), mean deviation of each case, 0 or more.
        case_numbers: shape (n,), the trainee's own case number, from 1.
        trainees: the trainee of each case.
        covariates: what made cases hard, the most wanted first.

    Raises:
        ValueError: a value is missing, a mean is below 0 or a case number below 1.
    """
    means, everybody = group_by_patient(case_means, trainees)
    numbers = np.asarray(case_numbers, dtype=np.float64)
    if means.size and (means.min() < 0 or numbers.min() < 1):
        raise ValueError("means are 0 or more, case numbers 1 or more")
    kept = everybody.sizes[everybody.index] >= FEWEST_CASES
    n_trainees = int(np.count_nonzero(everybody.sizes >= FEWEST_CASES))
    n_cases = int(np.count_nonzero(kept))
    if n_trainees < FEWEST_TRAINEES:
        why = (
            f"Too few to say: {n_trainees} with {FEWEST_CASES} cases or more;"
            f" {FEWEST_TRAINEES} are needed."
        )
        return Learning(n_trainees, n_cases, why_not=why)
    logs, own = group_by_patient(
        np.log(np.maximum(means[kept], LEAST)), everybody.index[kept]
    )
    doublings = np.log2(numbers[kept])
    columns = [np.ones(n_cases), doublings]
    used: list[str] = []
    for covariate in covariates:
        values = covariate.values[kept]
        more = [*columns, values]
        if n_cases >= CASES_PER_TERM * len(more) and _can_join(more):
            columns, used = more, [*used, covariate.name]
    design = np.column_stack(columns)
    if not is_of_full_rank(design):
        why = "Cannot be said: every case has the same number."
        return Learning(n_trainees, n_cases, why_not=why)
    if leaves_nothing(logs, design):
        return Learning(n_trainees, n_cases, why_not=ALL_ALIKE)
    centred = doublings - doublings.mean()
    model = random_slope(logs, own, design, centred)
    return _told(model, n_trainees, n_cases, tuple(used))


def _can_join(columns: Sequence[Floats]) -> bool:
    return bool(np.isfinite(columns[-1]).all()) and is_of_full_rank(
        np.column_stack(columns)
    )


def _told(
    model: MixedModel, n_trainees: int, n_cases: int, used: tuple[str, ...]
) -> Learning:
    slope, se = float(model.coefficients[1]), model.se(1)
    df = n_trainees - 2
    half = float(stdtrit(df, UPPER_TAIL)) * se
    p = 2 * float(stdtr(df, -abs(slope) / se))
    return Learning(
        n_trainees,
        n_cases,
        exp(slope),
        exp(slope - half),
        exp(slope + half),
        p,
        used,
    )
