"""The letters of a text file are all read rightly, or the file is refused."""

import codecs
from pathlib import Path

import pytest

from pipeline.errors import UnreadableFile
from pipeline.records.read import SheetRead, read_file
from pipeline.records.text_encoding import decoded

TEXT = "case_id;note\nP1;Übergröße ±3° links\nP2;Käse\n"


def read(folder: Path, content: bytes) -> SheetRead:
    path = folder / "sheet.csv"
    path.write_bytes(content)
    (sheet,) = read_file(path, name=path.name).sheets
    return sheet


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (TEXT.encode(), "utf-8"),
        (codecs.BOM_UTF8 + TEXT.encode(), "utf-8-sig"),
        (codecs.BOM_UTF16_LE + TEXT.encode("utf-16-le"), "utf-16"),
        (codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be"), "utf-16"),
        (codecs.BOM_UTF32_LE + TEXT.encode("utf-32-le"), "utf-32"),
        (TEXT.encode("utf-16-le"), "utf-16-le"),
        (TEXT.encode("utf-16-be"), "utf-16-be"),
        (TEXT.encode("cp1252"), "cp1252"),
    ],
)
def test_each_encoding_a_spreadsheet_writes_is_recognised(
    tmp_path: Path, content: bytes, encoding: str
) -> None:
    sheet = read(tmp_path, content)
    assert sheet.encoding == encoding
    assert sheet.headings == ("case_id", "note")
    assert sheet.rows[1].tolist() == ["Übergröße ±3° links", "Käse"]


def test_a_guessed_encoding_is_said(tmp_path: Path) -> None:
    (note,) = read(tmp_path, TEXT.encode("cp1252")).notes
    assert note.endswith("read as cp1252.")
    assert not read(tmp_path, TEXT.encode()).notes


@pytest.mark.parametrize(
    ("encoding", "text"),
    [
        ("mac_roman", "P1;Käse größer für Übergröße, links\n" * 3),
        ("cp1250", "P1;vlevo příliš hluboko, žádná bolest\n"),
        ("cp1251", "P1;слева протез слишком глубоко\n"),
        ("cp1253", "P1;αριστερά πολύ βαθιά\n"),
        ("cp932", "P1;下顎の義歯、左側\n"),
        ("gb18030", "P1;下颌义齿,左侧过深\n"),
        ("cp1252", "P1;élevé à gauche\n"),
        ("cp1252", "P1;5 € pin – “ok”\n"),
    ],
)
def test_sentences_in_older_encodings_are_read_rightly(
    encoding: str, text: str
) -> None:
    found = decoded(("case_id;note\n" + text).encode(encoding), name="sheet.csv")
    assert found.utf8.decode() == "case_id;note\n" + text


@pytest.mark.parametrize(
    ("byte", "letter"),
    # Unicode Consortium, MAPPINGS/VENDORS/MICSFT/WINDOWS/CP1252.TXT, from memory
    [(0x80, "\u20ac"), (0x92, "\u2019"), (0xB0, "\u00b0"), (0xFC, "\u00fc")],
)
def test_a_single_western_letter_is_enough(byte: int, letter: str) -> None:
    found = decoded(b"case_id;note\nP1;a " + bytes([byte]) + b"b\n", name="sheet.csv")
    assert found.utf8.decode().endswith(f"P1;a {letter}b\n")


def test_a_utf8_file_with_one_foreign_letter_is_refused_by_its_line() -> None:
    data = "case_id;note\nP1;größer\nP2;".encode() + b"\xfc\n" + "P3;süß\n".encode() * 5
    with pytest.raises(UnreadableFile, match="line 3 holds a letter"):
        decoded(data, name="sheet.csv")


def test_a_marked_utf8_file_with_a_foreign_letter_is_refused() -> None:
    data = codecs.BOM_UTF8 + b"case_id;note\nP1;\xfc\xfc\n"
    with pytest.raises(UnreadableFile, match="line 2 holds a letter"):
        decoded(data, name="sheet.csv")


def test_a_utf16_file_cut_short_is_refused() -> None:
    data = codecs.BOM_UTF16_LE + TEXT.encode("utf-16-le")[:-1]
    with pytest.raises(UnreadableFile, match="cut short"):
        decoded(data, name="sheet.csv")


def test_a_file_with_zero_bytes_is_no_text() -> None:
    with pytest.raises(UnreadableFile, match="zero bytes"):
        decoded(b"case_id,side\nP1,\0\0left\n", name="sheet.csv")
