"""summarised.equivalence and sample_size: as good within a margin; how many it would take.

The comparisons and their margins stand in comparisons.csv, chosen before looking. A margin
dated after the first load is used all the same, and said.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from math import sqrt
from typing import Any, Final

from pipeline.statistics.equivalence import (
    Equivalence,
    equivalence,
    patients_for_margin,
    patients_for_width,
)
from pipeline.statistics.means import ClusteredMean, clustered_mean
from pipeline.summarised.values import Audited, Measure, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE: Final = "summarised.equivalence"
SIZES: Final = "summarised.sample_size"
WIDTHS: Final = {"mm": (0.5, 1.0), "deg": (1.0, 2.0)}
"""Widths of an interval a study may want, by unit."""


@makes(
    TABLE,
    SIZES,
    reads=(
        "summarised.implant_values",
        "summarised.pair_values",
        "reference.comparisons",
        "audit.sources",
    ),
)
def make_equivalence(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make both tables. Grain: comparison; measure, aim, amount."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    known = {measure.measure: measure for measure in measures()}
    comparisons = warehouse.frame("select * from reference.comparisons")
    first = warehouse.value("select min(loaded_at)::date from audit.sources")
    rows = [
        _row(audited, known[each["measure"]], each, first)
        for each in comparisons.to_dict("records")
    ]
    write_rows(warehouse, TABLE, rows)
    margins = {(row["measure"], row["margin"]) for row in rows}
    write_rows(warehouse, SIZES, list(_sizes(audited, margins)))


def _row(
    audited: Audited, measure: Measure, said: Mapping[Any, Any], first: date | None
) -> dict[str, Any]:
    values = audited.comparable(measure)
    sides = [values.having(said["group_by"], [said[side]]) for side in ("new", "usual")]
    one, other = (_mean(side) for side in sides)
    margin = float(said["margin"])
    both = set(sides[0].patients.tolist()) & set(sides[1].patients.tolist())
    found = equivalence(one, other, margin)
    if both:
        found = Equivalence(
            found.difference, warning=f"{len(both)} of the patients are on both sides."
        )
    chosen = date.fromisoformat(said["chosen_date"]) if said["chosen_date"] else None
    return {
        "comparison": said["comparison"],
        "measure": measure.measure,
        "group_by": said["group_by"],
        "new_value": said["new"],
        "usual_value": said["usual"],
        "sources": values.sources,
        "margin": margin,
        "chosen_date": chosen,
        "is_chosen_before": bool(chosen and first and chosen <= first),
        "n_patients_new": one.n_clusters,
        "n_patients_usual": other.n_clusters,
        "n_values_new": one.n_values,
        "n_values_usual": other.n_values,
        "mean_new": one.mean,
        "mean_usual": other.mean,
        "difference": found.difference,
        "low_90": found.low,
        "high_90": found.high,
        "p_above": found.p_above,
        "p_below": found.p_below,
        "is_not_worse": found.is_not_worse,
        "is_equivalent": found.is_equivalent,
        "why_not": found.warning,
    }


def _mean(values: Values) -> ClusteredMean:
    return clustered_mean(values.numbers, values.patients)


def _sizes(
    audited: Audited, margins: set[tuple[str, float]]
) -> Iterator[dict[str, Any]]:
    """Yield what each measure would take, with the spread between patients seen here."""
    for measure in measures():
        if not measure.is_error:
            continue
        mean = _mean(audited.of(measure))
        if not mean.se or mean.low is None:
            continue
        spread = mean.se * sqrt(mean.n_clusters)
        seen = {
            "measure": measure.measure,
            "n_patients": mean.n_clusters,
            "n_values": mean.n_values,
            "spread": spread,
            "design_effect": mean.design_effect,
        }
        for width in WIDTHS[measure.unit]:
            needed = patients_for_width(mean.se, mean.n_clusters, width)
            yield seen | {"aim": "width", "amount": width, "patients_needed": needed}
        for margin in sorted(m for name, m in margins if name == measure.measure):
            needed = patients_for_margin(spread, margin)
            yield seen | {"aim": "margin", "amount": margin, "patients_needed": needed}
