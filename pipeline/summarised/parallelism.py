"""summarised.parallelism: is the pair as parallel as it was planned, and parallel enough.

One source for all lines: the one that summaries of the angle between the two use.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.reference import load
from pipeline.statistics.means import clustered_mean, signed_mean
from pipeline.statistics.shares import clustered_share
from pipeline.summarised.values import Audited, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.parallelism"
ANGLE: Final = "achieved_angle_deg"
ALL: Final = "all"


@makes(
    TABLE,
    reads=(
        "summarised.parallel_pairs",
        "summarised.pair_values",
        "summarised.implant_values",
    ),
)
def make_parallelism(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.parallelism. Grain: quantity, state, attachment, limit_deg."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    angle = next(measure for measure in measures() if measure.measure == ANGLE)
    used = audited.of(angle)
    pairs = warehouse.frame("select * from summarised.parallel_pairs order by case_key")
    pairs = pairs[pairs["case_key"].isin(used.rows["case_key"])]
    found = [*_sizes(pairs), *_shares(pairs)] if len(pairs) else []
    write_rows(warehouse, TABLE, [{**row, "sources": used.sources} for row in found])


def _sizes(pairs: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield the mean of each quantity as planned, as achieved, and of its change."""
    for line in load.rows("parallelism_lines"):
        values, patients = _stacked(pairs, line["columns"].split("|"))
        if not len(values):
            continue
        is_size = line["statistic"] == "mean"
        mean = (clustered_mean if is_size else signed_mean)(values, patients)
        # a plan may well be alike in every case: that is no sign of copied values
        is_plan = line["state"] == "planned"
        yield {
            "quantity": line["quantity"],
            "state": line["state"],
            "statistic": line["statistic"],
            "attachment": ALL,
            "of_what": line["of"],
            "n_values": mean.n_values,
            "n_patients": mean.n_clusters,
            "value": mean.mean,
            "low": mean.low,
            "high": mean.high,
            "smallest": float(values.min()),
            "largest": float(values.max()),
            "note": None if is_plan else mean.warning,
        }


def _stacked(pairs: pd.DataFrame, columns: list[str]) -> tuple[Any, Any]:
    """Return the held values of some columns one after another, with their patients."""
    held = [pairs[["patient_key", name]].dropna() for name in columns]
    values = np.concatenate(
        [part[name] for part, name in zip(held, columns, strict=True)]
    )
    patients = np.concatenate([part["patient_key"] for part in held])
    return values.astype(float), patients


def _shares(pairs: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield who is within the clinic's allowance, within printed limits, leans back."""
    angles, patients = _stacked(pairs, [ANGLE])
    by_kind = pairs.dropna(subset=[ANGLE, "allowance_deg"]).groupby("attachment")
    for attachment, own in by_kind:
        within = own["is_within_allowance"].astype(bool)
        yield _share("within_allowance", within, own["patient_key"]) | {
            "attachment": str(attachment),
            "limit_deg": float(own["allowance_deg"].iloc[0]),
        }
    if len(angles):
        for row in load.rows("attachment_limits"):
            limit = float(row["limit_deg"])
            yield _share("within_printed", angles <= limit, patients) | {
                "limit_deg": limit
            }
    columns = ["achieved_left_forward_lean_deg", "achieved_right_forward_lean_deg"]
    leans, whose = _stacked(pairs, columns)
    if len(leans):
        yield _share("leans_back", leans < 0, whose) | {"of_what": "implant"}


def _share(quantity: str, is_so: Any, patients: Any) -> dict[str, Any]:
    share = clustered_share(is_so, patients)
    return {
        "quantity": quantity,
        "state": "achieved",
        "statistic": "share",
        "attachment": ALL,
        "of_what": "pair",
        "n_values": share.n_values,
        "n_patients": share.n_clusters,
        "n_met": share.count_met,
        "value": share.share,
        "low": share.low,
        "high": share.high,
        "note": share.warning,
    }
