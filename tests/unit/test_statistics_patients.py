"""Values find their patient whatever the labels are, and nothing is dropped silently."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.statistics.clustering import intraclass_correlation
from pipeline.statistics.means import clustered_mean, signed_mean
from pipeline.statistics.patients import group_by_patient
from pipeline.statistics.quantiles import clustered_quantile
from pipeline.statistics.shares import clustered_share
from pipeline.statistics.tolerance import tolerance_bound

VALUES = [1.0, 2.0, 4.0, 8.0, 16.0]
ESTIMATORS: dict[str, Callable[[Any, Any], object]] = {
    "mean": clustered_mean,
    "signed mean": signed_mean,
    "share": clustered_share,
    "quantile": lambda values, clusters: clustered_quantile(values, clusters, 0.5),
    "correlation": lambda values, clusters: intraclass_correlation(
        values, clusters, is_error=True
    ),
    "tolerance": tolerance_bound,
}


@pytest.mark.parametrize(
    "labels",
    [
        ["b", "a", "b", "c", "a"],
        [("b", 1), ("a", 1), ("b", 1), ("c", 2), ("a", 1)],
        [7, 3, 7, 9, 3],
        np.array([7, 3, 7, 9, 3]),
        np.array([-7, 10**15, -7, 9, 10**15]),
        np.array([7, 3, 7, 9, 3], dtype=np.uint8),
        np.array([1.5, 0.5, 1.5, 2.5, 0.5]),
        np.array(["b", "a", "b", "c", "a"]),
        np.array(["b", "a", "b", "c", "a"], dtype=object),
        pd.Series(["b", "a", "b", "c", "a"]),
        pd.Categorical(["b", "a", "b", "c", "a"]),
        iter("babca"),
    ],
    ids=lambda labels: type(labels).__name__,
)
def test_any_labels_group_the_same_values(labels: Any) -> None:
    values, patients = group_by_patient(VALUES, labels)
    assert (patients.n_patients, patients.n_values) == (3, 5)
    assert sorted(patients.totals(values)) == [5.0, 8.0, 18.0]
    assert sorted(patients.sizes) == [1, 2, 2]


def test_labels_that_only_look_alike_stay_apart() -> None:
    _, patients = group_by_patient([1.0, 2.0], [1, "1"])
    assert patients.n_patients == 2


def test_unused_integer_codes_are_not_patients() -> None:
    _, patients = group_by_patient([1.0, 2.0, 3.0], np.array([0, 5, 5]))
    assert patients.sizes.tolist() == [1, 2]


def test_the_word_for_what_is_counted_follows_the_data() -> None:
    assert group_by_patient([1.0, 2.0], [1, 2])[1].unit == "patient"
    assert group_by_patient([1.0, 2.0], [1, 1])[1].unit == "implant"


@pytest.mark.parametrize("estimate", ESTIMATORS.values(), ids=ESTIMATORS)
class TestRefusedInput:
    @pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, None])
    def test_a_missing_value_is_an_error_not_a_gap(
        self, estimate: Callable[[Any, Any], object], bad: float | None
    ) -> None:
        with pytest.raises(ValueError, match="1 of 4 values are missing"):
            estimate([1.0, bad, 0.0, 1.0], [1, 2, 3, 4])

    @pytest.mark.parametrize("bad", [None, np.nan, pd.NaT])
    def test_a_missing_label_is_an_error(
        self, estimate: Callable[[Any, Any], object], bad: object
    ) -> None:
        with pytest.raises(ValueError, match="labels are missing"):
            estimate([1.0, 0.0, 1.0], ["a", bad, "b"])

    def test_a_masked_value_or_label_is_an_error(
        self, estimate: Callable[[Any, Any], object]
    ) -> None:
        hidden = np.ma.masked_array([1, 0], mask=[False, True])
        with pytest.raises(ValueError, match="values are masked"):
            estimate(hidden, [1, 2])
        with pytest.raises(ValueError, match="labels are masked"):
            estimate([1.0, 0.0], hidden)

    def test_values_and_labels_must_be_as_many(
        self, estimate: Callable[[Any, Any], object]
    ) -> None:
        with pytest.raises(ValueError, match="3 values but 2 patient labels"):
            estimate([1.0, 0.0, 1.0], [1, 2])

    def test_tables_are_not_rows_of_values(
        self, estimate: Callable[[Any, Any], object]
    ) -> None:
        with pytest.raises(ValueError, match="one row of numbers"):
            estimate([[1.0, 0.0]], [1, 2])
        with pytest.raises(ValueError, match="labels must be one row"):
            estimate([1.0, 0.0], np.array([[1, 2]]))

    def test_the_message_never_carries_a_label(
        self, estimate: Callable[[Any, Any], object]
    ) -> None:
        label = str(uuid.uuid4())
        with pytest.raises(ValueError, match="missing") as refused:
            estimate([np.nan, 1.0], [label, label])
        assert label not in str(refused.value)
