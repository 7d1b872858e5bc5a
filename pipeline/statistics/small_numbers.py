"""Which counts of a table to hide so that no small one can be worked out.

A count above 0 and below `FEWEST_SHOWN` may lead to a person. Hiding it is not enough
where a total beside it gives it away, so others are hidden with it until the figures left
tell no more about it than the rule itself: that it is small. What they tell is found
exactly, as the lowest and highest value each hidden count can take given all that is shown
(linear programs; the audit of cell suppression of Willenborg & de Waal, Elements of
Statistical Disclosure Control, Springer 2001, chapter 4).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Flags: TypeAlias = NDArray[np.bool_]
Counts: TypeAlias = NDArray[np.int64]

FEWEST_SHOWN: Final = 5
"""Counts from 1 to one less are hidden; practice between programmes varies (3 to 10)."""

_NEAR: Final = 1e-6
"""Rounding of a linear program."""


@dataclass(frozen=True, slots=True)
class Sum:
    """One thing a reader can add up.

    Attributes:
        total: place of the total among the counts.
        parts: places of the counts that make it up, all of them.
    """

    total: int
    parts: tuple[int, ...]

    @property
    def places(self) -> tuple[int, ...]:
        """All counts it ties together."""
        return (self.total, *self.parts)


def hidden_counts(
    counts: ArrayLike, sums: Sequence[Sum], fewest: int = FEWEST_SHOWN
) -> Flags:
    """Choose the counts to hide.

    A count a reader does not see but could work out (those *not* supervised, beside all and
    those supervised) belongs among the counts too.

    Args:
        counts: shape (n,), whole numbers of 0 or more.
        sums: every way in which they add up.
        fewest: the smallest count above 0 that may be shown.

    Returns:
        Shape (n,), true where hidden. For every small count the figures left allow 1 and
        ``fewest - 1`` as well; for every other hidden one they allow two values at least.

    Raises:
        ValueError: a count is below 0 or no whole number, or a sum is not true.
    """
    numbers = _checked(counts, sums)
    is_small = (numbers > 0) & (numbers < fewest)
    is_hidden = is_small.copy()
    while True:
        place = _alone(sums, is_hidden)
        if place is None:
            place = _given_away(numbers, sums, is_small, is_hidden, fewest)
        if place is None:
            return is_hidden
        is_hidden[_companion(place, numbers, sums, is_hidden)] = True


def ranges(
    counts: ArrayLike, sums: Sequence[Sum], is_hidden: Flags
) -> list[tuple[float, float]]:
    """Return the lowest and highest value of each count, given those that are shown.

    A count that is shown has one value; one that nothing limits has no highest.

    Raises:
        ValueError: as `hidden_counts`.
    """
    numbers = _checked(counts, sums)
    program = _Program(numbers, sums, is_hidden)
    return [
        (program.end(i, 1), program.end(i, -1))
        if is_hidden[i]
        else (float(n), float(n))
        for i, n in enumerate(numbers)
    ]


def _checked(counts: ArrayLike, sums: Iterable[Sum]) -> Counts:
    numbers = np.asarray(counts)
    if numbers.ndim != 1 or (numbers.size and numbers.dtype.kind not in "iu"):
        raise ValueError("the counts must be one row of whole numbers")
    numbers = numbers.astype(np.int64)
    if numbers.size and numbers.min() < 0:
        raise ValueError("a count cannot be below 0")
    for one in sums:
        if numbers[one.total] != numbers[list(one.parts)].sum():
            raise ValueError(f"the parts of count {one.total} do not add up to it")
    return numbers


class _Program:
    """What the counts that are shown say about those that are hidden."""

    def __init__(self, counts: Counts, sums: Sequence[Sum], is_hidden: Flags) -> None:
        self._column = {int(i): at for at, i in enumerate(np.flatnonzero(is_hidden))}
        tied = [one for one in sums if any(is_hidden[i] for i in one.places)]
        self._left = np.zeros((len(tied), len(self._column)))
        self._right = np.zeros(len(tied))
        for row, one in enumerate(tied):
            for place in one.places:
                sign = -1 if place == one.total else 1
                if is_hidden[place]:
                    self._left[row, self._column[place]] += sign
                else:
                    self._right[row] -= sign * counts[place]

    def solved(self, place: int, direction: int) -> NDArray[np.float64] | None:
        """Return hidden counts with the one at ``place`` lowest (1) or highest (-1).

        None where it has no highest value.
        """
        from scipy.optimize import linprog

        aim = np.zeros(len(self._column))
        aim[self._column[place]] = direction
        tied = len(self._right) > 0
        found = linprog(
            aim,
            A_eq=self._left if tied else None,
            b_eq=self._right if tied else None,
            method="highs",
        )
        return np.asarray(found.x) if found.status == 0 else None

    def end(self, place: int, direction: int) -> float:
        found = self.solved(place, direction)
        return float("inf") if found is None else float(found[self._column[place]])


def _alone(sums: Sequence[Sum], is_hidden: Flags) -> int | None:
    """Return a hidden count that a sum gives away, no other of it being hidden."""
    for one in sums:
        hidden = [place for place in one.places if is_hidden[place]]
        if len(hidden) == 1 and len(one.places) > 1:
            return hidden[0]
    return None


def _given_away(
    counts: Counts, sums: Sequence[Sum], is_small: Flags, is_hidden: Flags, fewest: int
) -> int | None:
    """Return a hidden count about which the others tell too much; None without one.

    Every solution shows for all hidden counts at once what they may be, so that few
    programs need to be solved.
    """
    program = _Program(counts, sums, is_hidden)
    places = np.flatnonzero(is_hidden)
    low = counts[places].astype(np.float64)
    high = low.copy()
    for at, place in enumerate(places):
        for direction in (1, -1):
            if _is_wide(low[at], high[at], fewest, is_small=bool(is_small[place])):
                break
            found = program.solved(int(place), direction)
            if found is None:
                high[at] = np.inf
            else:
                low, high = np.minimum(low, found), np.maximum(high, found)
        if not _is_wide(low[at], high[at], fewest, is_small=bool(is_small[place])):
            return int(place)
    return None


def _is_wide(low: float, high: float, fewest: int, *, is_small: bool) -> bool:
    if is_small:
        return low <= 1 + _NEAR and high >= fewest - 1 - _NEAR
    return high - low >= 1 - _NEAR


def _companion(
    place: int, counts: Counts, sums: Sequence[Sum], is_hidden: Flags
) -> int:
    """Return the count to hide next: near, a part rather than a total, small, not 0."""
    tied = [one for one in sums if place in one.places]
    alone = [o for o in tied if sum(bool(is_hidden[i]) for i in o.places) == 1]
    totals = {one.total for one in sums}
    reached, before = {place}, 0
    while len(reached) > before:
        before = len(reached)
        by = alone or [one for one in sums if reached & {*one.places}]
        near = {i for one in by for i in one.places}
        shown = [i for i in near if not is_hidden[i]]
        if shown:
            return min(shown, key=lambda i: (i in totals, counts[i] == 0, counts[i], i))
        reached |= near
    return place
