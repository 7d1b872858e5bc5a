"""The rows of a delimited text: by the csv module, or quicker where that is proved.

The csv module in strict mode is the reader. A large text may go through the pandas C
reader instead, and only when its bytes show that both must give the same cells.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.errors import UnreadableFile
from pipeline.records.grid import Body, Grid, above_the_headings, grid_of, is_blank
from pipeline.records.headings import ROWS_SEARCHED, heading_index

QUICK_FROM_LINES = 20_000

_NEWLINE, _QUOTE = ord("\n"), ord('"')


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


def quick_body(utf8: bytes, delimiter: str) -> Body | None:
    """Read a large text by the pandas C reader; None wherever there is a doubt.

    The proof that both readers agree: line ends are all of one kind; every quotation
    mark opens or closes a whole cell; no line break stands inside a cell; and every
    line has exactly as many delimiters as the heading line.
    """
    if (
        not delimiter
        or utf8.count(b"\n") < QUICK_FROM_LINES
        or utf8.count(b"\r") != utf8.count(b"\r\n")
        or b"\xef\xbb\xbf" in utf8
    ):
        return None
    try:
        firsts = list(_first_records(utf8, delimiter))
    except csv.Error:
        return None
    if not firsts:
        return None
    found = heading_index([record.cells for record in firsts])
    head = firsts[found]
    rest = utf8[_end_of_line(utf8, head.last_line) :].rstrip(b"\r\n") + b"\n"
    width = len(head.cells)
    if width < 2 or not _is_regular(rest, ord(delimiter), width):
        return None
    cells = pd.read_csv(
        io.BytesIO(rest),
        sep=delimiter,
        header=None,
        names=range(width),
        index_col=False,
        dtype=str,
        keep_default_na=False,
        na_filter=False,
        quotechar='"',
        skip_blank_lines=False,
        encoding="utf-8",
        engine="c",
    )
    above = [record.first_line for record in firsts[:found]]
    note = above_the_headings(above)
    return Body(
        tuple(head.cells),
        head.first_line,
        cells,
        np.arange(head.last_line + 1, head.last_line + 1 + len(cells)),
        np.arange(1, width + 1),
        (note,) if note else (),
    )


def _first_records(utf8: bytes, delimiter: str) -> Iterator[Record]:
    count = 0
    for record in records_of(utf8, delimiter):
        if not all(map(is_blank, record.cells)):
            yield record
            count += 1
            if count == ROWS_SEARCHED:
                return


def _end_of_line(utf8: bytes, line: int) -> int:
    end = 0
    for _ in range(line):
        end = utf8.index(b"\n", end) + 1
    return end


def _is_regular(utf8: bytes, delimiter: int, width: int) -> bool:
    """Prove that every line is one row of exactly ``width`` well-formed cells."""
    text = np.frombuffer(utf8, dtype=np.uint8)
    is_mark = (text == delimiter) | (text == _NEWLINE)
    if _QUOTE in utf8:
        is_quote = text == _QUOTE
        if not _are_quotes_whole(text, np.flatnonzero(is_quote), delimiter):
            return False
        is_inside = np.logical_xor.accumulate(is_quote)
        if (is_inside & (text == _NEWLINE)).any():
            return False
        is_mark &= ~is_inside
    marks = text[is_mark]
    if marks.size % width:
        return False
    lines = marks.reshape(-1, width)
    return bool((lines[:, :-1] == delimiter).all() and (lines[:, -1] == _NEWLINE).all())


def _are_quotes_whole(
    text: NDArray[np.uint8], quotes: NDArray[np.int64], delimiter: int
) -> bool:
    if quotes.size % 2:
        return False
    opening, closing = quotes[0::2], quotes[1::2]
    before = text[opening[opening > 0] - 1]
    after = text[closing + 1]  # the text ends with a newline
    is_opening_right = (before == delimiter) | (before == _NEWLINE)
    is_closing_right = (after == delimiter) | (after == _NEWLINE) | (after == ord("\r"))
    return bool(is_opening_right.all() and is_closing_right.all())
