"""The two libraries that read workbooks, each giving rows of text and facts.

Runs in the limited child process only. openpyxl sees error cells, hidden rows, merged
cells and formulas without a result; calamine is many times quicker and reads .ods and
.xls, but gives error cells as empty and sees little else.
"""

from __future__ import annotations

import io
import warnings
import zipfile
from collections import defaultdict
from collections.abc import Iterator
from typing import Any

import defusedxml.ElementTree as SafeTree
from openpyxl.reader.excel import ExcelReader
from openpyxl.utils import get_column_letter
from openpyxl.xml.constants import DCTERMS_NS, SHEET_MAIN_NS
from python_calamine import CalamineSheet, CalamineWorkbook, SheetTypeEnum
from python_calamine import SheetVisibleEnum as Visible

from pipeline.records.workbook_cells import Row, TabFacts, rows_of

Tab = tuple[TabFacts, Iterator[Row]]

_CELL, _FORMULA, _VALUE = (f"{{{SHEET_MAIN_NS}}}{tag}" for tag in ("c", "f", "v"))
_ROW = f"{{{SHEET_MAIN_NS}}}row"
_NOT_A_DATE = "marked as a date"


def tabs_by_openpyxl(blob: bytes) -> list[Tab]:
    """Read an .xlsx or .xlsm workbook whole, seeing all that it shows."""
    reader = ExcelReader(
        io.BytesIO(blob), keep_vba=False, data_only=True, keep_links=False
    )
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        reader.read()
    # a count for the workbook is all that the warnings give
    not_dates = sum(_NOT_A_DATE in str(warning.message) for warning in caught)
    parts = {sheet.name: rel.target for sheet, rel in reader.parser.find_sheets()}
    tabs: list[Tab] = []
    with zipfile.ZipFile(io.BytesIO(blob)) as archive:
        for sheet in reader.wb.worksheets:
            part = parts.get(sheet.title)
            without = _formulas_without_result(archive.read(part)) if part else []
            facts = _facts_by_openpyxl(sheet, without)
            facts.not_dates, not_dates = not_dates, 0
            tabs.append((facts, rows_of(_cells_by_openpyxl(sheet))))
    return tabs


def _cells_by_openpyxl(sheet: Any) -> Iterator[tuple[int, list[tuple[int, Any]]]]:
    # the cells that exist: iter_rows would make every cell up to a stray one far away
    by_row: dict[int, list[tuple[int, Any]]] = defaultdict(list)
    for (row, column), cell in sorted(sheet._cells.items()):
        by_row[row].append((column, cell.value))
    yield from by_row.items()


def _facts_by_openpyxl(sheet: Any, without_result: list[str]) -> TabFacts:
    full = [place for place, cell in sheet._cells.items() if cell.value is not None]
    rows, columns = {row for row, _ in full}, {column for _, column in full}
    hidden_columns = {
        column
        for look in sheet.column_dimensions.values()
        if look.hidden and not look.outlineLevel
        for column in columns & set(range(look.min or 0, (look.max or 0) + 1))
    }
    return TabFacts(
        name=sheet.title,
        is_hidden=sheet.sheet_state != "visible",
        hidden_rows=sorted(
            row
            for row, look in sheet.row_dimensions.items()
            if look.hidden and not look.outlineLevel and row in rows
        ),
        hidden_columns=[get_column_letter(column) for column in sorted(hidden_columns)],
        merged=[str(merged) for merged in sheet.merged_cells.ranges],
        without_result=without_result,
    )


def _formulas_without_result(part: bytes) -> list[str]:
    """Return the addresses of formulas for which the file stores no value."""
    if b"f>" not in part and b"<f" not in part:
        return []
    found: list[str] = []
    for _, element in SafeTree.iterparse(io.BytesIO(part), events=("end",)):
        if element.tag == _CELL:
            if element.find(_FORMULA) is not None and not _has_result(element):
                found.append(element.get("r", "?"))
        elif element.tag == _ROW:
            element.clear()
    return found


def _has_result(cell: Any) -> bool:
    # an empty value is a result only where the result is said to be text
    value = cell.find(_VALUE)
    return value is not None and bool(value.text or cell.get("t") == "str")


def tabs_by_calamine(blob: bytes, kind: str) -> list[Tab]:
    """Read a workbook quickly; what cannot be seen is counted where it can be."""
    workbook = CalamineWorkbook.from_filelike(io.BytesIO(blob))
    errors = _count_error_cells(blob, kind)
    tabs: list[Tab] = []
    for seen in workbook.sheets_metadata:
        if seen.typ != SheetTypeEnum.WorkSheet:
            continue
        sheet = workbook.get_sheet_by_name(seen.name)
        facts = TabFacts(seen.name, is_hidden=seen.visible != Visible.Visible)
        facts.merged = [
            f"{get_column_letter(left + 1)}{top + 1}:"
            f"{get_column_letter(right + 1)}{bottom + 1}"
            for (top, left), (bottom, right) in sheet.merged_cell_ranges or []
        ]
        facts.unseen_errors, errors = errors, 0
        tabs.append((facts, rows_of(_cells_by_calamine(sheet))))
    return tabs


def _cells_by_calamine(
    sheet: CalamineSheet,
) -> Iterator[tuple[int, Iterator[tuple[int, Any]]]]:
    if sheet.start is None:
        return
    # rows come from the sheet's first one, columns from the first that holds a cell
    first_column = sheet.start[1] + 1
    for number, values in enumerate(sheet.iter_rows(), start=1):
        yield number, enumerate(values, start=first_column)


def _count_error_cells(blob: bytes, kind: str) -> int:
    if kind == "xls":
        return 0
    with zipfile.ZipFile(io.BytesIO(blob)) as archive:
        if kind == "ods":
            return archive.read("content.xml").count(b'calcext:value-type="error"')
        return sum(
            archive.read(part).count(b' t="e"')
            for part in archive.namelist()
            if part.startswith("xl/worksheets/") and part.endswith(".xml")
        )


def modified_of(blob: bytes) -> str:
    """Return when an .xlsx workbook says it was last saved; '' when it does not.

    openpyxl would give the present moment for a workbook that does not say.
    """
    with zipfile.ZipFile(io.BytesIO(blob)) as archive:
        if "docProps/core.xml" not in archive.namelist():
            return ""
        root = SafeTree.fromstring(archive.read("docProps/core.xml"))
    return (root.findtext(f"{{{DCTERMS_NS}}}modified") or "").strip()
