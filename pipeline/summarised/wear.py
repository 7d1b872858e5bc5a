"""summarised.against_uses and summarised.by_lot: the drill set and the guide's material.

Both are axes of their own beside time: a blunt drill set and a bad lot show in cases that
lie apart in date order.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

from pipeline.statistics.change import change_of_mean
from pipeline.statistics.means import clustered_mean
from pipeline.statistics.patients import FEWEST_FOR_INTERVAL
from pipeline.statistics.together import together
from pipeline.summarised.values import Audited, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

USES: Final = "summarised.against_uses"
LOTS: Final = "summarised.by_lot"
MEASURES: Final = ("entry_3d_mm", "angle_deg", "pair_rotation_deg")
"""What a worn drill or a bad lot would move: place, lean, and the two against each other."""


@makes(
    USES,
    LOTS,
    reads=(
        "summarised.wear_of_cases",
        "summarised.implant_values",
        "summarised.pair_values",
    ),
)
def make_wear(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.against_uses (grain: measure) and by_lot (measure, material_lot)."""
    worn = warehouse.frame("select * from summarised.wear_of_cases order by case_key")
    uses: list[dict[str, Any]] = []
    lots: list[dict[str, Any]] = []
    if len(worn):
        audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
        for measure in (known for known in measures() if known.measure in MEASURES):
            values = audited.of(measure)
            rows = values.rows.merge(worn, on="case_key")
            uses += _against_uses(values, rows.dropna(subset=["drill_set_uses"]))
            lots += _by_lot(values, rows.dropna(subset=["material_lot"]))
    write_rows(warehouse, USES, uses)
    write_rows(warehouse, LOTS, lots)


def _against_uses(values: Values, rows: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield how a measure goes with the uses of the drill set."""
    if rows.empty:
        return
    uses = rows["drill_set_uses"].to_numpy(float)
    found = together(uses, rows["value"].to_numpy(float), rows["patient_key"])
    yield {
        "measure": values.measure.measure,
        "sources": values.sources,
        "n_patients": found.n_patients,
        "n_implants": len(rows),
        "fewest_uses": int(uses.min()),
        "most_uses": int(uses.max()),
        "slope": found.slope,
        "slope_low": found.slope_low,
        "slope_high": found.slope_high,
        "note": found.warning,
    }


def _by_lot(values: Values, rows: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield each lot, its mean, and how far it is from that of the other lots."""
    for lot, own in rows.groupby("material_lot"):
        mean = clustered_mean(own["value"].to_numpy(float), own["patient_key"])
        row = {
            "measure": values.measure.measure,
            "material_lot": lot,
            "sources": values.sources,
            "n_patients": mean.n_clusters,
            "n_implants": mean.n_values,
            "note": mean.warning,
        }
        if mean.n_clusters >= FEWEST_FOR_INTERVAL:
            rest = rows[rows["material_lot"] != lot]
            others = clustered_mean(rest["value"].to_numpy(float), rest["patient_key"])
            change = change_of_mean(mean, others)
            row |= {
                "mean": mean.mean,
                "low": mean.low,
                "high": mean.high,
                "change": change.value,
                "change_low": change.low,
                "change_high": change.high,
            }
        yield row
