"""For the treating clinician now: harm stands before everything else."""

from __future__ import annotations

from itertools import groupby

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.room import HARM_LETTERS, MOST_HARM
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row


def content(audit: AuditTables) -> Section | None:
    """Return the box, or nothing when nobody was harmed."""
    if not audit.harm:
        return None
    shown = on_paper(audit)
    n_shown = sum(len(group["entries"]) for group in shown)
    return Section({"groups": shown, "n_more": audit.counts["harm"] - n_shown})


def on_paper(audit: AuditTables) -> list[Row]:
    """Return the entries by kind that fit the first side, a line of each kind at least."""
    groups = groups_of(audit)
    left = MOST_HARM
    shown = []
    for at, group in enumerate(groups):
        lines = max(1, left - (len(groups) - at - 1))
        per_line = (
            2
            if all(len(_text(entry)) <= HARM_LETTERS for entry in group["entries"])
            else 1
        )
        kept = group["entries"][: lines * per_line]
        shown.append({**group, "entries": kept, "lines": -(-len(kept) // per_line)})
        left -= shown[-1]["lines"]
    return shown


def _text(entry: Row) -> str:
    return f"{entry['case']} {entry['about']}"


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
