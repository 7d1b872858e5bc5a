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
        """Denture, group, period and time of every event, in order of time."""
        return self.warehouse.frame(
            "select place, event_group, period, years_after_delivery"
            " from summarised.events_used order by years_after_delivery, place"
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
    def _counts(self) -> dict[tuple[str, str], Floats]:
        n = len(self.dentures)
        events = self.events
        return {
            (str(group), str(period)): np.bincount(
                of_both["place"].to_numpy(), minlength=n
            ).astype(np.float64)
            for (group, period), of_both in events.groupby(["event_group", "period"])
        }

    def counts(self, group: str, period: str) -> Floats:
        """Return how many events of a group each denture had in a period."""
        none = np.zeros(len(self.dentures))
        if period != WHOLE_TIME:
            return self._counts.get((group, period), none)
        periods = [key for key in YEARS_OF_PERIOD if key != SETTLING_IN]
        found = [self._counts.get((group, one), none) for one in periods]
        return np.asarray(np.sum(found, axis=0), dtype=np.float64)
