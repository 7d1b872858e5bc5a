"""Cells of a workbook as text, and what a reader can tell about a tab.

Shared by the process that reads a workbook and the one that asked for it; imports
nothing heavy.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any

LARGEST_WHOLE = 1e18
"""Whole numbers from here on are written with an exponent."""

Row = tuple[int, list[int], list[str]]
"""A row's number, the columns (A = 1) of its cells that are not empty, their texts."""


@dataclass(slots=True)
class TabFacts:
    """What a reader saw of one tab besides its cells.

    Attributes:
        name: the tab's name as written.
        is_hidden: the tab is hidden.
        count_rows: rows handed over.
        hidden_rows: numbers of hidden rows that hold cells.
        hidden_columns: letters of hidden columns that hold cells, folded groups apart.
        merged: merged ranges such as A5:A6.
        without_result: addresses of formulas the file stores no result for.
        not_dates: number of cells formatted as a date that hold no date.
        unseen_errors: number of error cells the reader gave as empty.
    """

    name: str
    is_hidden: bool = False
    count_rows: int = 0
    hidden_rows: list[int] = field(default_factory=list)
    hidden_columns: list[str] = field(default_factory=list)
    merged: list[str] = field(default_factory=list)
    without_result: list[str] = field(default_factory=list)
    not_dates: int = 0
    unseen_errors: int = 0


@dataclass(slots=True)
class WorkbookFacts:
    """What the reading process says at its end.

    Attributes:
        reader: openpyxl or calamine.
        is_second_choice: openpyxl could not read the workbook, calamine did.
        modified: when the workbook says it was saved, ISO 8601; '' when it does not.
        tabs: its tabs in order.
        failure: '' or password, damaged, too_large; then the rest is empty.
    """

    reader: str = ""
    is_second_choice: bool = False
    modified: str = ""
    tabs: list[TabFacts] = field(default_factory=list)
    failure: str = ""

    def to_json(self) -> str:
        """Return the facts as one line."""
        return json.dumps(asdict(self))

    @classmethod
    def from_json(cls, line: bytes) -> WorkbookFacts:
        """Read the facts back.

        Raises:
            ValueError, TypeError, KeyError: the line is not what ``to_json`` wrote.
        """
        said = json.loads(line)
        tabs = [TabFacts(**tab) for tab in said.pop("tabs")]
        return cls(**said, tabs=tabs)


def text_of(value: Any) -> str:
    """Return a cell's value as text.

    Whole numbers come without a decimal point, other numbers as the shortest exact
    text, dates in ISO 8601 (with the time unless it is midnight), true and false as
    yes and no, and text as it is.

    >>> text_of(123456789012.0), text_of(0.1), text_of(True)
    ('123456789012', '0.1', 'yes')
    """
    if value is None or isinstance(value, str):
        return value or ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return _number(value)
    return _moment(value)


def _number(value: float) -> str:
    if isinstance(value, float) and value.is_integer() and abs(value) < LARGEST_WHOLE:
        return str(int(value))
    return repr(value)


def _moment(value: Any) -> str:
    if isinstance(value, datetime) and value.time() == time():
        return value.date().isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    return _duration(value) if isinstance(value, timedelta) else str(value)


def _duration(value: timedelta) -> str:
    seconds = round(value.total_seconds())
    hours, rest = divmod(abs(seconds), 3600)
    return f"{'-' if seconds < 0 else ''}{hours}:{rest // 60:02}:{rest % 60:02}"


def rows_of(cells: Iterable[tuple[int, Iterable[tuple[int, Any]]]]) -> Iterator[Row]:
    """Turn rows of (column, value) into rows of text, empty cells and rows left out."""
    for number, values in cells:
        texts = [(column, text_of(value)) for column, value in values]
        full = [(column, text) for column, text in texts if text]
        if full:
            yield number, [column for column, _ in full], [text for _, text in full]
