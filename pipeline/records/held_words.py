"""The words of the workbook of rows to correct: written by one command, read by another."""

from __future__ import annotations

import re
from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path

HELD_TAB = "_held"
"""The hidden tab by which the workbook is known again."""

READ_ME_TAB = "read me"
DO_NOT_CIRCULATE = "contains practice numbers, do not circulate"
FILE_NAME = "rows_to_correct_{number}.xlsx"

NUMBER, CAME_FROM = "no.", "came from"
"""Headings left of the record's own columns."""

WRONG, TO_DO, WHY, ANSWER = "what is wrong", "what to do", "why", "answer"
"""Headings right of them."""

HELD_COLUMNS = (
    "kind",
    "key",
    "tab",
    "no.",
    "row id",
    "digest",
    "check",
    "severity",
    "field",
    "evidence",
)
"""Headings of the hidden tab: a line is the audit, a row or a finding of a row."""


class Answer(StrEnum):
    """What a person can say of a row."""

    CORRECTED = "corrected"
    LEAVE_OUT = "leave out"
    RIGHT = "right as it is"


def answer_of(text: str) -> Answer | None:
    """Return the answer a cell gives; None where it is empty.

    Raises:
        ValueError: it is none of the answers.
    """
    plain = " ".join(text.split()).casefold().rstrip(".")
    return Answer(plain) if plain else None


_OUR_NAME = re.compile(r"rows_to_correct_(\d+)", re.IGNORECASE)


def next_name(existing: Iterable[Path]) -> str:
    """Return a name that no workbook has had yet, as far as the files there tell."""
    numbers = [int(n) for path in existing for n in _OUR_NAME.findall(path.name)]
    return FILE_NAME.format(number=max(numbers, default=0) + 1)


def is_our_name(path: Path) -> bool:
    """Tell whether a file is named as we name such workbooks."""
    return _OUR_NAME.match(path.name) is not None
