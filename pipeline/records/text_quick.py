"""A quicker way into a large text, taken only where it must give the same cells.

The csv module is the reader (``text_rows``). The pandas C reader splits a well-formed
text the same way in a third of the time; the bytes show whether the text is one.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.records.grid import Body, above_the_headings, is_blank
from pipeline.records.headings import ROWS_SEARCHED, heading_index
from pipeline.records.text_rows import Record, records_of

QUICK_FROM_LINES = 20_000
BLOCK_BYTES = 1 << 20
MOST_EXCESS_CELLS = 50
"""A row wider than this beyond the headings would cost every row as many cells."""

_NEWLINE, _RETURN, _QUOTE = b'\n\r"'


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """The lines of a text in which each line is one row.

    Attributes:
        widths: shape (n,), cells on each line.
        is_empty: shape (n,), lines with nothing on them at all.
    """

    widths: NDArray[np.int64]
    is_empty: NDArray[np.bool_]


def quick_body(utf8: bytes, delimiter: str) -> Body | None:
    """Read a large text by the pandas C reader; None wherever there is a doubt.

    Args:
        utf8: the text.
        delimiter: what stands between its cells.

    Returns:
        What ``text_rows.careful_grid`` and ``grid.body_of`` would find, or None.
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
    lines = _lines_if_regular(rest, ord(delimiter))
    if lines is None or lines.widths.max() > len(head.cells) + MOST_EXCESS_CELLS:
        return None
    width = max(len(head.cells), int(lines.widths.max()))
    cells = _cells(rest, delimiter, width)
    numbers = np.arange(head.last_line + 1, head.last_line + 1 + len(cells))
    if lines.is_empty.any():
        cells = cells.loc[~lines.is_empty].reset_index(drop=True)
    note = above_the_headings([record.first_line for record in firsts[:found]])
    return Body(
        (*head.cells, *[""] * (width - len(head.cells))),
        head.first_line,
        cells,
        numbers[~lines.is_empty],
        np.arange(1, width + 1),
        lines.widths[~lines.is_empty],
        (note,) if note else (),
        tuple((record.first_line, tuple(record.cells)) for record in firsts[:found]),
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


def _cells(utf8: bytes, delimiter: str, width: int) -> pd.DataFrame:
    return pd.read_csv(
        io.BytesIO(utf8),
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


def _lines_if_regular(utf8: bytes, delimiter: int) -> Lines | None:
    """Prove that every line is one row of well-formed cells, or return None."""
    text = np.frombuffer(utf8, dtype=np.uint8)
    parts = []
    for start, end in _blocks(utf8):
        part = _block_if_regular(text[start:end], delimiter)
        if part is None:
            return None
        parts.append(part)
    return Lines(
        np.concatenate([part.widths for part in parts]),
        np.concatenate([part.is_empty for part in parts]),
    )


def _blocks(utf8: bytes) -> Iterator[tuple[int, int]]:
    """Yield stretches of whole lines, small enough to stay in the processor's cache."""
    start = 0
    while start < len(utf8):
        end = utf8.rfind(b"\n", start, start + BLOCK_BYTES) + 1
        if not end:
            end = utf8.index(b"\n", start) + 1
        yield start, end
        start = end


def _block_if_regular(text: NDArray[np.uint8], delimiter: int) -> Lines | None:
    """Look at whole lines; the last byte is a line end.

    The proof: every quotation mark opens a cell right after a delimiter or line end,
    or closes one right before; and no line end stands inside a quoted cell.
    """
    is_newline = text == _NEWLINE
    is_mark = is_newline | (text == delimiter)
    is_quote = text == _QUOTE
    if is_quote.any():
        # from an opening mark up to the one before the closing mark
        is_inside = np.logical_xor.accumulate(is_quote)
        if not _are_quotes_whole(text, is_quote, is_inside, is_mark):
            return None
        if (is_inside & is_newline).any():
            return None
        is_mark &= ~is_inside
    ends = np.flatnonzero(is_newline)
    width_ends = np.flatnonzero(text[is_mark] == _NEWLINE)
    lengths = np.diff(ends, prepend=-1) - 1
    is_return = (lengths == 1) & (text[ends - 1] == _RETURN)
    return Lines(np.diff(width_ends, prepend=-1), (lengths == 0) | is_return)


def _are_quotes_whole(
    text: NDArray[np.uint8],
    is_quote: NDArray[np.bool_],
    is_inside: NDArray[np.bool_],
    is_mark: NDArray[np.bool_],
) -> bool:
    if is_inside[-1]:
        return False
    is_opening = is_quote & is_inside
    is_closing = is_quote & ~is_inside
    is_end = is_mark | (text == _RETURN)
    return not (
        (is_opening[1:] & ~is_mark[:-1]).any() or (is_closing[:-1] & ~is_end[1:]).any()
    )
