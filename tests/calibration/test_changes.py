"""The interval of a change holds its promise: a small run here, the long run in the table.

The committed table comes from `python -m tests.calibration.changes`.
"""

from __future__ import annotations

import csv
from math import sqrt

import pytest

from tests.calibration.changes import TABLE, TARGETS, settings_of, try_out
from tests.calibration.planted import ERRORS, Shape

COUNT_AUDITS = 400
COUNT_LEAST = 5000
MISSED_BY_CHANCE = 4 * sqrt(0.07 * 0.93 / COUNT_AUDITS)


@pytest.mark.parametrize("shape", ERRORS, ids=lambda shape: shape.name)
def test_a_small_run_from_six_patients_stays_inside_wide_limits(shape: Shape) -> None:
    for cell in try_out(shape, 0.3, (6, 6), 0.2, COUNT_AUDITS, seed=2):
        low, high = TARGETS[cell.estimate]
        assert low - MISSED_BY_CHANCE <= cell.coverage <= high + MISSED_BY_CHANCE, cell


def test_the_committed_table_covers_every_change_as_promised() -> None:
    with TABLE.open(encoding="utf-8") as lines:
        assert next(lines).startswith("# 20")
        rows = list(csv.DictReader(lines))
    assert len(rows) == len(list(settings_of())) * len(TARGETS)
    for row in rows:
        assert int(row["count_audits"]) >= COUNT_LEAST
        low, high = TARGETS[row["estimate"]]
        assert low <= float(row["coverage"]) <= high, row
