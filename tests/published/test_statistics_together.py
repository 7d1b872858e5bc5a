"""Correlation and slope against other libraries and a printed data set."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import pearsonr

from pipeline.statistics.together import together

# Anscombe's first set (Am Stat 1973;27:17-21): r 0.816, line y = 3.00 + 0.500 x
X = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5]
Y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]


def test_the_printed_correlation_and_slope_are_found():
    """Anscombe 1973 prints the slope 0.500; r squared is 0.667."""
    found = together(X, Y, range(11))
    assert round(found.slope, 3) == 0.5
    assert round(found.r**2, 3) == 0.667


def test_the_limits_are_those_of_other_libraries():
    """`scipy.stats.pearsonr` (Fisher) and `statsmodels` OLS with cov_type="HC3", use_t."""
    found = together(X, Y, range(11))
    wanted = pearsonr(X, Y).confidence_interval()
    assert [found.r_low, found.r_high] == pytest.approx(list(wanted))
    fit = sm.OLS(Y, sm.add_constant(X)).fit(cov_type="HC3", use_t=True)
    assert [found.slope_low, found.slope_high] == pytest.approx(fit.conf_int()[1])
    assert found.is_told


def test_a_patient_with_two_implants_counts_once():
    twice = together(np.repeat(X, 2), np.repeat(Y, 2), np.repeat(range(11), 2))
    assert twice == together(X, Y, range(11))


def test_too_few_patients_and_figures_that_never_change_are_refused():
    assert "No interval" in together(X[:4], Y[:4], range(4)).warning
    flat = together([3.0] * 11, Y, range(11))
    assert flat.r is None
    assert not flat.is_told
    assert "always the same" in flat.warning


def test_a_perfect_line_has_a_perfect_correlation():
    found = together(X, np.multiply(X, -2.0), range(11))
    assert (found.r, found.r_low, found.r_high) == pytest.approx((-1, -1, -1))
    assert (found.slope_low, found.slope_high) == pytest.approx((-2, -2))
