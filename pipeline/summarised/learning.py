"""summarised.learning: do deviations shrink with the trainees' own case numbers.

Over all trainees together, never one of them: how one goes stands in own_trend.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pipeline.statistics.learning import Covariate, learning
from pipeline.summarised.values import measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.learning"
VALUES: Final = "summarised.trainee_values"

CASES: Final = f"""
select
    v.measure, v.trainee_code, v.case_key, v.case_number, min(v.sources) as sources,
    avg(v.value) as mean, c.guidance = 'full' as is_full, c.bone_height_mm
from {VALUES} as v
inner join measured.cases as c on v.case_key = c.case_key
group by v.measure, v.trainee_code, v.case_key, v.case_number, c.guidance, c.bone_height_mm
order by v.measure, v.trainee_code, v.case_number"""


@makes(TABLE, reads=(VALUES, "measured.cases"))
def make_learning(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.learning. Grain: measure; errors only, cases with patients."""
    cases = warehouse.frame(CASES)
    errors = {measure.measure for measure in measures() if measure.is_error}
    rows = [
        _row(str(name), own) for name, own in cases.groupby("measure") if name in errors
    ]
    write_rows(warehouse, TABLE, rows)


def _row(name: str, own: pd.DataFrame) -> dict[str, Any]:
    found = learning(
        own["mean"].to_numpy(float),
        own["case_number"].to_numpy(float),
        own["trainee_code"],
        (
            Covariate("guidance", own["is_full"].to_numpy(float)),
            Covariate("bone_height_mm", _numbers(own["bone_height_mm"])),
        ),
    )
    return {
        "measure": name,
        "sources": own["sources"].iloc[0],
        "n_trainees": found.n_trainees,
        "n_cases": found.n_cases,
        "ratio": found.ratio,
        "low": found.low,
        "high": found.high,
        "p": found.p,
        "covariates": "|".join(found.covariates),
        "why_not": found.why_not,
    }


def _numbers(column: pd.Series) -> np.ndarray[Any, np.dtype[np.float64]]:
    return column.to_numpy(dtype=np.float64, na_value=np.nan)
