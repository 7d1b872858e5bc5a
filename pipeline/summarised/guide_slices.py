"""summarised.guide_slices: how much of the scatter lay in the guide as made.

Only where a guide was read between plan and result; without one the table is empty, and
how much the laboratory added is not known. One way of reading a quantity, the one most
patients have; one case a patient.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt
from typing import TYPE_CHECKING, Any, Final

from pipeline.statistics.budget import caution, refusal
from pipeline.statistics.guide_slice import guide_slice
from pipeline.statistics.variances import Variance
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.guide_slices"
MODES: Final = "summarised.guide_modes"
NOT_TAKEN_OFF: Final = (
    "Error of reading not known for want of own repeats, so it stands in both parts"
)
READ_ONCE: Final = (
    "Error of reading taken off as if each guide and result was read once"
)


@makes(TABLE, reads=(MODES,))
def make_guide_slices(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.guide_slices. Grain: quantity."""
    modes = warehouse.frame(
        "select *, basis || ', guide read by ' || guide_source || ', result by '"
        f" || achieved_source as words from {MODES} order by quantity, case_key, words"
    )
    rows = [_row(str(quantity), own) for quantity, own in modes.groupby("quantity")]
    write_rows(warehouse, TABLE, rows)


def _row(quantity: str, modes: pd.DataFrame) -> dict[str, Any]:
    patients = modes.groupby("words")["patient_key"].nunique()
    words = str(patients.idxmax())
    used = modes[modes["words"] == words].drop_duplicates("patient_key")
    n = len(used)
    row = {
        "quantity": quantity,
        "unit": quantity.rpartition("_")[2],
        "sources": words,
        "n_patients": n,
    }
    said = refusal(n)
    if said:
        return {**row, "note": said}
    readings = used[["guide_reading_sd", "result_reading_sd"]].iloc[0]
    is_known = bool(readings.notna().all())
    of_guide, of_result = map(float, readings) if is_known else (0.0, 0.0)
    found = guide_slice(
        used["lab_part"].to_numpy(float),
        used["clinical_part"].to_numpy(float),
        of_guide,
        of_result,
    )
    said_too = (caution(n), READ_ONCE if is_known else NOT_TAKEN_OFF)
    return {
        **row,
        **_limits("lab", found.lab),
        **_limits("clinical", found.clinical),
        "covariance": found.covariance,
        "lab_share": found.lab_share,
        "guide_reading_sd": of_guide if is_known else None,
        "result_reading_sd": of_result if is_known else None,
        "note": ". ".join(one.rstrip(".") for one in said_too if one),
    }


def _limits(part: str, variance: Variance) -> dict[str, float]:
    """Return sd and limits; what is below 0 is cut only here."""
    ends = (variance.value, variance.low, variance.high)
    names = (f"{part}_sd", f"{part}_low", f"{part}_high")
    return {
        name: sqrt(max(0.0, float(end))) for name, end in zip(names, ends, strict=True)
    }
