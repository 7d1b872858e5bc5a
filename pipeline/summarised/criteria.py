"""summarised.criteria: the share of implants within each criterion of the clinic."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np

from pipeline.statistics.shares import ClusteredShare, clustered_share
from pipeline.statistics.shares_needed import patients_needed
from pipeline.summarised.values import Audited, Measure, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE = "summarised.criteria"
TOO_FEW = "too few to say"


@makes(
    TABLE,
    reads=(
        "summarised.implant_values",
        "summarised.pair_values",
        "reference.criteria",
    ),
)
def make_criteria(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.criteria. Grain: criterion."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    known = {measure.measure: measure for measure in measures()}
    rows = []
    for criterion in warehouse.frame("select * from reference.criteria").to_dict(
        "records"
    ):
        measure = known[criterion["measure"]]
        values = audited.of(measure)
        group_by = criterion["group_by"] or "overall"
        group_value = criterion["group_value"] or "all"
        if group_by != "overall":
            values = values.having(group_by, [group_value])
        rows.append(_row(criterion, measure, (group_by, group_value), values))
    write_rows(warehouse, TABLE, rows)


def _row(
    criterion: Mapping[Hashable, Any],
    measure: Measure,
    group: tuple[str, str],
    values: Values,
) -> dict[str, Any]:
    limit = float(criterion["limit"])
    target = criterion["target_percent"]
    target_percent = float(target) if target not in {"", None} else None
    is_met = np.abs(values.numbers) <= limit
    share = clustered_share(is_met, values.patients)
    reached = reached_by(share, target_percent)
    n_more: int | None = None if reached == TOO_FEW else 0
    if reached == TOO_FEW and target_percent:
        n_more = patients_needed(share, target_percent / 100).n_more
    missed = np.unique(values.patients[~is_met])
    return {
        "criterion": criterion["criterion"],
        "measure": measure.measure,
        "limit_value": limit,
        "target_percent": target_percent,
        "group_by": group[0],
        "group_value": group[1],
        "sources": values.sources,
        "n_met": share.count_met,
        "n_total": share.n_values,
        "n_patients": share.n_clusters,
        "n_patients_all_met": share.n_clusters - len(missed),
        "share": share.share,
        "share_low": share.low,
        "share_high": share.high,
        "reached": reached,
        "n_more": n_more,
        "is_example": not criterion["signed_by"],
        "note": share.warning,
    }


def reached_by(share: ClusteredShare, target_percent: float | None) -> str:
    """Return whether the target is reached, as far as the interval can tell."""
    if not share.n_values:
        return "not applicable"
    if target_percent is None:
        return "no target"
    if share.low is None or share.high is None:
        return TOO_FEW
    target = target_percent / 100
    if share.low >= target:
        return "yes"
    if share.high < target:
        return "no"
    return TOO_FEW
