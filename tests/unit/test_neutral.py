"""Text from a record never becomes a formula in somebody's spreadsheet."""

import pytest

from pipeline.records.neutral import (
    could_be_formula,
    for_csv,
    for_csv_sql,
    for_workbook,
)
from pipeline.warehouse import Warehouse


@pytest.mark.parametrize(
    "text", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "=HYPERLINK(1)"]
)
def test_what_a_spreadsheet_could_run_is_known_and_gets_an_apostrophe(text):
    # the signs: OWASP, "CSV Injection", as recalled
    assert could_be_formula(text)
    assert for_csv(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-0.5", "+3", "12,5", "left", "", "3-4", "a=b"])
def test_a_number_with_its_sign_and_plain_words_stay_as_they_are(text):
    assert for_csv(text) == text


def test_a_sign_that_no_workbook_can_hold_is_shown_as_unknown():
    assert for_workbook("a\x00b\x1fc\nd") == "a\ufffdb\ufffdc\nd"


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\n=1", "-0.5", "+3", "it's", ""],
)
def test_a_column_written_by_the_database_is_made_harmless_the_same_way(text):
    select = f"select {for_csv_sql('t')} from (select $text::varchar as t)"
    with Warehouse() as warehouse:
        assert warehouse.value(select, {"text": text}) == for_csv(text)
