"""What a reader can rely on in a bound that most implants keep."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.statistics.tolerance import (
    chance_beyond,
    fewest_patients,
    largest_rank,
    tolerance_bound,
)


def test_the_bound_is_the_largest_of_all_implants_at_59_patients() -> None:
    values = np.random.default_rng(2).permutation(np.arange(118.0))
    result = tolerance_bound(values, np.arange(118) // 2)
    assert (result.rank, result.bound, result.n_more) == (1, 117, 0)
    assert result.warning is None


def test_58_patients_need_one_more_however_many_implants_they_have() -> None:
    result = tolerance_bound(np.arange(174.0), np.arange(174) // 3)
    assert (result.rank, result.bound, result.n_more) == (None, None, 1)
    assert result.warning == "Not given: needs 1 more patient."


def test_the_rank_counts_patients_and_the_bound_is_of_implants() -> None:
    result = tolerance_bound(np.arange(200.0), np.arange(200) // 2)
    assert result.rank == largest_rank(100, 0.95, 0.95) == 2
    assert result.bound == 198


def test_the_bound_is_never_below_that_of_one_implant_a_patient() -> None:
    rng = np.random.default_rng(4)
    values = rng.lognormal(size=(120, 2))
    both = tolerance_bound(values.ravel(), np.repeat(range(120), 2)).bound
    assert both is not None
    for side in (0, 1):
        single = tolerance_bound(values[:, side], range(120)).bound
        assert single is not None
        assert both >= single


def test_tied_values_are_counted_each() -> None:
    result = tolerance_bound([5.0] * 100 + [9.0], range(101))
    assert (result.rank, result.bound) == (2, 5)


def test_without_values_all_patients_are_lacking() -> None:
    result = tolerance_bound([], [])
    assert (result.n_clusters, result.bound, result.n_more) == (0, None, 59)


def test_the_smallest_number_of_patients_just_suffices() -> None:
    for coverage, confidence in [(0.8, 0.9), (0.9, 0.5), (0.999, 0.99)]:
        n = fewest_patients(coverage, confidence)
        assert chance_beyond(n, 1, coverage) >= confidence
        assert largest_rank(n, coverage, confidence) == 1
        assert largest_rank(n - 1, coverage, confidence) is None


@pytest.mark.parametrize("part", [0.0, 1.0, 1.5, float("nan")])
def test_coverage_and_confidence_lie_strictly_inside(part: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        tolerance_bound([1.0], [1], coverage=part)
    with pytest.raises(ValueError, match="between 0 and 1"):
        tolerance_bound([1.0], [1], confidence=part)
