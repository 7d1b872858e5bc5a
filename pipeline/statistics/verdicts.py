"""A mean set against published means: better, inside, worse, or too few to say.

The verdict rests on the whole 95 % interval of our mean, not on the mean alone. It is
meant for one look at the end of an audit cycle; looking after every case would call a
clinic at the edge wrong far more often than 1 time in 40.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from pipeline.statistics.means import ClusteredMean
from pipeline.statistics.patients import (
    FEWEST_WITHOUT_CAUTION,
    UPPER_TAIL,
    Floats,
    counted,
)

Word: TypeAlias = Literal["better", "inside", "worse", "too few to say"]

ENOUGH_CHANCE = 0.80
"""The chance of being decided that a number of further patients must give."""

MOST_MORE_PATIENTS = 200
"""Beyond this many further patients the comparison is said not to decide."""

WILL_NOT_DECIDE = "this comparison will not decide"


@dataclass(frozen=True, slots=True)
class CasesNeeded:
    """How many more patients a comparison needs.

    Attributes:
        n_more: further patients; None when none up to 200 is enough or none can be
            foretold.
        chance: the chance that they decide it; None with n_more.
        sentence: the same in words.
    """

    n_more: int | None
    chance: float | None
    sentence: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """Our mean against the published ones.

    Attributes:
        word: better, inside (not worse), worse, or too few to say.
        edge_low: the lowest published mean less the floor.
        edge_high: the highest published mean plus the floor.
        n_more: further patients that would probably decide; 0 when it is decided,
            None when no number can be named.
        sentence: the verdict in words, with its reason.
    """

    word: Word
    edge_low: float
    edge_high: float
    n_more: int | None
    sentence: str


def compare_with_band(
    mean: ClusteredMean,
    lowest_mean: float,
    highest_mean: float,
    floor: float,
    *,
    unit: str = "",
) -> Verdict:
    """Set the mean of an error against the published means of one comparison set.

    Args:
        mean: from `clustered_mean`.
        lowest_mean: lowest mean of the set, same unit (of a set with one mean: the
            lower limit of its printed 95 % interval).
        highest_mean: highest mean of the set (or that interval's upper limit).
        floor: a difference this small is never called one, 0 or more.
        unit: printed after the numbers of the sentence.

    Raises:
        ValueError: the band is upside down, the floor is below 0, or one is missing.
    """
    if not (lowest_mean <= highest_mean and floor >= 0):
        raise ValueError("the band needs lowest_mean <= highest_mean and floor >= 0")
    low_edge, high_edge = lowest_mean - floor, highest_mean + floor
    if (
        mean.n_clusters < FEWEST_WITHOUT_CAUTION
        or mean.low is None
        or mean.high is None
    ):
        word: Word = "too few to say"
        reason = _too_few(mean)
    else:
        word = _judge(mean.low, mean.high, low_edge, high_edge)
        ends = (mean.low, mean.high, low_edge, high_edge)
        reason = _reason(word, *(f"{end:.2f}{unit and ' '}{unit}" for end in ends))
    if word != "too few to say":
        return Verdict(word, low_edge, high_edge, 0, reason)
    # "inside" means not worse: only the upper edge can leave the verdict open
    needed = cases_needed(
        mean, [high_edge], fewest=FEWEST_WITHOUT_CAUTION - mean.n_clusters
    )
    sentence = f"{reason} {needed.sentence}"
    return Verdict(word, low_edge, high_edge, needed.n_more, sentence)


def cases_needed(
    mean: ClusteredMean, edges: Sequence[float], *, fewest: int = 1
) -> CasesNeeded:
    """Smallest number of further patients that would probably decide a comparison.

    Predictive: with n patients and k more, the future mean is spread around ours as t
    with n - 1 degrees of freedom times s sqrt(k / (n (n + k))), s = se sqrt(n), and its
    interval reaches t s / sqrt(n + k) to both sides. The answer is the smallest k that
    leaves no edge inside that interval with a chance of at least 80 %.

    Args:
        mean: ours so far.
        edges: what the interval has to clear, at least one, same unit.
        fewest: name no smaller number than this.
    """
    if mean.mean is None or mean.low is None or not mean.se:
        return not_foretold()
    more = np.arange(max(1, fewest), MOST_MORE_PATIENTS + 1)
    chances = _chance_decided(mean.mean, mean.se, mean.n_clusters, more, edges)
    return smallest_enough(more, chances)


def not_foretold() -> CasesNeeded:
    """Return that no number can be named, because nothing is known of the spread."""
    sentence = "How many more patients are needed cannot be foretold yet."
    return CasesNeeded(None, None, sentence)


def smallest_enough(more: NDArray[np.int_], chances: Floats) -> CasesNeeded:
    """Return the smallest number of further patients whose chance is enough.

    Args:
        more: numbers of further patients, rising.
        chances: the chance that each decides, same shape.
    """
    is_enough = chances >= ENOUGH_CHANCE
    if not is_enough.any():
        sentence = (
            f"More than {MOST_MORE_PATIENTS} further patients would be needed:"
            f" {WILL_NOT_DECIDE}."
        )
        return CasesNeeded(None, None, sentence)
    first = int(np.argmax(is_enough))
    n_more = int(more[first])
    sentence = (
        f"About {counted(n_more, 'more patient')} would decide it, with a chance of"
        f" at least {ENOUGH_CHANCE:.0%}."
    )
    return CasesNeeded(n_more, float(chances[first]), sentence)


def _chance_decided(
    mean: float, se: float, n: int, more: NDArray[np.int_], edges: Sequence[float]
) -> Floats:
    """Chance that no edge lies inside the future interval, for each number more."""
    s = se * sqrt(n)
    total = n + more
    reach = np.asarray(stdtrit(total - 1, UPPER_TAIL)) * s / np.sqrt(total)
    spread = s * np.sqrt(more / (n * total))
    chance_open = np.zeros(more.size)
    covered = np.full(more.size, -np.inf)
    for edge in sorted(edges):
        # the future mean is too near this edge, and was not too near a lower one
        start = np.maximum(edge - reach, covered)
        covered = edge + reach
        chance_open += stdtr(n - 1, (covered - mean) / spread)
        chance_open -= stdtr(n - 1, (start - mean) / spread)
    return 1 - chance_open


def _judge(low: float, high: float, low_edge: float, high_edge: float) -> Word:
    if low > high_edge:
        return "worse"
    if high < low_edge:
        return "better"
    return "inside" if high <= high_edge else "too few to say"


def _reason(word: Word, low: str, high: str, low_edge: str, high_edge: str) -> str:
    return {
        "worse": f"Worse: all of the interval, {low} to {high}, lies above"
        f" {high_edge}, the upper edge of the published means.",
        "better": f"Better: all of the interval, {low} to {high}, lies below"
        f" {low_edge}, the lower edge of the published means.",
        "inside": f"Inside: the interval, {low} to {high}, does not pass {high_edge},"
        " the upper edge of the published means; not worse than published.",
        "too few to say": f"Too few to say: {high_edge}, the upper edge of the"
        f" published means, lies within the interval, {low} to {high}.",
    }[word]


def _too_few(mean: ClusteredMean) -> str:
    n = mean.n_clusters
    if n < FEWEST_WITHOUT_CAUTION:
        return (
            f"Too few to say: {counted(n, 'patient')}; a verdict needs at least"
            f" {FEWEST_WITHOUT_CAUTION}."
        )
    return f"Too few to say: {mean.warning}"
