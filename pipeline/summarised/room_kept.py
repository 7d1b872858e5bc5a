"""summarised.room_kept: is there still room, and does the line lie far enough forward.

The case is the unit of what is counted, the patient that of the interval.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

from pipeline.statistics.means import signed_mean
from pipeline.statistics.shares import clustered_share
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.room_kept"
OF_CASES: Final = "summarised.room_of_cases"
EVERY_SITE: Final = "every_site"
SITES: Final = ("middle", "left_distal", "right_distal")
"""Where a later implant could stand."""


@makes(TABLE, reads=(OF_CASES,))
def make_room_kept(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.room_kept. Grain: question."""
    cases = warehouse.frame(f"select * from {OF_CASES} order by case_key, question")
    rows = [_row(str(name), own) for name, own in cases.groupby("question")]
    write_rows(warehouse, TABLE, [*rows, *_every_site(cases)])


def _row(question: str, own: pd.DataFrame) -> dict[str, Any]:
    """Return one question: how many cases met it, as planned and as it came."""
    both = own.dropna(subset=["is_met_as_planned"])
    was_planned = both["is_met_as_planned"].astype(bool)
    is_met = both["is_met"].astype(bool)
    change = own.dropna(subset=["change_from_plan"])
    mean = signed_mean(
        change["change_from_plan"].to_numpy(float), change["patient_key"]
    )
    limits = own["limit_value"].unique()
    return _counted(question, own["is_met"].astype(bool), own["patient_key"]) | {
        "limit_value": float(limits[0]) if len(limits) == 1 else None,
        "slack_mm": own["slack_mm"].iloc[0],
        "n_with_plan": len(both),
        "n_met_as_planned": int(was_planned.sum()),
        "n_lost": int((was_planned & ~is_met).sum()),
        "smallest": float(own["achieved"].min()),
        "largest": float(own["achieved"].max()),
        "n_changes": mean.n_values,
        "mean_change": mean.mean,
        "change_low": mean.low,
        "change_high": mean.high,
    }


def _every_site(cases: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Yield in how many of the cases that tell all three every site stays open."""
    sites = cases[cases["question"].isin(SITES)]
    by_case = sites.groupby("case_key")
    told = by_case["question"].nunique() == len(SITES)
    if told.any():
        first = by_case.first()[told]
        yield _counted(EVERY_SITE, by_case["is_met"].all()[told], first["patient_key"])


def _counted(question: str, is_met: Any, patients: Any) -> dict[str, Any]:
    share = clustered_share(is_met, patients)
    return {
        "question": question,
        "n_cases": share.n_values,
        "n_patients": share.n_clusters,
        "n_met": share.count_met,
        "share": share.share,
        "low": share.low,
        "high": share.high,
        "note": share.warning,
    }
