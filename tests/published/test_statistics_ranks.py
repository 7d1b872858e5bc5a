"""Ranks for medians and tolerance bounds against printed tables."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.statistics.quantiles import clustered_quantile, rank_limits
from pipeline.statistics.tolerance import fewest_patients, largest_rank, tolerance_bound


@pytest.mark.parametrize(
    ("coverage", "confidence", "n"),
    # Wilks SS, Ann Math Stat 1941;12:91-96: n >= ln(1 - confidence) / ln(coverage).
    # 59 for 0.95/0.95 is the well-known one; the others from memory
    [
        (0.90, 0.95, 29),
        (0.95, 0.95, 59),
        (0.99, 0.95, 299),
        (0.90, 0.90, 22),
        (0.95, 0.90, 45),
    ],
)
def test_smallest_number_of_patients_is_wilkss(
    coverage: float, confidence: float, n: int
) -> None:
    assert fewest_patients(coverage, confidence) == n
    short = tolerance_bound(np.arange(n - 1.0), range(n - 1), coverage, confidence)
    assert short.n_more == 1
    enough = tolerance_bound(np.arange(float(n)), range(n), coverage, confidence)
    assert (enough.rank, enough.bound) == (1, n - 1)


@pytest.mark.parametrize(
    ("n", "coverage", "confidence", "rank"),
    # Meeker, Hahn & Escobar, Statistical Intervals, 2nd ed. 2017, table J11
    [
        (60, 0.95, 0.95, 1),
        (100, 0.95, 0.95, 2),
        (200, 0.95, 0.95, 5),
        (50, 0.90, 0.95, 2),
        (100, 0.90, 0.95, 5),
        (300, 0.90, 0.99, 19),
        (20, 0.75, 0.90, 3),
    ],
)
def test_rank_of_the_bound_is_the_tabled_one(
    n: int, coverage: float, confidence: float, rank: int
) -> None:
    assert largest_rank(n, coverage, confidence) == rank


@pytest.mark.parametrize(
    ("n", "lower", "upper"),
    # the narrowest central interval of at least 95 % in the textbook table "Confidence
    # intervals for the population median" (table A.7, read as a scan without its title
    # page): 96.9 98.4 99.2 96.1 97.9 98.8 96.1 97.8 98.7 96.5 97.9 95.1 96.9 98.1 95.9 %
    [
        (6, 1, 6),
        (7, 1, 7),
        (8, 1, 8),
        (9, 2, 8),
        (10, 2, 9),
        (11, 2, 10),
        (12, 3, 10),
        (13, 3, 11),
        (14, 3, 12),
        (15, 4, 12),
        (16, 4, 13),
        (17, 5, 13),
        (18, 5, 14),
        (19, 5, 15),
        (20, 6, 15),
    ],
)
def test_ranks_of_the_median_are_the_tabled_ones(
    n: int, lower: int, upper: int
) -> None:
    assert rank_limits(n, n, 0.5) == (lower, upper)


def test_five_values_have_no_interval_for_their_median() -> None:
    """The widest one has 93.8 % in the same table."""
    assert rank_limits(5, 5, 0.5) == (None, None)


def test_interval_of_a_median_is_the_documented_one() -> None:
    """Data and answer (20.7; 10.8 to 30.9) of ci.median in the R package statpsych.

    The package cites Snedecor & Cochran, Statistical Methods, 8th ed. 1989. It counts
    each value as independent; ours has one value a patient and the same ranks.
    """
    values = [30.2, 20.4, 15.1, 10.2, 10.5, 60.8, 20.8, 25.0, 20.7, 30.9, 10.8, 5.1]
    values += [50.9, 40.0, 20.9, 10.8, 0, 20.5, 50.8]
    result = clustered_quantile(values, range(19), 0.5)
    assert (result.value, result.low, result.high) == (20.7, 10.8, 30.9)
