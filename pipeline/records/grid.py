"""From a grid of text to a sheet: headings found, blanks left out, the rest kept.

Every reader ends here, so a sheet means the same whatever file it came from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.errors import UnreadableSheet
from pipeline.records.decimals import decimal_sign, rows_cut_at_a_comma
from pipeline.records.file_read import SheetRead
from pipeline.records.headings import ROWS_SEARCHED, heading_index
from pipeline.records.phrases import column_letters, counted, places_named, rows_named

MOST_CELLS = 300_000_000
"""More than this is a stray cell far away or no record sheet (2.4 GB of pointers)."""


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Cells by place.

    Attributes:
        cells: shape (n, k), text, '' = empty.
        row_numbers: shape (n,), where each row stands in the file.
        column_numbers: shape (k,), where each column stands, A = 1.
        widths: shape (n,), how many cells a row of a text file was written with;
            None for workbooks, whose rows have no width.
    """

    cells: NDArray[np.object_]
    row_numbers: NDArray[np.int64]
    column_numbers: NDArray[np.int64]
    widths: NDArray[np.int64] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """The rows under a heading row, before blanks are left out."""

    headings: tuple[str, ...]
    heading_row: int
    cells: pd.DataFrame
    row_numbers: NDArray[np.int64]
    column_numbers: NDArray[np.int64]
    widths: NDArray[np.int64] | None = None
    notes: tuple[str, ...] = ()
    above: tuple[tuple[int, tuple[str, ...]], ...] = ()


def is_blank(text: str) -> bool:
    """Return whether a cell looks empty to a person."""
    return not text or text.isspace()


def grid_of(
    rows: NDArray[np.int64],
    columns: NDArray[np.int64],
    texts: NDArray[np.object_],
    *,
    widths: NDArray[np.int64] | None = None,
) -> Grid:
    """Lay single cells out as a grid of the rows and columns that hold any.

    Args:
        rows: shape (m,), the row of each cell, ascending.
        columns: shape (m,), the column of each cell, A = 1.
        texts: shape (m,), the cells that are not ''.
        widths: the width of each row that holds a cell, where known.

    Raises:
        UnreadableSheet: the sheet is far too large; its name is added by the caller.
    """
    row_numbers, row_places = np.unique(rows, return_inverse=True)
    column_numbers, column_places = np.unique(columns, return_inverse=True)
    if row_numbers.size * column_numbers.size > MOST_CELLS:
        raise UnreadableSheet(
            "The sheet spreads over "
            f"{row_numbers.size} rows and {column_numbers.size} columns.",
            hint="Delete cells that stand far away from the table and save it again.",
        )
    cells = np.full((row_numbers.size, column_numbers.size), "", dtype=object)
    cells[row_places, column_places] = texts
    return Grid(
        cells, row_numbers.astype(np.int64), column_numbers.astype(np.int64), widths
    )


def body_of(grid: Grid) -> Body | None:
    """Find the heading row and return what stands under it; None for a blank grid."""
    firsts: list[int] = []
    for place, cells in enumerate(grid.cells):
        if not all(map(is_blank, cells)):
            firsts.append(place)
            if len(firsts) == ROWS_SEARCHED:
                break
    if not firsts:
        return None
    found = heading_index([grid.cells[place].tolist() for place in firsts])
    head = firsts[found]
    headings = tuple(grid.cells[head].tolist())
    note = above_the_headings(grid.row_numbers[firsts[:found]].tolist())
    return Body(
        headings,
        int(grid.row_numbers[head]),
        pd.DataFrame(grid.cells[head + 1 :], dtype="str"),
        grid.row_numbers[head + 1 :],
        grid.column_numbers,
        None if grid.widths is None else grid.widths[head + 1 :],
        (note,) if note else (),
        tuple(
            (int(grid.row_numbers[place]), tuple(grid.cells[place].tolist()))
            for place in firsts[:found]
        ),
    )


def above_the_headings(numbers: Sequence[int]) -> str:
    """Return the note on rows that stand above the headings; '' when none does."""
    if not numbers:
        return ""
    stood = "stands" if len(numbers) == 1 else "stand"
    left = "was" if len(numbers) == 1 else "were"
    words = rows_named(numbers)
    return f"{words.capitalize()} {stood} above the headings and {left} left out."


def _fewer_cells(numbers: Sequence[int]) -> str:
    if not numbers:
        return ""
    has = "has" if len(numbers) == 1 else "have"
    return (
        f"{rows_named(numbers).capitalize()} {has} fewer cells than there are "
        "headings; the missing ones count as empty."
    )


def sheet_of(
    body: Body,
    *,
    name: str,
    where: str,
    encoding: str = "",
    delimiter: str = "",
    notes: Sequence[str] = (),
) -> SheetRead:
    """Leave blank rows and columns out, look for the decimal sign, and say the rest.

    Args:
        body: what stands under the headings.
        name: the tab's name; '' for a text file.
        where: the file (and tab) as shown to people in an error.
        encoding: of a text file.
        delimiter: of a text file.
        notes: what the reader has to say already.

    Raises:
        UnreadableSheet: numbers were cut in two at their decimal comma.
    """
    cells, kept_rows = _without_blank_rows(body.cells)
    numbers = body.row_numbers[kept_rows]
    is_kept = np.array(
        [
            not is_blank(heading) or not all(map(is_blank, cells[place].unique()))
            for place, heading in enumerate(body.headings)
        ],
        dtype=bool,
    )
    headings = tuple(h for h, kept in zip(body.headings, is_kept, strict=True) if kept)
    if not is_kept.all():
        cells = cells.loc[:, is_kept]
    cells.columns = pd.RangeIndex(len(headings))
    cells.index = pd.RangeIndex(len(cells))
    columns = body.column_numbers[is_kept]
    beyond = _beyond_the_headings(cells, headings)
    if delimiter == "," and beyond.any():
        _refuse_cut_numbers(cells, headings, numbers, beyond, where)
    sign, sign_note = decimal_sign(cells, headings)
    said = [*notes, *body.notes]
    if body.widths is not None:
        is_short = body.widths[kept_rows] < _last_headed(body.headings) + 1
        said.append(_fewer_cells(numbers[is_short].tolist()))
    said.append(_more_cells(numbers[beyond].tolist()))
    said += [_unheaded(headings, columns), sign_note]
    return SheetRead(
        name=name,
        headings=headings,
        rows=cells,
        row_numbers=numbers,
        column_numbers=columns,
        heading_row=body.heading_row,
        decimal_sign=sign,
        encoding=encoding,
        delimiter=delimiter,
        notes=tuple(note for note in said if note),
        above=tuple(
            (number, _kept(above, is_kept.tolist())) for number, above in body.above
        ),
    )


def _kept(texts: Sequence[str], is_kept: Sequence[bool]) -> tuple[str, ...]:
    # a text row above may be narrower than the headings, or wider
    return tuple(
        texts[place] if place < len(texts) else ""
        for place, kept in enumerate(is_kept)
        if kept
    )


def _without_blank_rows(cells: pd.DataFrame) -> tuple[pd.DataFrame, NDArray[np.bool_]]:
    # only rows blank so far are looked at in the next column: one column mostly does
    blank = np.arange(len(cells))
    for place in range(cells.shape[1]):
        column = cells[place].to_numpy(dtype=object)[blank]
        blank = blank[np.fromiter(map(is_blank, column), dtype=bool, count=blank.size)]
        if not blank.size:
            break
    is_kept = np.ones(len(cells), dtype=bool)
    is_kept[blank] = False
    return (cells.loc[is_kept] if blank.size else cells), is_kept


def _last_headed(headings: Sequence[str]) -> int:
    return max(place for place, text in enumerate(headings) if not is_blank(text))


def _beyond_the_headings(
    cells: pd.DataFrame, headings: Sequence[str]
) -> NDArray[np.bool_]:
    is_beyond = np.zeros(len(cells), dtype=bool)
    for place in range(_last_headed(headings) + 1, len(headings)):
        column = cells[place].to_numpy(dtype=object)
        is_beyond |= ~np.fromiter(map(is_blank, column), dtype=bool, count=len(cells))
    return is_beyond


def _refuse_cut_numbers(
    cells: pd.DataFrame,
    headings: Sequence[str],
    numbers: NDArray[np.int64],
    beyond: NDArray[np.bool_],
    where: str,
) -> None:
    is_cut = rows_cut_at_a_comma(cells.loc[beyond].to_numpy(dtype=object), headings)
    if is_cut.any():
        found = numbers[beyond][is_cut].tolist()
        raise UnreadableSheet(
            f"{where}: {rows_named(found)} {'has' if len(found) == 1 else 'have'} more "
            "cells than headings, and it looks as if numbers with a decimal comma were "
            "cut at the comma.",
            hint="Save the file again with semicolons between the cells, or with "
            "decimal points.",
        )


def _more_cells(numbers: Sequence[int]) -> str:
    if not numbers:
        return ""
    has = "has" if len(numbers) == 1 else "have"
    return (
        f"{rows_named(numbers).capitalize()} {has} cells to the right of the last "
        "heading; they are kept in columns without a heading."
    )


def _unheaded(headings: Sequence[str], columns: NDArray[np.int64]) -> str:
    letters = [
        column_letters(int(columns[place]))
        for place, text in enumerate(headings[: _last_headed(headings)])
        if is_blank(text)
    ]
    if not letters:
        return ""
    return (
        f"{counted(len(letters), 'column')} with cells but without a heading: "
        f"{places_named(letters)}."
    )
