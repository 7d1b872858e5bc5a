"""The tables of the years after delivery, made from one reading of the events."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.summarised.association import READS as READS_ANGLES
from pipeline.summarised.association import association_rows, cut_rows
from pipeline.summarised.event_rates import rate_rows
from pipeline.summarised.follow_up import READS, FollowUp
from pipeline.summarised.time_to_event import first_event_rows, mean_count_rows
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

TABLES = {
    "summarised.event_rates": rate_rows,
    "summarised.first_event": first_event_rows,
    "summarised.mean_cumulative_count": mean_count_rows,
    "summarised.association": association_rows,
    "summarised.rates_by_cut": cut_rows,
}


@makes(*TABLES, reads=(*READS, *READS_ANGLES))
def make_years_after(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make the rates, the first events, the mean counts and what goes with angles."""
    follow_up = FollowUp(warehouse)
    for table, rows in TABLES.items():
        write_rows(warehouse, table, list(rows(follow_up)))
