"""What the deviations are consistent with: for each case discussed, and group by group."""

from __future__ import annotations

from pipeline.reference.causes import causes
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row

IN_TOP = 2
"""Causes named for one case on the printed side."""

CLOSE = 2.0
"""A second cause is named beside the first when it scores at most this much less."""


def content(audit: AuditTables) -> Section | None:
    """Return the full evidence; None where nothing was scored."""
    if not (audit.case_causes or audit.group_causes):
        return None
    listed = dict.fromkeys(row["case_key"] for row in audit.discuss)
    cases = [
        {"case": case, "lines": [_line(audit, row) for row in audit.case_causes[case]]}
        for case in listed
        if case in audit.case_causes and _is_told(audit, case)
    ]
    groups = [
        {
            "group": audit.words.code("causes.group", row["group_by"]),
            "value": "" if row["group_by"] == "overall" else row["group_value"],
            "patients": audit.words(
                "causes.used",
                pairs=audit.words.count("pair", row["n_pairs"]),
                patients=audit.words.count("patient", row["n_patients"]),
            ),
            **_line(audit, row),
        }
        for row in audit.group_causes
    ]
    play = [
        audit.words(
            "causes.play_line",
            cases=audit.words.count("case", row["n"]),
            said=audit.words.code("causes.play", row["said"]),
        )
        for row in audit.play_seen
    ]
    return Section({"cases": cases, "groups": groups, "play": play})


def in_short(audit: AuditTables, case: str) -> str:
    """Say in a line what a case is consistent with; empty where nothing can be told."""
    rows, words = audit.case_causes.get(case, []), audit.words
    if not rows:
        return ""
    first = rows[0]
    if not first["cause"]:
        key = f"causes.said.{first['said']}"
        return words(key) if words.has(key) else ""
    known = {cause.cause: cause for cause in causes()}
    named = [
        known[row["cause"]].short
        for row in rows[:IN_TOP]
        if row["score"] >= first["score"] - CLOSE
    ]
    text = named[0]
    if len(named) > 1:
        text = words("causes.either", first=named[0], second=named[1])
    return words(
        "causes.short", causes=text, settles=known[first["cause"]].settled_short
    )


def _is_told(audit: AuditTables, case: str) -> bool:
    first = audit.case_causes[case][0]
    return bool(first["cause"]) or audit.words.has(f"causes.said.{first['said']}")


def _line(audit: AuditTables, row: Row) -> Row:
    """Return one cause in words, or why none is named."""
    line = dict.fromkeys(("pattern", "speaks_for", "against", "settles"), "")
    line["note"] = row["note"] or ""
    if not row["cause"]:
        return {**line, "cause": audit.words(f"causes.said.{row['said']}")}
    known = {cause.cause: cause for cause in causes()}[row["cause"]]
    return {
        "cause": known.words,
        "pattern": row["pattern"],
        "speaks_for": row["evidence_for"] or "",
        "against": row["evidence_against"] or "",
        "settles": row["settled_by"],
        "note": line["note"],
    }
