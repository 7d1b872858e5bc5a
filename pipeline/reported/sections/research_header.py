"""What the research summary is of, and the command that makes it again."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections import header


def content(audit: AuditTables) -> Section:
    """Return the facts of the clinic review's header under a title of their own."""
    words, run = audit.words, audit.run
    facts = audit.once(header.content).context["facts"]
    again = words("research.again", run=run["run_id"], command=run["command"])
    return Section({"title": audit.title, "facts": facts, "again": again})
