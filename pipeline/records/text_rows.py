"""The rows of a delimited text, by the csv module in strict mode."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import UnreadableFile
from pipeline.records.grid import Grid, grid_of


@dataclass(frozen=True, slots=True)
class Record:
    """One row of a text and the lines it stands on, both counted from 1."""

    cells: list[str]
    first_line: int
    last_line: int


def records_of(utf8: bytes, delimiter: str) -> Iterator[Record]:
    """Yield the rows of a text one by one, strictly; blank lines are left out.

    Raises:
        csv.Error: a quotation mark stands where it cannot.
    """
    reader = csv.reader(
        io.TextIOWrapper(io.BytesIO(utf8), encoding="utf-8", newline=""),
        delimiter=delimiter or _unused_sign(utf8),
        strict=True,
    )
    line = 0
    for cells in reader:
        if cells:
            yield Record(cells, line + 1, reader.line_num)
        line = reader.line_num


def _unused_sign(utf8: bytes) -> str:
    """Return a sign the text does not hold, so that its one column is not split."""
    return next((chr(code) for code in range(0x1F, 0, -1) if code not in utf8), "\x1f")


def careful_grid(utf8: bytes, delimiter: str, *, name: str) -> Grid | None:
    """Read a text by the csv module; None when every line is blank.

    Raises:
        UnreadableFile: a quotation mark stands where it cannot; the line is named.
    """
    rows: list[list[str]] = []
    lines: list[int] = []
    last = 0
    try:
        for record in records_of(utf8, delimiter):
            rows.append(record.cells)
            lines.append(record.first_line)
            last = record.last_line
    except csv.Error as error:
        raise _quotation_fault(str(error), last + 1, name) from None
    if not rows:
        return None
    numbers = np.array(lines, dtype=np.int64)
    widths = np.fromiter(map(len, rows), dtype=np.int64, count=len(rows))
    width = int(widths[0])
    if (widths == width).all():
        cells = np.array(rows, dtype=object).reshape(len(rows), width)
        return Grid(cells, numbers, np.arange(1, width + 1), widths)
    return _ragged_grid(rows, numbers, widths)


def _ragged_grid(
    rows: list[list[str]], numbers: NDArray[np.int64], widths: NDArray[np.int64]
) -> Grid | None:
    texts = np.fromiter(
        chain.from_iterable(rows), dtype=object, count=int(widths.sum())
    )
    of_row = np.repeat(np.arange(len(rows)), widths)
    columns = np.arange(texts.size) - np.repeat(np.cumsum(widths) - widths, widths) + 1
    is_full = texts != ""
    if not is_full.any():
        return None
    with_cells = np.unique(of_row[is_full])
    return grid_of(
        numbers[of_row[is_full]],
        columns[is_full],
        texts[is_full],
        widths=widths[with_cells],
    )


def _quotation_fault(reason: str, line: int, name: str) -> UnreadableFile:
    # the reasons of the csv module name no cell, but the sentences are ours
    if "unexpected end" in reason:
        what = f"in the row that starts on line {line} a quotation mark is never closed"
    elif "field limit" in reason:
        what = (
            f"in the row that starts on line {line} a cell is longer than 131,072 "
            "letters; a quotation mark may never be closed"
        )
    else:
        what = (
            f"in the row that starts on line {line} a quotation mark stands inside a "
            "quoted cell without being doubled"
        )
    return UnreadableFile(
        f"{name}: {what}.",
        hint='Open the file in an editor and correct that line: a cell in "..." ends '
        'at the delimiter, and a quotation mark inside it is written "".',
    )
