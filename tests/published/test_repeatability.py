"""Repeatability and limits of agreement against the printed examples."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.statistics.patients import group_by_patient
from pipeline.statistics.repeatability import (
    limit_factors,
    limits_of_agreement,
    one_way_icc,
    repeatability,
)
from tests.published.test_statistics_agreement import MINI, TARGETS, WRIGHT

SUBJECTS = np.tile(range(17), 2)


@pytest.mark.parametrize(
    ("readings", "within_sd", "coefficient"),
    # printed 43.2 and 56.4, made from rounded figures (from memory); unrounded here
    [(WRIGHT, 15.3066690, 43.294), (MINI, 19.9108306, 56.316)],
    ids=["Wright", "mini"],
)
def test_peak_flow_meters_repeat_as_bland_and_altman_say(
    readings: tuple[list[int], list[int]], within_sd: float, coefficient: float
) -> None:
    """Bland & Altman, Lancet 1986;i:307-310, table 1, 17 subjects read twice.

    Dahlberg's method error of duplicates is the spread within subjects.
    """
    found = repeatability(np.ravel(readings), SUBJECTS)
    assert (found.n_subjects, found.n_values, found.df) == (17, 34, 17)
    assert found.within_sd == pytest.approx(within_sd, abs=1e-6)
    assert found.dahlberg == pytest.approx(within_sd, abs=1e-6)
    assert found.coefficient == pytest.approx(coefficient, abs=1e-3)
    assert found.is_enough
    assert found.warning is None


def test_the_two_meters_agree_within_the_printed_limits() -> None:
    """First reading of each: bias -2.1, sd 38.8, limits -78.1 and 73.9."""
    found = limits_of_agreement(MINI[0], WRIGHT[0])
    assert found.bias == pytest.approx(-2.117647, abs=1e-6)
    assert found.sd == pytest.approx(38.765130, abs=1e-6)
    assert found.low == pytest.approx(-78.0973, abs=1e-4)
    assert found.high == pytest.approx(73.8620, abs=1e-4)


def test_the_exact_intervals_of_the_limits_are_carkeets() -> None:
    """Carkeet, Optom Vis Sci 2015;92(3), with bias -2.1 and sd 38.8 of 17 subjects."""
    near, far = limit_factors(17)
    printed = {"upper": (48.9, 120.0), "lower": (-124.2, -53.1)}
    upper = (-2.1 + near * 38.8, -2.1 + far * 38.8)
    lower = (-2.1 - far * 38.8, -2.1 - near * 38.8)
    assert upper == pytest.approx(printed["upper"], abs=0.1)
    assert lower == pytest.approx(printed["lower"], abs=0.1)


@pytest.mark.parametrize(
    ("df", "near", "far"),
    [(4, 0.9232, 5.9749), (16, 1.3150, 3.1483), (1000, 1.8578, 2.0700)],
)
def test_the_factors_of_the_limits_are_carkeets(
    df: int, near: float, far: float
) -> None:
    assert limit_factors(df + 1) == pytest.approx((near, far), abs=2e-4)


def test_the_factors_of_the_limits_are_scipys_noncentral_t() -> None:
    for n in (5, 12, 40):
        quantiles = stats.nct.ppf([0.025, 0.975], n - 1, 1.96 * np.sqrt(n)) / np.sqrt(n)
        assert limit_factors(n) == pytest.approx(quantiles, rel=1e-9)


def test_the_correlation_is_shrout_and_fleisss() -> None:
    """Psychol Bull 1979;86:420-428, table 2: ICC(1,1) 0.1657, limits -0.13 to 0.72."""
    values, subjects = group_by_patient(np.ravel(TARGETS), np.repeat(range(6), 4))
    icc, low, high = one_way_icc(values, subjects)
    assert icc == pytest.approx(0.1657418, abs=1e-7)
    assert (round(low, 2), round(high, 2)) == (-0.13, 0.72)
