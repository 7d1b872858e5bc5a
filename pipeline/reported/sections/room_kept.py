"""Room for later implants, and the line through both: kept, in how many cases."""

from __future__ import annotations

from typing import Any, Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, limit, number, percent
from pipeline.statistics.patients import FEWEST_FOR_INTERVAL

IN_ORDER: Final = (
    "middle",
    "left_distal",
    "right_distal",
    "every_site",
    "spacing",
    "forward",
    "skew",
    "left_site",
    "right_site",
)
UNTOLD: Final = (
    ("middle", ("middle",)),
    ("distal", ("left_distal", "right_distal")),
    ("line", ("forward", "skew")),
    ("site", ("left_site", "right_site")),
)
"""What is missing when no case tells any of some questions."""


def content(audit: AuditTables) -> Section | None:
    """Return a line a question, and what no case tells; nothing without measured pairs."""
    if not audit.room_kept:
        return None
    rows = {row["question"]: row for row in audit.room_kept}
    return Section(
        {
            "first": _sentence(audit, rows),
            "lines": [_line(audit, rows[name]) for name in IN_ORDER if name in rows],
            "untold": [
                audit.words(f"room.untold.{what}")
                for what, questions in UNTOLD
                if not any(name in rows for name in questions)
            ],
            "notes": list(
                dict.fromkeys(row["note"] for row in audit.room_kept if row["note"])
            ),
        }
    )


def _sentence(audit: AuditTables, rows: dict[str, Row]) -> str:
    """Say the one thing to take away: every place, else the middle, else what there is."""
    words = audit.words
    for name in ("every_site", "middle", "left_distal", "right_distal", "forward"):
        if row := rows.get(name):
            told = words(
                f"room.first.{name}", n_of=words.n_of(row["n_met"], row["n_cases"])
            )
            return told if row["low"] is not None else f"{told} {words('room.few')}"
    return words("room.first.none")


def _line(audit: AuditTables, row: Row) -> dict[str, Any]:
    words = audit.words
    name = row["question"]
    unit = words.unit("deg" if name == "skew" else "mm")
    return {
        "name": words(f"room.question.{name}"),
        "wanted": words(
            f"room.wanted.{name}",
            limit="" if row["limit_value"] is None else limit(row["limit_value"]),
            slack="" if row["slack_mm"] is None else limit(row["slack_mm"]),
        ),
        "planned": words.n_of(row["n_met_as_planned"], row["n_with_plan"])
        if row["n_with_plan"]
        else NOT_HELD,
        "kept": words.n_of(row["n_met"], row["n_cases"]),
        "share": _share(audit, row),
        "lost": NOT_HELD if not row["n_with_plan"] else number(row["n_lost"], 0),
        "range": _range(audit, row, unit),
        "change": _change(audit, row, unit),
        "n": words.count("patient", row["n_patients"]),
    }


def _share(audit: AuditTables, row: Row) -> str:
    if row["low"] is None:
        return audit.words("room.too_few")
    interval = audit.words.percent_interval(row["low"], row["high"])
    return audit.words("room.share", share=percent(row["share"]), interval=interval)


def _range(audit: AuditTables, row: Row, unit: str) -> str:
    if row["smallest"] is None:
        return NOT_HELD
    is_signed = row["question"] == "skew"
    low, high = (
        number(row[end], 1, is_signed=is_signed) for end in ("smallest", "largest")
    )
    return audit.words("number.interval", low=low, high=high) + unit


def _change(audit: AuditTables, row: Row, unit: str) -> dict[str, str]:
    """Return the mean change from plan to result, with its interval where there is one."""
    if not row["n_changes"]:
        return {"mean": NOT_HELD, "interval": ""}
    mean = number(row["mean_change"], 1, is_signed=True) + unit
    if row["change_low"] is None:
        is_few = row["n_changes"] < FEWEST_FOR_INTERVAL
        why = audit.words("room.too_few" if is_few else "number.no_spread")
        return {"mean": mean, "interval": why}
    low, high = (
        number(row[end], 1, is_signed=True) for end in ("change_low", "change_high")
    )
    return {
        "mean": mean,
        "interval": audit.words("number.interval", low=low, high=high),
    }
