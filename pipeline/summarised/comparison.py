"""summarised.verdicts: the clinic's means against named sets of published means.

A set's conditions pick the cases that may be compared with it; cases of another kind
of guide are never judged by it. Only the two primary measures get a verdict.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.reference import load
from pipeline.statistics.means import clustered_mean
from pipeline.statistics.verdicts import compare_with_band
from pipeline.summarised.values import Audited, Measure, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE = "summarised.verdicts"
CONDITIONS = ("jaw", "guide_support", "guidance", "guide_method")
"""What of a case must match a comparison set (its edentulism holds for all cases)."""


@makes(TABLE, reads=("summarised.implant_values", "summarised.pair_values"))
def make_verdicts(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.verdicts. Grain: measure, comparison_set."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    rows = []
    for chosen in load.rows("comparison_sets"):
        for measure in measures():
            band = band_of(chosen["comparison_set"], measure.measure)
            if not measure.is_primary or band is None:
                continue
            matched = matching(audited.comparable(measure), chosen)
            if not matched.is_empty:
                rows.append(_row(chosen, measure, matched, band))
    write_rows(warehouse, TABLE, rows)


def band_of(comparison_set: str, measure: str) -> tuple[float, float] | None:
    """Return the lowest and highest published mean of a set, or None.

    A set of one mean gives its printed 95 % interval; without one it makes no band.
    """
    published = {row["key"]: row for row in load.rows("published_accuracy")}
    members = [
        published[row["key"]]
        for row in load.rows("comparison_members")
        if row["comparison_set"] == comparison_set
        and row["measure"] == measure
        and row["role"] == "band"
    ]
    if not members:
        return None
    if len(members) == 1:
        low, high = members[0]["ci_low"], members[0]["ci_high"]
        return (float(low), float(high)) if low and high else None
    means = [float(row["value"]) for row in members]
    return min(means), max(means)


def floor_of(measure: Measure) -> float:
    """Return the difference that lies inside the error of measuring."""
    kind = "angle" if measure.unit == "deg" else "distance"
    rows = {row["measure_kind"]: row for row in load.rows("method_floor")}
    return float(rows[kind]["floor"])


def matching(values: Values, chosen: Mapping[str, str]) -> Values:
    """Return the values of cases that may be compared with a set."""
    for name in CONDITIONS:
        if chosen[name]:
            values = values.having(name, chosen[name].split("|"))
    return values


def _row(
    chosen: Mapping[str, str],
    measure: Measure,
    values: Values,
    band: tuple[float, float],
) -> dict[str, Any]:
    mean = clustered_mean(values.numbers, values.patients)
    floor = floor_of(measure)
    verdict = compare_with_band(mean, *band, floor, unit=measure.unit)
    return {
        "measure": measure.measure,
        "comparison_set": chosen["comparison_set"],
        "group_by": "comparison_set",
        "group_value": chosen["label"],
        "sources": values.sources,
        "n_cases": values.n_cases,
        "n_patients": mean.n_clusters,
        "n_implants": mean.n_values,
        "mean": mean.mean,
        "mean_low": mean.low,
        "mean_high": mean.high,
        "band_low": band[0],
        "band_high": band[1],
        "floor": floor,
        "verdict": verdict.word,
        "n_more": verdict.n_more,
        "is_provisional": chosen["is_provisional"] == "yes",
        "sentence": verdict.sentence,
    }
