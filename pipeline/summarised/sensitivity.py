"""summarised.sensitivity: does a mean rest on how the cases were chosen.

The mean of each error over all cases beside the same mean without departures on purpose,
with the guide used as planned only, by each source, and with one patient left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np

from pipeline.statistics.means import clustered_mean
from pipeline.statistics.patients import group_by_patient
from pipeline.summarised.values import Audited, Measure, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE: Final = "summarised.sensitivity"
CHANGED: Final = "is_deliberate_change"
FEWEST_TO_LEAVE_ONE_OUT: Final = 3


@makes(TABLE, reads=("summarised.implant_values", "summarised.pair_values"))
def make_sensitivity(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.sensitivity. Grain: measure, variant, detail; errors only."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    rows = [
        row
        for measure in measures()
        if measure.is_error
        for row in _variants(audited, measure)
    ]
    write_rows(warehouse, TABLE, rows)


def _variants(audited: Audited, measure: Measure) -> Iterator[dict[str, Any]]:
    everything = audited.of(measure)
    if everything.is_empty:
        return
    yield _row(everything, "all")
    frame = everything.table.frame
    if CHANGED in frame:
        is_changed = frame[CHANGED].fillna(value=False).to_numpy(dtype=bool)
        kept = everything.where(~is_changed[everything.index])
        if len(kept.index) < len(everything.index):
            yield _row(kept, "no departure on purpose")
        as_planned = kept.having("guide_used", ["as_planned"])
        if not as_planned.is_empty:
            yield _row(as_planned, "guide used as planned")
    yield from _one_left_out(everything)
    for words, of_source in audited.by_source(measure):
        if words != everything.sources:
            yield _row(of_source, "source", words)


def _row(values: Values, variant: str, detail: str = "") -> dict[str, Any]:
    mean = clustered_mean(values.numbers, values.patients)
    return {
        "measure": values.measure.measure,
        "variant": variant,
        "detail": detail,
        "n_patients": mean.n_clusters,
        "n_values": mean.n_values,
        "mean": mean.mean,
        "mean_low": mean.low,
        "mean_high": mean.high,
        "note": mean.warning,
    }


def _one_left_out(values: Values) -> Iterator[dict[str, Any]]:
    """Yield the smallest and the largest mean that leaving one patient out gives."""
    numbers, patients = group_by_patient(values.numbers, values.patients)
    if patients.n_patients < FEWEST_TO_LEAVE_ONE_OUT:
        return
    left = patients.n_values - patients.sizes
    means = (numbers.sum() - patients.totals(numbers)) / left
    for variant, place in (
        ("one patient less, smallest", int(np.argmin(means))),
        ("one patient less, largest", int(np.argmax(means))),
    ):
        yield {
            "measure": values.measure.measure,
            "variant": variant,
            "detail": "",
            "n_patients": patients.n_patients - 1,
            "n_values": int(left[place]),
            "mean": float(means[place]),
        }
