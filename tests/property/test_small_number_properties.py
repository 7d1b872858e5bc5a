"""A small count that is hidden stays hidden, whatever totals stand beside it."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.statistics.small_numbers import FEWEST_SHOWN, Sum, hidden_counts, ranges


def with_totals(cells):
    """Return counts with the totals of rows, columns and all, and how they add up."""
    n_rows, n_columns = cells.shape
    full = np.zeros((n_rows + 1, n_columns + 1), dtype=int)
    full[:-1, :-1] = cells
    full[:-1, -1] = cells.sum(axis=1)
    full[-1] = full[:-1].sum(axis=0)
    place = np.arange(full.size).reshape(full.shape)
    sums = [Sum(int(row[-1]), tuple(map(int, row[:-1]))) for row in place]
    sums += [Sum(int(column[-1]), tuple(map(int, column[:-1]))) for column in place.T]
    return full.ravel(), sums


@st.composite
def tables(draw):
    n_rows, n_columns = draw(st.integers(1, 5)), draw(st.integers(1, 5))
    n = n_rows * n_columns
    cells = draw(st.lists(st.integers(0, 14), min_size=n, max_size=n))
    return np.array(cells).reshape(n_rows, n_columns)


@settings(max_examples=25, deadline=None)
@given(tables())
def test_what_is_shown_tells_no_more_of_a_small_count_than_that_it_is_small(cells):
    counts, sums = with_totals(cells)
    is_hidden = hidden_counts(counts, sums)
    for count, hidden, (low, high) in zip(
        counts, is_hidden, ranges(counts, sums, is_hidden), strict=True
    ):
        assert low - 1e-6 <= count <= high + 1e-6
        if 0 < count < FEWEST_SHOWN:
            assert hidden
            assert low <= 1 + 1e-6
            assert high >= FEWEST_SHOWN - 1 - 1e-6
        elif hidden:
            assert high - low > 1 - 1e-6


@settings(max_examples=4, deadline=None)
@given(st.lists(st.integers(0, 3), min_size=4, max_size=4))
def test_trying_every_table_finds_several_for_each_hidden_count(cells):
    """Independent of the linear programs: all whole numbers up to twice the total are tried."""
    counts, sums = with_totals(np.array(cells).reshape(2, 2))
    is_hidden = hidden_counts(counts, sums)
    most = 2 * max(int(counts.max()), FEWEST_SHOWN)
    values = [set() for _ in counts]
    inner = [0, 1, 3, 4]
    for tried in product(
        *(range(most + 1) if is_hidden[i] else (int(counts[i]),) for i in inner)
    ):
        other, _ = with_totals(np.array(tried).reshape(2, 2))
        if (other[~is_hidden] == counts[~is_hidden]).all():
            for value, seen in zip(other, values, strict=True):
                seen.add(int(value))
    for count, hidden, seen in zip(counts, is_hidden, values, strict=True):
        if hidden:
            assert len(seen) > 1
        if 0 < count < FEWEST_SHOWN:
            assert {1, FEWEST_SHOWN - 1} <= seen


@settings(max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 9), st.integers(0, 9), st.integers(0, 9)),
        min_size=1, max_size=6,
    )
)  # fmt: skip
def test_two_ways_to_divide_the_same_cases_do_not_give_each_other_away(parts):
    """A total divided twice: by who finished, and by whether somebody supervised."""
    counts, sums = [], []
    for first, second, share in parts:
        own = first + second
        at = len(counts)
        supervised = min(share, own)
        counts += [own, first, second, supervised, own - supervised]
        sums += [Sum(at, (at + 1, at + 2)), Sum(at, (at + 3, at + 4))]
    is_hidden = hidden_counts(counts, sums)
    found = ranges(counts, sums, is_hidden)
    for count, hidden, (low, high) in zip(counts, is_hidden, found, strict=True):
        if 0 < count < FEWEST_SHOWN:
            assert hidden
            assert low <= 1 + 1e-6
            assert high >= FEWEST_SHOWN - 1 - 1e-6


def test_a_lone_small_part_takes_the_smallest_other_part_with_it():
    counts = [20, 2, 11, 7]
    hidden = hidden_counts(counts, [Sum(0, (1, 2, 3))])
    assert hidden.tolist() == [False, True, False, True]


def test_counts_that_are_large_or_nothing_are_all_shown():
    assert not hidden_counts([14, 9, 5, 0], [Sum(0, (1, 2, 3))]).any()


@pytest.mark.parametrize(
    ("counts", "sums", "said"),
    [
        ([3, -1], (), "below 0"),
        ([3.5], (), "whole numbers"),
        ([5, 2, 2], (Sum(0, (1, 2)),), "do not add up"),
    ],
)
def test_counts_that_are_none_are_refused(counts, sums, said):
    with pytest.raises(ValueError, match=said):
        hidden_counts(counts, sums)
