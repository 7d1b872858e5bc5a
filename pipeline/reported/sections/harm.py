"""For the treating clinician now: harm stands before everything else."""

from __future__ import annotations

from itertools import groupby

from pipeline.reported.audit_tables import AuditTables, Row
from pipeline.reported.room import MOST_HARM
from pipeline.reported.section import Section


def content(audit: AuditTables) -> Section | None:
    """Return the box, or nothing when nobody was harmed."""
    if not audit.harm:
        return None
    shown, left = [], MOST_HARM
    for group in groups_of(audit):
        entries = group["entries"][:left]
        left -= len(entries)
        if entries:
            shown.append({**group, "entries": entries})
    return Section({"groups": shown, "n_more": max(0, len(audit.harm) - MOST_HARM)})


def groups_of(audit: AuditTables) -> list[Row]:
    """Return all entries by kind, those not resolved first."""
    by_kind = sorted(audit.harm, key=lambda row: str(row["kind"]))
    return [
        {
            "kind": audit.words.code("harm.kind", kind),
            "entries": [_entry(audit, row) for row in rows],
        }
        for kind, rows in groupby(by_kind, key=lambda row: row["kind"])
    ]


def _entry(audit: AuditTables, row: Row) -> Row:
    words = audit.words
    parts = []
    if row["side"]:
        parts.append(words.code("side", row["side"]))
    if row["amount_mm"] is not None:
        parts.append(
            words("harm.amount", amount=words.size("depth_mm", row["amount_mm"]))
        )
    if row["event_date"] is not None:
        parts.append(words.day(row["event_date"]))
    if row["is_resolved"]:
        parts.append(words("harm.resolved"))
    return {"case": row["case_key"], "about": ", ".join(parts)}
