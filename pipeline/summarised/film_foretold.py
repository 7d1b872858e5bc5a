"""summarised.film_foretold: did the film of the radiographic guide foretell the result."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from pipeline.statistics.repeatability import limits_of_agreement
from pipeline.statistics.together import together
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLE: Final = "summarised.film_foretold"
OF_CASES: Final = "summarised.films_and_results"


@makes(TABLE, reads=(OF_CASES,))
def make_film_foretold(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.film_foretold. Grain: quantity."""
    # a patient treated in both jaws counts with the first of them
    pairs = warehouse.frame(
        f"select * from {OF_CASES} qualify row_number() over"
        " (partition by patient_key, quantity order by case_key) = 1"
        " order by quantity, case_key"
    )
    write_rows(
        warehouse,
        TABLE,
        [_row(str(quantity), own) for quantity, own in pairs.groupby("quantity")],
    )


def _row(quantity: str, own: Any) -> dict[str, Any]:
    film, result = own["on_film"].to_numpy(float), own["achieved"].to_numpy(float)
    agreement = limits_of_agreement(film, result)
    going = together(film, result, own["patient_key"])
    return {
        "quantity": quantity,
        "n_patients": going.n_patients,
        "n_same_way": int((film * result > 0).sum()),
        "mean_difference": agreement.bias,
        "low": agreement.low,
        "high": agreement.high,
        "correlation": going.r,
        "correlation_low": going.r_low,
        "correlation_high": going.r_high,
        "is_told": going.is_told,
        "note": going.warning,
    }
