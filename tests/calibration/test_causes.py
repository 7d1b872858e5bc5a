"""The planted cause is named, noise is not: a small run here, the long run in the table.

The committed tables come from `python -m tests.calibration.causes`.
"""

from __future__ import annotations

from math import sqrt

import pytest

from tests.calibration.causes import (
    GROUPS_TABLE,
    LEAST_IN_TOP_TWO,
    MOST_ON_CHANCE,
    MOST_ON_NOISE,
    TABLE,
    try_out,
    try_out_groups,
)
from tests.calibration.planted_causes import PLANTED
from tests.calibration.test_budget import committed

COUNT = 400
MISSED_BY_CHANCE = 4 * sqrt(0.2 * 0.8 / COUNT)


@pytest.mark.parametrize("planted", PLANTED, ids=lambda planted: planted.name)
def test_a_small_run_names_what_was_planted_and_little_on_noise(planted):
    cell = try_out(planted, COUNT, 2, is_ordinary=False)
    if planted.cause:
        assert cell.count_seen > COUNT / 2
        assert cell.in_top_two > LEAST_IN_TOP_TWO - MISSED_BY_CHANCE
    else:
        assert cell.named < MOST_ON_NOISE + MISSED_BY_CHANCE / 2


def test_the_committed_table_has_each_cause_in_the_first_two_in_four_of_five_cases():
    rows = committed(TABLE)
    planted = [row for row in rows if row["cause"]]
    assert {row["planted"] for row in rows} == {one.name for one in PLANTED}
    assert len(planted) == 2 * sum(bool(one.cause) for one in PLANTED)
    assert all(int(row["count_cases"]) >= 5000 for row in rows)
    for row in planted:
        assert float(row["in_top_two"]) >= LEAST_IN_TOP_TWO, row


def test_the_committed_table_names_a_cause_on_pure_noise_no_oftener_than_stated():
    noise = [row for row in committed(TABLE) if not row["cause"]]
    assert noise
    assert all(float(row["named"]) <= MOST_ON_NOISE for row in noise)


def test_a_bad_lot_is_named_and_chance_no_oftener_than_stated():
    rows = {row["planted"]: row for row in committed(GROUPS_TABLE)}
    assert float(rows["no bias"]["named"]) <= MOST_ON_CHANCE
    assert float(rows["one bad lot of five"]["planted_first"]) >= LEAST_IN_TOP_TWO
    small = try_out_groups(is_bad=True, count=30, seed=2)
    assert small.planted_first > 0.5
