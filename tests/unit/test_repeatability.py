"""What repeats can tell, what they cannot, and what is then said."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.repeatability import (
    ENOUGH_DF,
    limits_of_agreement,
    repeatability,
)


def test_a_subject_read_once_says_nothing_about_repeats():
    found = repeatability([1.0, 3.0, 50.0], ["a", "a", "b"])
    assert (found.n_subjects, found.n_values, found.df) == (1, 2, 1)
    assert found.within_sd == pytest.approx(np.sqrt(2))


def test_without_a_repeat_nothing_is_given():
    found = repeatability([1.0, 2.0], ["a", "b"])
    assert found.within_sd is None
    assert not found.is_enough
    assert "more than once" in found.warning


def test_few_repeats_are_shown_but_do_not_stand_for_the_source():
    found = repeatability([1, 2, 1, 3], ["a", "a", "b", "b"])
    assert found.df == 2
    assert not found.is_enough
    assert f"from {ENOUGH_DF} on" in found.warning


def test_from_ten_degrees_of_freedom_on_they_stand_for_it():
    values = np.tile([0.0, 1.0], ENOUGH_DF)
    found = repeatability(values, np.repeat(range(ENOUGH_DF), 2))
    assert found.df == ENOUGH_DF
    assert found.is_enough


@pytest.mark.parametrize("times", [2, 3])
def test_readings_that_are_exactly_alike_are_no_proof_of_precision(times):
    values = np.repeat(0.1 + 0.3 * np.arange(12), times)
    found = repeatability(values, np.repeat(range(12), times))
    assert found.within_sd == 0
    assert not found.is_enough
    assert found.icc is None
    assert "exactly alike" in found.warning


def test_no_correlation_is_given_for_a_handful_of_subjects():
    rng = np.random.default_rng(1)
    found = repeatability(rng.normal(size=21), np.repeat(range(7), 3))
    assert found.is_enough
    assert found.icc is None
    assert "7 subjects" in found.warning


@given(st.floats(-1e3, 1e3), st.floats(0.1, 100))
def test_shift_changes_nothing_and_scale_scales(shift, scale):
    rng = np.random.default_rng(2)
    values, subjects = rng.normal(size=40), np.repeat(range(20), 2)
    one = repeatability(values, subjects)
    other = repeatability(scale * values + shift, subjects)
    assert other.within_sd == pytest.approx(scale * one.within_sd, rel=1e-9)
    assert other.icc == pytest.approx(one.icc, rel=1e-6)


def test_the_spread_pools_unequal_numbers_of_readings():
    """By hand: (2 + 2) / (1 + 2), from 1, 3 and 4, 5, 6."""
    found = repeatability([1, 3, 4, 5, 6], ["a", "a", "b", "b", "b"])
    assert found.within_sd == pytest.approx(np.sqrt(4 / 3))
    assert found.dahlberg == pytest.approx(np.sqrt(2**2 / 2))  # of "a" alone


def test_limits_of_agreement_need_five_subjects():
    found = limits_of_agreement([1, 2, 3, 4], [2, 3, 4, 6])
    assert found.bias == pytest.approx(1.25)
    assert found.low is None
    assert limits_of_agreement([], []).bias is None


def test_limits_of_agreement_hold_their_own_exact_intervals():
    rng = np.random.default_rng(3)
    found = limits_of_agreement(rng.normal(size=12), rng.normal(size=12))
    assert found.low_low < found.low < found.low_high
    assert found.high_low < found.high < found.high_high
