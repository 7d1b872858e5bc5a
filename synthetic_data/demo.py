"""The 54 cases of the demo clinic, one object a case, and how figures are written."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np

from synthetic_data import allotment
from synthetic_data.draw_clinic import make_clinic, points_of
from synthetic_data.follow_up import RECORDS_END
from synthetic_data.modes import Array
from synthetic_data.truths import Truths

COUNT_PLANNED = 6
MOST_READINGS = 3
PLANNED_BEFORE_END_DAYS = 60
SIDES = ("left", "right")
SUPERVISORS = ("Tormiddle", "Ellvane")
LEVELS = {
    "Quarrowe": "specialist",
    "Ellvane": "specialist",
    "Tormiddle": "faculty",
    "Ondrisk": "resident",
    "Fennimoss": "resident",
    "Hasperly": "resident",
    "Zannerby": "student",
}
"""Surnames made up for this clinic; nobody is meant."""

GUIDE_METHODS = {"full": "printed", "pilot": "surveyor", "freehand": "none"}

Value = str | int | float | date | None
Row = dict[str, Value]
Sheet = list[Row]


@dataclass(frozen=True)
class DemoCase:
    """One treated jaw.

    Attributes:
        facts: the case's row of the drawn tables, and its slot.
        planned: planned entries and apices, mm, each (2, 3), left first.
        true: achieved entries and apices before reading, at the planned length.
        read_entry, read_apex: readings of them, (2, readings, 3).
        placed_length: mm, (2,); nan where no implant was placed.
        events: drawn events as (day, kind).
        seed: seed of the whole clinic; what is written down by hand draws from it.
    """

    facts: dict[str, Any]
    planned: tuple[Array, Array]
    true: tuple[Array, Array]
    read_entry: Array
    read_apex: Array
    placed_length: Array
    seed: int
    events: tuple[tuple[date, str], ...] = field(default=())

    @property
    def case_id(self) -> str:
        """The clinic's number of the case."""
        return str(self.facts["case_id"])

    @property
    def is_operated(self) -> bool:
        """Whether the implants have been placed."""
        return bool(self.facts["is_operated"])

    @property
    def surgery_date(self) -> date:
        """Day of surgery (of a planned case: the day it would be)."""
        return day_of(self.facts["surgery_day"])

    @property
    def plan_date(self) -> date:
        """Day the plan was settled."""
        if not self.is_operated:
            before = PLANNED_BEFORE_END_DAYS - 8 * (int(self.facts["slot"]) - 48)
            return workday(day_of(RECORDS_END) - timedelta(days=before))
        weeks = 3 + int(self.facts["slot"]) % 5
        return workday(self.surgery_date - timedelta(weeks=weeks))

    @property
    def is_lab_guide(self) -> bool:
        """Whether a laboratory made the guide in a surveyor."""
        return bool(self.facts["guidance"] == "pilot")

    @property
    def guide_id(self) -> str | None:
        """Number of the surgical guide."""
        if self.facts["guidance"] == "freehand":
            return None
        return f"G{int(self.facts['slot']) + 400}"

    def draws(self, purpose: int) -> np.random.Generator:
        """Return the source of this case's draws for one kind of paper."""
        return np.random.default_rng([self.seed, int(self.facts["slot"]), purpose])


def day_of(value: Any) -> date:
    """Return a numpy day as a date."""
    day: date = np.datetime64(value, "D").astype(object)
    return day


def workday(day: date) -> date:
    """Return the day, or the Monday after it."""
    return day_of(np.busday_offset(np.datetime64(day, "D"), 0, roll="forward"))


def rounded(value: float, digits: int) -> float:
    """Round a figure as it is written down; never minus zero."""
    return round(float(value), digits) + 0.0


def stepped(value: float, step: float) -> float:
    """Round to the smallest step of a ruler or calliper."""
    return rounded(round(float(value) / step) * step, 2)


def demo_cases(seed: int, truths: Truths) -> list[DemoCase]:
    """Draw the clinic: 48 operated cases in order of surgery, then 6 planned."""
    operated = make_clinic(
        allotment.COUNT_OPERATED,
        seed,
        truths,
        count_readings=MOST_READINGS,
        with_incidents=True,
    )
    planned = make_clinic(
        COUNT_PLANNED,
        seed + 1,
        truths,
        is_operated=False,
        with_follow_up=False,
    )
    return [*_cases_of(operated, seed), *_cases_of(planned, seed)]


def _cases_of(tables: dict[str, allotment.Columns], seed: int) -> Iterator[DemoCase]:
    cases, implants = tables["cases"], tables["implants"]
    planned, true = points_of(implants, "planned"), points_of(implants, "true")
    readings = {
        name: np.stack(
            [tables["readings"][f"achieved_{name}_{axis}_mm"] for axis in "xyz"],
            axis=-1,
        ).reshape(len(cases["slot"]), 2, -1, 3)
        for name in ("entry", "apex")
    }
    placed_length = implants["placed_length_mm"].astype(float).reshape(-1, 2)
    for row in range(len(cases["slot"])):
        facts = {name: column[row] for name, column in cases.items()}
        events: tuple[tuple[date, str], ...] = ()
        if "dentures" in tables:
            dentures = tables["dentures"]
            facts |= {name: column[row] for name, column in dentures.items()}
            events = _events_of(tables["events"], row)
        yield DemoCase(
            facts=facts,
            planned=(planned[0][row], planned[1][row]),
            true=(true[0][row], true[1][row]),
            read_entry=readings["entry"][row].astype(float),
            read_apex=readings["apex"][row].astype(float),
            placed_length=placed_length[row],
            seed=seed,
            events=events,
        )


def _events_of(events: allotment.Columns, row: int) -> tuple[tuple[date, str], ...]:
    mine = events["case_row"] == row
    days = (day_of(day) for day in events["day"][mine])
    return tuple(sorted(zip(days, map(str, events["event"][mine]), strict=True)))


def sheet_of(
    cases: list[DemoCase], rows_of: Callable[[DemoCase], Iterator[Row]]
) -> Sheet:
    """Return the rows of all cases, one after the other."""
    return [row for case in cases for row in rows_of(case)]
