"""measured.repeatability: what repeated readings tell of each source and examiner.

Made before measured.implants, because it is where the uncertainty of single readings
comes from as soon as a clinic has enough repeats.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from pipeline.statistics.repeatability import (
    LimitsOfAgreement,
    Repeatability,
    limits_of_agreement,
    repeatability,
)
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE = "measured.repeatability"
EVERYBODY = "all"
GRAIN = ["basis", "achieved_source", "quantity"]


@makes(TABLE, reads=("measured.repeat_values",))
def make_repeatability(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make measured.repeatability. Grain: basis, source, quantity, examiner or all."""
    readings = warehouse.frame(
        "select * from measured.repeat_values order by subject, quantity, reading,"
        " examiner_code, row_id"
    )
    write_rows(warehouse, TABLE, list(_rows(readings)))


def _rows(readings: pd.DataFrame) -> Iterator[dict[str, Any]]:
    for keys, of_quantity in readings.groupby(GRAIN, sort=True):
        head = dict(zip(GRAIN, keys, strict=True))
        yield {**head, "examiner": EVERYBODY, **_figures(of_quantity)}
        for examiner, own in of_quantity.groupby("examiner_code", sort=True):
            figures = _figures(own)
            if figures["df"]:
                yield {**head, "examiner": examiner, **figures}


def _figures(readings: pd.DataFrame) -> dict[str, Any]:
    again: Repeatability = repeatability(
        readings["value"].to_numpy(), readings["subject"].factorize()[0]
    )
    agreed = _agreement(readings)
    return {
        "count_subjects": again.n_subjects,
        "count_readings": again.n_values,
        "df": again.df,
        "within_sd": again.within_sd,
        "dahlberg": again.dahlberg,
        "repeatability_coefficient": again.coefficient,
        "icc": again.icc,
        "icc_low": again.icc_low,
        "icc_high": again.icc_high,
        "count_pairs": agreed.n_subjects,
        "agreement_bias": agreed.bias,
        "agreement_low": agreed.low,
        "agreement_low_from": agreed.low_low,
        "agreement_low_to": agreed.low_high,
        "agreement_high": agreed.high,
        "agreement_high_from": agreed.high_low,
        "agreement_high_to": agreed.high_high,
        "is_enough": again.is_enough,
        "note": again.warning,
    }


def _agreement(readings: pd.DataFrame) -> LimitsOfAgreement:
    """Compare second with first reading of the subjects read exactly twice."""
    of_subject = readings.groupby("subject", sort=False)["value"]
    twice = readings[of_subject.transform("size") == 2]
    is_second = twice.groupby("subject", sort=False).cumcount() == 1
    return limits_of_agreement(
        twice.loc[~is_second, "value"].to_numpy(),
        twice.loc[is_second, "value"].to_numpy(),
    )
