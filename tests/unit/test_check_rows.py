"""The rows of reference/checks: each can be followed, explained and acted on."""

import datetime as dt
from dataclasses import replace

import pytest

from pipeline.checked.checks import (
    BadCheck,
    _check,
    all_checks,
    by_id,
    faults,
    slots_of,
)
from pipeline.checked.vocabulary import PROBLEMS
from pipeline.reference import load

RUN_DATE = dt.date(2026, 6, 30)


def columns_promised() -> dict[str, set[str]]:
    tables: dict[str, set[str]] = {}
    for row in load.rows("columns"):
        tables.setdefault(row["table"], set()).add(row["column"])
    return tables


GOOD = by_id()["cases-sleeve-bore"]


def faults_of(**changes: str) -> list[str]:
    return faults([replace(GOOD, **changes)], columns_promised())


def test_every_row_of_the_check_tables_is_well_formed():
    assert faults(all_checks(), columns_promised()) == []


def test_every_record_sheet_has_checks_of_what_any_sheet_can_get_wrong():
    for sheet in load.sheets():
        name = sheet.replace("_", "-")
        own = {f"{name}-{p.replace('_', '-')}" for p in PROBLEMS - {"empty"}}
        assert own | {f"{name}-required-missing"} <= set(by_id())


def test_every_column_of_evidence_is_judged_by_a_check():
    """Evidence that nothing judges would be work for nothing."""
    judged = {(check.evidence_table, check.evidence) for check in all_checks()}
    unjudged = {
        (row["table"], row["column"])
        for row in load.rows("columns")
        if row["table"].endswith("_evidence")
        and row["type"] == "DOUBLE"
        and (row["table"], row["column"]) not in judged
    }
    assert unjudged == set()


def test_every_day_a_sheet_may_hold_is_held_between_1980_and_the_day_of_the_run():
    days = {(f.sheet, f.field) for f in load.fields() if f.kind == "date"}
    judged = {(c.sheet, c.field) for c in all_checks() if c.is_of_days}
    assert judged == days


def test_a_sentence_never_quotes_a_cell():
    """What a person wrote may be a name; only numbers, days and fields are told."""
    told = set().union(*(slots_of(check.sentence) for check in all_checks()))
    numbers = {"row_number", "value", "size", "low", "high"}
    assert told <= numbers | {"field", "sheet", "allowed", "meant"}
    meant = {c.problem for c in all_checks() if "meant" in slots_of(c.sentence)}
    assert meant == {"became_day", "serial_day", "day_number", "other_decimal_sign"}


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"evidence": "bore"}, "has no column bore"),
        ({"evidence_table": "checked.nothing"}, "has no column sleeve_bore_mm"),
        ({"low": "", "high": ""}, "it has no limit"),
        ({"low": "11"}, "limits are exchanged"),
        ({"low": "wide"}, "neither a number nor a day"),
        ({"low": ""}, "speaks of a limit that is not there"),
        ({"field": "bore"}, "the sheet cases has no field bore"),
        ({"field": ""}, "names no field"),
        ({"field": "@odd"}, "odd is no problem"),
        ({"reach": "set"}, "cannot reach a set"),
        ({"sheet": "teeth"}, "there is no sheet teeth"),
        ({"sentence": "Patient {name}"}, "a slot name that nothing fills"),
        ({"why_limit": " "}, "why_limit is empty"),
        ({"source": ""}, "source is empty"),
    ],
)
def test_a_row_that_cannot_be_followed_is_found(changes, fault):
    assert any(fault in line for line in faults_of(**changes))


def test_a_check_written_twice_is_found():
    assert "twice" in faults([GOOD, GOOD], columns_promised())[0]


def test_a_word_outside_the_vocabulary_stops_the_reading_of_the_table():
    row = {**load.rows("checks/cases")[0], "severity": "maybe"}
    with pytest.raises(BadCheck, match="maybe"):
        _check(row)


def test_a_limit_of_days_counts_from_1970_and_knows_the_day_of_the_run():
    """1 January 1980 is 3,652 days after 1 January 1970: ten years, two leap days."""
    check = by_id()["cases-surgery-day"]
    assert check.limits(RUN_DATE) == (3652.0, (RUN_DATE - dt.date(1970, 1, 1)).days)
    assert check.limits_in_words(RUN_DATE) == ("1980-01-01", "2026-06-30")


def test_limits_that_are_numbers_may_be_open_on_one_side():
    assert by_id()["implants-entry-far"].limits(RUN_DATE) == (None, 10.0)


def test_a_set_check_and_a_warning_set_nothing_aside():
    for check in all_checks():
        if check.severity == "warn" or check.level == "set":
            assert not check.sets_aside
