"""Write the chair-side sheets: visits, events and dentures."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np

from synthetic_data.demo import DemoCase, Row, Sheet, day_of, sheet_of, workday

RECALL_MONTHS = (1, 6, 12, 18, 24, 30, 36, 42)
DAYS_A_MONTH = 30.44
SHARE_MISSED = 0.08
SHARE_FOUND_AT_RECALL = 0.45
SIDED = ("insert_renewed", "insert_lost", "housing_detached", "magnet_detached")
REASONS = {"insert_renewed": "wear", "relined": "wear", "base_fractured": "trauma"}
ENDS = {"died": "died", "withdrew": "withdrew", "unknown": "lost_to_follow_up"}
ALTERED_FOUND_AFTER_DAYS = 2


def chair_sheets(cases: list[DemoCase]) -> dict[str, Sheet]:
    """Return the sheets ``visits``, ``events`` and ``dentures``."""
    operated = [case for case in cases if case.is_operated]
    events = sheet_of(operated, event_rows)
    by_day: dict[tuple[object, object], int] = {}
    for event in events:
        key = (event["case_id"], event["event_date"])
        by_day[key] = by_day.get(key, 0) + 1
    return {
        "visits": [row for case in operated for row in _visit_rows(case, by_day)],
        "events": events,
        "dentures": sheet_of(operated, denture_rows),
    }


def recalls(case: DemoCase) -> list[tuple[date, bool]]:
    """Return the planned recalls of a case and whether the patient came."""
    delivery, last = day_of(case.facts["delivery_day"]), day_of(case.facts["last_day"])
    draws = case.draws(4)
    found = []
    for months in RECALL_MONTHS:
        late = int(draws.integers(-8, 20))
        day = workday(delivery + timedelta(days=round(months * DAYS_A_MONTH) + late))
        attended = bool(draws.uniform() > SHARE_MISSED)
        if day <= last:
            found.append((day, attended))
    return found


def remade_date(case: DemoCase) -> date | None:
    """Return the day the first denture was replaced, if it was."""
    if case.facts["exit_status"] != "remade":
        return None
    delivery, last = day_of(case.facts["delivery_day"]), day_of(case.facts["last_day"])
    return workday(delivery + (last - delivery) * 2 // 3)


def denture_no(case: DemoCase, day: date) -> int:
    """Return which denture was worn on that day."""
    remade = remade_date(case)
    return 2 if remade is not None and day > remade else 1


def event_rows(case: DemoCase) -> Iterator[Row]:
    """Yield the rows of ``events``, in date order, each once."""
    rows = [*_drawn_events(case), *_recall_events(case), *_single_events(case)]
    seen = set()
    for row in sorted(rows, key=lambda row: str(row["event_date"])):
        key = tuple(row.get(name) for name in ("event_date", "event", "side"))
        while key in seen:
            row["event_date"] = _next_free(row["event_date"])
            key = (row["event_date"], *key[1:])
        seen.add(key)
        yield row


def denture_rows(case: DemoCase) -> Iterator[Row]:
    """Yield the rows of ``dentures``."""
    facts = case.facts
    delivery, last = day_of(facts["delivery_day"]), day_of(facts["last_day"])
    remade = remade_date(case)
    first: Row = {
        "case_id": case.case_id,
        "denture_no": 1,
        "delivery_date": delivery,
        "attachment": str(facts["attachment"]),
    }
    if remade is not None:
        yield first | {"end_date": remade, "end_reason": "remade"}
        yield first | {"denture_no": 2, "delivery_date": remade}
    elif facts["exit_status"] == "active":
        yield first
    else:
        yield first | {"end_date": last, "end_reason": str(facts["exit_status"])}


def _next_free(day: object) -> date:
    if not isinstance(day, date):
        message = "an event without a day"
        raise TypeError(message)
    return day + timedelta(days=1)


def _event(case: DemoCase, day: date, event: str) -> Row:
    return {
        "case_id": case.case_id,
        "event_date": day,
        "event": event,
        "denture_no": denture_no(case, day),
    }


def _drawn_events(case: DemoCase) -> Iterator[Row]:
    """Yield the drawn events; about half wait for the next recall of their period."""
    draws = case.draws(5)
    delivery, last = day_of(case.facts["delivery_day"]), day_of(case.facts["last_day"])
    attended = [day for day, came in recalls(case) if came]
    for day, kind in case.events:
        at_recall = bool(draws.uniform() < SHARE_FOUND_AT_RECALL)
        side = str(draws.choice(["left", "right"]))
        heals = int(draws.integers(6, 15))
        later = [r for r in attended if r >= day and _same_period(delivery, day, r)]
        called = workday(day)
        seen = called if _same_period(delivery, day, called) else day
        found = later[0] if at_recall and later else seen
        row = _event(case, found, kind)
        row["found_at"] = "recall" if found in attended else "patient_called"
        row["reason"] = REASONS.get(kind)
        if kind in SIDED:
            row["side"] = side
        if kind == "sore_spot":
            row["resolved_date"] = min(found + timedelta(days=heals), last)
        yield row


def _same_period(delivery: date, one: date, other: date) -> bool:
    year = 365
    return ((one - delivery).days < year) == ((other - delivery).days < year)


def _recall_events(case: DemoCase) -> Iterator[Row]:
    """Yield what a recall leaves when nothing happened: that, too, is a record."""
    busy = {row["event_date"] for row in _drawn_events(case)}
    for day, came in recalls(case):
        if not came:
            yield _event(case, day, "missed_recall")
        elif day not in busy:
            yield _event(case, day, "nothing_needed") | {"found_at": "recall"}


def _single_events(case: DemoCase) -> Iterator[Row]:
    facts = case.facts
    last = day_of(facts["last_day"])
    remade = remade_date(case)
    if remade is not None:
        yield _event(case, remade, "denture_remade")
    if facts["exit_status"] in ENDS:
        yield _event(case, last, ENDS[str(facts["exit_status"])])
    if facts["incident"] == "deeper_with_altered_sensation":
        found = case.surgery_date + timedelta(days=ALTERED_FOUND_AFTER_DAYS)
        yield _event(case, found, "altered_sensation") | {
            "denture_no": None,
            "side": "left",
            "found_at": "patient_called",
            "note": "lower lip, left; being followed",
        }


def _visit_rows(
    case: DemoCase, by_day: dict[tuple[object, object], int]
) -> Iterator[Row]:
    """Yield one row a day: recalls, and calls where something was done."""
    draws = case.draws(6)
    planned = dict(recalls(case))
    quiet = ("lost_to_follow_up", "died", "withdrew", "missed_recall")
    called = {
        row["event_date"]
        for row in event_rows(case)
        if row["event"] not in quiet
        and row["denture_no"] is not None
        and row["event_date"] not in planned
    }
    days = sorted({*planned, *(day for day in called if isinstance(day, date))})
    for day in days:
        came = planned.get(day, True)
        minutes = _minutes(by_day.get((case.case_id, day), 0), draws)
        yield {
            "case_id": case.case_id,
            "visit_date": day,
            "planned_visit": "yes" if day in planned else "no",
            "attended": "yes" if came else "no",
            "minutes": minutes if came else None,
            "denture_no": denture_no(case, day),
        }


def _minutes(count_events: int, draws: np.random.Generator) -> int:
    return 5 * (2 + 2 * count_events + int(draws.integers(0, 3)))
