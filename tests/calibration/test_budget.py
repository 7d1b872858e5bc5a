"""The error budget holds its promises: a small run here, the long run in the table.

The committed tables come from `python -m tests.calibration.budget`.
"""

from __future__ import annotations

import csv
from math import sqrt

import pytest

from tests.calibration.budget import (
    COUNT_LEAST,
    COVERAGE,
    JUDGED_FROM,
    PAIRS,
    PLANTED,
    SPEAKS,
    speaks,
    try_out,
)
from tests.calibration.planted_pairs import Planted

COUNT_AUDITS = 400
LEVEL = 0.05
NOTHING_COMMON = ("nothing common", "play only")
MISSED_BY_CHANCE = 4 * sqrt(0.07 * 0.93 / COUNT_AUDITS)


def committed(path):
    with path.open(encoding="utf-8") as lines:
        assert next(lines).startswith("# 20")
        return list(csv.DictReader(lines))


@pytest.mark.parametrize("planted", PLANTED, ids=lambda planted: planted.name)
def test_a_small_run_stays_inside_wide_limits(planted: Planted) -> None:
    for cell in try_out(planted, JUDGED_FROM, COUNT_AUDITS, seed=2):
        assert cell.target_low is not None
        assert cell.target_high is not None
        low, high = cell.target_low, cell.target_high
        assert low - MISSED_BY_CHANCE <= cell.coverage <= high + MISSED_BY_CHANCE, cell


def test_the_committed_table_covers_every_cell_as_promised() -> None:
    """5,000 audits a cell: a true 93 % would then not pass for 95 %."""
    rows = committed(COVERAGE)
    estimates = {row["estimate"] for row in rows}
    assert len(rows) == len(estimates) * len(PLANTED) * len(PAIRS)
    assert all(int(row["count_audits"]) >= COUNT_LEAST for row in rows)
    judged = [row for row in rows if row["is_within"]]
    assert len(judged) == len(rows) * 3 // 4
    for row in judged:
        reached = float(row["coverage"])
        assert float(row["target_low"]) <= reached <= float(row["target_high"]), row
        assert row["is_within"] == "True"


def test_common_motion_is_claimed_on_pure_noise_no_oftener_than_stated() -> None:
    rows = committed(SPEAKS)
    assert len(rows) == len(PLANTED) * len(PAIRS)
    assert all(int(row["count_audits"]) >= COUNT_LEAST for row in rows)
    for row in rows:
        n_audits, rate = int(row["count_audits"]), float(row["share_of_audits"])
        if row["planted"] in NOTHING_COMMON:
            assert rate <= LEVEL + 3 * sqrt(LEVEL * (1 - LEVEL) / n_audits), row
        if row["planted"] == "guide 50 %" and int(row["n_pairs"]) >= JUDGED_FROM:
            assert rate > 0.9, row


def test_a_small_run_of_the_test_speaks_where_a_guide_is_planted() -> None:
    by_name = {planted.name: planted for planted in PLANTED}
    assert speaks(by_name["guide 75 %"], 15, 40, seed=2).share_of_audits > 0.9
    assert speaks(by_name["nothing common"], 15, 100, seed=2).share_of_audits < 0.16
