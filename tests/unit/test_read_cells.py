"""Values of a workbook become the text a person would have typed."""

from datetime import date, datetime, time, timedelta

import pytest

from pipeline.records.phrases import column_letters, listed, places_named, rows_named
from pipeline.records.workbook_cells import text_of


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (" 2 ", " 2 "),
        ("007", "007"),
        (12, "12"),
        (12.0, "12"),
        (123456789012.0, "123456789012"),
        (-0.0, "0"),
        (0.1, "0.1"),
        (3.3000000000000003, "3.3000000000000003"),
        (1e300, "1e+300"),
        (True, "yes"),
        (False, "no"),
        (datetime(2024, 5, 3), "2024-05-03"),  # noqa: DTZ001  a cell has no zone
        (datetime(2024, 5, 3, 14, 30), "2024-05-03T14:30:00"),  # noqa: DTZ001
        (date(2024, 5, 3), "2024-05-03"),
        (time(14, 30), "14:30:00"),
        (timedelta(hours=30, minutes=5), "30:05:00"),
        (timedelta(minutes=-90), "-1:30:00"),
        ("#DIV/0!", "#DIV/0!"),
    ],
)
def test_a_value_becomes_plain_text(value: object, text: str) -> None:
    assert text_of(value) == text


def test_long_lists_of_rows_and_cells_stay_short() -> None:
    assert listed([9, 5, 8, 30, 10]) == "5, 8-10, 30"
    assert listed(range(1, 100, 2)) == "1, 3, 5, 7, 9 and 45 more"
    assert rows_named([7]) == "row 7"
    assert places_named(["A1", "B2"]) == "A1, B2"
    assert (
        places_named([f"A{n}" for n in range(1, 9)]) == "A1, A2, A3, A4, A5 and 3 more"
    )


def test_columns_carry_the_letters_a_spreadsheet_shows() -> None:
    # 16,384 columns end at XFD (ECMA-376 Part 1, from memory)
    shown = [column_letters(number) for number in (1, 26, 27, 702, 703, 16_384)]
    assert shown == ["A", "Z", "AA", "ZZ", "AAA", "XFD"]
