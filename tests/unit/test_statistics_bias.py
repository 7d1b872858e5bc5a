"""Bias as a vector on patients' means, and what one patient does to a mean."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.api import OLS

from pipeline.statistics.bias import vector_bias
from pipeline.statistics.influence import (
    largest_influence,
    studentised,
    unusual_from,
)


def test_two_implants_of_a_patient_are_one_observation():
    rng = np.random.default_rng(3)
    means = rng.normal(0.4, 1, (12, 2))
    apart = rng.normal(0, 1, (12, 2))
    both = np.concatenate([means + apart, means - apart])
    clusters = np.tile(np.arange(12), 2)
    found, once = vector_bias(both, clusters), vector_bias(means, range(12))
    assert (found.n_clusters, found.n_values) == (12, 24)
    assert found.t2 == pytest.approx(once.t2)


def test_p_directions_need_p_plus_five_patients():
    rows = np.random.default_rng(1).normal(size=(7, 3))
    found = vector_bias(rows, range(7))
    assert found.t2 is None
    assert found.warning is not None
    assert "3 directions together need at least 8" in found.warning
    assert found.mean == pytest.approx(rows.mean(axis=0))
    assert vector_bias(np.vstack([rows, rows[:1] + 1]), range(8)).t2 is not None


def test_directions_that_depend_on_each_other_are_not_judged():
    one = np.random.default_rng(1).normal(size=10)
    found = vector_bias(np.column_stack([one, 2 * one]), range(10))
    assert found.p_value is None
    assert "depend on each other" in str(found.warning)
    assert vector_bias(np.zeros((10, 2)), range(10)).p_value is None
    assert vector_bias(np.empty((0, 2)), []).warning == "No values."


def test_a_bias_is_missed_by_no_direction():
    """No single part is large, all together are."""
    rng = np.random.default_rng(4)
    rows = rng.normal(0, 1, (40, 3)) + 0.45
    found = vector_bias(rows, range(40))
    assert found.p_value is not None
    assert found.p_value < 0.001


def test_a_single_column_or_a_missing_value_is_an_error():
    with pytest.raises(ValueError, match="at least two parts"):
        vector_bias([[1.0], [2.0]], [1, 2])
    with pytest.raises(ValueError, match="missing"):
        vector_bias([[1.0, np.nan], [2.0, 1.0]], [1, 2])


def test_the_mean_without_a_patient_is_that_of_the_others():
    values = np.array([1.0, 1.2, 0.9, 1.1, 1.3, 4.0, 4.4, 1.0])
    patients = np.array([1, 1, 2, 3, 4, 9, 9, 5])
    found = largest_influence(values, patients, is_error=True)
    assert found is not None
    assert list(found.is_of_patient) == [False] * 5 + [True, True, False]
    assert found.mean == pytest.approx(values.mean())
    assert found.mean_without == pytest.approx(values[patients != 9].mean())
    assert found.is_unusual is None  # six patients are too few to call one unusual


def test_residuals_agree_with_statsmodels():
    values = np.random.default_rng(2).normal(size=14)
    fit = OLS(values, np.ones(14)).fit()
    other = fit.get_influence().resid_studentized_external
    assert studentised(values) == pytest.approx(other)


def test_an_odd_patient_is_called_unusual_and_an_ordinary_one_is_not():
    rng = np.random.default_rng(6)
    values = np.abs(rng.normal(1.2, 0.2, 20))
    assert largest_influence(values, range(20), is_error=True).is_unusual is False
    values[4] = 6.0
    odd = largest_influence(values, range(20), is_error=True)
    assert odd.is_unusual is True
    assert odd.is_of_patient[4]
    assert largest_influence(values, range(20), is_error=False).is_unusual is None


@pytest.mark.parametrize("n", [8, 15, 30])
def test_an_ordinary_audit_is_flagged_no_oftener_than_stated(n):
    """1,000 audits of lognormal errors each; at most 5 % and chance."""
    rng = np.random.default_rng(n)
    audits = np.exp(rng.normal(0, 0.6, (1000, n)))
    flagged = [
        bool(largest_influence(row, np.arange(n), is_error=True).is_unusual)
        for row in audits
    ]
    assert np.mean(flagged) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 1000)
    assert unusual_from(n) > 2.5


def test_equal_values_and_few_patients_have_no_unusual_one():
    same = largest_influence(np.ones(9), range(9), is_error=True)
    assert same.is_unusual is False
    assert same.mean_without == 1
    zeros = largest_influence(np.zeros(9), range(9), is_error=True)
    assert zeros.is_unusual is False
    assert largest_influence([1.0, 2.0, 3.0, 4.0], range(4), is_error=True) is None
