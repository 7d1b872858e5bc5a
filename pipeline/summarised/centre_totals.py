"""The sums a centre's values are told by, from its rows or as the centre gave them."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.reference import load
from pipeline.statistics.aggregates import Sums, Totals, totals_of

if TYPE_CHECKING:
    from pipeline.summarised.values import Measure, Values

COLUMNS = (
    "centre_code",
    "measure",
    "quantity",
    "limit_value",
    "group_by",
    "group_value",
    "sources",
    "is_short",
    "per_patient",
    "counted_from",
    "n_patients",
    "sum_totals",
    "sum_squared_totals",
    "sum_squared_values",
)
"""Columns of reference.centre_totals: a class of patients of one quantity a row."""

BIN_COLUMNS = ("centre_code", "measure", "place", "width", "count_values")
"""Columns of reference.centre_bins: how many values lie from place times width up."""

VALUE, ROOT, MET = "value", "root", "met"
Quantity = tuple[str, float | None]
"""What the sums are of: the value, its square root, or whether it is within a limit."""


@dataclass(frozen=True, slots=True)
class Fixed:
    """The fixed numbers of a measure, the same at every centre."""

    counted_from: float
    root_counted_from: float
    bin_width: float


def fixed(measure: str) -> Fixed:
    """Return the fixed numbers of a measure, from totals_measures.csv."""
    for row in load.rows("totals_measures"):
        if row["measure"] == measure:
            root = float(row["root_counted_from"] or 0)
            return Fixed(float(row["counted_from"]), root, float(row["bin_width"]))
    raise KeyError(measure)


@dataclass
class Part:
    """What one centre has of one measure in one group.

    Attributes:
        content: rows or totals.
        sources: basis and source in words.
        is_short: the centre left small classes out.
        totals: the sums by quantity.
    """

    content: str
    sources: str
    is_short: bool = False
    totals: dict[Quantity, Totals] = field(default_factory=dict)


def part_of_rows(values: Values, limits: Iterable[float]) -> Part:
    """Return the sums of the values of one centre.

    Args:
        values: of one measure, one group, one centre.
        limits: the limits a share is counted against.
    """
    measure, numbers, patients = values.measure, values.numbers, values.patients
    own = fixed(measure.measure)
    part = Part("rows", values.sources)
    part.totals[VALUE, None] = totals_of(numbers, patients, own.counted_from)
    if measure.is_error:
        roots = np.sqrt(numbers)
        part.totals[ROOT, None] = totals_of(roots, patients, own.root_counted_from)
    for limit in limits:
        is_met = (np.abs(numbers) <= limit).astype(np.float64)
        part.totals[MET, limit] = totals_of(is_met, patients, 0.0)
    return part


def bins_of(measure: Measure, values: np.ndarray[Any, Any]) -> dict[int, int]:
    """Return how many values lie in each bin of a measure."""
    width = fixed(measure.measure).bin_width
    # a hair up: 0.3 / 0.1 is a hair below 3 in binary
    places = np.floor(values / width + 1e-9).astype(int)
    found, counts = np.unique(places, return_counts=True)
    return dict(zip(found.tolist(), counts.tolist(), strict=True))


Group = tuple[str, str, str]
"""Measure, group_by, group_value."""


def parts_given(
    rows: Iterable[Mapping[Hashable, Any]],
) -> Iterator[tuple[Group, str, Part]]:
    """Yield (group, centre, part) of the rows of reference.centre_totals."""
    parts: dict[tuple[Group, str], Part] = {}
    for row in rows:
        group = (row["measure"], row["group_by"], row["group_value"])
        key = (group, row["centre_code"])
        part = parts.setdefault(key, Part("totals", row["sources"]))
        part.is_short = part.is_short or row["is_short"] == "true"
        limit = float(row["limit_value"]) if row["limit_value"] else None
        quantity = (row["quantity"], limit)
        before = part.totals.get(quantity, Totals(float(row["counted_from"]), {}))
        sums = Sums(
            int(row["n_patients"]),
            float(row["sum_totals"]),
            float(row["sum_squared_totals"]),
            float(row["sum_squared_values"]),
        )
        classes = {**before.classes, int(row["per_patient"]): sums}
        part.totals[quantity] = Totals(before.counted_from, classes)
    for (group, centre), part in parts.items():
        yield group, centre, part
