"""What a file is, told by its bytes, and one plain sentence where it cannot be read."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Literal

from pipeline.errors import UnreadableFile

Kind = Literal["text", "xlsx", "ods", "xls", "json_lines", "parquet"]

TEXT_ENDINGS = frozenset({".csv", ".tsv", ".tab", ".txt"})
WORKBOOK_ENDINGS = frozenset({".xlsx", ".xlsm", ".ods", ".xls"})
JSON_LINES_ENDINGS = frozenset({".jsonl", ".ndjson"})
PARQUET_ENDINGS = frozenset({".parquet"})
SHEET_ENDINGS = TEXT_ENDINGS | WORKBOOK_ENDINGS | JSON_LINES_ENDINGS | PARQUET_ENDINGS
"""Endings of the files that can hold record sheets."""
DICOM_ENDINGS = frozenset({".dcm", ".dicom"})
"""Endings of files that are seen, and used where a case names them."""

SAVE_AS = "Open it in the spreadsheet and save it as .xlsx."

TOO_LARGE_HINT = (
    "Leave out what is not records, or save the sheet as 'CSV UTF-8' and put that here."
)
_PARQUET = b"PAR1"
_DICOM, _DICOM_AT = b"DICM", 128
_ZIP = (b"PK\x03\x04", b"PK\x05\x06")
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_OLE_ENTRY_BYTES = 128
# the first records of an .xls: BOF, perhaps WriteProtect, then FilePass if encrypted
_XLS_WITH_PASSWORD = re.compile(
    rb"\x09\x08\x10\x00\x00\x06.{14}(?:\x86\x00\x00\x00)?\x2f\x00", re.DOTALL
)
_OLDEST_XLS = (b"\x09\x00\x04\x00", b"\x09\x02\x06\x00", b"\x09\x04\x06\x00")
_ODS_TYPE = b"application/vnd.oasis.opendocument.spreadsheet"


@contextmanager
def opened(path: Path, *, name: str) -> Iterator[BinaryIO]:
    """Open a file for reading; what the disk says becomes a plain sentence.

    Args:
        path: the file.
        name: the file as shown to people.

    Raises:
        UnreadableFile: it is not there, is locked, or the disk cannot read it.
    """
    if path.is_dir():
        raise UnreadableFile(
            f"{name} is a folder, not a file.", hint="Name a file inside it."
        )
    try:
        with path.open("rb") as handle:
            yield handle
    except FileNotFoundError:
        raise UnreadableFile(
            f"There is no file {name}.", hint="Check the name and the folder."
        ) from None
    except PermissionError:
        raise UnreadableFile(
            f"{name} cannot be opened: another program holds it, or you may not read it.",
            hint="Close it in the spreadsheet and try again.",
        ) from None
    except OSError:
        raise UnreadableFile(
            f"{name} cannot be read from the disk.",
            hint="Check the disk or the network drive, or copy the file here again.",
        ) from None


def kind_of(path: Path, *, name: str) -> Kind:
    """Return what a file is by its bytes, whatever its ending says.

    Args:
        path: the file.
        name: the file as shown to people.

    Raises:
        UnreadableFile: it is missing, locked, empty, protected by a password,
            damaged, or of a kind that cannot be read.
    """
    ending = path.suffix.lower()
    with opened(path, name=name) as handle:
        head = handle.read(4096)
        _refuse_empty(head, handle, name)
        if ending in DICOM_ENDINGS or head.startswith(_DICOM, _DICOM_AT):
            raise UnreadableFile(
                f"{name} is a DICOM file, not a record sheet.",
                hint="If it is a registration of the scan, name it in registration_file "
                "of the sheet cases.",
            )
        if ending not in SHEET_ENDINGS:
            raise UnreadableFile(
                f"{name} is of a kind that cannot be read.",
                hint="Record sheets are .csv, .tsv, .txt, .xlsx, .xlsm, .ods, .xls, "
                ".jsonl, .ndjson or .parquet files.",
            )
        kind: Kind = "json_lines" if ending in JSON_LINES_ENDINGS else "text"
        if ending in PARQUET_ENDINGS:
            _refuse_no_parquet(head, name)
            kind = "parquet"
        elif head.startswith(_ZIP):
            kind = _zip_kind(handle, name)
        elif head.startswith(_OLE):
            kind = _ole_kind(handle, name)
        elif ending in WORKBOOK_ENDINGS:
            _refuse_no_workbook(head, ending, name)
    if kind in {"xlsx", "ods", "xls"} and ending not in WORKBOOK_ENDINGS:
        raise UnreadableFile(
            f"{name} is a workbook with the name of a text file.",
            hint=f"Give it a name that ends in .{kind}.",
        )
    return kind


def _refuse_empty(head: bytes, handle: BinaryIO, name: str) -> None:
    bare = head.strip().strip(b"\xef\xbb\xbf\xff\xfe").strip()
    if not bare and not handle.read(1):
        raise UnreadableFile(
            f"{name} is empty.",
            hint="Save the sheet again, or take the file out of the folder.",
        )


def _refuse_no_parquet(head: bytes, name: str) -> None:
    if not head.startswith(_PARQUET):
        raise UnreadableFile(
            f"{name} is no Parquet file, or it is damaged or encrypted.",
            hint="Export it again, or export the sheet as CSV.",
        )


def _zip_kind(handle: BinaryIO, name: str) -> Kind:
    try:
        with zipfile.ZipFile(handle) as archive:
            parts = set(archive.namelist())
            if "xl/workbook.xml" in parts or "[Content_Types].xml" in parts:
                _refuse_other_office(parts, name)
                return "xlsx"
            if archive.read("mimetype").startswith(_ODS_TYPE):
                _refuse_locked_ods(archive, parts, name)
                return "ods"
    except zipfile.BadZipFile:
        raise damaged(name) from None
    except (KeyError, ValueError, NotImplementedError, RuntimeError, EOFError):
        pass
    raise UnreadableFile(
        f"{name} is a packed file (zip), but no workbook.",
        hint="Unpack it, and put the workbook itself here.",
    )


def _refuse_other_office(parts: set[str], name: str) -> None:
    if not any(part.startswith("xl/") for part in parts):
        raise UnreadableFile(
            f"{name} is an office document, but no workbook.",
            hint="Copy its table into a spreadsheet and save that as .xlsx.",
        )
    if "xl/workbook.bin" in parts:
        raise UnreadableFile(f"{name} is a binary workbook (.xlsb).", hint=SAVE_AS)


def _refuse_locked_ods(archive: zipfile.ZipFile, parts: set[str], name: str) -> None:
    manifest = "META-INF/manifest.xml"
    is_locked = "encrypted-package" in parts
    if manifest in parts and archive.getinfo(manifest).file_size < 10_000_000:
        is_locked = is_locked or b"encryption-data" in archive.read(manifest)
    if is_locked:
        raise locked(name)


def _ole_kind(handle: BinaryIO, name: str) -> Kind:
    handle.seek(0)
    data = handle.read()
    if _has_ole_entry(data, "EncryptedPackage") or _XLS_WITH_PASSWORD.search(data):
        raise locked(name)
    if _has_ole_entry(data, "Workbook") or _has_ole_entry(data, "Book"):
        return "xls"
    raise UnreadableFile(
        f"{name} is an old office document, but no workbook that can be read.",
        hint=SAVE_AS,
    )


def _has_ole_entry(data: bytes, entry: str) -> bool:
    """Look for a directory entry by name; entries start at multiples of 128 bytes."""
    wanted = (entry + "\0").encode("utf-16-le")
    place = data.find(wanted)
    while place >= 0:
        if place % _OLE_ENTRY_BYTES == 0:
            return True
        place = data.find(wanted, place + 1)
    return False


def _refuse_no_workbook(head: bytes, ending: str, name: str) -> None:
    if head.startswith(_OLDEST_XLS):
        raise UnreadableFile(
            f"{name} is a workbook from before 1995, which cannot be read.",
            hint=SAVE_AS,
        )
    start = head.replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").lower()
    if b"urn:schemas-microsoft-com:office:spreadsheet" in start:
        raise UnreadableFile(
            f"{name} is an XML sheet with the ending {ending}.", hint=SAVE_AS
        )
    if start.startswith(
        (b"<html", b"<!doctype html", b"<table", b"<head", b"<meta")
    ) or (start.startswith((b"<?xml", b"<!--")) and b"<html" in start):
        raise UnreadableFile(
            f"{name} is a web page with the ending {ending}.", hint=SAVE_AS
        )
    if _looks_like_text(head):
        raise UnreadableFile(
            f"{name} is a text file with the name of a workbook.",
            hint="Give it a name that ends in .csv.",
        )
    raise damaged(name)


def _looks_like_text(head: bytes) -> bool:
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return True
    return not any(byte < 32 and byte not in b"\t\n\r\x0c" for byte in head)


def locked(name: str) -> UnreadableFile:
    """Return the error for a workbook with a password."""
    return UnreadableFile(
        f"{name} is protected by a password.",
        hint="Open it in the spreadsheet, save a copy without the password and put "
        "that copy here.",
    )


def damaged(name: str) -> UnreadableFile:
    """Return the error for a workbook that is cut short or broken."""
    return UnreadableFile(
        f"{name} is damaged, or its copy was cut short.",
        hint="Copy it here again, or open it in the spreadsheet and save it anew.",
    )


def too_large_or_damaged(name: str, *, hint: str = "") -> UnreadableFile:
    """Return the error for a file whose reading had to be stopped."""
    return UnreadableFile(
        f"{name} is too large or damaged: reading it was stopped.",
        hint=hint
        or "Delete sheets and cells that are not records, or save the sheet as "
        "'CSV UTF-8' and put that here.",
    )
