"""What a reader can rely on in the likeness of implants of one patient."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.statistics.clustering import (
    intraclass_correlation,
    mean_squares,
    typical_size,
)
from pipeline.statistics.patients import group_by_patient

PAIRS = np.repeat(np.arange(40), 2)


def drawn(between: float, n_patients: int = 40) -> np.ndarray:
    rng = np.random.default_rng(11)
    shared = np.repeat(rng.normal(size=n_patients), 2) * between
    return shared + rng.normal(size=2 * n_patients)


def test_alike_implants_correlate_and_unrelated_ones_do_not() -> None:
    alike = intraclass_correlation(drawn(5.0), PAIRS, is_error=False)
    apart = intraclass_correlation(drawn(0.0), PAIRS, is_error=False)
    assert alike.icc is not None
    assert alike.icc > 0.9
    assert alike.low is not None
    assert alike.low > 0.8
    assert apart.low is not None
    assert apart.high is not None
    assert apart.low < 0 < apart.high


def test_errors_are_compared_on_the_square_root_scale() -> None:
    errors = np.abs(drawn(1.0))
    as_errors = intraclass_correlation(errors, PAIRS, is_error=True)
    by_hand = intraclass_correlation(np.sqrt(errors), PAIRS, is_error=False)
    assert as_errors == by_hand


def test_a_negative_correlation_is_printed_as_it_is() -> None:
    values = np.tile([0.0, 1.0], 40) + 0.01 * drawn(0.0)
    result = intraclass_correlation(values, PAIRS, is_error=False)
    assert result.icc is not None
    assert result.icc < -0.9


def test_below_thirty_patients_it_says_cannot_be_told_unless_zero_is_excluded() -> None:
    values, clusters = drawn(0.0, 29), PAIRS[:58]
    untold = intraclass_correlation(values, clusters, is_error=False)
    assert untold.icc is not None
    assert untold.warning == "Cannot be told: 29 patients, and 0 lies in the interval."
    told = intraclass_correlation(drawn(5.0, 29), clusters, is_error=False)
    assert told.warning is None
    thirty = intraclass_correlation(drawn(0.0, 30), PAIRS[:60], is_error=False)
    assert thirty.warning is None


def test_fewer_than_eight_patients_are_refused() -> None:
    result = intraclass_correlation(drawn(1.0, 7), PAIRS[:14], is_error=False)
    assert (result.icc, result.low, result.high) == (None, None, None)
    assert result.warning == "Not given: 7 patients; at least 8 are needed."


def test_one_implant_a_patient_has_no_correlation() -> None:
    result = intraclass_correlation(np.arange(20.0), range(20), is_error=True)
    assert result.icc is None
    assert result.warning == (
        "Not given: 0 further implants beside one a patient; at least 5 are needed."
    )


def test_implants_exactly_alike_are_refused_in_spite_of_rounding() -> None:
    values = np.repeat(np.arange(1, 13) / 10, 2)
    for is_error in (True, False):
        result = intraclass_correlation(values, PAIRS[:24], is_error=is_error)
        assert result.icc is None
        assert result.warning is not None
        assert "exactly alike" in result.warning


def test_all_values_equal_are_refused() -> None:
    result = intraclass_correlation([0.1] * 24, PAIRS[:24], is_error=True)
    assert result.icc is None


def test_the_typical_size_of_equal_patients_is_their_size() -> None:
    _, patients = group_by_patient(np.arange(80.0), PAIRS)
    assert typical_size(patients) == pytest.approx(2)


def test_mean_squares_keep_their_digits_far_from_zero() -> None:
    values, patients = group_by_patient(drawn(1.0), PAIRS)
    near = mean_squares(values, patients)
    far = mean_squares(values + 1e6, patients)
    assert far == pytest.approx(near, rel=1e-8)


def test_an_error_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="is_error=False"):
        intraclass_correlation([-0.1, 1.0], [1, 2], is_error=True)


def test_without_values_there_is_no_correlation() -> None:
    result = intraclass_correlation([], [], is_error=True)
    assert (result.icc, result.warning) == (None, "No values.")
