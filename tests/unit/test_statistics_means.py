"""What a reader can rely on in a mean and its interval."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy.special import stdtrit

from pipeline.statistics.means import (
    ClusteredMean,
    clustered_mean,
    signed_mean,
    skew_corrected_limits,
    student_limits,
)

ONE_EACH = [0.4, 1.1, 0.7, 2.6, 0.9, 1.3, 0.2, 1.0]


def test_one_implant_a_patient_gives_the_textbook_t_interval() -> None:
    result = signed_mean(ONE_EACH, range(8))
    se = np.std(ONE_EACH, ddof=1) / sqrt(8)
    reach = 2.364624251592785 * se  # t.975 with 7 df, printed 2.365 in any table
    assert result.mean == pytest.approx(np.mean(ONE_EACH))
    assert result.se == pytest.approx(se)
    assert (result.low, result.high) == pytest.approx(
        (np.mean(ONE_EACH) - reach, np.mean(ONE_EACH) + reach)
    )
    assert result.design_effect == pytest.approx(1)
    assert result.warning is None


def test_an_error_has_a_longer_arm_above_than_below() -> None:
    result = clustered_mean(ONE_EACH, range(8))
    assert result.mean is not None
    assert result.low is not None
    assert result.high is not None
    assert result.high - result.mean > result.mean - result.low > 0
    plain = signed_mean(ONE_EACH, range(8))
    assert (result.mean, result.sd, result.se) == (plain.mean, plain.sd, plain.se)


def test_two_implants_that_always_agree_count_once() -> None:
    once = clustered_mean(ONE_EACH, range(8))
    twice = clustered_mean(ONE_EACH + ONE_EACH, [*range(8), *range(8)])
    assert twice.n_values == 16
    assert (twice.low, twice.high) == pytest.approx((once.low, once.high))
    # 2 x the naive variance, less the divisor N - 1 = 15 where 14 would be twice 7
    assert twice.design_effect == pytest.approx(2 * 15 / 14)


def test_patients_with_more_implants_weigh_more() -> None:
    result = clustered_mean([1, 1, 1, 2, 3, 4, 5], [1, 1, 1, 2, 3, 4, 5])
    assert result.mean == pytest.approx(17 / 7)
    totals = np.array([3 - 3 * 17 / 7, *(np.arange(2, 6) - 17 / 7)])
    assert result.se == pytest.approx(sqrt(5 / 4 * (totals @ totals) / 49))


def test_without_values_there_is_nothing_and_it_says_so() -> None:
    assert clustered_mean([], []) == ClusteredMean(
        0, 0, None, None, None, None, None, None, "No values."
    )


def test_one_value_has_a_mean_and_nothing_else() -> None:
    result = clustered_mean([1.5], ["a"])
    assert result.mean == 1.5
    assert (result.sd, result.se, result.low, result.high) == (None,) * 4
    assert result.warning == (
        "No interval: 1 patient; fewer than 5 cannot show how much patients differ."
    )


def test_one_patient_with_two_implants_has_a_spread_but_no_standard_error() -> None:
    result = clustered_mean([1.0, 2.0], ["a", "a"])
    assert result.sd == pytest.approx(sqrt(0.5))
    assert result.se is None
    assert result.design_effect is None


@pytest.mark.parametrize(
    ("n", "has_interval", "words"),
    [(4, False, "No interval"), (5, True, "Few"), (7, True, "Few"), (8, True, None)],
)
def test_few_patients_are_refused_then_cautioned(
    n: int, has_interval: bool, words: str | None
) -> None:
    for estimate in (clustered_mean, signed_mean):
        result = estimate(ONE_EACH[:n], range(n))
        assert (result.low is not None) == has_interval
        assert (result.high is not None) == has_interval
        if words is None:
            assert result.warning is None
        else:
            assert result.warning is not None
            assert result.warning.startswith(words)


@pytest.mark.parametrize("value", [0.0, 0.1, 1 / 3, 1e6 + 0.1])
def test_values_all_equal_give_no_interval(value: float) -> None:
    result = clustered_mean([value] * 21, [*range(11), *range(10)])
    assert result.mean == value
    assert result.se == 0
    assert (result.low, result.high, result.design_effect) == (None, None, None)
    assert result.warning is not None
    assert "copied" in result.warning


def test_patients_with_equal_sums_give_no_interval_in_spite_of_rounding() -> None:
    values = [0.1, 0.7, 0.3, 0.5, 0.2, 0.6, 0.7, 0.1, 0.35, 0.45]
    result = clustered_mean(values, np.repeat(range(5), 2))
    assert result.se == 0
    assert result.low is None


def test_an_error_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be below 0"):
        clustered_mean([1.0, -0.1], [1, 2])


def test_the_lower_limit_of_an_error_is_never_below_zero() -> None:
    result = clustered_mean([0, 0, 0, 0, 0, 0, 0, 9], range(8))
    assert result.low is not None
    assert result.low >= 0


def test_the_correction_vanishes_with_the_skewness() -> None:
    for n in (5, 30):
        assert skew_corrected_limits(1e9, 1.0, n) == pytest.approx(
            student_limits(1e9, 1.0, n), rel=1e-15
        )


def test_the_correction_is_the_inverse_of_the_cubic_transformation() -> None:
    """Hall's cubic of the studentised truth at each limit gives back t."""
    mean, se, n = 1.1, 0.15, 11
    a = 2 * se / mean
    t = stdtrit(n - 1, 0.975)
    for limit, expected in zip(
        skew_corrected_limits(mean, se, n), (t, -t), strict=True
    ):
        w = (mean - limit) / se
        cubic = w + a * w**2 / 3 + a**2 * w**3 / 27 + a / 6
        assert cubic == pytest.approx(expected)
