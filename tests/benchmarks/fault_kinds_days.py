"""Faults of days and of follow-up, and of the laboratory's slips."""

from __future__ import annotations

from tests.benchmarks.fault_kinds import Draws, kind, later, number, pick
from tests.benchmarks.fault_records import Cells, Records

BEFORE = ("1 day", "30 days", "400 days")
DAYS = (1, 30, 400)
YEARS = ("1900-01-01", "2062-05-04", "1904-01-01")
WRONG_YEARS = ("1900", "2062", "1904")


def the_case(records: Records) -> Cells:
    return records["cases"][0]


def of_worn(records: Records) -> list[Cells]:
    """Events after the delivery, as all but harm on the day of surgery are."""
    return [cells for cells in records["events"] if cells.get("denture_no")]


@kind(
    "surgery_before_plan",
    "coordinates",
    "hold",
    BEFORE,
    "cases-surgery-before-plan",
)
def _(records: Records, strength: int, _: Draws) -> None:
    case = the_case(records)
    case["plan_date"] = later(case["surgery_date"], DAYS[strength])


@kind(
    "delivery_before_surgery",
    "follow_up",
    "hold",
    BEFORE,
    "cases-delivery-before-surgery",
)
def _(records: Records, strength: int, _: Draws) -> None:
    case = the_case(records)
    case["delivery_date"] = later(case["surgery_date"], -DAYS[strength])


@kind(
    "last_seen_before_delivery",
    "follow_up",
    "hold",
    BEFORE,
    "cases-last-seen-before-delivery",
)
def _(records: Records, strength: int, _: Draws) -> None:
    case = the_case(records)
    case["last_observed_date"] = later(case["delivery_date"], -DAYS[strength])


@kind(
    "other_date_base",
    "coordinates",
    "hold",
    ("planned 20 days before", "60 days before", "200 days before"),
    "cases-other-date-base",
)
def _(records: Records, strength: int, _: Draws) -> None:
    case = the_case(records)
    case["plan_date"] = later(case["surgery_date"], -(20, 60, 200)[strength])
    for name in ("surgery_date", "delivery_date", "last_observed_date"):
        case[name] = later(case[name], -1462)
    case.pop("film_check_date", None)


def impossible_year(sheet: str, field: str, shape: str) -> None:
    def plant(records: Records, strength: int, draws: Draws) -> None:
        rows = [cells for cells in records[sheet] if cells.get(field)]
        pick(rows, draws)[field] = YEARS[strength]

    name = f"impossible_year_{sheet}"
    check = f"{sheet.replace('_', '-')}-*-day"
    kind(name, shape, "hold", WRONG_YEARS, check)(plant)


impossible_year("cases", "surgery_date", "coordinates")
impossible_year("implants", "measured_date", "coordinates")
impossible_year("cast_readings", "measured_date", "cast")
impossible_year("pair_readings", "measured_date", "pair")
impossible_year("visits", "visit_date", "follow_up")
impossible_year("events", "event_date", "follow_up")
impossible_year("dentures", "delivery_date", "follow_up")
impossible_year("guides", "made_date", "cast")


@kind(
    "event_before_surgery",
    "follow_up",
    "hold",
    BEFORE,
    "events-before-surgery",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    cells = pick(records["events"], draws)
    cells["event_date"] = later(the_case(records)["surgery_date"], -DAYS[strength])


@kind(
    "gone_before_found",
    "follow_up",
    "hold",
    BEFORE,
    "events-resolved-before",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    cells = pick(records["events"], draws)
    cells["resolved_date"] = later(cells["event_date"], -DAYS[strength])


@kind(
    "denture_ended_before_delivery",
    "follow_up",
    "hold",
    BEFORE,
    "dentures-end-before-delivery",
)
def _(records: Records, strength: int, _: Draws) -> None:
    cells = records["dentures"][0]
    cells["end_date"] = later(cells["delivery_date"], -DAYS[strength])


@kind(
    "denture_before_surgery",
    "follow_up",
    "hold",
    BEFORE,
    "dentures-delivery-before-surgery",
)
def _(records: Records, strength: int, _: Draws) -> None:
    cells = records["dentures"][0]
    cells["delivery_date"] = later(the_case(records)["surgery_date"], -DAYS[strength])


@kind(
    "denture_number",
    "follow_up",
    "hold",
    ("0", "-1", "1.5"),
    "*-denture-number *-not-whole",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    pick(of_worn(records), draws)["denture_no"] = ("0", "-1", "1.5")[strength]


@kind(
    "recall_before_delivery",
    "follow_up",
    "warn",
    BEFORE,
    "visits-before-delivery visits-before-surgery",
)
def _(records: Records, strength: int, _: Draws) -> None:
    visit = records["visits"][0]
    visit["visit_date"] = later(the_case(records)["delivery_date"], -DAYS[strength])


@kind(
    "result_measured_before_surgery",
    "coordinates",
    "warn",
    BEFORE,
    "implants-measured-before-surgery",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in records["implants"]:
        cells["measured_date"] = later(
            the_case(records)["surgery_date"], -DAYS[strength]
        )


@kind(
    "no_day_of_delivery",
    "follow_up",
    "warn",
    ("one event", "two events", "all events"),
    "case-no-start",
)
def _(records: Records, strength: int, _: Draws) -> None:
    the_case(records).pop("delivery_date")
    the_case(records).pop("last_observed_date", None)
    records["dentures"] = []
    row = dict(records["events"][0]) | {"event": "insert_renewed", "side": "left"}
    records["events"] = [
        {**row, "event_date": later(row["event_date"], day)}
        for day in range((1, 2, 5)[strength])
    ]


@kind(
    "never_seen_again",
    "follow_up",
    "warn",
    ("no follow-up rows", "one missed recall", "a visit not attended"),
    "case-not-seen-again",
)
def _(records: Records, strength: int, _: Draws) -> None:
    case = the_case(records)
    case["surgery_date"], case["delivery_date"] = "2024-01-15", "2024-05-06"
    case["plan_date"], case["logged_date"] = "2023-12-11", "2024-01-16"
    for name in ("last_observed_date", "exit_status", "film_check_date"):
        case.pop(name, None)
    records["dentures"] = []
    missed = {
        "case_id": case["case_id"],
        "event_date": "2024-11-06",
        "event": "missed_recall",
    }
    not_there = {
        "case_id": case["case_id"],
        "visit_date": "2024-11-06",
        "attended": "no",
    }
    records["events"] = [missed] if strength == 1 else []
    records["visits"] = [not_there] if strength == 2 else []


@kind(
    "one_event_many_rows",
    "follow_up",
    "warn",
    ("3 rows", "4 rows", "6 rows"),
    "events-same-day events-key-twice",
)
def _(records: Records, strength: int, _: Draws) -> None:
    row = dict(records["events"][0]) | {"event": "insert_renewed", "reason": "wear"}
    sides = ("left", "right", "both", "", "left", "right")[: (3, 4, 6)[strength]]
    records["events"] += [row | {"side": side} for side in sides]


@kind(
    "denture_remade_without_a_new_one",
    "follow_up",
    "warn",
    ("one", "two", "with an end date"),
    "case-remade-once-more",
)
def _(records: Records, strength: int, _: Draws) -> None:
    first = records["dentures"][0]
    records["dentures"] = [first]
    day = later(first["delivery_date"], 200)
    for number_of in range((1, 2, 1)[strength]):
        records["events"].append(
            {
                "case_id": first["case_id"],
                "event_date": later(day, 30 * number_of),
                "event": "denture_remade",
            }
        )
    if strength == 2:
        first["end_date"], first["end_reason"] = day, "remade"


@kind(
    "sides_of_parts_missing",
    "follow_up",
    "warn",
    ("a third of the rows", "two thirds", "all"),
    "events-without-side",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    rows = [
        cells for records in file for cells in records["events"] if cells.get("side")
    ]
    for place, cells in enumerate(rows):
        if place % 3 <= strength:
            cells["side"] = ""


@kind(
    "reasons_missing",
    "follow_up",
    "warn",
    ("a third of the rows", "two thirds", "all"),
    "events-without-reason",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    rows = [
        cells for records in file for cells in records["events"] if cells.get("reason")
    ]
    for place, cells in enumerate(rows):
        if place % 3 <= strength:
            cells["reason"] = ""


@kind(
    "guide_made_before_plan",
    "cast",
    "warn",
    BEFORE,
    "guides-made-before-plan",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in records["guides"]:
        if cells["kind"] == "surgical":
            cells["made_date"] = later(the_case(records)["plan_date"], -DAYS[strength])


@kind(
    "drill_wider_than_hole",
    "cast",
    "hold",
    ("0.2 mm", "0.5 mm", "2 mm"),
    "guides-hole-below-drill",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in records["guides"]:
        if cells["kind"] == "surgical":
            hole = number(cells, "hole_diameter_mm")
            cells["drill_diameter_mm"] = repr(
                round(hole + (0.2, 0.5, 2.0)[strength], 2)
            )
