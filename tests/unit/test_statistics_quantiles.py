"""What a reader can rely on in a median and in high quantiles."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.statistics.quantiles import (
    clustered_quantile,
    fewest_values,
    rank_limits,
)


@pytest.mark.parametrize(
    ("p", "fewest"), [(0.5, 1), (0.9, 20), (0.95, 40), (0.75, 8), (0.1, 20)]
)
def test_each_quantile_names_how_many_values_it_needs(p: float, fewest: int) -> None:
    assert fewest_values(p) == fewest
    values = np.arange(fewest, dtype=float)
    assert clustered_quantile(values, range(fewest), p).value is not None
    if fewest > 1:
        short = clustered_quantile(values[1:], range(fewest - 1), p)
        assert short.value is None
        assert short.warning == "Not given: needs 1 more patient."


def test_what_is_lacking_is_counted_in_implants_where_patients_have_two() -> None:
    result = clustered_quantile(np.arange(23.0), np.arange(23) // 2, 0.95)
    assert (result.value, result.low, result.high) == (None, None, None)
    assert result.warning == "Not given: needs 17 more implants."


def test_the_median_is_always_given() -> None:
    assert clustered_quantile([3.0], ["a"], 0.5).value == 3
    assert clustered_quantile([3.0, 4.0], ["a", "a"], 0.5).value == 3.5


def test_the_point_is_linear_between_neighbours() -> None:
    """Type 7: quantile p of 0, 1, .., N - 1 is p (N - 1)."""
    for p in (0.5, 0.9, 0.95):
        value = clustered_quantile(np.arange(41.0), range(41), p).value
        assert value == pytest.approx(40 * p)


def test_limits_are_values_that_were_measured() -> None:
    values = np.random.default_rng(3).rayleigh(size=60)
    result = clustered_quantile(values, np.arange(60) // 2, 0.9)
    assert result.low in values
    assert result.high in values
    assert result.warning is None


def test_a_missing_upper_limit_says_how_many_more_it_needs() -> None:
    """Independent values need 36 for the 90th percentile: 1 - 0.9^36 >= 0.975."""
    result = clustered_quantile(np.arange(30.0), range(30), 0.9)
    assert result.low is not None
    assert result.high is None
    assert result.n_effective is not None
    assert rank_limits(35, 35, 0.9)[1] is None
    assert rank_limits(36, 36, 0.9)[1] == 36
    assert rank_limits(71, 71, 0.95)[1] is None
    assert rank_limits(72, 72, 0.95)[1] == 72
    assert result.warning is not None
    assert result.warning.startswith("An upper limit needs about")


@pytest.mark.parametrize("p", [0.5, 0.9, 0.95, 0.1])
@pytest.mark.parametrize("n_patients", [5, 6, 12, 25])
def test_the_number_it_needs_is_enough_and_no_fewer_is(
    p: float, n_patients: int
) -> None:
    values = np.random.default_rng(5).rayleigh(size=2 * n_patients)
    result = clustered_quantile(values, np.arange(2 * n_patients) // 2, p)
    if result.value is None or result.warning is None or "needs" not in result.warning:
        return
    assert result.n_effective is not None
    worth = result.n_effective / result.n_values
    count_more = int(result.warning.split("about ")[1].split()[0])
    enough = result.n_values + count_more
    assert None not in rank_limits(enough, worth * enough, p)
    assert None in rank_limits(enough - 1, worth * (enough - 1), p)


def test_a_low_quantile_lacks_its_lower_limit_and_five_medians_lack_both() -> None:
    low = clustered_quantile(np.arange(24.0), range(24), 0.1)
    assert low.low is None
    assert low.high is not None
    assert low.warning is not None
    assert low.warning.startswith("A lower limit")
    five = clustered_quantile(np.arange(5.0), range(5), 0.5)
    assert (five.low, five.high) == (None, None)
    assert five.warning == "An interval needs about 1 more patient."
    seven = clustered_quantile(np.arange(28.0), np.arange(28) // 4, 0.9)
    assert seven.high is None
    assert seven.warning is not None
    assert seven.warning.startswith("Few: only 7 patients")
    assert "An upper limit needs about" in seven.warning


def test_all_equal_values_have_that_value_as_quantile_and_limits() -> None:
    result = clustered_quantile([2.0] * 20, range(20), 0.5)
    assert (result.value, result.low, result.high) == (2, 2, 2)
    assert result.n_effective == 20


def test_pairs_that_always_agree_widen_the_limits() -> None:
    values = np.random.default_rng(7).rayleigh(size=20)
    apart = clustered_quantile(np.repeat(values, 2), range(40), 0.5)
    tied = clustered_quantile(np.repeat(values, 2), np.arange(40) // 2, 0.5)
    assert apart.value == tied.value
    assert tied.n_effective is not None
    assert apart.n_effective is not None
    assert tied.n_effective < apart.n_effective / 1.9
    assert None not in (apart.low, apart.high, tied.low, tied.high)
    assert tied.low <= apart.low < apart.high <= tied.high  # type: ignore[operator]


def test_effective_number_never_falls_below_three_quarters_of_the_patients() -> None:
    """One patient holds most of the values, all alike."""
    values = np.array([*([9.0] * 40), *np.arange(19.0)])
    result = clustered_quantile(values, [0] * 40 + [*range(1, 20)], 0.4)
    assert result.n_effective == 0.75 * 20


def test_without_values_there_is_no_quantile() -> None:
    result = clustered_quantile([], [], 0.5)
    assert (result.value, result.warning) == (None, "No values.")
    assert clustered_quantile([], [], 0.95).warning == "No values."


def test_under_five_patients_only_the_point_is_given() -> None:
    result = clustered_quantile(np.arange(8.0), np.arange(8) // 2, 0.5)
    assert result.value == 3.5
    assert (result.low, result.high) == (None, None)
    assert result.warning is not None
    assert result.warning.startswith("No interval: 4 patients")


@pytest.mark.parametrize("p", [0.0, 1.0, -0.5, float("nan")])
def test_a_quantile_lies_strictly_inside(p: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        clustered_quantile([1.0], [1], p)
