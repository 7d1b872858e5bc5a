"""Find the headings of a foreign sheet, also where they are written over several rows."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.errors import UnreadableSheet
from pipeline.records.decimals import rows_cut_at_a_comma
from pipeline.records.headings import ROWS_SEARCHED
from pipeline.records.layout_model import same_heading
from pipeline.records.phrases import column_letters, rows_named

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.records.file_read import SheetRead

_UNHEADED = re.compile(r"column [A-Z]+")


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """A foreign sheet under its headings.

    Attributes:
        tab: the tab; '' for a text file.
        headings: shape (k,); the rows of the heading joined by a space, the second
            of two alike with (2) behind it, ``column D`` where there is none.
        cells: shape (n, k), text, '' = empty.
        row_numbers: shape (n,), as the spreadsheet shows them.
        column_numbers: shape (k,), A = 1.
        last_heading_row: the number of the row above the first of the rows.
    """

    tab: str
    headings: tuple[str, ...]
    cells: NDArray[np.object_]
    row_numbers: NDArray[np.int64]
    column_numbers: NDArray[np.int64]
    last_heading_row: int
    _places: dict[str, int] = field(default_factory=dict)

    def place(self, heading: str) -> int | None:
        """Return the place of a column by its heading, or None."""
        if not self._places:
            for place, known in enumerate(self.headings):
                self._places.setdefault(same_heading(known), place)
        return self._places.get(same_heading(heading))

    def letters(self, place: int) -> str:
        """Return the letters a spreadsheet shows above a column."""
        return column_letters(int(self.column_numbers[place]))


def first_rows(sheet: SheetRead) -> list[tuple[int, tuple[str, ...]]]:
    """Return the rows at the top of a sheet: number and cells, the headings among them."""
    top = sheet.rows.head(ROWS_SEARCHED)
    under = zip(
        sheet.row_numbers.tolist(), top.itertuples(index=False, name=None), strict=False
    )
    return [*sheet.above, (sheet.heading_row, sheet.headings), *under]


def joined_headings(
    rows: Sequence[Sequence[str]], column_numbers: Iterable[int]
) -> tuple[str, ...]:
    """Return one heading a column out of the rows it is written over.

    A title above several columns, merged in the sheet, is repeated over each of them;
    a heading that has nothing below it is no such title.

    >>> joined_headings([["Case", "Plan", ""], ["", "x", "y"]], [1, 2, 3])
    ('Case', 'Plan x', 'Plan y')
    """
    spread = [list(map(str.strip, row)) for row in rows]
    for upper, lower in zip(spread[-2::-1], spread[:0:-1], strict=True):
        title = ""
        for place, text in enumerate(upper):
            if text:
                title = text if lower[place] else ""
            elif lower[place]:
                upper[place] = title
    joined = [" ".join(filter(None, parts)) for parts in zip(*spread, strict=True)]
    seen: Counter[str] = Counter()
    found = []
    for text, number in zip(joined, column_numbers, strict=True):
        tidy = " ".join(text.split())
        seen[tidy.casefold()] += 1
        nth = seen[tidy.casefold()]
        if not tidy:
            found.append(f"column {column_letters(int(number))}")
        else:
            found.append(f"{tidy} ({nth})" if nth > 1 else tidy)
    return tuple(found)


def table_under(sheet: SheetRead, first: int, header_rows: int) -> Table:
    """Return a sheet whose headings begin at one of its first rows.

    Args:
        sheet: the sheet as read.
        first: the place among ``first_rows`` where the headings begin.
        header_rows: the number of rows they are written over.
    """
    rows = first_rows(sheet)
    last = first + header_rows - 1
    headings = joined_headings(
        [cells for _, cells in rows[first : last + 1]], sheet.column_numbers.tolist()
    )
    count_above = len(sheet.above) + 1
    between = rows[last + 1 : count_above]
    skipped = max(0, last + 1 - count_above)
    cells = sheet.rows.iloc[skipped:].to_numpy(dtype=object)
    numbers = sheet.row_numbers[skipped:]
    if between:
        upper = np.array([texts for _, texts in between], dtype=object)
        cells = np.vstack([upper, cells])
        numbers = np.concatenate([[number for number, _ in between], numbers])
    return Table(
        sheet.name,
        headings,
        cells,
        np.asarray(numbers, dtype=np.int64),
        sheet.column_numbers,
        rows[last][0],
    )


def table_with(
    sheet: SheetRead, needs: Sequence[str], header_rows: int
) -> tuple[Table | None, tuple[str, ...]]:
    """Look for the headings a layout needs among the first rows of a sheet.

    Returns:
        The table and (); or None and the headings that are missing in the row that
        has the most of them.
    """
    rows = first_rows(sheet)
    numbers = sheet.column_numbers.tolist()
    wanted = {same_heading(need): need for need in needs}
    missing = tuple(needs)
    for first in range(min(len(rows) - header_rows + 1, ROWS_SEARCHED)):
        part = [cells for _, cells in rows[first : first + header_rows]]
        there = {same_heading(text) for text in joined_headings(part, numbers)}
        lacking = tuple(need for key, need in wanted.items() if key not in there)
        if not lacking:
            return table_under(sheet, first, header_rows), ()
        if len(lacking) < len(missing):
            missing = lacking
    return None, missing


def refuse_cut_numbers(table: Table, delimiter: str, source: str) -> None:
    """Refuse a text whose numbers were cut in two at their decimal comma.

    Its cells would stand under the wrong headings from the first such number on.

    Raises:
        UnreadableSheet: naming the rows.
    """
    if delimiter != ",":
        return
    headings = ["" if is_unheaded(text) else text for text in table.headings]
    last = max((i for i, text in enumerate(headings) if text), default=-1)
    beyond = ~is_empty(table.cells[:, last + 1 :]).all(axis=1)
    if not beyond.any():
        return
    is_cut = rows_cut_at_a_comma(table.cells[beyond], headings, is_ours=False)
    if is_cut.any():
        numbers = table.row_numbers[beyond][is_cut].tolist()
        have = "has" if len(numbers) == 1 else "have"
        raise UnreadableSheet(
            f"{source}: {rows_named(numbers)} {have} more cells than headings, and it "
            "looks as if numbers with a decimal comma were cut at the comma.",
            hint="Save the file again with semicolons between the cells, or with "
            "decimal points.",
        )


def is_unheaded(heading: str) -> bool:
    """Tell whether a heading is only the letter of its column."""
    return _UNHEADED.fullmatch(heading) is not None


def is_empty(cells: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Return which cells look empty to a person."""
    found = {text: not text.strip() for text in pd.unique(cells.ravel())}
    return np.array([found[text] for text in cells.ravel()], dtype=bool).reshape(
        cells.shape
    )
