"""Open the workbook of rows to correct and fill it in, as a person with a spreadsheet."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl

RIGHT = ("what is wrong", "what to do", "why", "answer")


class HeldWorkbook:
    """A workbook of rows to correct, open in a spreadsheet.

    A tab is used by its name, a row by its number in the file that it came from.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.book = openpyxl.load_workbook(path)

    def tab(self, sheet: str) -> Any:
        return self.book[sheet]

    def columns(self, sheet: str) -> dict[str, int]:
        """Return heading -> column; line breaks in a heading stand for a _."""
        return {
            str(cell.value).replace("\n", "_"): cell.column
            for cell in self.tab(sheet)[1]
        }

    def rows(self, sheet: str) -> dict[int, int]:
        """Return row number in its own file -> row of the tab; a repeat wins."""
        column = self.columns(sheet)["came from"]
        tab = self.tab(sheet)
        return {
            int(str(tab.cell(row, column).value).rpartition("row ")[2]): row
            for row in range(2, tab.max_row + 1)
        }

    def cell(self, sheet: str, row: int, name: str) -> Any:
        return self.tab(sheet).cell(self.rows(sheet)[row], self.columns(sheet)[name])

    def value(self, sheet: str, row: int, name: str) -> Any:
        return self.cell(sheet, row, name).value

    def values(self, sheet: str, row: int) -> dict[str, Any]:
        """Return the record's own cells of a row by field."""
        names = [n for n in self.columns(sheet) if n not in RIGHT]
        return {name: self.value(sheet, row, name) for name in names[2:]}

    def coloured(self, sheet: str, row: int) -> set[str]:
        """Return the fields whose cells are coloured and carry a comment."""
        found = set()
        for name in self.values(sheet, row):
            cell = self.cell(sheet, row, name)
            if cell.fill.fill_type == "solid":
                assert cell.comment is not None, name
                found.add(name)
        return found

    def type(self, sheet: str, row: int, **cells: Any) -> None:
        """Type over cells; an answer under ``answer``, a reason under ``why``."""
        for name, value in cells.items():
            self.cell(sheet, row, name).value = value

    def answer(self, sheet: str, row: int, answer: str, why: str, **cells: Any) -> None:
        self.type(sheet, row, **cells, answer=answer, why=why)

    def save(self, path: Path | None = None) -> Path:
        target = path or self.path
        self.book.save(target)
        return target


def newest(folder: Path) -> Path:
    """Return the last workbook written into to_correct/ of an audit folder."""
    written = (folder / "to_correct").glob("rows_to_correct_*.xlsx")
    return max(written, key=lambda path: int(path.stem.rpartition("_")[2]))
