"""summarised.left_right: left against right in the same mouth, as a paired difference.

Both sides of a case share plan, guide, hand and scan, so they are compared within the case
and not as two groups.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from pipeline.statistics.means import signed_mean
from pipeline.summarised.values import Audited, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE: Final = "summarised.left_right"


@makes(TABLE, reads=("summarised.implant_values", "summarised.pair_values"))
def make_left_right(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.left_right. Grain: measure."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    rows = (
        _row(audited.of(measure))
        for measure in measures()
        if measure.place == "implants"
    )
    write_rows(warehouse, TABLE, [row for row in rows if row is not None])


def _row(values: Values) -> dict[str, Any] | None:
    """Return left less right over the cases that hold both; None where none does."""
    sides = values.rows.pivot_table(
        index=["case_key", "patient_key"], columns="side", values="value"
    )
    if not {"left", "right"} <= set(sides.columns):
        return None
    both = sides.dropna(subset=["left", "right"])
    if both.empty:
        return None
    difference = (both["left"] - both["right"]).to_numpy(float)
    mean = signed_mean(difference, both.index.get_level_values("patient_key"))
    return {
        "measure": values.measure.measure,
        "sources": values.sources,
        "n_patients": mean.n_clusters,
        "n_pairs": mean.n_values,
        "mean_left": float(both["left"].mean()),
        "mean_right": float(both["right"].mean()),
        "difference": mean.mean,
        "low": mean.low,
        "high": mean.high,
        "note": mean.warning,
    }
