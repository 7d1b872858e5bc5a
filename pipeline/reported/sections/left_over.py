"""What the second side has no room for: further comparisons and actions."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections import actions, verdicts


def content(audit: AuditTables) -> Section | None:
    """Return the rest of both lists; nothing when the second side shows all."""
    more_verdicts = verdicts.content(audit).context["rest"]
    more_actions = actions.content(audit).context["rest"]
    if not (more_verdicts or more_actions):
        return None
    return Section({"verdicts": more_verdicts, "actions": more_actions})
