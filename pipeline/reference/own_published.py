"""A reader's own table of published figures, looked over before anybody compares with it."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from pipeline.errors import NotPublishedFigures
from pipeline.reference import load
from pipeline.reference.lint import REQUIRED, lint_published
from pipeline.reference.lint_events import REQUIRED as REQUIRED_OF_EVENTS
from pipeline.reference.lint_events import lint_events
from pipeline.reference.own_csv import reader_of

HEADING_ROWS: Final = 1


def looked_over(path: Path) -> tuple[int, list[str]]:
    """Return the number of rows of a csv file, and what looks wrong in them.

    A file with a column ``event_group`` is read as rates of attachment events, else as
    figures of accuracy; columns that are not required may be left out.

    Args:
        path: a csv file in UTF-8, cells apart by , or ; with the headings of
            ``attachment_events_published.csv`` or ``published_accuracy.csv``.

    Returns:
        Each sentence begins with the row of the file and its key.

    Raises:
        NotPublishedFigures: it is no text, or a required column is missing.
    """
    headings, rows = _read(path)
    is_events = "event_group" in headings
    required = REQUIRED_OF_EVENTS if is_events else REQUIRED
    missing = [name for name in required if name not in headings]
    if missing:
        raise NotPublishedFigures(
            f"{path.name} has no column {', '.join(missing)}.",
            hint=f"Required: {', '.join(required)}.",
        )
    table = "attachment_events_published" if is_events else "published_accuracy"
    known = dict.fromkeys(load.rows(table)[0], "")
    said = (lint_events if is_events else lint_published)(
        [{**known, **r} for r in rows]
    )
    places: dict[str, int] = {}
    for at, row in enumerate(rows, start=1 + HEADING_ROWS):
        places.setdefault(row["key"] or f"row {at - HEADING_ROWS}", at)
    return len(rows), [_placed(sentence, places) for sentence in said]


def _placed(sentence: str, places: dict[str, int]) -> str:
    key, _, what = sentence.partition(": ")
    name = "no key" if key.startswith("row ") else key
    return f"row {places[key]} ({name}): {what}"


def _read(path: Path) -> tuple[list[str], list[dict[str, str]]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise NotPublishedFigures(
            f"{path.name} is not text in UTF-8.",
            hint="Save the sheet as csv, UTF-8, and name that file.",
        ) from None
    reader = reader_of(text)
    headings = [name.strip() for name in reader.fieldnames or []]
    reader.fieldnames = headings
    rows = [
        {name: (row.get(name) or "").strip() for name in headings}
        for row in reader
        if any(isinstance(cell, str) and cell.strip() for cell in row.values())
    ]
    return headings, rows
