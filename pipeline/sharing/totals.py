"""A centre's totals: sums over patients in place of rows, small classes left out."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.bundled import folder as bundled
from pipeline.errors import TooFewToShare
from pipeline.sharing import describing
from pipeline.sharing.columns import all_columns
from pipeline.sharing.taking_out import (
    built,
    refuse_place,
    summarised,
    write_manifest,
)
from pipeline.statistics.aggregates import Sums
from pipeline.summarised.centre_totals import (
    BIN_COLUMNS,
    COLUMNS,
    Quantity,
    bins_of,
    fixed,
    part_of_rows,
)
from pipeline.summarised.values import Audited, Measure, Values, measures

if TYPE_CHECKING:
    from pipeline.audit import Audit
    from pipeline.settings import Settings
    from pipeline.warehouse import Warehouse

FILES = ("totals.csv", "bins.csv")
OVERALL = "overall"


@dataclass(frozen=True)
class Line:
    """One line of totals: the sums of one class of patients, by quantity.

    Attributes:
        group_by: what the values are grouped by.
        group_value: the group.
        sources: basis and source in words.
        per_patient: how many values each patient has.
        sums: the sums, with the number they were counted from, by quantity.
        is_short: patients of the same group stand in no line.
    """

    group_by: str
    group_value: str
    sources: str
    per_patient: int
    sums: Mapping[Quantity, tuple[float, Sums]]
    is_short: bool = False

    @property
    def n(self) -> int:
        """How many patients are behind the line."""
        return next(iter(self.sums.values()))[1].n


def take_totals(audit: Audit, settings: Settings, to: Path, *, k: int) -> int:
    """Write the totals of an audit into a new folder; return the number of lines.

    Args:
        audit: the audit, summarised.
        settings: its settings.
        to: the new folder; it is not there, or empty.
        k: a line of fewer patients is left out.

    Raises:
        ExportPlace: ``to`` is no place for it; nothing was written.
        NoSuchTable: the audit is not summarised.
        TooFewToShare: no line has as many patients.
    """
    refuse_place(audit, to)
    with summarised(audit) as (warehouse, run), built(audit, to) as folder:
        rows, bins = _totals(warehouse, settings, k)
        if not rows:
            raise TooFewToShare(
                f"No measure has {k} patients with as many values each.",
                hint="Share nothing of it, or wait for more cases.",
            )
        describing.write_csv(folder / FILES[0], COLUMNS[1:], rows)
        describing.write_csv(folder / FILES[1], BIN_COLUMNS[1:], bins)
        words = bundled("reports") / "export" / "READ_ME_TOTALS.md"
        text = words.read_text(encoding="utf-8").format(**run, k=k)
        (folder / "READ_ME.md").write_text(text, encoding="utf-8", newline="\n")
        said = {"content": "totals", "k": k, "rows": {"totals": len(rows)}}
        write_manifest(folder, warehouse, settings, run, said)
    return len(rows)


Rows = list[tuple[Any, ...]]


def _totals(warehouse: Warehouse, settings: Settings, k: int) -> tuple[Rows, Rows]:
    audited = Audited(warehouse, merge_sources=settings.merge_sources)
    criteria = warehouse.run('select measure, "limit"::double from reference.criteria')
    rows: Rows = []
    bins: Rows = []
    for measure in measures():
        limits = sorted({limit for name, limit in criteria if name == measure.measure})
        groups = [group for group in audited.groups(measure) if _may_leave(*group[:2])]
        lines = [line for g in groups for line in _lines(*g, limits)]
        kept = large_enough(lines, k)
        rows += [row for line in kept for row in _rows(measure, line)]
        sizes = {line.per_patient for line in kept if line.group_by == OVERALL}
        bins += _bins(measure, audited.of(measure), sizes)
    return rows, bins


def _may_leave(group_by: str, group_value: str) -> bool:
    """Tell whether the words of a group may leave: as in the tables of an export."""
    only = {column.column: column.only for column in all_columns() if column.only}
    return group_by not in only or bool(re.fullmatch(only[group_by], group_value))


def _lines(
    group_by: str, group_value: str, values: Values, limits: list[float]
) -> Iterator[Line]:
    if values.is_empty:
        return
    part = part_of_rows(values, limits)
    by_size: dict[int, dict[Quantity, tuple[float, Sums]]] = defaultdict(dict)
    for quantity, totals in part.totals.items():
        for size, sums in totals.classes.items():
            by_size[size][quantity] = (totals.counted_from, sums)
    for size, found in sorted(by_size.items()):
        yield Line(group_by, group_value, part.sources, size, found)


def large_enough(lines: list[Line], k: int) -> list[Line]:
    """Return the lines that may go out, those marked whose group lost some.

    A line of fewer than k patients stays. Where what all groups of a grouping leave out
    could be had by subtraction from the whole, and is fewer than k patients, the next
    smallest group stays too.
    """
    kept = [line for line in lines if line.n >= k]
    whole = {x.per_patient: x.n for x in kept if x.group_by == OVERALL}
    for group_by in sorted({line.group_by for line in lines} - {OVERALL}):
        for size, n in whole.items():
            own = sorted(
                (x for x in kept if x.group_by == group_by and x.per_patient == size),
                key=lambda x: (x.n, x.group_value),
            )
            hidden = n - sum(line.n for line in own)
            while own and 0 < hidden < k:
                smallest = own.pop(0)
                hidden += smallest.n
                kept.remove(smallest)
    counts: defaultdict[tuple[str, str], int] = defaultdict(int)
    for line in lines:
        counts[line.group_by, line.group_value] += 1
    for line in kept:
        counts[line.group_by, line.group_value] -= 1
    return [
        replace(line, is_short=counts[line.group_by, line.group_value] > 0)
        for line in kept
    ]


def _rows(measure: Measure, line: Line) -> Iterator[tuple[Any, ...]]:
    for (quantity, limit), (counted_from, sums) in line.sums.items():
        yield (
            measure.measure,
            quantity,
            limit,
            line.group_by,
            line.group_value,
            line.sources,
            line.is_short,
            line.per_patient,
            counted_from,
            sums.n,
            sums.s,
            sums.s2,
            sums.y2,
        )


def _bins(
    measure: Measure, values: Values, sizes: set[int]
) -> Iterator[tuple[Any, ...]]:
    """Yield the bins of the values of patients who stand in a line of the whole."""
    _, index, counts = np.unique(
        values.patients, return_inverse=True, return_counts=True
    )
    is_kept = np.isin(counts[index], list(sizes))
    width = fixed(measure.measure).bin_width
    for place, count in bins_of(measure, values.numbers[is_kept]).items():
        yield measure.measure, place, width, count
