"""A file that cannot be read gets one plain sentence that says what it is."""

import io
import os
import zipfile
from pathlib import Path

import pytest

from pipeline.errors import EXIT_NOTHING_READ, UnreadableFile
from pipeline.records.file_kinds import kind_of
from pipeline.records.read import read_file

OLE_HEADER = bytes.fromhex("D0CF11E0A1B11AE1") + bytes(504)  # [MS-CFB] 2.2, from memory
ODS_TYPE = "application/vnd.oasis.opendocument.spreadsheet"


def ole_with(*entries: str) -> bytes:
    """Make a compound file's header and directory: 128 bytes an entry ([MS-CFB] 2.6, from memory)."""
    names = [entry.encode("utf-16-le").ljust(128, b"\0") for entry in entries]
    return OLE_HEADER + b"".join(names).ljust(512, b"\0")


def zip_with(**parts: str) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return packed.getvalue()


WORKBOOK = zip_with(**{"[Content_Types].xml": "<Types/>", "xl/workbook.xml": "<w/>"})
LOCKED_ODS = zip_with(
    **{
        "mimetype": ODS_TYPE,
        "META-INF/manifest.xml": "<manifest:encryption-data/>",
        "content.xml": "?",
    }
)


@pytest.mark.parametrize(
    ("file", "content", "words"),
    [
        ("a.csv", b"", "is empty"),
        ("a.csv", b"\xef\xbb\xbf \r\n\n", "is empty"),
        ("a.xlsx", b"", "is empty"),
        ("a.xlsx", ole_with("Root Entry", "EncryptedPackage"), "by a password"),
        ("a.ods", LOCKED_ODS, "by a password"),
        ("a.xlsx", b"case_id,side\nP1,left\n", "text file with the name of a workbook"),
        ("a.xls", "case_id;ü\n".encode("utf-16"), "text file with the name of"),
        ("a.csv", WORKBOOK, "workbook with the name of a text file"),
        ("a.csv", ole_with("Root Entry", "Workbook"), "workbook with the name of a t"),
        ("a.xlsx", WORKBOOK[:60], "is damaged"),
        ("a.xlsx", b"\x00\x01\x02\x03\x04", "is damaged"),
        ("a.xls", b"<html><table><tr><td>P1", "web page with the ending .xls"),
        ("a.xls", b"\xef\xbb\xbf\n<!DOCTYPE html>", "web page with the ending .xls"),
        ("a.xls", b'<?xml version="1.0"?><html xmlns="x">', "web page with the"),
        (
            "a.xls",
            b'<?xml?>\n<Workbook xmlns="urn:schemas-microsoft-com:office:spreadsheet">',
            "is an XML sheet",
        ),
        ("a.xls", b"\x09\x04\x06\x00\x00\x00\x10\x00", "from before 1995"),
        ("a.xls", ole_with("Root Entry", "WordDocument"), "but no workbook"),
        ("a.xlsx", zip_with(**{"[Content_Types].xml": "", "word/x.xml": ""}), "office"),
        (
            "a.xlsx",
            zip_with(**{"[Content_Types].xml": "", "xl/workbook.bin": ""}),
            "binary workbook",
        ),
        ("a.xlsx", zip_with(**{"photo.txt": "x"}), "packed file"),
        ("a.ods", zip_with(mimetype="application/epub+zip"), "packed file"),
        ("a.jsonl", WORKBOOK, "workbook with the name of a text file"),
        ("a.ndjson", b" \n\n", "is empty"),
        ("a.parquet", WORKBOOK, "is no Parquet file"),
        ("a.dat", b"case_id,side\n", "of a kind that cannot be read"),
        ("a.dcm", b"case_id,side\n", "a DICOM file, not a record sheet"),
        ("a", bytes(128) + b"DICM", "a DICOM file, not a record sheet"),
    ],
    # a made workbook's bytes hold the time, which would name the test anew each second
    ids=lambda part: part if isinstance(part, str) else "bytes",
)
def test_what_cannot_be_read_is_named_with_a_hint(
    tmp_path: Path, file: str, content: bytes, words: str
) -> None:
    path = tmp_path / file
    path.write_bytes(content)
    with pytest.raises(UnreadableFile, match=words) as caught:
        read_file(path, name=f"spring/{file}")
    assert caught.value.sentence.startswith(f"spring/{file}")
    assert caught.value.sentence.count(". ") == 0
    assert caught.value.hint
    assert caught.value.exit_code == EXIT_NOTHING_READ


def test_a_web_page_can_be_saved_as_a_workbook(tmp_path: Path) -> None:
    path = tmp_path / "a.xls"
    path.write_bytes(b"<table>")
    with pytest.raises(UnreadableFile) as caught:
        read_file(path, name="a.xls")
    assert "save it as .xlsx" in caught.value.hint


def test_a_missing_file_and_a_folder_are_said(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match=r"There is no file gone\.csv"):
        read_file(tmp_path / "gone.csv", name="gone.csv")
    with pytest.raises(UnreadableFile, match="is a folder"):
        read_file(tmp_path, name="records")


def test_a_file_held_by_another_program_asks_to_close_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    path.write_text("case_id,side\n")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "in use", str(path))

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(UnreadableFile, match="another program") as caught:
        read_file(path, name="a.csv")
    assert "Close it in the spreadsheet" in caught.value.hint


def test_a_disk_that_fails_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    path.write_text("case_id,side\n")

    def fail(*_: object, **__: object) -> None:
        raise OSError(5, os.strerror(5), str(path))

    monkeypatch.setattr(Path, "open", fail)
    with pytest.raises(UnreadableFile, match="from the disk"):
        read_file(path, name="a.csv")


def test_the_bytes_say_what_a_workbook_is_not_the_ending(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    path.write_bytes(ole_with("Root Entry", "Workbook"))
    assert kind_of(path, name="a.xlsx") == "xls"


def test_a_cell_that_reads_like_the_mark_of_a_password_is_none(tmp_path: Path) -> None:
    inside = "x EncryptedPackage\0".encode("utf-16-le").ljust(512, b"\0")
    path = tmp_path / "a.xls"
    path.write_bytes(ole_with("Root Entry", "Workbook") + inside)
    assert kind_of(path, name="a.xls") == "xls"
