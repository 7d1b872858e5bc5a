"""The shipped figures of attachment events hold together and can be recomputed."""

from __future__ import annotations

import re
from collections import Counter

import pytest

from pipeline.reference import load
from pipeline.reference.lint_events import RATE, lint_events
from pipeline.statistics.rates import garwood_limits

ROWS = load.rows("attachment_events_published")
COMPARISONS = load.rows("attachment_comparisons_published")
KINDS = {"stud", "ball", "bar", "magnet", "telescopic", "mixed"}


def test_our_own_table_passes_its_linter() -> None:
    assert lint_events(ROWS) == []


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"value": "1083.3"}, "out of its range"),
        ({"value": ""}, "value is empty"),
        ({"value": "x"}, "value is not a number"),
        ({"value": "120.0"}, "are not 120 per 100"),
        ({"low": "150"}, "does not contain its value"),
        ({"high": ""}, "only one end"),
        ({"event_group": "clips"}, "event_group must be one of"),
        ({"measure": "rate"}, "measure must be one of"),
        ({"measure": "percent_patients"}, "only a rate"),
        ({"source_status": "heard"}, "source_status must be one of"),
        ({"where_seen": ""}, "says where"),
        ({"patient_years": ""}, "events without years"),
    ],
)
def test_a_typing_error_is_found(changes: dict[str, str], said: str) -> None:
    (row,) = [row for row in ROWS if row["key"] == "cepa2011_ball_first_year"]
    assert any(said in sentence for sentence in lint_events([{**row, **changes}]))


def test_a_figure_given_twice_is_found() -> None:
    twice = [ROWS[0], {**ROWS[0], "key": "again"}]
    assert lint_events(twice) == [f"again: says the same as {ROWS[0]['key']}"]


@pytest.mark.parametrize(
    "row", [row for row in ROWS if row["count_events"]], ids=lambda row: row["key"]
)
def test_intervals_from_counts_are_exact_poisson_limits(row: dict[str, str]) -> None:
    years = float(row["patient_years"])
    low, high = (100 * x / years for x in garwood_limits(float(row["count_events"])))
    assert float(row["low"]) == pytest.approx(low, abs=0.051)
    assert float(row["high"]) == pytest.approx(high, abs=0.051)
    assert row["source_status"] == "derived"


@pytest.mark.parametrize(
    "row",
    [row for row in ROWS if row["note"].startswith("mean of ")],
    ids=lambda row: row["key"],
)
def test_rates_from_means_are_the_mean_over_the_years(row: dict[str, str]) -> None:
    mean = re.match(r"mean of ([\d.]+) a patient", row["note"])
    assert mean
    rate = 100 * float(mean[1]) / float(row["years"])
    assert float(row["value"]) == pytest.approx(rate, abs=0.051)
    assert row["low"] == ""


def test_every_rate_is_derived_in_one_of_the_two_ways() -> None:
    for row in ROWS:
        if row["measure"] == RATE:
            assert bool(row["count_events"]) != row["note"].startswith("mean of ")


def test_shares_of_counts_are_what_the_counts_give() -> None:
    found = 0
    for row in ROWS:
        for met, total, percent in re.findall(
            r"(\d+) of (\d+) \(([\d.]+) %\)", row["note"]
        ):
            found += 1
            assert 100 * int(met) / int(total) == pytest.approx(
                float(percent), abs=0.051
            )
            assert float(row["value"]) == float(percent)
    assert found == 4


def test_kinds_of_attachment_use_the_words_of_the_record_sheet() -> None:
    assert {row["attachment"] for row in ROWS} <= KINDS
    assert {row["attachment"] for row in COMPARISONS} <= KINDS


def test_contradictions_stand_side_by_side() -> None:
    """Stud against ball is printed better, worse and no different: all are kept."""
    found = {
        row["direction"]
        for row in COMPARISONS
        if (row["attachment"], row["compared_with"]) == ("stud", "ball")
    }
    assert found == {"better", "worse", "no difference"}


def test_nothing_is_pooled_by_us() -> None:
    """One row is one study: a citation, its own n; no row cites two."""
    for row in ROWS:
        assert ";" not in row["citation"] or row["citation"].count(";") == 1
        assert row["design"] in {"trial", "cohort", "cross-section", "review"}


def test_sources_md_counts_what_the_table_holds() -> None:
    text = (load.FOLDER / "SOURCES.md").read_text(encoding="utf-8")
    counts = Counter(row["source_status"] for row in ROWS)
    said = re.search(
        r"(\d+) figures, (\d+) of them derived here, (\d+) read, (\d+) recalled", text
    )
    assert said
    assert [int(n) for n in said.groups()] == [
        len(ROWS),
        counts["derived"],
        counts["seen"],
        counts["memory"],
    ]
