"""Workbooks: checked for size, read in a limited child process, put into sheets."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import chain
from pathlib import Path
from typing import BinaryIO

import numpy as np

from pipeline.errors import UnreadableSheet
from pipeline.records.child import output_of_child
from pipeline.records.file_kinds import (
    Kind,
    damaged,
    locked,
    opened,
    too_large_or_damaged,
)
from pipeline.records.file_read import FileRead, SheetRead
from pipeline.records.grid import body_of, grid_of, sheet_of
from pipeline.records.phrases import counted, places_named, rows_named
from pipeline.records.workbook_cells import TabFacts, WorkbookFacts

MOST_DECLARED_BYTES = 300_000_000
MOST_RATIO = 100
HARMLESS_BYTES = 10_000_000
"""Up to here a workbook may be packed as tightly as it likes."""
QUICK_ABOVE_BYTES = 30_000_000
"""Sheet XML beyond this (about 40,000 rows of 21 cells) goes to the quick reader."""

NOT_SEEN = {
    "openpyxl": "Read by openpyxl; colours, comments and crossed-out text were not "
    "looked at.",
    "calamine": "Read by calamine, which cannot see error cells (they come as empty), "
    "hidden rows and columns, or formulas without a result; colours, comments and "
    "crossed-out text were not looked at.",
}


def read_workbook(path: Path, *, name: str, kind: Kind) -> FileRead:
    """Read every tab of a workbook that holds anything.

    Args:
        path: the workbook.
        name: the file as shown to people.
        kind: what its bytes say it is: xlsx, ods or xls.

    Raises:
        UnreadableFile: it is damaged, protected or too large.
        UnreadableSheet: every tab is empty.
    """
    with opened(path, name=name) as handle:
        reader = _reader_for(handle, kind, name)
        handle.seek(0)
        output = _output_of_child(handle, kind, reader, name)
    *lines, last = output.splitlines() or [b""]
    try:
        facts = WorkbookFacts.from_json(last)
        _refuse_failure(facts.failure, name)
        sheets, empty = _sheets(facts.tabs, lines, name)
    except (ValueError, TypeError, KeyError, IndexError):
        raise too_large_or_damaged(name) from None
    if not sheets:
        raise UnreadableSheet(
            f"{name} holds nothing but empty tabs.",
            hint="Save the workbook again, or take it out of the folder.",
        )
    ending = path.suffix.lower().lstrip(".")
    return FileRead(
        "xlsm" if kind == "xlsx" and ending == "xlsm" else kind,
        _moment(facts.modified),
        tuple(sheets),
        tuple(_file_notes(facts, empty)),
    )


def _reader_for(handle: BinaryIO, kind: Kind, name: str) -> str:
    """Refuse a packed file that would unpack to too much, and choose the reader."""
    if kind == "xls":
        return "calamine"
    try:
        with zipfile.ZipFile(handle) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        raise damaged(name) from None
    declared = sum(part.file_size for part in parts)
    packed = max(1, sum(part.compress_size for part in parts))
    if declared > MOST_DECLARED_BYTES or (
        declared > HARMLESS_BYTES and declared / packed > MOST_RATIO
    ):
        raise too_large_or_damaged(name)
    cells = sum(
        part.file_size
        for part in parts
        if part.filename.startswith("xl/worksheets/")
        or part.filename == "xl/sharedStrings.xml"
    )
    is_quick = kind == "ods" or cells > QUICK_ABOVE_BYTES
    return "calamine" if is_quick else "openpyxl"


def _output_of_child(handle: BinaryIO, kind: Kind, reader: str, name: str) -> bytes:
    output = output_of_child("pipeline.records.workbook_child", [kind, reader], handle)
    if output is None:
        raise too_large_or_damaged(name)
    return output


def _refuse_failure(failure: str, name: str) -> None:
    refusals = {
        "password": locked,
        "damaged": damaged,
        "too_large": too_large_or_damaged,
    }
    if failure:
        raise refusals[failure](name)


def _sheets(
    tabs: Sequence[TabFacts], lines: Sequence[bytes], name: str
) -> tuple[list[SheetRead], list[str]]:
    sheets: list[SheetRead] = []
    empty: list[str] = []
    start = 0
    for tab in tabs:
        sheet = _sheet(tab, lines[start : start + tab.count_rows], name)
        start += tab.count_rows
        if sheet is None:
            empty.append(tab.name)
        else:
            sheets.append(sheet)
    return sheets, empty


def _sheet(tab: TabFacts, lines: Sequence[bytes], name: str) -> SheetRead | None:
    rows = json.loads(b"[" + b",".join(lines) + b"]")
    if not rows:
        return None
    widths = [len(texts) for _, _, texts in rows]
    size = sum(widths)
    where = f"{name}, tab {tab.name!r}"
    try:
        grid = grid_of(
            np.repeat(np.array([row for row, _, _ in rows], dtype=np.int64), widths),
            np.fromiter(chain.from_iterable(c for _, c, _ in rows), np.int64, size),
            np.fromiter(chain.from_iterable(t for _, _, t in rows), object, size),
        )
    except UnreadableSheet as error:
        raise UnreadableSheet(f"{where}: {error.sentence}", hint=error.hint) from None
    body = body_of(grid)
    if body is None:
        return None
    return sheet_of(body, name=tab.name, where=where, notes=_tab_notes(tab))


def _tab_notes(tab: TabFacts) -> list[str]:
    notes = []
    if tab.is_hidden:
        notes.append("The tab is hidden; it was read too.")
    if tab.hidden_rows:
        are = "is" if len(tab.hidden_rows) == 1 else "are"
        words = rows_named(tab.hidden_rows).capitalize()
        notes.append(
            f"{words} {are} hidden or filtered out of sight; read all the same."
        )
    if tab.hidden_columns:
        count = counted(len(tab.hidden_columns), "hidden column")
        notes.append(f"{count} read all the same: {places_named(tab.hidden_columns)}.")
    if tab.merged:
        notes.append(
            f"{counted(len(tab.merged), 'merged range')} ({places_named(tab.merged)}): "
            "only the first cell of each holds its value."
        )
    if tab.without_result:
        count = counted(len(tab.without_result), "formula")
        notes.append(
            f"{count} without a stored result, read as empty: "
            f"{places_named(tab.without_result)}. Open the workbook in the spreadsheet, "
            "save it and load it again."
        )
    return notes


def _file_notes(facts: WorkbookFacts, empty: Sequence[str]) -> list[str]:
    notes = [NOT_SEEN[facts.reader]]
    if facts.is_second_choice:
        notes.append("The reader that sees more could not read this workbook.")
    unseen = sum(tab.unseen_errors for tab in facts.tabs)
    if unseen:
        notes.append(
            f"{counted(unseen, 'error cell')} (such as #DIV/0!) came as empty."
        )
    not_dates = sum(tab.not_dates for tab in facts.tabs)
    if not_dates:
        notes.append(
            f"{counted(not_dates, 'cell')} formatted as a date held no possible date "
            "and came as #VALUE!."
        )
    if empty:
        tabs = counted(len(empty), "empty tab")
        notes.append(f"{tabs} skipped: {places_named(empty)}.")
    return notes


def _moment(text: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)
