"""summarised.left_right: left against right in the same mouth, as a paired difference.

Both sides of a case share plan, guide, hand and scan, so they are compared within the case
and not as two groups.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from pipeline.statistics.means import signed_mean
from pipeline.statistics.patients import Floats
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
    left, right, patients = _sides(values)
    if not len(left):
        return None
    mean = signed_mean(left - right, patients)
    return {
        "measure": values.measure.measure,
        "sources": values.sources,
        "n_patients": mean.n_clusters,
        "n_pairs": mean.n_values,
        "mean_left": float(left.mean()),
        "mean_right": float(right.mean()),
        "difference": mean.mean,
        "low": mean.low,
        "high": mean.high,
        "note": mean.warning,
    }


def _sides(values: Values) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Return the values of both sides and the patient of each case with one of each."""
    cases, names = values.table.coded("case_key")
    sides, words = values.table.coded("side")
    case, side_of, numbers = cases[values.index], sides[values.index], values.numbers
    has_both = np.ones(len(names), dtype=bool)
    found = []
    for side in ("left", "right"):
        own = np.isin(side_of, np.flatnonzero(words == side))
        has_both &= np.bincount(case[own], minlength=len(names)) == 1
        found.append(np.zeros(len(names)))
        found[-1][case[own]] = numbers[own]
    patients = np.zeros(len(names), dtype=np.intp)
    patients[case] = values.patients
    return found[0][has_both], found[1][has_both], patients[has_both]
