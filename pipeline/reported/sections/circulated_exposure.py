"""Cases had, for readers outside the programme: no count that may lead to a person."""

from __future__ import annotations

from typing import Final

import numpy as np

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections import programme_header
from pipeline.statistics.small_numbers import FEWEST_SHOWN, Sum, hidden_counts

HIDDEN: Final = "*"
COLUMNS: Final = (
    "count_cases",
    "count_placed",
    "count_taken_over",
    "count_assisted",
    "count_supervised",
)
"""Counts that are shown: the fewer, the fewer must be hidden. What a reader can work out
from them follows in each row: own cases not supervised."""

SPLITS: Final = ((1, 2), (4, 5))
"""Places in a row whose counts add up to all own cases, which stand first."""


def content(audit: AuditTables) -> Section:
    """Return a line for each trainee and one for all; patients only.

    The number of all cases stands in the table alone, where it may be hidden.
    """
    rows = [row for row in audit.trainee_exposure if row["setting"] == "patient"]
    own = [_with_the_rest([int(row[name]) for name in COLUMNS]) for row in rows]
    counts = np.array([*own, np.sum(own, axis=0, dtype=np.int64)], dtype=np.int64)
    is_hidden = hidden_counts(counts.ravel(), _sums(*counts.shape))
    shown = [
        [HIDDEN if hidden else str(count) for count, hidden in zip(*line, strict=True)]
        for line in zip(counts, is_hidden.reshape(counts.shape), strict=True)
    ]
    names = [*(row["trainee_code"] for row in rows), ""]
    return Section(
        {
            "title": audit.title,
            "facts": programme_header.content(audit).context["facts"][1:],
            "lines": [
                {"trainee": name, "counts": line[: len(COLUMNS)]}
                for name, line in zip(names, shown, strict=True)
            ],
            "fewest": FEWEST_SHOWN,
        }
    )


def _with_the_rest(counts: list[int]) -> list[int]:
    cases, supervised = counts[0], counts[-1]
    return [*counts, cases - supervised]


def _sums(n_rows: int, n_columns: int) -> list[Sum]:
    """Return how the counts add up: own cases in each row, all trainees in each column."""
    sums = [
        Sum(start, tuple(start + part for part in split))
        for start in range(0, n_rows * n_columns, n_columns)
        for split in SPLITS
    ]
    last = (n_rows - 1) * n_columns
    return sums + [
        Sum(last + column, tuple(range(column, last, n_columns)))
        for column in range(n_columns)
    ]
