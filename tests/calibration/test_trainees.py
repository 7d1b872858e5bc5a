"""The scores of trainees speak about as often as they say.

The committed table comes from the long run, `python -m tests.calibration.trainees`.
"""

from __future__ import annotations

import csv
from math import sqrt

import pytest

from pipeline.statistics.monitoring import Rates
from tests.calibration.trainees import QUESTIONS, RESULTS, try_out


def committed() -> list[dict[str, str]]:
    with RESULTS.open(encoding="utf-8") as lines:
        assert next(lines).startswith("# 20")
        return list(csv.DictReader(lines))


def by_chance(stated: float, count: int) -> float:
    """Four standard errors of a share seen among so many trainees."""
    return 4 * sqrt(stated * (1 - stated) / count) + 1e-4


def test_a_small_cohort_signals_as_often_as_the_charts_state():
    for cell in try_out(Rates(0.2, 0.4, 30, 0.05), 2000, seed=3):
        if cell.stated is not None:
            assert cell.signalled == pytest.approx(
                cell.stated, abs=by_chance(cell.stated, 2000)
            )


def test_the_long_run_covers_every_question_and_agrees_with_what_is_stated():
    rows = committed()
    assert {
        (float(r["acceptable"]), float(r["unacceptable"]), int(r["n_cases"]))
        for r in rows
    } == {(q.acceptable, q.unacceptable, q.n_planned) for q in QUESTIONS}
    for row in rows:
        if row["stated"]:
            stated, count = float(row["stated"]), int(row["count_trainees"])
            assert count >= 20_000
            assert float(row["signalled"]) == pytest.approx(
                stated, abs=by_chance(stated, count)
            )


def test_no_chart_signals_falsely_more_often_than_wanted():
    false_by = {"performance": "acceptable", "learning": "unacceptable"}
    for row in committed():
        if row["trainee"] == false_by[row["chart"]]:
            assert float(row["stated"]) <= 0.05


def test_ten_cases_find_an_unacceptable_rate_less_than_half_of_the_time():
    """Which is why fewer than ten say nothing on the page."""
    found = [
        float(row["stated"])
        for row in committed()
        if (row["chart"], row["trainee"]) == ("performance", "unacceptable")
        and int(row["n_cases"]) <= 10
    ]
    assert max(found) < 0.5
