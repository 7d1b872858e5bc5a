"""The intervals hold the truth about as often as they say.

The committed table comes from the long run, `python -m tests.calibration.intervals`; a
small run of the same code is made here, with limits wide enough for chance.
"""

from __future__ import annotations

import csv
from io import StringIO
from math import sqrt

import numpy as np
import pytest

from pipeline.statistics.means import clustered_mean
from tests.calibration.intervals import (
    ESTIMATORS,
    JUDGED_FROM,
    RESULTS,
    Cell,
    Estimator,
    settings_of,
    try_out,
    write,
)
from tests.calibration.planted import (
    ERRORS,
    SIGNED,
    Setting,
    Shape,
    audits,
    correlation_on_root_scale,
)

COUNT_AUDITS = 400
MISSED_BY_CHANCE = 4 * sqrt(0.06 * 0.94 / COUNT_AUDITS)


def name_of(estimator: Estimator) -> str:
    return f"{estimator.name} {estimator.p or ''}".strip()


def committed() -> list[dict[str, str]]:
    with RESULTS.open(encoding="utf-8") as lines:
        assert next(lines).startswith("# 20")
        return list(csv.DictReader(lines))


@pytest.mark.parametrize("estimator", ESTIMATORS, ids=name_of)
def test_a_small_run_stays_inside_wide_limits(estimator: Estimator) -> None:
    """Fifteen patients (or the fewest it takes), correlated, some implants missing."""
    n_patients = max(JUDGED_FROM, estimator.fewest_patients)
    setting = Setting(estimator.shapes[-1], 0.6, n_patients, 0.2)
    cell = try_out(estimator, setting, COUNT_AUDITS, seed=2)
    low, high = estimator.target or (0.90, 0.965)
    assert low - MISSED_BY_CHANCE <= cell.coverage <= high + MISSED_BY_CHANCE
    assert cell.coverage == pytest.approx(1 - cell.below - cell.above, abs=2e-4)
    assert cell.count_refused < 0.05 * COUNT_AUDITS


def test_the_plain_interval_lies_below_a_skewed_truth_more_often() -> None:
    """On the same audits; the reason for the correction."""
    corrected, plain = ESTIMATORS[:2]
    setting = Setting(ERRORS[-1], 0.6, 15, 0.0)
    below = [try_out(e, setting, COUNT_AUDITS, 2).below for e in (corrected, plain)]
    assert below[1] > below[0] + 0.01


def test_an_interval_blind_to_the_pairs_would_be_found_out() -> None:
    """Taking implants for patients, the coverage falls under the wide limits."""

    def blind(values: np.ndarray, _: np.ndarray) -> object:
        return clustered_mean(values, np.arange(values.size))

    mean = ESTIMATORS[0]
    careless = Estimator("blind", None, ERRORS, blind, mean.truth, mean.target)  # type: ignore[arg-type]
    cell = try_out(careless, Setting(ERRORS[0], 0.6, 60, 0.0), COUNT_AUDITS, 2)
    assert cell.coverage < 0.935 - MISSED_BY_CHANCE / 2
    assert cell.is_within is False


def test_the_committed_table_is_of_the_cells_there_are() -> None:
    expected = {
        (
            e.name,
            str(e.p or ""),
            s.shape.name,
            str(s.icc),
            str(s.n_patients),
            str(s.missing),
        )
        for e in ESTIMATORS
        for s in settings_of(e)
    }
    keys = ("estimator", "p", "shape", "icc", "n_patients", "missing")
    rows = committed()
    assert {tuple(row[key] for key in keys) for row in rows} == expected
    assert {row["count_audits"] for row in rows} == {"5000"}


def test_every_judged_cell_of_the_committed_table_reaches_its_target() -> None:
    targets = {name_of(e): e.target for e in ESTIMATORS}
    count_judged = 0
    for row in committed():
        target = targets[f"{row['estimator']} {row['p']}".strip()]
        if target and int(row["n_patients"]) >= JUDGED_FROM:
            count_judged += 1
            assert target[0] <= float(row["coverage"]) <= target[1], row
    assert count_judged == 246


@pytest.mark.parametrize("shape", [*ERRORS, *SIGNED], ids=lambda shape: shape.name)
def test_planted_means_and_likeness_are_what_is_drawn(shape: Shape) -> None:
    rng = np.random.default_rng(6)
    ((values, patients),) = audits(Setting(shape, 0.3, 100_000, 0.0), 1, rng)
    assert values.mean() == pytest.approx(shape.mean, abs=5 * values.std() / 440)
    assert (np.bincount(patients) == 2).all()
    if shape in ERRORS:
        pairs = np.sqrt(values.reshape(-1, 2))
        drawn = np.corrcoef(pairs.T)[0, 1]
        assert correlation_on_root_scale(shape, 0.3) == pytest.approx(drawn, abs=0.015)


def test_missing_second_implants_are_missing_as_often_as_planned() -> None:
    rng = np.random.default_rng(6)
    ((_, patients),) = audits(Setting(ERRORS[0], 0.3, 20_000, 0.2), 1, rng)
    sizes = np.bincount(patients)
    assert sizes.min() == 1
    assert np.mean(sizes == 1) == pytest.approx(0.2, abs=0.015)


def test_a_written_table_says_how_it_was_made() -> None:
    setting = Setting(ERRORS[0], 0.0, 15, 0.0)
    cell = try_out(ESTIMATORS[0], setting, 50, seed=3)
    text = StringIO()
    write([cell], text, "the command", 3)
    first, header, row = text.getvalue().splitlines()
    assert first.startswith("# 20")
    assert "the command, seed 3, plumbpost " in first
    assert header.split(",") == list(Cell.__slots__)
    assert str(cell.coverage) in row
