"""The share of implants that published results would bring within a limit."""

from __future__ import annotations

import math

import pytest

from pipeline.reference import load
from pipeline.reference.expected_share import (
    example_shares,
    expected_share,
    published_shares,
)


def test_a_mean_that_meets_the_limit_leaves_four_in_ten_beyond_it() -> None:
    """Worked example: mean 2.0, sd 1.0, limit 2 mm is about 57 %.

    Shape 4 and scale 0.5 is an Erlang distribution, whose share has a closed form
    without any library: 1 - exp(-4) (1 + 4 + 4²/2 + 4³/6).
    """
    closed_form = 1 - math.exp(-4) * (1 + 4 + 4**2 / 2 + 4**3 / 6)
    assert expected_share(2.0, 1.0, 2.0) == pytest.approx(closed_form, abs=1e-12)
    assert round(100 * closed_form) == 57


def test_sd_equal_to_the_mean_is_the_exponential_distribution() -> None:
    assert expected_share(1.5, 1.5, 3.0) == pytest.approx(1 - math.exp(-2), abs=1e-12)


def test_a_wider_limit_or_a_smaller_mean_brings_more_implants_in() -> None:
    assert expected_share(2.0, 1.0, 3.0) > expected_share(2.0, 1.0, 2.0)
    assert expected_share(1.0, 0.5, 2.0) > expected_share(2.0, 1.0, 2.0)
    assert expected_share(2.0, 1.0, 0.0) == 0.0
    assert expected_share(2.0, 1.0, 100.0) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("mean", "sd", "limit"),
    [(0, 1, 2), (2, 0, 2), (2, -1, 2), (2, 1, -1), (math.nan, 1, 2), (2, 1, math.nan)],
)
def test_a_mean_or_sd_that_is_no_size_is_refused(
    mean: float, sd: float, limit: float
) -> None:
    with pytest.raises(ValueError, match="must"):
        expected_share(mean, sd, limit)


def test_a_set_without_a_band_for_the_measure_is_refused() -> None:
    with pytest.raises(ValueError, match="no band"):
        published_shares("freehand_edentulous", "entry_lateral_mm", 2.0, 0.5)


def test_no_example_asks_for_more_than_the_best_published_results() -> None:
    """And none for less than the worst of its set would reach by far."""
    shares = example_shares()
    for row in load.rows("criteria_examples"):
        low, high = shares[row["criterion"]]
        assert low <= high
        assert float(row["target_percent"]) <= 100 * high
        assert float(row["target_percent"]) / 100 > low - 0.1


def test_the_three_examples_cover_the_three_guidance_classes() -> None:
    rows = load.rows("criteria_examples")
    assert {row["group_by"] for row in rows} == {"guidance"}
    assert [row["group_value"] for row in rows] == ["full", "pilot", "freehand"]
    measures = {row["measure"]: row["unit"] for row in load.rows("measures")}
    assert all(row["unit"] == measures[row["measure"]] for row in rows)


def test_the_assumed_spread_lies_within_what_is_printed_for_that_measure() -> None:
    """Where a mean has no sd, sd/mean is taken from studies that print both."""
    for example in load.rows("criteria_examples"):
        printed = [
            float(row["sd"]) / float(row["value"])
            for row in load.rows("published_accuracy")
            if row["measure"] == example["measure"]
            and row["statistic"] == "mean"
            and row["sd"]
        ]
        assert len(printed) >= 3
        assert min(printed) < float(example["assumed_cv"]) < max(printed)
