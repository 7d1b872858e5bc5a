"""Is a run of cases still acceptable, and is a learner's shown to be: two running scores.

Each case either meets what is asked of it or fails. The upward score (CUSUM) rises with a
failed case and asks whether the failure rate has become unacceptable; the learning score
(LC-CUSUM, Biau & Porcher 2010, doi 10.1002/sim.3947) rises with a met case and asks
whether an acceptable rate has been shown. Neither falls below 0. The limit is the
smallest score that can occur with at most the wanted chance of a false signal within the
planned number of cases, computed exactly; limits from alpha and beta of a sequential test
would signal falsely two to six times as often.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import ceil, log
from typing import Final

SAME: Final = 1e-9
"""Two scores closer than this are one: they differ by rounding only."""

DIGITS: Final = 12
"""Scores are kept to so many decimals: far finer than `SAME`, however many are added."""

NEGLIGIBLE: Final = 1e-15
STEADY: Final = 1e-10
LONGEST: Final = 4000


@dataclass(frozen=True, slots=True)
class Rates:
    """What is asked of a run of cases.

    Attributes:
        acceptable: share of cases that may fail, between 0 and 1.
        unacceptable: share that must not be missed; above ``acceptable``.
        n_planned: cases within which a false signal counts.
        false_alarm: largest chance of one, within that number.
    """

    acceptable: float
    unacceptable: float
    n_planned: int
    false_alarm: float

    def __post_init__(self) -> None:
        """Refuse rates that are no question.

        Raises:
            ValueError: the rates are not in order, or out of range.
        """
        if not 0 < self.acceptable < self.unacceptable < 1:
            raise ValueError("0 < acceptable < unacceptable < 1 is needed")
        if self.n_planned < 1 or not 0 < self.false_alarm < 1:
            raise ValueError("at least one case, and a chance between 0 and 1")

    @property
    def on_failure(self) -> float:
        """How much a failed case moves a score: ln of the ratio of the failure rates."""
        return log(self.unacceptable / self.acceptable)

    @property
    def on_success(self) -> float:
        """How much a met case moves it the other way."""
        return log((1 - self.acceptable) / (1 - self.unacceptable))


@dataclass(frozen=True, slots=True)
class Chart:
    """A running score with its limit and what the limit does.

    Attributes:
        is_learning: the score of shown competence, else of lost performance.
        rises, falls: steps of the score; it rises on a met case when learning.
        limit: a score at or above it is a signal.
        false_alarm: chance of a false signal within the planned cases: at the
            acceptable rate, or at the unacceptable rate when learning.
        power: chance of a right signal within them, at the other rate.
        cases_to_false_signal: mean run length at the first rate.
        cases_to_signal: mean run length at the other rate.
        least_cases: so many failed (met, when learning) cases in a row signal at once.
    """

    is_learning: bool
    rises: float
    falls: float
    limit: float
    false_alarm: float
    power: float
    cases_to_false_signal: float
    cases_to_signal: float
    least_cases: int


@dataclass(frozen=True, slots=True)
class Point:
    """The score after one case; after a signal it starts again at 0.

    Attributes:
        score: before it starts again.
        is_signal: the score reached the limit with this case.
    """

    score: float
    is_signal: bool


def too_few_planned(rates: Rates) -> int | None:
    """Return how many met cases in a row would be needed at least; None when fewer do.

    With fewer planned cases than ln(chance) / ln(1 - unacceptable) even a learner
    without one failure shows nothing.
    """
    needed = ceil(log(rates.false_alarm) / log(1 - rates.unacceptable) - SAME)
    return needed if needed > rates.n_planned else None


@cache
def performance_chart(rates: Rates) -> Chart:
    """Return the chart that signals when the failure rate has become unacceptable."""
    return _chart(rates, is_learning=False)


@cache
def learning_chart(rates: Rates) -> Chart:
    """Return the chart that signals when an acceptable failure rate has been shown.

    Raises:
        ValueError: too few cases are planned for any signal (`too_few_planned`).
    """
    needed = too_few_planned(rates)
    if needed is not None:
        raise ValueError(f"at least {needed} planned cases are needed")
    return _chart(rates, is_learning=True)


def run_chart(chart: Chart, has_failed: Sequence[bool]) -> list[Point]:
    """Return the score after each case, in the order given."""
    points, score = [], 0.0
    for failed in has_failed:
        rises = failed is not chart.is_learning
        score = max(0.0, score + chart.rises if rises else score - chart.falls)
        is_signal = score >= chart.limit - SAME
        points.append(Point(score, is_signal))
        if is_signal:
            score = 0.0
    return points


def _chart(rates: Rates, *, is_learning: bool) -> Chart:
    if is_learning:
        rises, falls = rates.on_success, rates.on_failure
        wrongly, rightly = 1 - rates.unacceptable, 1 - rates.acceptable
    else:
        rises, falls = rates.on_failure, rates.on_success
        wrongly, rightly = rates.acceptable, rates.unacceptable
    n = rates.n_planned
    limit = _limit(rises, falls, wrongly, n, rates.false_alarm)
    return Chart(
        is_learning,
        rises,
        falls,
        limit,
        chance_of_signal(rises, falls, limit, wrongly, n),
        chance_of_signal(rises, falls, limit, rightly, n),
        _mean_run(rises, falls, limit, wrongly),
        _mean_run(rises, falls, limit, rightly),
        ceil(limit / rises - SAME),
    )


def chance_of_signal(
    rises: float, falls: float, limit: float, chance_of_rise: float, n: int
) -> float:
    """Return the exact chance that a score reaches the limit within n cases."""
    spread, reached = {0.0: 1.0}, 0.0
    for _ in range(n):
        spread, now = _step(spread, rises, falls, limit, chance_of_rise)
        reached += now
    return reached


def _step(
    spread: dict[float, float],
    rises: float,
    falls: float,
    limit: float,
    chance_of_rise: float,
) -> tuple[dict[float, float], float]:
    """Return where the score may be after one more case, and the chance of a signal."""
    after: dict[float, float] = {}
    reached = 0.0
    for score, chance in spread.items():
        up = score + rises
        if up >= limit - SAME:
            reached += chance * chance_of_rise
        else:
            _add(after, up, chance * chance_of_rise)
        _add(after, max(0.0, score - falls), chance * (1 - chance_of_rise))
    return after, reached


def _add(spread: dict[float, float], score: float, chance: float) -> None:
    if chance > NEGLIGIBLE:
        key = round(score, DIGITS)
        spread[key] = spread.get(key, 0.0) + chance


def _limit(rises: float, falls: float, wrongly: float, n: int, allowed: float) -> float:
    """Return the smallest score that can occur and signals falsely rarely enough."""
    scores = sorted(_scores_within(rises, falls, n))
    low, high = 0, len(scores) - 1
    while low < high:
        middle = (low + high) // 2
        if chance_of_signal(rises, falls, scores[middle], wrongly, n) <= allowed:
            high = middle
        else:
            low = middle + 1
    return scores[high]


def _scores_within(rises: float, falls: float, n: int) -> set[float]:
    """Return every score above 0 that n cases can give."""
    now, seen = {0.0}, {0.0}
    for _ in range(n):
        now = {
            round(score, DIGITS)
            for before in now
            for score in (before + rises, max(0.0, before - falls))
        } - seen
        seen |= now
    return seen - {0.0}


def _mean_run(rises: float, falls: float, limit: float, chance_of_rise: float) -> float:
    """Return the mean number of cases until a signal, starting from 0.

    The chance of no signal yet is summed case by case until it shrinks by a steady
    factor; the rest is the sum of that geometric series.
    """
    spread, mean, factor = {0.0: 1.0}, 0.0, 0.0
    left = 1.0
    for _ in range(LONGEST):
        mean += left
        spread, reached = _step(spread, rises, falls, limit, chance_of_rise)
        shrunk = (left - reached) / left
        left -= reached
        if left < STEADY:
            return mean
        if abs(shrunk - factor) < STEADY and 0 < shrunk < 1:
            return mean + left / (1 - shrunk)
        factor = shrunk
    return mean
