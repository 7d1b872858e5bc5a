"""Whatever stands in a table of text comes back, in every encoding, by either reader."""

import csv
import io
from unittest.mock import patch

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pipeline.errors import UnreadableFile, UnreadableSheet
from pipeline.records import text_quick
from pipeline.records.file_read import SheetRead
from pipeline.records.grid import is_blank, sheet_of
from pipeline.records.text_delimiter import delimiter_of
from pipeline.records.text_encoding import Decoded, decoded
from pipeline.records.text_files import sheet_of_text

HEADINGS = ["case_id", "side", "note", "note", "examiner"]
DELIMITERS = [",", ";", "\t", "|"]
ANY_LETTER = st.characters(exclude_categories=["Cs"], exclude_characters="\0")
WESTERN_LETTER = st.sampled_from('abcXYZ 019.,;|\t"\n\r-_/()äöüßéèñ°±')
ENCODINGS = {
    "utf-8": ANY_LETTER,
    "utf-8-sig": ANY_LETTER,
    "utf-16": ANY_LETTER,
    "utf-16-le": st.characters(codec="latin-1", exclude_characters="\0"),
    "utf-16-be": st.characters(codec="latin-1", exclude_characters="\0"),
    "cp1252": WESTERN_LETTER,
}


@st.composite
def tables(
    draw: st.DrawFn, letters: st.SearchStrategy[str], least_columns: int = 2
) -> list[list[str]]:
    """Draw a heading row and rows of the same width, none of them blank."""
    width = draw(st.integers(least_columns, len(HEADINGS)))
    # mostly short cells, so that empty ones and lone quotation marks are frequent
    cell = st.text(letters, max_size=8)
    row = st.lists(cell, min_size=width, max_size=width)
    rows = draw(st.lists(row, max_size=8))
    return [HEADINGS[:width], *(r for r in rows if not all(map(is_blank, r)))]


def written(rows: list[list[str]], delimiter: str, **how: object) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter, **how).writerows(rows)
    return text.getvalue()


def read(text: str, encoding: str) -> SheetRead:
    return sheet_of_text(decoded(text.encode(encoding), name="a.csv"), name="a.csv")


@pytest.mark.parametrize("encoding", sorted(ENCODINGS))
@given(data=st.data(), delimiter=st.sampled_from(DELIMITERS))
def test_every_cell_comes_back(
    encoding: str, data: st.DataObject, delimiter: str
) -> None:
    rows = data.draw(tables(ENCODINGS[encoding]))
    text = written(rows, delimiter)
    if encoding == "cp1252":  # the guess needs plain letters around the marked ones
        assume(decoded(text.encode(encoding), name="a.csv").utf8.decode() == text)
    sheet = read(text, encoding)
    assert sheet.delimiter == delimiter
    assert [list(sheet.headings), *sheet.rows.to_numpy().tolist()] == rows
    assert not sheet.rows.isna().any().any()


@given(rows=tables(ANY_LETTER), delimiter=st.sampled_from(DELIMITERS))
def test_a_row_number_points_at_the_line_of_its_first_cell(
    rows: list[list[str]], delimiter: str
) -> None:
    marked = [rows[0], *([f"P{i}", *row[1:]] for i, row in enumerate(rows[1:]))]
    text = written(marked, delimiter)
    sheet = read(text, "utf-8")
    lines = list(io.StringIO(text, newline=""))
    for place, number in enumerate(sheet.row_numbers):
        assert lines[number - 1].startswith(f"P{place}{delimiter}")


@given(
    rows=st.lists(st.lists(st.text(ANY_LETTER, max_size=5), max_size=7), max_size=8),
    delimiter=st.sampled_from(DELIMITERS),
)
def test_no_cell_of_a_ragged_table_is_lost(
    rows: list[list[str]], delimiter: str
) -> None:
    table = [HEADINGS, *rows]
    try:
        sheet = read(written(table, delimiter), "utf-8")
    except UnreadableSheet:  # cut decimal commas: refused, not lost
        assume(False)
    kept = [[c for c in row if not is_blank(c)] for row in sheet.rows.to_numpy()]
    expected = [[c for c in row if not is_blank(c)] for row in rows]
    assert kept == [row for row in expected if row]


def both(text: str) -> tuple[SheetRead | None, SheetRead]:
    """Read by the quick reader (None: it stood back) and by the careful one."""
    utf8 = text.encode()
    with (
        patch.object(text_quick, "QUICK_FROM_LINES", 0),
        patch.object(text_quick, "BLOCK_BYTES", 16),
    ):
        quick = text_quick.quick_body(utf8, delimiter_of(utf8).sign)
    careful = sheet_of_text(Decoded(utf8, "utf-8"), name="a.csv")
    if quick is None:
        return None, careful
    how = {"encoding": "utf-8", "delimiter": careful.delimiter}
    return sheet_of(quick, name="", where="a.csv", **how), careful


def assert_same(quick: SheetRead, careful: SheetRead) -> None:
    for attribute in ("headings", "heading_row", "decimal_sign", "notes"):
        assert getattr(quick, attribute) == getattr(careful, attribute)
    for attribute in ("row_numbers", "column_numbers"):
        assert np.array_equal(getattr(quick, attribute), getattr(careful, attribute))
    pd.testing.assert_frame_equal(quick.rows, careful.rows)


@given(
    rows=tables(st.characters(exclude_categories=["Cs"], exclude_characters='\0\r\n"')),
    delimiter=st.sampled_from(DELIMITERS),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    end=st.sampled_from(["\n", "\r\n"]),
    title=st.sampled_from(["", "title\n"]),
)
def test_the_quick_reader_is_used_and_agrees_with_the_careful_one(
    rows: list[list[str]], delimiter: str, quoting: int, end: str, title: str
) -> None:
    assume(len(rows) > 1)
    assume(not any("\ufeff" in cell for row in rows for cell in row))
    text = title.replace("\n", end)
    text += written(rows, delimiter, quoting=quoting, lineterminator=end)
    quick, careful = both(text)
    assert quick is not None
    assert_same(quick, careful)


@given(
    rows=st.lists(
        st.lists(st.text(st.sampled_from("ab 1.,;"), max_size=3), max_size=8),
        min_size=1,
        max_size=8,
    ),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    end=st.sampled_from(["\n", "\r\n"]),
)
def test_the_quick_reader_agrees_on_ragged_rows_and_blank_lines(
    rows: list[list[str]], quoting: int, end: str
) -> None:
    text = written([HEADINGS, *rows], ";", quoting=quoting, lineterminator=end)
    quick, careful = both(text)
    assert quick is not None
    assert_same(quick, careful)


@settings(max_examples=400)
@given(
    body=st.text(st.sampled_from('ab ,,"\n\n\r\ufeff'), max_size=40),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
)
def test_the_quick_reader_agrees_or_stands_back_on_any_scribble(
    body: str, end: str
) -> None:
    text = f"case_id,side{end}P1,left{end}{body}{end}"
    try:
        quick, careful = both(text)
    except UnreadableFile:
        with patch.object(text_quick, "QUICK_FROM_LINES", 0):
            assert text_quick.quick_body(text.encode(), ",") is None
    else:
        if quick is not None:
            assert_same(quick, careful)
