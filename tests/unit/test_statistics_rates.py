"""Event rates: the exact limits as published, widened where patients differ."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.statistics.means import skew_corrected_limits
from pipeline.statistics.rates import event_rate, garwood_limits

# Exact limits of a Poisson mean. 0, 1, 5, 10, 100: printed beside Garwood's method in
# tests of statistical libraries (R epitools/exactci values); 4: cipoisson(4) in the
# printed examples of the R package survival.
GARWOOD = {
    0: (0.0, 3.68887945),
    1: (0.02531781, 5.57164339),
    4: (1.089865, 10.241589),
    5: (1.62348639, 11.66833208),
    10: (4.79538870, 18.39035604),
    100: (81.36399125, 121.62679379),
}


@pytest.mark.parametrize(("count", "limits"), GARWOOD.items())
def test_exact_limits_are_those_published(count, limits):
    digits = 6e-7 if count == 4 else 6e-9
    assert garwood_limits(count) == pytest.approx(limits, abs=digits)


def test_fifteen_events_in_four_hundred_as_in_statsmodels():
    # 15 events / 400: reference value of statsmodels' own tests, from R
    low, high = (limit / 400 for limit in garwood_limits(15))
    assert low == pytest.approx(0.0209884653319583, abs=1e-12)
    assert high == pytest.approx(0.0618505471787146, abs=1e-12)


def test_exact_limits_agree_with_statsmodels():
    from statsmodels.stats.rates import confint_poisson

    for count in (1, 3, 17, 250):
        assert garwood_limits(count) == pytest.approx(
            confint_poisson(count, 1, method="exact-c")
        )


def test_without_events_the_upper_limit_is_given():
    found = event_rate(np.zeros(20), np.full(20, 1.5), np.arange(20))
    assert (found.rate, found.low) == (0, 0)
    assert found.high == pytest.approx(3.68887945 / 30)
    assert found.variance_to_mean is None


def test_the_interval_is_never_narrower_than_the_exact_one():
    rng = np.random.default_rng(4)
    for _ in range(40):
        counts, years = rng.poisson(1.2, 24), rng.uniform(0.2, 4, 24)
        found = event_rate(counts, years, np.arange(24))
        low, high = (limit / years.sum() for limit in garwood_limits(counts.sum()))
        assert found.low <= low
        assert found.high >= high


def test_patients_who_differ_widen_the_interval():
    even = event_rate(np.full(20, 3), np.ones(20), np.arange(20))
    uneven = event_rate([30, 30, *[0] * 18], np.ones(20), np.arange(20))
    assert even.rate == uneven.rate == 3
    assert even.variance_to_mean == 0
    assert uneven.variance_to_mean > 20
    assert uneven.high > 2 * even.high
    se = np.sqrt(20 / 19 * (2 * 27**2 + 18 * 3**2)) / 20
    assert uneven.high == pytest.approx(skew_corrected_limits(3, se, 20)[1])


def test_two_dentures_of_one_patient_count_as_one_patient():
    apart = event_rate([4, 0, 1, 2, 0, 3, 1, 1], np.ones(8), np.arange(8))
    found = event_rate([4, 0, 1, 2, 0, 3, 1, 1], np.ones(8), [0, 0, 1, 1, 2, 3, 4, 5])
    assert (found.n_clusters, found.count_events, found.exposure) == (6, 12, 8)
    assert found.rate == apart.rate
    assert found.warning.startswith("Few")


def test_with_fewer_than_five_patients_there_is_no_interval():
    found = event_rate([1, 2, 3, 0], np.ones(4), np.arange(4))
    assert (found.low, found.high) == (None, None)
    assert found.warning.startswith("No interval")


def test_a_patient_never_observed_does_not_count():
    found = event_rate([1, 1, 0, 2, 1, 0], [1, 1, 1, 1, 1, 0], np.arange(6))
    assert (found.n_clusters, found.exposure) == (5, 5)


def test_events_without_exposure_are_refused():
    with pytest.raises(ValueError, match="without exposure"):
        event_rate([1, 0], [0, 1], [0, 1])
    with pytest.raises(ValueError, match="0 or more"):
        event_rate([1, 0], [-1, 1], [0, 1])
    with pytest.raises(ValueError, match="counts but"):
        event_rate([1, 0], [1], [0, 1])


def test_nothing_observed_gives_no_rate():
    assert event_rate([], [], []).rate is None
