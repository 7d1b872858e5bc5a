"""What the tables of the years after read: dentures as arrays, events counted on them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pipeline.reference import load
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

Floats: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.bool_]
Places: TypeAlias = NDArray[np.intp]

READS = ("summarised.dentures_used", "summarised.events_used")
EVERY_KIND = "all"
SETTLING_IN = "settling_in"
PLANNED = "planned"
WHOLE_TIME = "all"
YEARS_OF_PERIOD = {
    SETTLING_IN: "years_settling_in",
    "0-12": "years_0_12",
    "12-60": "years_12_60",
    "60+": "years_60_on",
}


def event_groups() -> tuple[str, ...]:
    """Return the groups of events in their order."""
    return tuple(row["event_group"] for row in load.rows("event_groups"))


@dataclass
class FollowUp:
    """Dentures and events of the cases that count in a run.

    Args:
        warehouse: the audit being made.
    """

    warehouse: Warehouse

    @cached_property
    def dentures(self) -> pd.DataFrame:
        """One row a denture, in the order of its place."""
        return self.warehouse.frame(
            "select * from summarised.dentures_used order by place"
        )

    @cached_property
    def events(self) -> pd.DataFrame:
        """Denture, group, period (as numbers) and time of every event."""
        return self.warehouse.frame(
            """
            select
                e.place::integer as place,
                list_position($groups, e.event_group)::tinyint as group_no,
                list_position($periods, e.period)::tinyint as period_no,
                e.years_after_delivery
            from summarised.events_used as e
            order by e.row_id, e.side nulls first
            """,
            {"groups": list(event_groups()), "periods": list(YEARS_OF_PERIOD)},
        )

    @cached_property
    def patients(self) -> Places:
        """The patient of each denture."""
        return self.dentures["patient_place"].to_numpy(dtype=np.intp)

    def families(self) -> list[tuple[str, Flags]]:
        """Return each kind of attachment with its dentures, all of them first."""
        kinds = self.dentures["attachment"].to_numpy(dtype=object)
        found: list[tuple[str, Flags]] = [(EVERY_KIND, np.ones(kinds.size, dtype=bool))]
        found += [(str(kind), kinds == kind) for kind in sorted(set(kinds))]
        return found

    def years(self, period: str) -> Floats:
        """Return the years of each denture in a period; all but settling in for all."""
        if period != WHOLE_TIME:
            return self.dentures[YEARS_OF_PERIOD[period]].to_numpy(dtype=np.float64)
        names = [name for key, name in YEARS_OF_PERIOD.items() if key != SETTLING_IN]
        summed: Any = self.dentures[names].sum(axis=1)
        return np.asarray(summed, dtype=np.float64)

    @cached_property
    def _counts(self) -> NDArray[np.intp]:
        """Events by group, period and denture, both numbered from 1 (0 stays empty)."""
        shape = (len(event_groups()) + 1, len(YEARS_OF_PERIOD) + 1, len(self.dentures))
        events = self.events
        cell = events["group_no"].to_numpy(np.intp) * shape[1]
        cell = (cell + events["period_no"].to_numpy(np.intp)) * shape[2]
        cell += events["place"].to_numpy(np.intp)
        return np.bincount(cell, minlength=shape[0] * shape[1] * shape[2]).reshape(
            shape
        )

    def counts(self, group: str, period: str) -> NDArray[np.intp]:
        """Return how many events of a group each denture had in a period."""
        of_group = self._counts[event_groups().index(group) + 1]
        if period == WHOLE_TIME:
            return np.asarray(of_group[_period_no(SETTLING_IN) + 1 :].sum(axis=0))
        return of_group[_period_no(period)]

    @cached_property
    def ends(self) -> Floats:
        """The years each denture was watched; 0 when it was never seen."""
        return self.dentures["exposure_years"].to_numpy(dtype=np.float64)

    def trouble(self, group: str) -> tuple[Places, Floats]:
        """Return denture and time of each event of a group after settling in."""
        events = self.events
        is_it = events["group_no"] == event_groups().index(group) + 1
        chosen = events[is_it & (events["period_no"] != _period_no(SETTLING_IN))]
        return (
            chosen["place"].to_numpy(dtype=np.intp),
            chosen["years_after_delivery"].to_numpy(dtype=np.float64),
        )


def _period_no(period: str) -> int:
    """Return the number of a period; settling in comes first."""
    return list(YEARS_OF_PERIOD).index(period) + 1


def groups_of_trouble() -> tuple[str, ...]:
    """Return the groups of events that are trouble: all but renewals on schedule."""
    return tuple(group for group in event_groups() if group != PLANNED)


MOST_STEPS = 200
MONTHS_A_YEAR = 12


def thinned(times: Floats) -> Flags:
    """Say which times of a curve to keep: all of a few, else the last of each month."""
    if times.size <= MOST_STEPS:
        return np.ones(times.size, dtype=bool)
    month = np.floor(times * MONTHS_A_YEAR)
    return np.append(month[1:] != month[:-1], [True])
