"""The interval of the learning slope holds what it says.

The committed table comes from the long run, `python -m tests.calibration.learning`.
"""

from __future__ import annotations

import csv
from math import sqrt

from tests.calibration.learning import COHORTS, RESULTS, try_out


def committed() -> list[dict[str, float]]:
    with RESULTS.open(encoding="utf-8") as lines:
        assert next(lines).startswith("# 20")
        return [
            {name: float(cell) for name, cell in row.items()}
            for row in csv.DictReader(lines)
        ]


def test_the_long_run_covers_every_kind_of_cohort():
    keys = ("n_trainees", "most_cases", "ratio", "spread")
    assert {tuple(row[key] for key in keys) for row in committed()} == set(COHORTS)


def test_intervals_hold_the_planted_ratio_at_least_as_often_as_they_say():
    for row in committed():
        chance = 4 * sqrt(0.95 * 0.05 / row["count_cohorts"])
        assert row["covered"] >= 0.95 - chance, row


def test_learning_is_seldom_said_where_there_is_none():
    for row in committed():
        if row["ratio"] == 1:
            chance = 4 * sqrt(0.95 * 0.05 / row["count_cohorts"])
            assert row["spoke"] <= 0.05 + chance, row


def test_six_trainees_with_few_cases_see_learning_by_a_seventh_less_than_half_of_the_time():
    """Which is why so few seldom say anything."""
    found = [
        row["spoke"]
        for row in committed()
        if row["n_trainees"] == 6 and row["most_cases"] == 6 and row["ratio"] < 1
    ]
    assert max(found) < 0.5


def test_a_few_cohorts_drawn_anew_agree():
    cell = try_out((10, 6, 0.85, 0.0), 40, seed=5)
    assert cell.covered >= 0.85
