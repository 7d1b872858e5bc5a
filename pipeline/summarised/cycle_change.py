"""summarised.cycle_change: criteria and means of this cycle against the last one.

The two cycles are compared only where both were measured from the same source. Without
a chosen cycle, or without one that ended before it began, the table is empty.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from pipeline.statistics.change import (
    Change,
    change_of_mean,
    change_of_share,
    ratio_of_means,
)
from pipeline.statistics.means import ClusteredMean, clustered_mean, signed_mean
from pipeline.statistics.patients import counted
from pipeline.statistics.shares import clustered_share
from pipeline.summarised.values import SOURCE, Audited, Measure, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE = "summarised.cycle_change"
Row = dict[str, Any]


@makes(
    TABLE,
    reads=(
        "summarised.implant_values",
        "summarised.pair_values",
        "summarised.last_implant_values",
        "summarised.last_pair_values",
        "reference.criteria",
    ),
)
def make_cycle_change(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.cycle_change. Grain: kind, subject, group_by, group_value."""
    rows: list[Row] = []
    if parameters["last_cycle"] is not None:
        head = {
            "last_cycle": parameters["last_cycle"],
            "last_from": parameters["last_from"],
            "last_to": parameters["last_to"],
        }
        merged = parameters["settings"].merge_sources
        now = Audited(warehouse, merge_sources=merged)
        before = Audited(warehouse, merge_sources=merged, of_last_cycle=True)
        found = (*_criteria(warehouse, now, before), *_means(now, before))
        rows = [{**head, **row} for row in found]
    write_rows(warehouse, TABLE, rows)


def _criteria(warehouse: Warehouse, now: Audited, before: Audited) -> Iterator[Row]:
    known = {measure.measure: measure for measure in measures()}
    criteria = warehouse.frame("select * from reference.criteria").to_dict("records")
    for criterion in criteria:
        measure = known[criterion["measure"]]
        limit = float(criterion["limit"])
        group_by = criterion["group_by"] or "overall"
        group_value = criterion["group_value"] or "all"
        sides = _sides(measure, now, before)
        if group_by != "overall":
            sides = [side.having(group_by, [group_value]) for side in sides]
        met = [np.abs(side.numbers) <= limit for side in sides]
        shares = [
            clustered_share(is_met, side.patients)
            for is_met, side in zip(met, sides, strict=True)
        ]
        row = {
            "kind": "criterion",
            "subject": criterion["criterion"],
            "measure": measure.measure,
            "limit_value": limit,
            "group_by": group_by,
            "group_value": group_value,
            "n_met": shares[0].count_met,
            "last_n_met": shares[1].count_met,
        }
        for start, share in zip(("", "last_"), shares, strict=True):
            row |= _figure(start, share.share, share.low, share.high)
        yield row | _change(sides, change_of_share(*shares))


def _means(now: Audited, before: Audited) -> Iterator[Row]:
    for measure in measures():
        sides = _sides(measure, now, before)
        if sides[0].is_empty:
            continue
        mean_of = clustered_mean if measure.is_error else signed_mean
        means: list[ClusteredMean] = [
            mean_of(side.numbers, side.patients) for side in sides
        ]
        row: Row = {
            "kind": "mean",
            "subject": measure.measure,
            "measure": measure.measure,
            "group_by": "overall",
            "group_value": "all",
        }
        for start, mean in zip(("", "last_"), means, strict=True):
            row |= _figure(start, mean.mean, mean.low, mean.high)
        if measure.is_error:
            ratio = ratio_of_means(*means)
            row |= {
                "ratio": ratio.value,
                "ratio_low": ratio.low,
                "ratio_high": ratio.high,
            }
        yield row | _change(sides, change_of_mean(*means))


def _sides(measure: Measure, now: Audited, before: Audited) -> list[Values]:
    """Return the values of both cycles, those of the last from the same source."""
    values = now.of(measure)
    last = before.all_sources(measure).having(SOURCE, values.words(SOURCE))
    return [values, last]


def _figure(
    start: str, value: float | None, low: float | None, high: float | None
) -> Row:
    return {f"{start}value": value, f"{start}low": low, f"{start}high": high}


def _change(sides: list[Values], change: Change) -> Row:
    now, before = sides
    names = [set(side.rows["patient_key"]) for side in sides]
    both = len(names[0] & names[1])
    said = [change.warning] if change.warning else []
    if both:
        said.append(
            f"{counted(both, 'patient')} stand in both cycles and count as different."
        )
    return {
        "sources": now.sources,
        "n_total": len(now.index),
        "n_patients": now.n_patients,
        "last_n_total": len(before.index),
        "last_n_patients": before.n_patients,
        "change": change.value,
        "change_low": change.low,
        "change_high": change.high,
        "n_patients_both": both,
        "note": " ".join(said) or None,
    }
