"""CSV, TSV and other delimited text files."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import UnreadableFile, UnreadableSheet
from pipeline.records.file_kinds import opened
from pipeline.records.file_read import FileRead, SheetRead
from pipeline.records.grid import Body, body_of, sheet_of
from pipeline.records.text_delimiter import Delimiter, delimiter_of
from pipeline.records.text_encoding import Decoded, decoded
from pipeline.records.text_quick import quick_body
from pipeline.records.text_rows import careful_grid


def read_text(path: Path, *, name: str) -> FileRead:
    """Read a delimited text file: one sheet without a name.

    Args:
        path: the file, known to be text and not empty.
        name: the file as shown to people.

    Raises:
        UnreadableFile: its letters or its quotation marks cannot be read, or it
            holds nothing.
        UnreadableSheet: its numbers were cut in two at their decimal comma.
    """
    with opened(path, name=name) as handle:
        text = decoded(handle.read(), name=name)
    sheet = sheet_of_text(text, name=name)
    return FileRead(path.suffix.lstrip(".").lower(), None, (sheet,))


def sheet_of_text(text: Decoded, *, name: str) -> SheetRead:
    """Return the sheet that a decoded text holds."""
    delimiter = delimiter_of(text.utf8)
    try:
        body = _body(text.utf8, delimiter, name)
    except UnreadableSheet as error:
        raise UnreadableSheet(f"{name}: {error.sentence}", hint=error.hint) from None
    if body is None:
        raise UnreadableFile(
            f"{name} is empty: it holds no cell with anything in it.",
            hint="Save the sheet again, or take the file out of the folder.",
        )
    return sheet_of(
        body,
        name="",
        where=name,
        encoding=text.encoding,
        delimiter=delimiter.sign,
        notes=[text.note],
    )


def _body(utf8: bytes, delimiter: Delimiter, name: str) -> Body | None:
    # the line 'sep=;' becomes a blank one, so that the numbers of the others stay
    if delimiter.count_lines_before:
        utf8 = utf8[utf8.index(b"\n") :]
    body = quick_body(utf8, delimiter.sign)
    if body is not None:
        return body
    grid = careful_grid(utf8, delimiter.sign, name=name)
    return None if grid is None else body_of(grid)
