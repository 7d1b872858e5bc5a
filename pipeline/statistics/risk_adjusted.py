"""Is a run of cases still like the programme's, given how hard each case was.

What is expected of a case comes from the programme's own cases by logistic regression. A
case then moves the score by the log likelihood ratio of odds that many times as high
(Steiner and others, Biostatistics 2000;1:441-452): a missed easy case raises it more than
a missed hard one. Steps are kept to a thousandth, so that the scores form a lattice and
the chance of a false signal over a row of unlike cases is summed exactly.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from math import log
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from pipeline.statistics.learning import Covariate
from pipeline.statistics.mixed import is_of_full_rank
from pipeline.statistics.monitoring import Point
from pipeline.statistics.patients import Floats

FEWEST_CASES: Final = 40
"""Cases below which no case-mix model is fitted. Common practice, no source."""

EVENTS_PER_TERM: Final = 10
"""Failed cases, and met ones, wanted for each coefficient: Peduzzi and others, J Clin
Epidemiol 1996;49:1373-1379."""

FINENESS: Final = 1000
"""Steps of a score in one unit: the published weights have three decimals."""

CERTAIN: Final = 1e-6
"""Expected risks closer than this to 0 or 1 mean that something parts the cases wholly."""


@dataclass(frozen=True, slots=True)
class CaseMix:
    """What was expected of each case.

    Attributes:
        n_cases: cases behind the model.
        n_failed: how many of them failed.
        covariates: those the model allows for; others were left out.
        risks: shape (n,), expected chance that the case fails; empty when refused.
        why_not: why it is refused; None when it is not.
    """

    n_cases: int
    n_failed: int
    covariates: tuple[str, ...]
    risks: Floats
    why_not: str | None = None


@dataclass(frozen=True, slots=True)
class AdjustedLimit:
    """The limit of one row of cases and what it does.

    Attributes:
        limit: a score at or above it is a signal.
        false_alarm: chance of one where the expected risks hold.
        power: chance of one where the odds are as many times as high as asked.
    """

    limit: float
    false_alarm: float
    power: float


def case_mix(has_failed: ArrayLike, covariates: Sequence[Covariate]) -> CaseMix:
    """Fit what makes cases fail.

    A covariate joins where it is known in every case and varies, and where failed and met
    cases are enough for one more coefficient.

    Args:
        has_failed: shape (n,), whether each case failed.
        covariates: what made cases hard, the most wanted first.
    """
    failed = np.asarray(has_failed, dtype=np.float64)
    n_cases, n_failed = failed.size, int(failed.sum())
    joined, design = _design(failed.size, covariates)
    rarer = min(n_failed, n_cases - n_failed)
    names = joined[: rarer // EVENTS_PER_TERM]
    why = _too_few(n_cases, n_failed, joined, names)
    risks: Floats = np.empty(0)
    if why is None:
        fitted = _fit(failed, design[:, : 1 + len(names)])
        if fitted is None:
            why = f"Cannot be said: {' and '.join(names)} part failed from met cases wholly."
        else:
            risks = fitted
    return CaseMix(n_cases, n_failed, names if why is None else (), risks, why)


def _design(
    n_cases: int, covariates: Sequence[Covariate]
) -> tuple[tuple[str, ...], Floats]:
    """Return the covariates that can join, and the columns with an intercept first."""
    columns: list[Floats] = [np.ones(n_cases)]
    names: list[str] = []
    for covariate in covariates:
        more = [*columns, covariate.values]
        if np.isfinite(covariate.values).all() and is_of_full_rank(
            np.column_stack(more)
        ):
            columns, names = more, [*names, covariate.name]
    return tuple(names), np.column_stack(columns)


def _too_few(
    n_cases: int, n_failed: int, joined: Sequence[str], names: Sequence[str]
) -> str | None:
    if n_cases < FEWEST_CASES:
        return f"Too few to say: {n_cases} of the {FEWEST_CASES} judged cases needed."
    if not joined:
        return "Cannot be said: nothing that makes a case hard is known in every case and differs."
    if not names:
        return (
            f"Too few to say: {n_failed} failed and {n_cases - n_failed} met cases;"
            f" {EVENTS_PER_TERM} of each are needed."
        )
    return None


def _fit(failed: Floats, design: Floats) -> Floats | None:
    """Return each case's expected risk; None where the fit finds no end."""
    from statsmodels.discrete.discrete_model import Logit
    from statsmodels.tools.sm_exceptions import (
        ConvergenceWarning,
        PerfectSeparationError,
        PerfectSeparationWarning,
    )

    centre, spread = design[:, 1:].mean(axis=0), design[:, 1:].std(axis=0)
    scaled = np.column_stack([design[:, 0], (design[:, 1:] - centre) / spread])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the way there; the end is judged below
        warnings.simplefilter("error", ConvergenceWarning)
        warnings.simplefilter("error", PerfectSeparationWarning)
        try:
            fitted = Logit(failed, scaled).fit(disp=0)
        except (
            ConvergenceWarning,
            PerfectSeparationError,
            PerfectSeparationWarning,
            np.linalg.LinAlgError,
        ):
            return None
    risks = np.asarray(fitted.predict(), dtype=np.float64)
    is_certain = (risks.min() < CERTAIN) or (risks.max() > 1 - CERTAIN)
    return None if is_certain else risks


def weights(risk: float, odds_ratio: float) -> tuple[float, float]:
    """Return how much a failed and a met case move the score.

    Args:
        risk: expected chance that the case fails, between 0 and 1.
        odds_ratio: how many times as high the odds are that must not be missed.

    Raises:
        ValueError: a risk that is none, or odds that are no question.
    """
    if not 0 < risk < 1 or odds_ratio <= 0 or odds_ratio == 1:
        raise ValueError("a risk between 0 and 1 and an odds ratio other than 1")
    met = -log(1 - risk + odds_ratio * risk)
    return log(odds_ratio) + met, met


def adjusted_limit(
    risks: ArrayLike, odds_ratio: float, false_alarm: float
) -> AdjustedLimit | None:
    """Return the smallest limit that signals falsely rarely enough over a row of cases.

    Args:
        risks: shape (n,), expected risk of each case in its order.
        odds_ratio: how many times as high the odds are that must not be missed; above 1.
        false_alarm: largest chance of a false signal within the row.

    Returns:
        None where no score the row can reach is rare enough.
    """
    expected = np.asarray(risks, dtype=np.float64)
    steps = [_steps(risk, odds_ratio) for risk in expected]
    low, high = 1, sum(up for up, _ in steps)
    if _chance(steps, expected, high) > false_alarm:
        return None
    while low < high:
        middle = (low + high) // 2
        if _chance(steps, expected, middle) <= false_alarm:
            high = middle
        else:
            low = middle + 1
    raised = odds_ratio * expected / (1 - expected + odds_ratio * expected)
    return AdjustedLimit(
        high / FINENESS, _chance(steps, expected, high), _chance(steps, raised, high)
    )


def run_adjusted(
    risks: Sequence[float],
    has_failed: Sequence[bool],
    odds_ratio: float,
    limit: float,
) -> list[Point]:
    """Return the score after each case; after a signal it starts again at 0."""
    points, score = [], 0
    for risk, failed in zip(risks, has_failed, strict=True):
        up, down = _steps(risk, odds_ratio)
        score = max(0, score + (up if failed else down))
        is_signal = score >= round(limit * FINENESS)
        points.append(Point(score / FINENESS, is_signal))
        if is_signal:
            score = 0
    return points


def _steps(risk: float, odds_ratio: float) -> tuple[int, int]:
    failed, met = weights(risk, odds_ratio)
    return round(failed * FINENESS), round(met * FINENESS)


def _chance(steps: Sequence[tuple[int, int]], risks: Floats, limit: int) -> float:
    """Return the exact chance of a signal within the row, scores and limit in steps."""
    spread = np.zeros(limit)
    spread[0] = 1.0
    for (up, down), risk in zip(steps, risks, strict=True):
        after = np.zeros(limit)
        after[up:] += risk * spread[: max(0, limit - up)]
        after[0] += (1 - risk) * spread[: 1 - down].sum()
        rest = spread[1 - down :]
        after[1 : 1 + rest.size] += (1 - risk) * rest
        spread = after
    return float(1 - spread.sum())
