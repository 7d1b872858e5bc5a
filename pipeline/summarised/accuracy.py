"""summarised.accuracy: every measure, overall and by group, with its interval."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipeline.statistics.clustering import intraclass_correlation
from pipeline.statistics.means import clustered_mean, signed_mean
from pipeline.statistics.patients import group_by_patient
from pipeline.statistics.quantiles import clustered_quantile
from pipeline.statistics.tolerance import tolerance_bound
from pipeline.summarised.values import Audited, Measure, Values, measures
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE = "summarised.accuracy"


@makes(TABLE, reads=("summarised.implant_values", "summarised.pair_values"))
def make_accuracy(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make summarised.accuracy. Grain: measure, group_by, group_value."""
    audited = Audited(warehouse, merge_sources=parameters["settings"].merge_sources)
    rows = [
        _row(measure, group_by, group_value, values)
        for measure in measures()
        for group_by, group_value, values in audited.groups(measure)
        if not values.is_empty
    ]
    write_rows(warehouse, TABLE, rows)


def _row(
    measure: Measure, group_by: str, group_value: str, values: Values
) -> dict[str, Any]:
    numbers, patients = group_by_patient(values.numbers, values.patients)
    mean_of = clustered_mean if measure.is_error else signed_mean
    mean = mean_of(numbers, patients)
    icc = intraclass_correlation(numbers, patients, is_error=measure.is_error)
    quantiles = {p: clustered_quantile(numbers, patients, p) for p in (0.5, 0.9, 0.95)}
    first_quarter, third_quarter = np.quantile(numbers, (0.25, 0.75))
    row = {
        "measure": measure.measure,
        "unit": measure.unit,
        "group_by": group_by,
        "group_value": group_value,
        "sources": values.sources,
        "n_cases": values.n_cases,
        "n_patients": values.n_patients,
        "n_implants": len(numbers),
        "mean": mean.mean,
        "sd": mean.sd,
        "mean_low": mean.low,
        "mean_high": mean.high,
        "q1": float(first_quarter),
        "q3": float(third_quarter),
        "min": float(numbers.min()),
        "max": float(numbers.max()),
        "icc": icc.icc,
        "icc_low": icc.low,
        "icc_high": icc.high,
        "design_effect": mean.design_effect,
        "note": mean.warning,
    }
    for name, quantile in zip(
        ("median", "p90", "p95"), quantiles.values(), strict=True
    ):
        row |= {
            name: quantile.value,
            f"{name}_low": quantile.low,
            f"{name}_high": quantile.high,
        }
    if measure.is_error:
        tolerance = tolerance_bound(numbers, patients)
        row["tolerance_bound"] = tolerance.bound
        row["tolerance_n_more"] = tolerance.n_more
    return row
