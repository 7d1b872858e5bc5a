"""What a reader can rely on in a share and its interval."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from pipeline.statistics.shares import ClusteredShare, clustered_share, wilson_limits


def test_all_or_none_met_is_wilson_on_the_number_of_patients() -> None:
    clusters = np.repeat(range(11), 2)
    none = clustered_share(np.zeros(22), clusters)
    everyone = clustered_share(np.ones(22), clusters)
    assert none.n_effective == everyone.n_effective == 11
    assert none.low == 0
    assert everyone.high == 1
    low, high = proportion_confint(0, 11, method="wilson")
    assert (none.low, none.high) == pytest.approx((low, high))
    assert (everyone.low, everyone.high) == pytest.approx((1 - high, 1 - low))


def test_one_implant_a_patient_is_wilson_on_one_fewer() -> None:
    """The variance between n patients has n - 1 degrees of freedom, hence n - 1."""
    result = clustered_share([1] * 12 + [0] * 8, range(20))
    assert result.n_effective == pytest.approx(19)
    assert (result.low, result.high) == pytest.approx(wilson_limits(0.6, 19))


def test_implants_that_always_agree_are_worth_one_a_patient() -> None:
    once = clustered_share([1] * 12 + [0] * 8, range(20))
    twice = clustered_share(([1] * 12 + [0] * 8) * 2, [*range(20), *range(20)])
    assert twice.n_effective == pytest.approx(once.n_effective)
    assert (twice.low, twice.high) == pytest.approx((once.low, once.high))


def test_implants_that_never_agree_are_worth_no_more_than_their_number() -> None:
    result = clustered_share([0, 1] * 10, np.repeat(range(10), 2))
    assert result.n_effective == 20
    assert (result.low, result.high) == pytest.approx(wilson_limits(0.5, 20))


def test_effective_number_never_falls_below_half_the_patients() -> None:
    """One patient with many failed implants among single successes."""
    result = clustered_share([0] * 40 + [1] * 19, [0] * 40 + [*range(1, 20)])
    assert result.n_effective == 10


def test_counts_are_of_implants() -> None:
    result = clustered_share(np.array([True, True, False] * 4), np.arange(12) // 2)
    assert (result.count_met, result.n_values, result.n_clusters) == (8, 12, 6)
    assert result.share == pytest.approx(2 / 3)
    assert result.warning is not None
    assert result.warning.startswith("Few")


def test_under_five_patients_only_the_count_is_given() -> None:
    result = clustered_share([1, 1, 1, 0], [1, 2, 3, 4])
    assert (result.count_met, result.share) == (3, 0.75)
    assert (result.low, result.high, result.n_effective) == (None, None, None)
    assert result.warning is not None
    assert result.warning.startswith("No interval")


def test_without_values_there_is_no_share() -> None:
    expected = ClusteredShare(0, 0, 0, None, None, None, None, "No values.")
    assert clustered_share([], []) == expected


def test_a_number_is_not_a_judgement() -> None:
    with pytest.raises(ValueError, match="true or false"):
        clustered_share([0.5, 1.0], [1, 2])
