"""A tiny clean example and a faulty one for every check, and what is said of it.

Examples of a single cell stand in check_cells.csv; the others here and beside.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.reference import load
from tests.integration.staged_tables import implant

Row = tuple[str, dict[str, Any]]

SURGERY = "2025-03-04"
GOOD_ROW: dict[str, dict[str, Any]] = {
    "cases": {"surgery_date": SURGERY},
    "implants": implant("left"),
    "deviations": {"side": "left", "entry_3d_mm": "1.2", "angle_deg": "3.5"},
    "cast_readings": {"side": "left", "state": "planned", "midline_mm": "8"},
    "pair_readings": {
        "state": "achieved",
        "quantity": "angle_3d",
        "value": "4.2",
        "source": "surveyor",
    },
    "films": {"side": "left", "state": "planned", "view": "frontal", "tilt_deg": "2"},
    "landmarks": {"label": "midline", "frame": "plan", "x_mm": 0, "y_mm": 0, "z_mm": 0},
    "guides": {"guide_id": "g", "kind": "surgical"},
    "visits": {"visit_date": "2025-09-01"},
    "events": {"event_date": "2025-09-01", "event": "insert_renewed"},
    "dentures": {"denture_no": "1", "delivery_date": "2025-06-01"},
    "numbers": {"practice_no": "p"},
    "treated": {"practice_no": "p", "date": SURGERY},
}
"""The least that a row of each sheet needs."""


@dataclass(frozen=True)
class Example:
    """Rows that pass a check, rows that fail it, and what is said of the failure.

    Rows are (sheet, cells). Rows of ``elsewhere`` stand in a second file of the same
    case, in the faulty example only. There the file is loaded ``again`` where that says
    so: without its rows ("in use"; "left out" where they are of nobody in the audit), or
    as a file older than the first ("older").
    """

    check_id: str
    good: tuple[Row, ...]
    bad: tuple[Row, ...]
    says: str
    elsewhere: tuple[Row, ...] = ()
    again: str = ""


def row(sheet: str, **cells: Any) -> Row:
    return sheet, {**GOOD_ROW[sheet], **cells}


def one(check_id: str, sheet: str, good: Any, bad: Any, says: str) -> Example:
    """An example of one row; the sentence begins with its place."""
    return Example(
        check_id, (row(sheet, **good),), (row(sheet, **bad),), f"Row 2: {says}"
    )


def after(check_id: str, sheet: str, field: str, days: tuple[str, str], says: str):
    """An example of a day that may not lie before the surgery of the case."""
    case = row("cases")
    good, bad = (row(sheet, **{field: day}) for day in days)
    return Example(check_id, (case, good), (case, bad), f"Row 2: {says}")


def cells() -> tuple[Example, ...]:
    """Examples of a single cell."""
    path = Path(__file__).with_name("check_cells.csv")
    with path.open(encoding="utf-8", newline="") as handle:
        return tuple(
            Example(
                line["check_id"],
                (row(line["sheet"], **{line["field"]: line["good"]}),),
                (row(line["sheet"], **{line["field"]: line["bad"]}),),
                line["sentence"],
            )
            for line in csv.DictReader(handle)
        )


FOLLOW_UP = (
    after(
        "visits-before-surgery",
        "visits",
        "visit_date",
        (SURGERY, "2025-03-01"),
        "the visit lies 3 day(s) before the surgery.",
    ),
    after(
        "events-before-surgery",
        "events",
        "event_date",
        (SURGERY, "2025-02-25"),
        "the event lies 7 day(s) before the surgery.",
    ),
    after(
        "dentures-delivery-before-surgery",
        "dentures",
        "delivery_date",
        (SURGERY, "2025-03-03"),
        "the denture was delivered 1 day(s) before the surgery.",
    ),
    Example(
        "visits-before-delivery",
        (
            row("cases", delivery_date="2025-06-01"),
            row("visits", planned_visit="no", visit_date="2025-05-11"),
            row("visits", planned_visit="yes", visit_date="2025-06-01"),
        ),
        (
            row("cases", delivery_date="2025-06-01"),
            row("visits", planned_visit="yes", visit_date="2025-05-11"),
        ),
        "Row 2: the visit lies 21 day(s) before the delivery of the denture it belongs to.",
    ),
    Example(
        "events-part-before-delivery",
        (
            row("cases", delivery_date="2025-06-01"),
            row("events", event="sore_spot", event_date="2025-05-01"),
            row("events"),
        ),
        (
            row("cases", delivery_date="2025-06-01"),
            row("events", event_date="2025-05-01"),
        ),
        "Row 2: a part of the attachment needed work 31 day(s) before the denture was"
        " delivered.",
    ),
)

UNREADABLE = {
    "not_a_number": ({"number"}, "two", "is not a number."),
    "not_whole": ({"whole"}, "1.5", "is not a whole number."),
    "qualified": (
        {"number", "whole"},
        "<1",
        "is not one certain number: it is a range, or says about, less than or more than.",
    ),
    "not_a_day": (
        {"date"},
        "02-04-2025",
        "is not a day that can be read without guessing.",
    ),
    "not_a_code": (
        {"code", "yes_no"},
        "zzz",
        "is none of the words it may be: {allowed}.",
    ),
}
"""By problem: kinds of field that can have it, a cell that has it, what is said."""

CHANGED = {
    "cases": {"mucosa_thickness_mm": "2"},
    "implants": {"diameter_mm": "4"},
    "deviations": {"entry_3d_mm": "1.4"},
    "cast_readings": {"midline_mm": "9"},
    "pair_readings": {"value": "4.4"},
    "films": {"tilt_deg": "3"},
    "landmarks": {"x_mm": "1"},
    "guides": {"material_lot": "other"},
    "visits": {"minutes": "20"},
    "events": {"note": "other"},
    "dentures": {"delivery_date": "2025-06-02"},
}
"""A change beside the key, for the sheets that hold more than their key."""


def of_any_sheet(sheet: str) -> list[Example]:
    """Examples of what any sheet can get wrong, made from its fields."""
    name, good = sheet.replace("_", "-"), (row(sheet),)
    required = next(f.field for f in reversed(load.fields(sheet)) if f.is_required)
    found = [
        Example(
            f"{name}-required-missing",
            good,
            (row(sheet, **{required: ""}),),
            f"Row 2: {required} is empty, and no row of {sheet} can be used without it.",
        ),
        Example(
            f"{name}-key-twice",
            good,
            (row(sheet), row(sheet)),
            f"Row 2: 2 rows of {sheet} in this file say they are the same one.",
        ),
        Example(
            f"{name}-copy-elsewhere",
            good,
            good,
            f"Row 2: another file has the very same row of {sheet}.",
            elsewhere=good,
        ),
    ]
    if sheet in CHANGED:
        found.append(
            Example(
                f"{name}-other-version",
                good,
                good,
                f"Row 2: another file has this row of {sheet} with other values.",
                elsewhere=(row(sheet, **CHANGED[sheet]),),
            )
        )
    return found + unreadable(sheet)


def unreadable(sheet: str) -> list[Example]:
    """Examples of cells that cannot be read, one a problem that the sheet can have."""
    name, found = sheet.replace("_", "-"), []
    for problem, (kinds, written, says) in UNREADABLE.items():
        field = next((f for f in load.fields(sheet) if f.kind in kinds), None)
        if field:
            told = says.format(allowed=", ".join(field.codes))
            found.append(
                Example(
                    f"{name}-{problem.replace('_', '-')}",
                    (row(sheet),),
                    (row(sheet, **{field.field: written}),),
                    f"Row 2: {field.field} {told}",
                )
            )
    return found


def of_unknown_case(sheet: str) -> Example:
    return Example(
        f"{sheet.replace('_', '-')}-case-unknown",
        (row("cases"), row(sheet)),
        (row(sheet),),
        "Row 2: the case has no row in the sheet cases, so what it is grouped by is not"
        " known.",
    )


def of_practice_number(sheet: str) -> tuple[Example, ...]:
    """Rows that name no case, only the practice's number of the patient."""
    asked = row(sheet, case_id="", practice_no=f"{sheet} 1")
    one, other, second = (
        row("numbers", case_id=f"{sheet} {case}", practice_no=f"{sheet} {number}")
        for case, number in (("A", 1), ("B", 2), ("C", 2))
    )
    return (
        Example(
            f"{sheet}-number-unknown",
            (one, asked),
            (row(sheet, case_id="", practice_no=f"{sheet} 3"),),
            "Row 2: the practice's number of the patient leads to no case; the row is"
            " not used.",
        ),
        Example(
            f"{sheet}-number-of-several",
            (one, asked),
            (other, second, row(sheet, case_id="", practice_no=f"{sheet} 2")),
            "Row 2: the practice's number of the patient leads to more than one case,"
            " so nobody can tell which jaw it is about.",
        ),
        Example(
            f"{sheet}-of-nobody",
            (row(sheet),),
            (row(sheet),),
            f"None of the 1 row(s) of {sheet} in this file is of a patient in the audit;"
            " they were counted and not stored.",
            again="left out",
        ),
    )


OF_SHEETS = (
    *(example for sheet in load.sheets() for example in of_any_sheet(sheet)),
    *(
        of_unknown_case(sheet)
        for sheet in ("implants", "deviations", "cast_readings", "pair_readings")
    ),
    *(
        example
        for sheet in ("visits", "events", "dentures")
        for example in of_practice_number(sheet)
    ),
)

CANNOT_HAPPEN = {
    f"{sheet.replace('_', '-')}-{problem.replace('_', '-')}"
    for sheet in load.sheets()
    for problem, (kinds, _, _) in UNREADABLE.items()
    if not any(field.kind in kinds for field in load.fields(sheet))
} | {"numbers-other-version", "treated-other-version"}
"""Checks of sheets that hold no field of that kind, or nothing beside their key."""
