"""What was set aside, what was noticed, what is missing, and where to mend it."""

from __future__ import annotations

import re

from pipeline.checked.checks import by_id
from pipeline.checked.vocabulary import RUN_DATE
from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.room import BOX_LETTERS, lines_of, that_fit
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Words

ELISION = "…"
REASON_LINES = 6
NOTE_LINES = 2
MOST_FIELDS = 3
"""What the box has room for on the second side."""


def content(audit: AuditTables) -> Section:
    """Return the box."""
    words = audit.words
    reasons = _lines(audit, audit.held_by_check)
    notes = _lines(audit, audit.noticed)
    shown = _that_fit(reasons, REASON_LINES)
    shown_notes = _that_fit(notes, NOTE_LINES)
    counts = audit.counts
    return Section(
        {
            "set_aside": words(
                "data.set_aside" if counts["held"] else "data.none_set_aside",
                rows=words.count("row", counts["held"]),
                cases=words.count("case", counts["held_cases"]),
            ),
            "reasons": shown,
            "n_more_reasons": len(reasons) - len(shown),
            "notes": shown_notes,
            "n_more_notes": len(notes) - len(shown_notes),
            "all_reasons": reasons,
            "all_notes": notes,
            "has_records": bool(audit.received),
            "missing": _missing(audit),
            "unreadable": sum(row["count_unreadable"] for row in audit.fields_given),
            "broken": sum(row["outcome"] == "error" for row in audit.results),
            "has_held": counts["held"] > 0,
        }
    )


def _lines(audit: AuditTables, rows: list[Row]) -> list[str]:
    """Return one line a check; a row may be counted under several."""
    return [_line(audit, row["check_id"], row["count_rows"]) for row in rows]


def _line(audit: AuditTables, check: str, n: int) -> str:
    words = audit.words
    return words("data.reason", n=words.count("row", n), reason=reason_of(words, check))


def _that_fit(lines: list[str], room: int) -> list[str]:
    return that_fit([(line, lines_of(line, BOX_LETTERS)) for line in lines], room)


def _missing(audit: AuditTables) -> list[str]:
    """Return fields the summaries group by that some rows leave empty."""
    words = audit.words
    wanted = {row["column"] for row in load.rows("groupings")} | {
        "surgery_date",
        "examiner",
    }
    found = [
        row
        for row in audit.fields_given
        if row["field"] in wanted and row["count_given"] < row["count_rows"]
    ]
    found.sort(key=lambda row: row["count_given"] / row["count_rows"])
    return [
        words(
            "data.missing",
            field=row["field"],
            sheet=row["sheet"],
            given=words.n_of(row["count_given"], row["count_rows"]),
        )
        for row in found[:MOST_FIELDS]
    ]


def reason_of(words: Words, check_id: str) -> str:
    """Return what a check says, without the figures of any one row.

    The sentence of the check is used with its limits; what belongs to a single row is
    left out.
    """
    check = by_id().get(check_id)
    if check is None:
        return re.sub(r"[_-]", " ", check_id)
    slots = {
        "field": check.field
        if check.field and not check.problem
        else words("data.slot.field"),
        "sheet": check.sheet.replace("_", " "),
        "low": _limit(words, check.low),
        "high": _limit(words, check.high),
    }
    sentence = re.sub(r"^Row \{row_number\}: |: \{allowed\}", "", check.sentence)
    shown = re.sub(r"\{([a-z_]+)\}", lambda slot: slots.get(slot[1], ELISION), sentence)
    shown = re.sub(rf" \([^()]*{ELISION}[^()]*\)", "", shown)
    if shown.startswith(ELISION):
        shown = words("data.slot.several") + shown.removeprefix(ELISION)
    return shown[:1].upper() + shown[1:].rstrip(".")


def _limit(words: Words, text: str) -> str:
    return words("data.slot.run_date") if text == RUN_DATE else text
