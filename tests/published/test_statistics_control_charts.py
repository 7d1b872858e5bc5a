"""Charts against published worked examples and reference libraries."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pipeline.statistics.control_charts import (
    BASELINE,
    FEWEST_FOR_RULES,
    control_chart,
    ewma,
    ewma_reach,
    fewest_crossings,
    individuals_reach,
    run_chart,
)

HANDBOOK = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
            49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]  # fmt: skip
STEADY = [1.21, 0.74, 1.66, 1.02, 1.93, 0.58, 1.37, 1.11, 0.83, 1.52, 0.96, 1.74, 1.29, 0.67, 1.45]  # fmt: skip


def test_the_weighted_mean_is_that_of_the_handbook():
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: weight 0.3, start 50."""
    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
               50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
    found = ewma(np.array(HANDBOOK), 50.0, weight=0.3)
    assert found == pytest.approx(printed, abs=0.0051)
    # pandas: the start put before the values
    series = pd.Series([50.0, *HANDBOOK]).ewm(alpha=0.3, adjust=False).mean()
    assert found == pytest.approx(series.to_numpy()[1:], rel=1e-12)


def test_limits_of_single_cases_are_prediction_limits():
    t = stats.t.ppf(0.99865, 14)
    assert individuals_reach(15) == pytest.approx(t * np.sqrt(1 + 1 / 15))
    assert individuals_reach(10**9) == pytest.approx(3.0, abs=1e-4)


def test_limits_of_the_weighted_mean_grow_to_those_of_the_long_run():
    k = stats.t.ppf(stats.norm.cdf(2.86), 14)
    first, *_, last = ewma_reach(15, [1, 5, 400])
    assert first == pytest.approx(k * np.sqrt(0.2**2 + 0.2**2 / 15))
    assert last == pytest.approx(k * np.sqrt(0.2 / 1.8 + 1 / 15))


@pytest.mark.parametrize("n", range(10, 61))
def test_the_fewest_crossings_are_the_five_percent_point(n):
    assert fewest_crossings(n) == stats.binom.ppf(0.05, n - 1, 0.5)


def test_thirteen_cases_need_three_crossings():
    """Anhoej, sciencetrends.com, on crossings and runs: fewer than three of 13 signal."""
    assert fewest_crossings(13) == 3


def test_a_run_on_one_side_and_crossings_are_counted_off_the_median():
    found = run_chart([3, 1, 2, 2, 4, 5, 1, 1, 0, 3, 5])
    # median 2: above, below, (2, 2 not counted), above above, below x 3, above above
    assert (found.median, found.n_useful) == (2, 9)
    assert (found.longest_run, found.crossings) == (3, 4)


def test_a_jump_half_way_is_a_shift():
    found = run_chart([1.0, 1.2, 0.9, 1.1, 0.8, 1.3, 0.7, 0.6, 2.1, 2.4, 1.9, 2.2, 2.8, 2.6, 2.3, 2.5])  # fmt: skip
    assert (found.longest_run, found.longest_allowed) == (8, 7)
    assert found.is_shift
    assert found.is_few_crossings


@pytest.mark.parametrize("n", range(FEWEST_FOR_RULES))
def test_with_fewer_cases_no_rule_is_read(n):
    found = run_chart([float(at) for at in range(n)])
    assert found.is_shift is None
    assert found.is_few_crossings is None


@pytest.mark.parametrize("n", [0, 1, BASELINE - 1, BASELINE])
def test_up_to_the_last_case_of_the_baseline_there_are_no_limits(n):
    assert control_chart(STEADY[:n]) is None


def test_a_gross_case_lies_outside_and_a_lasting_rise_is_drift():
    gross = control_chart([*STEADY, 9.5, 1.2])
    assert gross.is_outside.tolist() == [True, False]
    risen = control_chart([*STEADY, *[value + 1.0 for value in STEADY[:10]]])
    assert risen.is_drift.any()
    assert not risen.is_outside.any()
    assert (risen.ewma_low < risen.centre).all()
    assert (risen.ewma_high > risen.centre).all()


def test_baseline_cases_that_do_not_differ_set_no_limits():
    assert control_chart([1.2] * 20) is None


def test_errors_below_nought_are_refused():
    with pytest.raises(ValueError, match="below 0"):
        control_chart([-0.1] * 20)
