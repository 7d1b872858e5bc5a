"""Find the heading row of a sheet by the names of the fields it may hold."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import cache

from pipeline.reference import load

ROWS_SEARCHED = 20
ENOUGH_KNOWN = 2


def plain_heading(text: str) -> str:
    """Return a heading as it is compared: trimmed, lower case, joined by _.

    >>> plain_heading(" Entry-3D mm ")
    'entry_3d_mm'
    """
    return re.sub(r"[\s\-]+", "_", text.strip().casefold())


@cache
def known_headings() -> frozenset[str]:
    """Return the plain headings of every field of every record sheet."""
    return frozenset(plain_heading(field.field) for field in load.fields())


@cache
def number_headings() -> frozenset[str]:
    """Return the plain headings of the fields that hold a number with decimals."""
    return frozenset(
        plain_heading(field.field) for field in load.fields() if field.kind == "number"
    )


def count_known(cells: Iterable[str]) -> int:
    """Return how many different known fields a row names."""
    return len({plain_heading(cell) for cell in cells} & known_headings())


def heading_index(rows: Sequence[Sequence[str]]) -> int:
    """Return which of the first rows that hold anything is the heading row.

    Args:
        rows: the first rows that are not blank, at most ROWS_SEARCHED of them.

    Returns:
        The first row naming at least two known fields; else the first row, so that
        a sheet with foreign headings is still read under its own first row.
    """
    for index, cells in enumerate(rows[:ROWS_SEARCHED]):
        if count_known(cells) >= ENOUGH_KNOWN:
            return index
    return 0
