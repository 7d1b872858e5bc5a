"""Who gets what: the 54 slots of the invented clinic, read from allotment.csv."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Columns = dict[str, NDArray[Any]]
"""One table: column name -> one value a row."""

NUMBERS = ("slot", "half_spacing_mm", "planned_length_mm", "count_readings")
YES_NO = ("is_operated", "is_bad_batch", "has_pad_distances", "has_sagittal_photo")
COUNT_OPERATED = 48


@cache
def rows() -> tuple[dict[str, str], ...]:
    """Return the rows of allotment.csv in the order of surgery."""
    path = Path(__file__).resolve().parent / "allotment.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        return tuple(csv.DictReader(handle))


def tiled(n_cases: int, *, is_operated: bool = True) -> Columns:
    """Return the slots for that many cases, repeated as often as needed.

    Args:
        n_cases: number of cases.
        is_operated: the 48 operated slots, or the 6 that are still planned.

    Returns:
        The columns of allotment.csv, one value a case, and ``block``: which
        repetition a case belongs to.
    """
    wanted = "yes" if is_operated else "no"
    chosen = [row for row in rows() if row["is_operated"] == wanted]
    index = np.arange(n_cases) % len(chosen)
    columns: Columns = {}
    for name in chosen[0]:
        texts = np.array([row[name] for row in chosen])
        if name in NUMBERS:
            texts = texts.astype(np.int64)
        elif name in YES_NO:
            texts = texts == "yes"
        columns[name] = texts[index]
    columns["block"] = np.arange(n_cases) // len(chosen)
    return columns


def own_case_numbers(operators: NDArray[Any], operator: str) -> NDArray[np.int64]:
    """Return 1, 2, .. for the cases of one operator in order, 0 for the others."""
    is_own = operators == operator
    return np.where(is_own, np.cumsum(is_own), 0)
