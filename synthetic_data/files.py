"""Write tables as files that are the same, byte for byte, each time."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterable
from datetime import date, datetime
from pathlib import Path

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.reference.load import fields
from synthetic_data.demo import Row, Sheet, Value

WRITTEN_AT = datetime(2026, 6, 30, 12, 0, 0)  # noqa: DTZ001 (a spreadsheet knows no zone)
ANSWER_DIGITS = 10
MODIFIED = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*(<)")


def columns_of(sheet: str, rows: Sheet) -> list[str]:
    """Return the columns in use, in the order of the record sheet's fields.

    Raises:
        KeyError: a row has a column the record sheet does not know.
    """
    known = [field.field for field in fields(sheet)]
    used = {name for row in rows for name, value in row.items() if value is not None}
    strange = used.difference(known)
    if strange:
        message = f"{sheet} has no field {', '.join(sorted(strange))}"
        raise KeyError(message)
    return [name for name in known if name in used]


def write_csv(
    path: Path,
    columns: list[str],
    rows: Iterable[Row],
    *,
    delimiter: str = ",",
    decimal: str = ".",
    encoding: str = "utf-8",
    line_end: str = "\n",
) -> None:
    """Write rows as CSV; an empty cell where a row has no value."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding=encoding, newline="") as handle:
        writer = csv.writer(handle, delimiter=delimiter, lineterminator=line_end)
        writer.writerow(columns)
        for row in rows:
            writer.writerow([_text(row.get(name), decimal) for name in columns])


def write_answers(path: Path, rows: Iterable[Row]) -> None:
    """Write a table of known answers; its columns are those of its rows, in order."""
    kept = list(rows)
    columns = list(dict.fromkeys(name for row in kept for name in row))
    answers = ({name: _answer(value) for name, value in row.items()} for row in kept)
    write_csv(path, columns, answers)


def write_workbook(path: Path, sheets: dict[str, Sheet]) -> None:
    """Write record sheets as the tabs of one workbook, with nothing of the clock."""
    workbook = Workbook()
    workbook.remove(workbook.worksheets[0])
    workbook.properties.creator = "invented clinic"
    workbook.properties.created = WRITTEN_AT
    for name, rows in sheets.items():
        _fill(workbook.create_sheet(name), columns_of(name, rows), rows)
    buffer = io.BytesIO()
    workbook.save(buffer)
    path.parent.mkdir(parents=True, exist_ok=True)
    _rezip(buffer, path)


def _fill(tab: Worksheet, columns: list[str], rows: Sheet) -> None:
    tab.append(columns)
    for cell in tab[1]:
        cell.font = Font(bold=True)
    tab.freeze_panes = "B2"
    for row in rows:
        tab.append([row.get(name) for name in columns])
    for number, name in enumerate(columns, start=1):
        letter = tab.cell(row=1, column=number).column_letter
        tab.column_dimensions[letter].width = max(10, len(name) + 2)
        if name.endswith("_date"):
            for cell in tab[letter][1:]:
                cell.number_format = "yyyy-mm-dd"


def _rezip(buffer: io.BytesIO, path: Path) -> None:
    """Write the zip again with fixed times: the library stamps the moment of saving."""
    stamp = WRITTEN_AT.timetuple()[:6]
    modified = rb"\g<1>" + f"{WRITTEN_AT.isoformat()}Z".encode() + rb"\g<2>"
    with (
        zipfile.ZipFile(buffer) as source,
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for name in sorted(source.namelist(), key=lambda n: (n[0] != "[", n)):
            content = source.read(name)
            if name == "docProps/core.xml":
                content = MODIFIED.sub(modified, content)
            info = zipfile.ZipInfo(name, date_time=stamp)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o600 << 16
            info.create_system = 3
            target.writestr(info, content)


def _text(value: Value, decimal: str) -> str:
    if value is None:
        return ""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return repr(value).replace(".", decimal)
    return str(value)


def _answer(value: Value) -> Value:
    """Return a figure to ten digits: enough for 1e-9, and the same everywhere."""
    if isinstance(value, float):
        return f"{value + 0.0:.{ANSWER_DIGITS}f}"
    return value
