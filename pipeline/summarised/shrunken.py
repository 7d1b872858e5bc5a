"""summarised.shrunken: each trainee's mean beside the same mean drawn toward all.

A mean of few cases is mostly chance; drawn toward the common mean it says better what to
expect next. No interval and no order belong to it. Cases of all years, with patients.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.statistics.means import clustered_mean
from pipeline.statistics.patients import FEWEST_FOR_INTERVAL
from pipeline.statistics.shrinkage import shrunken_means
from pipeline.summarised.values import measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.shrunken"
VALUES: Final = "summarised.trainee_values"


@makes(TABLE, reads=(VALUES,))
def make_shrunken(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.shrunken. Grain: measure, trainee_code; errors only, not signed figures."""
    values = warehouse.frame(
        f"select * from {VALUES} order by measure, trainee_code, case_number, side"
    )
    errors = {measure.measure for measure in measures() if measure.is_error}
    rows: list[dict[str, Any]] = []
    for name, own in values.groupby("measure"):
        if name in errors:
            rows += _of_measure(str(name), own)
    write_rows(warehouse, TABLE, rows)


def _of_measure(name: str, values: pd.DataFrame) -> Iterator[dict[str, Any]]:
    means = {
        str(code): clustered_mean(own["value"], own["case_key"])
        for code, own in values.groupby("trainee_code")
    }
    told = {
        code: (mean.mean, mean.se)
        for code, mean in means.items()
        if mean.n_clusters >= FEWEST_FOR_INTERVAL and mean.mean and mean.se
    }
    found = shrunken_means(*np.array([*told.values()]).reshape(-1, 2).T)
    drawn = {} if found.means is None else dict(zip(told, found.means, strict=True))
    for code, mean in means.items():
        yield {
            "measure": name,
            "trainee_code": code,
            "sources": values["sources"].iloc[0],
            "n_cases": mean.n_clusters,
            "n_values": mean.n_values,
            "mean": mean.mean,
            "mean_low": mean.low,
            "mean_high": mean.high,
            "shrunken": float(drawn[code]) if code in drawn else None,
            "overall": found.overall,
            "spread_between": None
            if found.tau2 is None
            else float(np.sqrt(found.tau2)),
            "note": mean.warning if code not in told else found.warning,
        }
