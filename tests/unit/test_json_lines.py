"""JSON lines: one object a row; what is no flat object is named with its line."""

from pathlib import Path

import pytest

from pipeline.errors import UnreadableFile
from pipeline.records.read import read_file


def sheet(tmp_path: Path, text: str):
    path = tmp_path / "implants.jsonl"
    path.write_bytes(text.encode())
    (found,) = read_file(path, name="implants.jsonl").sheets
    return found


def test_values_become_the_text_a_spreadsheet_would_show(tmp_path: Path) -> None:
    """RFC 8259 section 6: 1e2, 100 and 100.0 are one number; each comes as 100."""
    read = sheet(
        tmp_path,
        '{"a": 33.0, "b": 1.50, "c": true, "d": null, "e": "03,5 "}\n'
        '{"a": 1e2, "b": -0.0, "c": false, "d": "2024-05-01", "e": "\\u00e4"}\n',
    )
    assert read.headings == ("a", "b", "c", "d", "e")
    assert read.rows.to_numpy().tolist() == [
        ["33", "1.5", "yes", "", "03,5 "],
        ["100", "0", "no", "2024-05-01", "ä"],
    ]


def test_a_number_keeps_every_digit_that_a_float_would_lose(tmp_path: Path) -> None:
    read = sheet(tmp_path, '{"a": 0.12345678901234567891, "b": 123456789012345678901}')
    assert read.rows.to_numpy().tolist() == [
        ["0.12345678901234567891", "123456789012345678901"]
    ]


def test_keys_may_be_left_out_and_blank_lines_keep_the_line_numbers(
    tmp_path: Path,
) -> None:
    read = sheet(tmp_path, '\ufeff{"a": 1}\r\n\r\n{"b": 2, "a": 3}\r\n')
    assert read.headings == ("a", "b")
    assert read.rows.to_numpy().tolist() == [["1", ""], ["3", "2"]]
    assert read.row_numbers.tolist() == [1, 3]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('{"a": {"x": 4.25}}', r"line 2, holds a list or an object under 'a'"),
        ('{"a": [4.25]}', r"line 2, holds a list or an object under 'a'"),
        ('{"a": 4.25, "a": 5}', "line 2, has the same key twice"),
        ("[4.25]", "line 2, is not an object"),
        ("a,4.25", "line 2, is not JSON"),
        ("[" * 20_000 + "4.25", "line 2, "),
    ],
)
def test_a_line_that_is_no_row_is_named_without_its_values(
    tmp_path: Path, line: str, words: str
) -> None:
    with pytest.raises(UnreadableFile, match=words) as caught:
        sheet(tmp_path, '{"a": 1}\n' + line)
    assert caught.value.hint
    assert "4.25" not in str(caught.value)


def test_other_letters_than_utf_8_and_no_rows_are_said(tmp_path: Path) -> None:
    path = tmp_path / "a.ndjson"
    path.write_bytes('{"a": "ä"}'.encode("cp1252"))
    with pytest.raises(UnreadableFile, match="not written in UTF-8"):
        read_file(path, name="a.ndjson")
    with pytest.raises(UnreadableFile, match="no rows"):
        sheet(tmp_path, "{}\n{}\n")
