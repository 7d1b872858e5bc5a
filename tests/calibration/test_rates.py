"""The intervals of event rates hold the planted rates about as often as they say.

The committed table comes from the long run, `python -m tests.calibration.rates`.
"""

from __future__ import annotations

import csv
import re
from math import sqrt

import numpy as np
import pytest

from pipeline.reported.wording import Words
from pipeline.statistics.rates import garwood_limits
from tests.calibration.rates import (
    LOWEST,
    PERIODS,
    RESULTS,
    TRUTHS,
    planted,
    settings,
    try_out,
)

COUNT_AUDITS = 400
MISSED_BY_CHANCE = 4 * sqrt(0.08 * 0.92 / COUNT_AUDITS)


def committed() -> list[dict[str, str]]:
    with RESULTS.open(encoding="utf-8") as lines:
        assert next(lines).startswith("# 20")
        return list(csv.DictReader(lines))


@pytest.mark.parametrize("event", ["sore_spot", "insert_renewed"])
def test_a_small_run_with_the_demo_clinics_truths_holds_the_planted_rate(event):
    for cell in try_out(event, TRUTHS.frailty_variance, 24, COUNT_AUDITS, seed=2):
        assert cell.coverage >= LOWEST[24] - MISSED_BY_CHANCE
        assert cell.count_refused == 0


def test_limits_of_chance_alone_would_be_found_out():
    """Patients who differ: the exact Poisson interval holds far too seldom."""
    rng = np.random.default_rng(8)
    factor = rng.gamma(1 / 2.0, 2.0, (COUNT_AUDITS, 24))
    totals = rng.poisson(1.0 * factor).sum(axis=1)
    held = [low <= 24 <= high for low, high in map(garwood_limits, totals)]
    assert np.mean(held) < 0.85


def test_the_committed_table_is_of_the_cells_there_are():
    rows = committed()
    found = {
        (r["event"], float(r["frailty_variance"]), int(r["n_dentures"])) for r in rows
    }
    assert found == set(settings())
    assert {row["count_audits"] for row in rows} == {"5000"}
    for row in rows:
        truth = planted(row["event"])
        rates = dict(
            zip(PERIODS, (truth.rate_first_year, truth.rate_later), strict=True)
        )
        assert float(row["rate"]) == rates[row["period"]]


def test_every_judged_cell_of_the_committed_table_reaches_its_target():
    judged = [row for row in committed() if int(row["n_dentures"]) in LOWEST]
    assert len(judged) == 54
    for row in judged:
        assert float(row["coverage"]) >= LOWEST[int(row["n_dentures"])], row


def test_the_page_says_how_seldom_an_interval_holds_with_few_dentures():
    """The worst cell of the committed table for 8, 12 and 24 dentures, rounded."""
    said = Words()("years_after.few_note").replace("\u00a0", " ")
    found = re.findall(r"(\d+) dentures (\d+) %", said)
    worst = {
        n: min(float(r["coverage"]) for r in committed() if r["n_dentures"] == n)
        for n in ("8", "12", "24")
    }
    assert {n: f"{100 * share:.0f}" for n, share in worst.items()} == dict(found)
