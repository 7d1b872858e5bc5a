"""Hotelling's T2 against printed examples and another library."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.multivariate import test_mvmean as mvmean

from pipeline.statistics.bias import (
    critical_t2,
    half_axes_of_mean,
    vector_bias,
)

# Johnson & Wichern, Applied Multivariate Statistical Analysis, sweat data: sweat rate,
# sodium and potassium of 20 women (the figures 9.74 and 8.18 from memory)
SWEAT = """3.7 48.5 9.3; 5.7 65.1 8.0; 3.8 47.2 10.9; 3.2 53.2 12.0; 3.1 55.5 9.7;
4.6 36.1 7.9; 2.4 24.8 14.0; 7.2 33.1 7.6; 6.7 47.4 8.5; 5.4 54.1 11.3; 3.9 36.9 12.7;
4.5 58.8 12.3; 3.5 27.8 9.8; 4.5 40.2 8.4; 1.5 13.5 10.1; 8.5 56.4 7.1; 4.5 71.6 8.2;
6.5 52.8 10.9; 4.1 44.1 11.2; 5.5 40.9 9.4"""
AGAINST = (4, 50, 10)


def sweat() -> np.ndarray:
    return np.array([[float(x) for x in row.split()] for row in SWEAT.split(";")])


def test_the_sweat_example_is_reproduced():
    found = vector_bias(sweat() - AGAINST, range(20))
    assert found.mean + AGAINST == pytest.approx([4.640, 45.400, 9.965])
    assert found.t2 == pytest.approx(9.738773, abs=1e-6)
    assert found.t2 == pytest.approx(9.74, abs=0.005)  # as printed
    assert found.f == pytest.approx(2.904546, abs=1e-6)
    assert found.p_value == pytest.approx(0.0649283, abs=1e-7)
    assert found.df == (3, 17)
    # the book rounds F to 2.44 and prints 8.18
    assert critical_t2(20, 3, 0.90) == pytest.approx(8.1726, abs=1e-4)


def test_it_agrees_with_statsmodels():
    rng = np.random.default_rng(7)
    rows = rng.normal([0.3, 0, -0.1], [0.5, 1, 0.4], (17, 3))
    other = mvmean(rows)
    found = vector_bias(rows, range(17))
    assert found.t2 == pytest.approx(other.t2, rel=1e-9)
    assert found.p_value == pytest.approx(other.pvalue, rel=1e-9)


def test_the_ellipse_of_a_mean_has_the_half_axes_of_the_formula():
    """sqrt(lambda c / n), c = p (n-1)/(n-p) F: own arithmetic, n = 15."""
    covariance = np.array([[1, 0.6], [0.6, 2]])
    assert half_axes_of_mean(covariance, 15) == pytest.approx(
        [0.6267988645, 1.116442385], abs=1e-9
    )
