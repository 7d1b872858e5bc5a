"""How many cases each trainee has had, and in what part; by code, never by figure."""

from __future__ import annotations

from itertools import groupby

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, number

COUNTED = (
    "count_placed",
    "count_taken_over",
    "count_assisted",
    "count_supervised",
    "count_pilot",
    "count_full",
    "count_measured",
    "count_self_measured",
)

HEIGHTS = [row["bone_height"] for row in load.rows("bone_height_classes")]


def content(audit: AuditTables) -> Section:
    """Return a line for each trainee and setting, and what a programme asks for."""
    rows = audit.trainee_requirements
    return Section(
        {
            "lines": [_line(audit, row) for row in audit.trainee_exposure],
            "heights": HEIGHTS,
            "harder": [_difficulty(audit, row) for row in audit.trainee_exposure],
            "two_implants": _two_implants(audit),
            "asked": list(dict.fromkeys(_asked(audit, row) for row in rows)),
            "had": [
                {"trainee": code, "counts": [row["count_had"] for row in own]}
                for code, own in groupby(rows, key=lambda row: row["trainee_code"])
            ],
        }
    )


def _two_implants(audit: AuditTables) -> str:
    """Say who has had a lower overdenture on two implants, and who none yet."""
    rows = [row for row in audit.trainee_exposure if row["setting"] == "patient"]
    had = sum(row["count_two_implant_lower"] for row in rows)
    cases = sum(row["count_cases"] for row in rows)
    without = [
        row["trainee_code"] for row in rows if not row["count_two_implant_lower"]
    ]
    said = audit.words(
        "programme.exposure.two_implants", n_of=audit.words.n_of(had, cases)
    )
    if not without:
        return said
    codes = ", ".join(without)
    return f"{said} {audit.words('programme.exposure.none_yet', codes=codes)}"


def _asked(audit: AuditTables, row: Row) -> str:
    return audit.words(
        "programme.exposure.asked",
        requirement=row["requirement"],
        n=row["count_required"],
    )


def _line(audit: AuditTables, row: Row) -> Row:
    words = audit.words
    days = ""
    if row["first_date"] is not None:
        days = words(
            "header.from_to",
            first=words.day(row["first_date"]),
            last=words.day(row["last_date"]),
        )
    return {
        "trainee": row["trainee_code"],
        "setting": words(f"programme.setting.{row['setting']}"),
        "cases": row["count_cases"],
        "counts": [row[name] for name in COUNTED],
        "days": days,
    }


def _difficulty(audit: AuditTables, row: Row) -> Row:
    """Say how hard the cases were, and how long after surgery they were logged."""
    words, known = audit.words, audit.trainee_difficulty
    key = (row["trainee_code"], row["setting"])
    lag = ""
    if row["count_logged"]:
        lag = words(
            "programme.exposure.lag",
            median=number(row["median_log_lag_days"], 0),
            longest=row["longest_log_lag_days"],
        )
    return {
        "trainee": row["trainee_code"],
        "setting": words(f"programme.setting.{row['setting']}"),
        "counts": [known.get((*key, name), 0) for name in (*HEIGHTS, "not known")],
        "logged": words.n_of(row["count_logged"], row["count_cases"]),
        "lag": lag or NOT_HELD,
    }
