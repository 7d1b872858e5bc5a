"""The guide as made apart from the surgery, against a worked example.

The identities are those of errors in variables: a reading error of the guide enters
guide - plan and result - guide with opposite sign (Fuller, Measurement Error Models, 1987,
chapter 1; from memory). True lab variance 1, clinical 4, reading sds 0.8 and 0.5 of guide
and result: parts as read 1.64, 4.89 and a covariance of -0.64; 1.63, 4.88 and -0.64 in a
simulated set.
"""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.statistics.guide_slice import guide_slice

READ = np.array([[1.63, -0.64], [-0.64, 4.88]])
GUIDE_SD, RESULT_SD = 0.8, 0.5


def with_covariance(wanted: np.ndarray, n: int) -> np.ndarray:
    """Draw two columns whose sample covariance is exactly the one wanted."""
    drawn = np.random.default_rng(4).standard_normal((n, 2))
    drawn -= drawn.mean(axis=0)
    white = drawn @ np.linalg.inv(np.linalg.cholesky(np.cov(drawn.T))).T
    return white @ np.linalg.cholesky(wanted).T


def test_error_of_reading_is_taken_off_both_parts_and_added_to_their_covariance():
    lab, clinical = with_covariance(READ, 60).T
    found = guide_slice(lab, clinical, GUIDE_SD, RESULT_SD)
    assert float(found.lab.value) == pytest.approx(1.63 - 0.64)
    assert float(found.clinical.value) == pytest.approx(4.88 - 0.64 - 0.25)
    assert found.covariance == pytest.approx(0.0, abs=1e-12)
    assert found.lab_share == pytest.approx(0.99 / (0.99 + 3.99))


def test_planted_variances_are_read_as_in_the_example_and_found_again():
    n = 400_000
    rng = np.random.default_rng(48)
    lab_true, clinical_true = rng.normal(0, 1, n), rng.normal(0, 2, n)
    of_guide, of_result = rng.normal(0, GUIDE_SD, n), rng.normal(0, RESULT_SD, n)
    lab, clinical = lab_true + of_guide, clinical_true + of_result - of_guide
    assert np.cov(lab, clinical) == pytest.approx(READ, abs=0.03)
    found = guide_slice(lab, clinical, GUIDE_SD, RESULT_SD)
    assert float(found.lab.value) == pytest.approx(1, abs=0.02)
    assert float(found.clinical.value) == pytest.approx(4, abs=0.05)
    assert found.covariance == pytest.approx(0, abs=0.02)
    assert float(found.lab.low) < 1 < float(found.lab.high)


def test_unread_error_stays_in_and_fewer_than_eight_are_refused():
    lab, clinical = with_covariance(READ, 60).T
    assert float(guide_slice(lab, clinical).lab.value) == pytest.approx(1.63)
    with pytest.raises(ValueError, match="Not divided: 7 pairs"):
        guide_slice(lab[:7], clinical[:7])
