"""Which sign stands before the decimals, and where a comma cut a number in two."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.records.headings import number_headings, plain_heading

BOTH_SIGNS = (
    "Numbers are written with a decimal comma in some cells and with a decimal point "
    "in others; the point was taken as the decimal sign."
)
# in a number field any digit, sign, digit counts: '3,2 mm', '<0,5', '7,5-8,2'
_IN_NUMBER_FIELD = {",": re.compile(r"\d,\d"), ".": re.compile(r"\d\.\d")}
# elsewhere the cell must be one number, or dates and sentences would count
_WHOLE_CELL = {
    sign: re.compile(
        rf"^[\s<>+\-\u2212]*\d+{re.escape(sign)}\d+[^\d.,\n]*$", re.MULTILINE
    )
    for sign in (",", ".")
}
_INTEGER = re.compile(r"\s*[+\-\u2212]?\d{1,6}\s*")
_DIGITS = re.compile(r"\d{1,6}\s*")
_POINT_NUMBER = re.compile(r"\s*[+\-\u2212]?\d+\.\d+\s*")


def decimal_sign(frame: pd.DataFrame, headings: Sequence[str]) -> tuple[str, str]:
    """Return the decimal sign of a sheet and a note when both are in use.

    Args:
        frame: the cells as text, shape (n, k), columns labelled 0 .. k-1.
        headings: k headings. Only the columns of known number fields are looked at;
            where there is none, every column is.

    Returns:
        ',' when numbers hold a decimal comma and none a decimal point, else '.';
        the note is '' unless both were seen.
    """
    numeric = [
        place
        for place, heading in enumerate(headings)
        if plain_heading(heading) in number_headings()
    ]
    pattern = _IN_NUMBER_FIELD if numeric else _WHOLE_CELL
    columns = numeric or range(len(headings))
    if not _is_found(pattern, ",", frame, columns):
        return ".", ""
    if not _is_found(pattern, ".", frame, columns):
        return ",", ""
    return ".", BOTH_SIGNS


def _is_found(
    pattern: dict[str, re.Pattern[str]],
    sign: str,
    frame: pd.DataFrame,
    columns: Iterable[int],
) -> bool:
    for column in columns:
        # one text per column: the plain search throws most columns out at once
        joined = "\n".join(frame[column].to_numpy(dtype=object))
        if sign in joined and pattern[sign].search(joined):
            return True
    return False


def rows_cut_at_a_comma(
    cells: NDArray[np.object_], headings: Sequence[str], *, is_ours: bool = True
) -> NDArray[np.bool_]:
    """Return which rows look like numbers with a decimal comma, cut at the comma.

    A file with commas between its cells and unquoted decimal commas has more cells
    than headings; every such number leaves two whole numbers side by side.

    Args:
        cells: the rows that have cells beyond the last heading, shape (m, k).
        headings: k headings, '' for the columns beyond.
        is_ours: the headings are ours, so that a sheet without a number field holds
            no numbers.

    Returns:
        Shape (m,), true where as many pairs of whole numbers stand side by side as
        there are cells too many, and no number with a decimal point does.
    """
    has_numbers = not is_ours or any(
        plain_heading(text) in number_headings() for text in headings
    )
    last = max((i for i, text in enumerate(headings) if text.strip()), default=-1)
    return np.array(
        [has_numbers and _is_cut(row, last) for row in cells.tolist()], dtype=bool
    )


def _is_cut(row: Sequence[str], last_headed: int) -> bool:
    beyond = [place for place, text in enumerate(row) if text.strip()][-1] - last_headed
    if any(_POINT_NUMBER.fullmatch(text) for text in row):
        return False
    pairs, place = 0, 0
    while place + 1 < len(row):
        if _INTEGER.fullmatch(row[place]) and _DIGITS.fullmatch(row[place + 1]):
            pairs, place = pairs + 1, place + 1
        place += 1
    return pairs >= beyond > 0
