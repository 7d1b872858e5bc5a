"""Can two factors be told apart, and how much of what varies goes with each.

Who operated and who made the guide can be told apart only where they changed partners. The
levels and the pairs that occur are a graph; the design of both factors has as many free
effects as levels less the parts of that graph that hang together. In one part both can be
told apart; the share each takes is then given as a range, alone and beside the other
(sequential sums of squares both ways; Searle, Linear Models, 1971, chapter 7).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.patients import Floats

FEWEST_CASES: Final = 30
"""Cases below which no share is given. Common practice, no source."""

FEWEST_SPARE: Final = 10
"""Cases wanted beyond one for each free effect. Common practice, no source."""

TOLD: Final = "told"


@dataclass(frozen=True, slots=True)
class Share:
    """What one factor takes of the sum of squares.

    Attributes:
        low: the smaller of its shares, alone and beside the other factor.
        high: the larger.
        by_chance: share that as many levels take on the average where nothing goes with them.
    """

    low: float
    high: float
    by_chance: float


@dataclass(frozen=True, slots=True)
class Crossed:
    """Two factors over the same cases.

    Attributes:
        n_cases: cases where both are known.
        n_one, n_other: their levels.
        answer: told; few (cases); one_level; other_in_one (each level of the other goes with
            a single level of the first), one_in_other; in_parts; no_rest (nearly
            as many effects as cases); alike (values do not vary).
        one, other: their shares; None where they are not told.
    """

    n_cases: int
    n_one: int
    n_other: int
    answer: str
    one: Share | None = None
    other: Share | None = None


def crossed(values: ArrayLike, one: ArrayLike, other: ArrayLike) -> Crossed:
    """Say whether two factors can be told apart, and what each takes.

    Args:
        values: shape (n,), one number a case, on the scale that is to be shared out.
        one: shape (n,), the level of the first factor.
        other: shape (n,), the level of the second.
    """
    numbers = np.asarray(values, dtype=np.float64)
    names_one, of_one = np.unique(np.asarray(one), return_inverse=True)
    names_other, of_other = np.unique(np.asarray(other), return_inverse=True)
    n, n_one, n_other = numbers.size, names_one.size, names_other.size
    counts = np.zeros((n_one, n_other))
    np.add.at(counts, (of_one, of_other), 1)
    centred = numbers - numbers.mean() if n else numbers
    whole = float(centred @ centred)
    answer = _answer(counts, n, whole)
    if answer != TOLD:
        return Crossed(n, n_one, n_other, answer)
    sums_one = np.asarray(np.bincount(of_one, weights=centred), np.float64)
    sums_other = np.asarray(np.bincount(of_other, weights=centred), np.float64)
    alone_one = float((sums_one**2 / counts.sum(axis=1)).sum())
    alone_other = float((sums_other**2 / counts.sum(axis=0)).sum())
    both = _explained(counts, sums_one, sums_other)
    return Crossed(
        n,
        n_one,
        n_other,
        answer,
        _share(alone_one / whole, (both - alone_other) / whole, n_one, n),
        _share(alone_other / whole, (both - alone_one) / whole, n_other, n),
    )


def _answer(counts: Floats, n: int, whole: float) -> str:
    """Return the first reason that holds, else told."""
    n_one, n_other = counts.shape
    parts = _count_parts(counts > 0)
    reasons = {
        "one_level": min(n_one, n_other) <= 1,
        "other_in_one": parts == n_one,
        "one_in_other": parts == n_other,
        "in_parts": parts > 1,
        "few": n < FEWEST_CASES,
        "no_rest": n - (n_one + n_other - 1) < FEWEST_SPARE,
        "alike": whole <= 0,
    }
    return next((reason for reason, holds in reasons.items() if holds), TOLD)


def _count_parts(occurs: NDArray[np.bool_]) -> int:
    """Return how many parts the graph of levels and occurring pairs falls into."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    rows, columns = np.nonzero(occurs)
    size = sum(occurs.shape)
    edges = (np.ones(rows.size), (rows, occurs.shape[0] + columns))
    graph = coo_array(edges, shape=(size, size))
    return int(connected_components(graph, directed=False)[0])


def _explained(counts: Floats, sums_one: Floats, sums_other: Floats) -> float:
    """Return the sum of squares both factors explain together, by normal equations."""
    cross = np.block(
        [
            [np.diag(counts.sum(axis=1)), counts],
            [counts.T, np.diag(counts.sum(axis=0))],
        ]
    )
    sums = np.concatenate([sums_one, sums_other])
    effects = np.linalg.lstsq(cross, sums, rcond=None)[0]
    return float(effects @ sums)


def _share(alone: float, beside: float, n_levels: int, n: int) -> Share:
    low, high = sorted((alone, max(0.0, beside)))
    return Share(low, high, (n_levels - 1) / (n - 1))
