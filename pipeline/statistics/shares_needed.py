"""How many more patients would probably tell whether a share reaches its target.

Predictive: with the share seen so far, further implants meet the criterion as a
beta-binomial number would have it (the share is not known, only likely; Jeffreys' prior
of half a success and half a failure), counted as independent values worth as much as
two in a mouth. A number of patients is enough when Wilson's interval of the whole then
leaves the target outside with a chance of at least 80 %.
"""

from __future__ import annotations

from bisect import bisect_left

import numpy as np
from scipy.special import betaln, gammaln

from pipeline.statistics.patients import FEWEST_FOR_INTERVAL, Floats
from pipeline.statistics.shares import ClusteredShare, wilson_limits
from pipeline.statistics.verdicts import (
    MOST_MORE_PATIENTS,
    CasesNeeded,
    not_foretold,
    smallest_enough,
)

PRIOR = 0.5


def patients_needed(share: ClusteredShare, target: float) -> CasesNeeded:
    """Smallest number of further patients that would probably decide on a target.

    Args:
        share: what was met so far.
        target: the share wanted, above 0, below 1 or equal to it.

    Raises:
        ValueError: the target is no share.
    """
    if not 0 < target <= 1:
        raise ValueError("a target is a share above 0 and at most 1")
    if share.n_effective is None or share.share is None:
        return not_foretold()
    more = np.arange(
        max(1, FEWEST_FOR_INTERVAL - share.n_clusters), MOST_MORE_PATIENTS + 1
    )
    worth = share.n_effective / share.n_clusters
    chances = np.array(
        [
            _chance_decided(share.share, share.n_effective, round(k * worth), target)
            for k in more
        ]
    )
    return smallest_enough(more, chances)


def _chance_decided(share: float, n: float, further: int, target: float) -> float:
    """Chance that the interval of n and `further` values leaves the target outside."""
    met, total = share * n, n + further

    def limits(count: int) -> tuple[float, float]:
        return wilson_limits(min(1.0, (met + count) / total), total)

    # both limits rise with the count, so few enough miss the target and many reach it
    counts = range(further + 1)
    reached = bisect_left(counts, x=True, key=lambda count: limits(count)[0] >= target)
    missed = bisect_left(counts, x=True, key=lambda count: limits(count)[1] >= target)
    chances = _predictive(further, met + PRIOR, n - met + PRIOR)
    return float(chances[:missed].sum() + chances[reached:].sum())


def _predictive(further: int, a: float, b: float) -> Floats:
    """Beta-binomial probability of each count, 0 to `further`."""
    count = np.arange(further + 1, dtype=np.float64)
    n = float(further)
    choices = gammaln(n + 1) - gammaln(count + 1) - gammaln(n - count + 1)
    return np.asarray(np.exp(choices + betaln(count + a, n - count + b) - betaln(a, b)))
