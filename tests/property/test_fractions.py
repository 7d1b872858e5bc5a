"""Two readers of vulgar fractions, one for sheets of ours and one for layouts, agree."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import tables
from pipeline.records.numbers_written import Style, read_number
from pipeline.warehouse import Warehouse

MARKS = "½⅓⅔¼¾⅛⅜⅝⅞"
WRITTEN = st.one_of(
    st.builds("{}{}{}".format, st.sampled_from(["", "-", "+"]), st.integers(0, 99), st.sampled_from(MARKS)),
    st.builds(
        "{}{} {}/{}".format,
        st.sampled_from(["", "-", "+"]),
        st.integers(0, 99),
        st.integers(1, 20),
        st.sampled_from([2, 3, 4, 5, 7, 8, 16]),
    ),
    st.sampled_from(list(MARKS)),
)  # fmt: skip


@pytest.fixture(scope="module")
def warehouse():
    with Warehouse() as made:
        tables.add_macros(
            made, only=("fraction_written", "fraction_of", "plain_number", "number_of")
        )
        yield made


@given(WRITTEN)
def test_a_fraction_is_the_same_number_in_a_sheet_of_ours_and_through_a_layout(
    warehouse, text
):
    by_sheet = warehouse.value("select number_of($text, '.')", {"text": text})
    by_layout = read_number(text, Style())
    if by_layout is None:
        assert by_sheet is None
    else:
        assert by_sheet == pytest.approx(float(by_layout.text), abs=1e-6)


@pytest.mark.parametrize("text", ["1/2", "7/8", "7/8/26", "71/2", "7-8", "7 3/2", "a½"])
def test_what_may_be_a_day_or_a_range_is_no_fraction(warehouse, text):
    assert warehouse.value("select number_of($text, '.')", {"text": text}) is None
