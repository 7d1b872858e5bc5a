"""Which cells to look at where a check about no single field fails."""

from __future__ import annotations

from fnmatch import fnmatchcase
from functools import cache

from pipeline.records.store import fields_of
from pipeline.reference import load

DIFFERING = "@differing"
"""In check_cells.csv: the cells in which rows that say they are the same one differ."""


@cache
def _patterns() -> tuple[tuple[str, tuple[str, ...]], ...]:
    return tuple(
        (row["check_id"], tuple(row["fields"].split("|")))
        for row in load.rows("check_cells")
    )


def cells_of(check_id: str, sheet: str) -> list[str]:
    """Return the fields to look at when a check about no single field fails.

    Args:
        check_id: the check.
        sheet: the sheet of the row.
    """
    for known, patterns in _patterns():
        if fnmatchcase(check_id, known):
            names = fields_of(sheet)
            return [
                name
                for pattern in patterns
                for name in ([pattern] if pattern == DIFFERING else names)
                if fnmatchcase(name, pattern)
            ]
    return []
