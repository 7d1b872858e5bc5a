"""Changes of means and shares against published examples and reference libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import confint_proportions_2indep

from pipeline.statistics.change import (
    FEWEST_FOR_CHANGE,
    change_of_mean,
    change_of_share,
    ratio_of_means,
)
from pipeline.statistics.means import ClusteredMean, clustered_mean
from pipeline.statistics.shares import ClusteredShare, wilson_limits


def share(met: int, total: int):
    """A share with Wilson's limits on the number itself, as in the printed table."""
    low, high = wilson_limits(met / total, total)
    return ClusteredShare(total, total, met, met / total, low, high, total, None)


@pytest.mark.parametrize(
    ("now", "before", "low", "high"),
    [
        # Newcombe, Stat Med 1998;17:873-890, Table II, method 10
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((6, 7), (2, 7), 0.0582, 0.8062),
        ((5, 56), (0, 29), -0.0381, 0.1926),
        ((0, 10), (0, 20), -0.1611, 0.2775),
        ((10, 10), (0, 20), 0.6791, 1.0),
    ],
)
def test_the_change_of_a_share_has_the_limits_newcombe_printed(now, before, low, high):
    found = change_of_share(share(*now), share(*before))
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-5)
    reference = confint_proportions_2indep(*now, *before, method="newcomb")
    assert (found.low, found.high) == pytest.approx(reference, abs=1e-9)


def plain_mean(mean: float, sd: float, n: int) -> ClusteredMean:
    return ClusteredMean(n, n, mean, sd, sd / n**0.5, None, None, 1.0, None)


def test_the_degrees_of_freedom_are_those_of_a_published_welch_test():
    """Lakens' worked example of an equivalence test by Welch (TOSTER): df 181.1344."""
    found = change_of_mean(plain_mean(5.25, 0.95, 95), plain_mean(5.22, 0.83, 89))
    assert found.df == pytest.approx(181.1344, abs=5e-5)


def test_the_change_of_a_mean_is_welchs_where_each_patient_has_one_implant():
    now = [1.31, 0.84, 2.05, 1.12, 0.67, 1.93, 1.48]
    before = [2.61, 1.37, 3.02, 0.95, 2.26, 1.71, 2.84, 3.66]
    found = change_of_mean(
        clustered_mean(now, range(7)), clustered_mean(before, range(8))
    )
    reference = stats.ttest_ind(now, before, equal_var=False)
    limits = reference.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((limits.low, limits.high), rel=1e-9)
    assert found.df == pytest.approx(reference.df, rel=1e-9)


def test_two_equal_implants_of_a_patient_say_no_more_than_one():
    now, before = [1.3, 0.8, 2.0, 1.1, 0.7, 1.9], [2.6, 1.4, 3.0, 0.9, 2.3, 1.7]
    single = change_of_mean(
        clustered_mean(now, range(6)), clustered_mean(before, range(6))
    )
    double = change_of_mean(
        clustered_mean(now * 2, [*range(6)] * 2),
        clustered_mean(before * 2, [*range(6)] * 2),
    )
    assert (double.low, double.high) == pytest.approx((single.low, single.high))


@pytest.mark.parametrize("few", range(2, FEWEST_FOR_CHANGE))
def test_with_fewer_patients_on_one_side_no_interval_is_given(few):
    values = [1.31, 0.84, 2.05, 1.12, 0.67, 1.93, 1.48]
    short = change_of_mean(
        clustered_mean(values[:few], range(few)), clustered_mean(values, range(7))
    )
    assert short.low is None
    assert short.value is not None
    assert "Too few to say" in short.warning
    shares = change_of_share(share(4, 7), share(1, few))
    assert shares.low is None
    assert "Too few to say" in shares.warning


def test_patients_who_do_not_differ_at_all_get_no_interval():
    alike = clustered_mean([1.2] * 7, range(7))
    other = clustered_mean([1.31, 0.84, 2.05, 1.12, 0.67, 1.93, 1.48], range(7))
    assert change_of_mean(alike, other).low is None
    assert change_of_mean(other, alike).low is None


def test_the_ratio_of_means_is_welchs_interval_of_logarithms_to_first_order():
    """Small spreads make the delta method exact: scipy's Welch on the logarithms."""
    now = [1.0 + 0.002 * x for x in (1.31, 0.84, 2.05, 1.12, 0.67, 1.93, 1.48)]
    before = [2.0 + 0.003 * x for x in (2.61, 1.37, 3.02, 0.95, 2.26, 1.71, 2.84)]
    found = ratio_of_means(
        clustered_mean(now, range(7)), clustered_mean(before, range(7))
    )
    reference = stats.ttest_ind(np.log(now), np.log(before), equal_var=False)
    limits = np.exp(reference.confidence_interval(0.95))
    assert (found.low, found.high) == pytest.approx(limits, rel=1e-5)
    assert found.df == pytest.approx(reference.df, rel=1e-2)


def test_a_ratio_is_refused_where_a_mean_is_nought_or_patients_are_few():
    values = [1.31, 0.84, 2.05, 1.12, 0.67, 1.93, 1.48]
    mean, nought = clustered_mean(values, range(7)), clustered_mean([0.0] * 7, range(7))
    assert ratio_of_means(mean, nought).value is None
    few = ratio_of_means(clustered_mean(values[:5], range(5)), mean)
    assert few.value is not None
    assert few.low is None
