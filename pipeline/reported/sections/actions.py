"""Actions due: what, who by role, by when, done or not."""

from __future__ import annotations

from datetime import date

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections import attachment_trouble
from pipeline.reported.table_reader import Row, as_day

MOST_ON_PAPER = 4
MOST_BESIDE_TROUBLE = 3
"""Actions that fit above the box of attachment trouble; one less with a line for more."""


def content(audit: AuditTables) -> Section:
    """Return open actions first, the earliest due on top; then what was done."""
    rows = [
        _action(audit, row)
        for row in audit.actions
        if str(row.get("action") or "").strip()
    ]
    rows.sort(key=lambda row: (row["is_done"], row["due_day"]))
    for row in rows:
        del row["due_day"]
    shown = rows[: _room(audit, len(rows))]
    rest = rows[len(shown) :]
    return Section({"actions": shown, "n_more": len(rest), "rest": rest})


def _room(audit: AuditTables, n_actions: int) -> int:
    """Return how many actions the second side has room for."""
    if audit.once(attachment_trouble.content) is None:
        return MOST_ON_PAPER
    return MOST_BESIDE_TROUBLE - (n_actions > MOST_BESIDE_TROUBLE)


def _action(audit: AuditTables, row: Row) -> Row:
    words = audit.words
    due = as_day(row.get("due_date") or row.get("due") or "")
    done_text = str(row.get("done_date") or row.get("done") or "").strip()
    done = as_day(done_text)
    role = str(row.get("role") or "").strip()
    by_when = words("actions.by", day=words.day(due)) if due else ""
    is_done = done_text.lower() not in ("", "no", "open")
    is_overdue = not is_done and due is not None and due < audit.written_at.date()
    state = "done" if is_done else "overdue" if is_overdue else "open"
    return {
        "action": str(row["action"]).strip(),
        "about": " · ".join(part for part in (role, by_when) if part),
        "due_day": due or date.max,
        "state": words("actions.done_on", day=words.day(done))
        if done
        else words(f"actions.{state}"),
        "is_done": is_done,
        "is_overdue": is_overdue,
    }
