"""What was set aside, what was noticed, what is missing, and where to mend it."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables, Row
from pipeline.reported.section import Section
from pipeline.reported.wording import Words

ELISION = "…"
MOST_REASONS = 4
MOST_NOTES = 2
MOST_FIELDS = 4


def content(audit: AuditTables) -> Section:
    """Return the box."""
    words = audit.words
    reasons = _reasons(audit)
    notes = _notes(audit)
    cases = {row["case_key"] for row in audit.held if row["case_key"]}
    return Section(
        {
            "set_aside": words(
                "data.set_aside" if audit.held else "data.none_set_aside",
                rows=words.count("row", len(audit.held)),
                cases=words.count("case", len(cases)),
            ),
            "reasons": reasons[:MOST_REASONS],
            "n_more_reasons": max(0, len(reasons) - MOST_REASONS),
            "notes": notes[:MOST_NOTES],
            "n_more_notes": max(0, len(notes) - MOST_NOTES),
            "missing": _missing(audit),
            "unreadable": sum(row["count_unreadable"] for row in audit.fields_given),
            "broken": sum(row["outcome"] == "error" for row in audit.results),
            "has_held": bool(audit.held),
        }
    )


def _reasons(audit: AuditTables) -> list[Row]:
    """Return rows set aside by reason, the commonest first; a row may have several."""
    counts: Counter[str] = Counter()
    for row in audit.held:
        counts.update(set(row["check_ids"]))
    return [_line(audit, check, n) for check, n in counts.most_common()]


def _notes(audit: AuditTables) -> list[Row]:
    """Return what was noticed without setting anything aside."""
    counts: Counter[str] = Counter()
    for row in audit.findings:
        if row["severity"] == "warn":
            counts[row["check_id"]] += row["count_findings"]
    return [_line(audit, check, n) for check, n in counts.most_common()]


def _line(audit: AuditTables, check: str, n: int) -> Row:
    return {"n": audit.words.count("row", n), "reason": reason_of(audit.words, check)}


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


@cache
def _checks() -> dict[str, Row]:
    names = sorted((load.FOLDER / "checks").glob("*.csv"))
    return {
        row["check_id"]: dict(row)
        for path in names
        for row in load.rows(f"checks/{path.stem}")
    }


def reason_of(words: Words, check_id: str) -> str:
    """Return what a check says, without the figures of any one row.

    The sentence of the check is used with its limits; what belongs to a single row is
    left out.
    """
    check = _checks().get(check_id)
    if check is None:
        return re.sub(r"[_-]", " ", check_id)
    sentence = re.sub(r"^Row \{row_number\}: ", "", check["sentence"])
    is_one_field = check["field"] and not check["field"].startswith("@")
    slots = {
        "field": check["field"] if is_one_field else words("data.slot.field"),
        "sheet": check["sheet"]
        if check["sheet"] != "all"
        else words("data.slot.sheet"),
        "low": _limit(words, check["low"]),
        "high": _limit(words, check["high"]),
        "allowed": words("data.slot.allowed"),
    }
    shown = re.sub(r"\{([a-z_]+)\}", lambda slot: slots.get(slot[1], ELISION), sentence)
    return shown[:1].upper() + shown[1:].rstrip(".")


def _limit(words: Words, text: str) -> str:
    return words("data.slot.run_date") if text == "$run_date" else text
