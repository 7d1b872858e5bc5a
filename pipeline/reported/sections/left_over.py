"""What the second side has no room for: comparisons and actions."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections import actions, verdicts


def content(audit: AuditTables) -> Section | None:
    """Return the rest of each list; nothing when the second side shows all."""
    left = {
        "verdicts": audit.once(verdicts.content).context["rest"],
        "actions": audit.once(actions.content).context["rest"],
    }
    return Section(left) if any(left.values()) else None
