"""summarised.lab_return: how far the guides of each laboratory are off their plans.

The guide is the unit, told by its case: both sides of one guide count as one. Different
ways of reading never share a mean: a quantity is told from the one most guides have.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.statistics.means import signed_mean
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.lab_return"
PARTS: Final = "summarised.lab_parts"


@makes(TABLE, reads=(PARTS,))
def make_lab_return(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.lab_return. Grain: lab_code, quantity."""
    parts = warehouse.frame(
        f"select * from {PARTS} order by lab_code, quantity, case_key, side"
    )
    rows = [
        {"lab_code": lab, "quantity": quantity} | _row(own)
        for (lab, quantity), own in parts.groupby(["lab_code", "quantity"])
    ]
    write_rows(warehouse, TABLE, rows)


def _row(parts: pd.DataFrame) -> dict[str, Any]:
    by_source = parts.groupby("source_words")["case_key"].nunique()
    source = str(by_source.idxmax())
    own = parts[parts["source_words"] == source]
    values = own["lab_part"].to_numpy(float)
    mean = signed_mean(values, own["case_key"])
    return {
        "sources": source,
        "n_guides": mean.n_clusters,
        "n_values": mean.n_values,
        "n_by_rule": int((own["planned_basis"] == "rule").sum()),
        "mean": mean.mean,
        "low": mean.low,
        "high": mean.high,
        "sd": mean.sd,
        "largest": float(np.abs(values).max()),
        "note": mean.warning,
    }
