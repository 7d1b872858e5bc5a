"""Text files come back cell for cell, with their row numbers, or are refused plainly."""

from pathlib import Path

import pytest

from pipeline.errors import UnreadableFile, UnreadableSheet
from pipeline.records.read import SheetRead, read_file


def read(folder: Path, content: str | bytes, ending: str = "csv") -> SheetRead:
    path = folder / f"sheet.{ending}"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    (sheet,) = read_file(path, name=path.name).sheets
    return sheet


def cells(sheet: SheetRead) -> list[list[str]]:
    return sheet.rows.to_numpy().tolist()


def test_every_cell_comes_back_exactly_as_written(tmp_path: Path) -> None:
    sheet = read(tmp_path, "case_id,side,note\n007, 2 ,NULL\n1e5,N/A,\nnan,,'x'\n")
    assert cells(sheet) == [
        ["007", " 2 ", "NULL"],
        ["1e5", "N/A", ""],
        ["nan", "", "'x'"],
    ]
    assert not sheet.rows.isna().any().any()


def test_the_examples_of_rfc_4180_are_read_as_it_says(tmp_path: Path) -> None:
    # RFC 4180 (2005) section 2, rules 1, 2, 5, 6 and 7
    sheet = read(
        tmp_path,
        'field_name,field_name,field_name\r\naaa,bbb,ccc\r\n"aaa","b\r\nbb","ccc"\r\n'
        'zzz,yyy,xxx\r\n"aaa","b""bb","ccc"',
    )
    assert sheet.headings == ("field_name",) * 3
    assert cells(sheet) == [
        ["aaa", "bbb", "ccc"],
        ["aaa", "b\r\nbb", "ccc"],
        ["zzz", "yyy", "xxx"],
        ["aaa", 'b"bb', "ccc"],
    ]


def test_a_row_number_is_the_line_on_which_the_row_starts(tmp_path: Path) -> None:
    sheet = read(tmp_path, 'case_id,note\nP1,"two\nlines"\n\n,\nP2,one\n')
    assert sheet.row_numbers.tolist() == [2, 6]
    assert cells(sheet)[0][1] == "two\nlines"


def test_headings_that_occur_twice_both_survive(tmp_path: Path) -> None:
    sheet = read(tmp_path, "case_id,side,side\nP1,left,right\n")
    assert sheet.headings == ("case_id", "side", "side")
    assert list(sheet.rows.columns) == [0, 1, 2]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_found(tmp_path: Path, delimiter: str) -> None:
    text = "case_id;side;note\nP1;left;x\n".replace(";", delimiter)
    sheet = read(tmp_path, text)
    assert sheet.delimiter == delimiter
    assert cells(sheet) == [["P1", "left", "x"]]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_under_foreign_headings_is_found_too(
    tmp_path: Path, delimiter: str
) -> None:
    rows = ["Fall;Seite;Tiefe", "A1;links;3.2", "A2;rechts;0.5", "A3;links;1.4"]
    sheet = read(tmp_path, "\n".join(rows).replace(";", delimiter))
    assert sheet.delimiter == delimiter
    assert sheet.headings == ("Fall", "Seite", "Tiefe")


def test_a_file_of_one_column_is_legal(tmp_path: Path) -> None:
    sheet = read(tmp_path, "case_id\nP1\nP2\n")
    assert sheet.delimiter == ""
    assert cells(sheet) == [["P1"], ["P2"]]


def test_a_first_line_that_names_the_delimiter_is_believed(tmp_path: Path) -> None:
    sheet = read(tmp_path, "sep=|\r\nFall|Notiz\r\nA1|a;b;c\r\nA2|d;e;f\r\n")
    assert sheet.delimiter == "|"
    assert sheet.headings == ("Fall", "Notiz")
    assert sheet.row_numbers.tolist() == [3, 4]


def test_title_rows_above_known_headings_are_skipped_and_said(tmp_path: Path) -> None:
    sheet = read(tmp_path, "Our audit\n\nspring;;\n Case-ID ;SIDE;x\nP1;left;1\n")
    assert sheet.headings == (" Case-ID ", "SIDE", "x")
    assert sheet.heading_row == 4
    assert sheet.row_numbers.tolist() == [5]
    assert "Rows 1, 3 stand above the headings and were left out." in sheet.notes


def test_headings_are_looked_for_in_the_first_twenty_rows_only(tmp_path: Path) -> None:
    far = read(tmp_path, "a,b\n" * 20 + "case_id,side\nP1,left\n")
    near = read(tmp_path, "a,b\n" * 19 + "case_id,side\nP1,left\n")
    assert far.headings == ("a", "b")
    assert near.headings == ("case_id", "side")


def test_without_known_headings_the_first_row_with_anything_is_the_heading(
    tmp_path: Path,
) -> None:
    sheet = read(tmp_path, "\n,,\nFall,Seite,x\nA1,links,1\n")
    assert sheet.headings == ("Fall", "Seite", "x")
    assert sheet.heading_row == 3


def test_empty_rows_and_unused_columns_are_left_out(tmp_path: Path) -> None:
    sheet = read(tmp_path, "case_id,,side,,\nP1,,left,,\n,,,,\n  ,,,,\nP2,,,,\n")
    assert sheet.headings == ("case_id", "side")
    assert sheet.column_numbers.tolist() == [1, 3]
    assert cells(sheet) == [["P1", "left"], ["P2", ""]]
    assert sheet.row_numbers.tolist() == [2, 5]


def test_a_row_with_too_many_cells_loses_none_and_is_named(tmp_path: Path) -> None:
    sheet = read(tmp_path, "case_id,side\nP1,left\nP2,right,sore, LL\n")
    assert sheet.headings == ("case_id", "side", "", "")
    assert cells(sheet)[1] == ["P2", "right", "sore", " LL"]
    (note,) = sheet.notes
    assert note.startswith("Row 3 has cells to the right of the last heading")


def test_a_row_with_too_few_cells_is_filled_up_and_named(tmp_path: Path) -> None:
    sheet = read(tmp_path, "case_id,side,note\nP1,left,x\nP2\n")
    assert cells(sheet)[1] == ["P2", "", ""]
    assert sheet.notes[0].startswith("Row 3 has fewer cells than there are headings")


def test_a_column_without_heading_is_kept_and_named_by_its_letter(
    tmp_path: Path,
) -> None:
    sheet = read(tmp_path, "case_id,,side\nP1,x,left\n")
    assert cells(sheet) == [["P1", "x", "left"]]
    assert "1 column with cells but without a heading: B." in sheet.notes


def test_decimal_commas_cut_by_comma_delimiters_are_refused(tmp_path: Path) -> None:
    text = "case_id,side,depth_mm,angle_deg\nP1,left,3,2,-1,5\nP2,left,4,7,2\n"
    with pytest.raises(UnreadableSheet, match="rows 2-3 have more cells") as caught:
        read(tmp_path, text)
    assert "semicolons" in caught.value.hint


def test_extra_cells_that_are_no_cut_numbers_are_kept(tmp_path: Path) -> None:
    sheet = read(tmp_path, "case_id,depth_mm,note\nP1,3.2,1,2\nP2,x,y,z\n")
    assert cells(sheet) == [["P1", "3.2", "1", "2"], ["P2", "x", "y", "z"]]


@pytest.mark.parametrize(
    ("text", "sign", "is_noted"),
    [
        ("case_id;depth_mm\nP1;3,2\nP2;4\n", ",", False),
        ("case_id;depth_mm\nP1;3.2\nP2;4\n", ".", False),
        ("case_id;depth_mm\nP1;3\n", ".", False),
        ("case_id;depth_mm\nP1;<0,5 mm\n", ",", False),
        ("case_id;depth_mm\nP1;3,2\nP2;4.1\n", ".", True),
        # only fields that hold numbers count where there are any
        ("case_id;depth_mm;note\nP1;3,2;seen 4.1 apart\n", ",", False),
        # a date is no number, nor is a sentence
        ("Fall;Tiefe;Tag;Notiz\nA1;3,2;03.05.2024;um 4.1 tiefer\n", ",", False),
        ("Fall;Tiefe\nA1;3,2 mm\nA2;1.5\n", ".", True),
    ],
)
def test_the_decimal_sign_is_found_or_the_doubt_is_said(
    tmp_path: Path, text: str, sign: str, is_noted: bool
) -> None:
    sheet = read(tmp_path, text)
    assert sheet.decimal_sign == sign
    assert any("decimal comma" in note for note in sheet.notes) is is_noted


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('case_id,note\nP1,"open\nP2,x\n', 2, "never closed"),
        ('case_id,note\nP1,x\nP2,"5" pin"\n', 3, "without being doubled"),
        (f'case_id,note\nP1,"{"a" * 140_000}"\n', 2, "longer than 131,072"),
    ],
)
def test_a_wrong_quotation_mark_is_refused_by_its_line(
    tmp_path: Path, text: str, line: int, words: str
) -> None:
    with pytest.raises(UnreadableFile, match=f"starts on line {line} .*{words}"):
        read(tmp_path, text)


def test_a_text_with_nothing_but_delimiters_is_empty(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="is empty"):
        read(tmp_path, ",,\n,,\n ,\n")


def test_a_sheet_of_headings_only_is_read_with_no_rows(tmp_path: Path) -> None:
    sheet = read(tmp_path, "case_id,side\n")
    assert sheet.rows.shape == (0, 2)
    assert sheet.row_numbers.shape == (0,)


def test_two_hundred_columns_are_read(tmp_path: Path) -> None:
    names = [f"c{number}" for number in range(198)]
    sheet = read(tmp_path, ",".join(["case_id", "side", *names]) + "\n" + "1," * 199)
    assert len(sheet.headings) == 200


def test_a_cell_far_to_the_right_costs_one_column(tmp_path: Path) -> None:
    sheet = read(tmp_path, "case_id,side\nP1,left" + "," * 16_000 + "x\n")
    assert sheet.headings == ("case_id", "side", "")
    assert sheet.column_numbers.tolist() == [1, 2, 16_002]


def test_line_ends_of_every_kind_are_read(tmp_path: Path) -> None:
    for end in ("\n", "\r\n", "\r"):
        sheet = read(tmp_path, f"case_id,side{end}P1,left{end}P2,right{end}")
        assert cells(sheet) == [["P1", "left"], ["P2", "right"]]
        assert sheet.row_numbers.tolist() == [2, 3]


def test_no_cell_is_quoted_in_any_note_or_error(tmp_path: Path) -> None:
    planted = "Quittenbaum"
    sheet = read(
        tmp_path, f"{planted}\ncase_id,side\n{planted},left,{planted}\n{planted}\n"
    )
    assert len(sheet.notes) == 3
    assert planted not in " ".join(sheet.notes)
    for text in (
        f'case_id,note\n{planted},"{planted}\n',
        f'case_id,note\n{planted},"{planted}"{planted}\n',
        f"case_id,depth_mm\n{planted},3,2\n",
    ):
        with pytest.raises(UnreadableFile) as caught:
            read(tmp_path, text)
        assert planted not in str(caught.value)
