"""What these figures cannot say."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section


def content(audit: AuditTables) -> Section:
    """Return the cautions."""
    return Section({"cautions": audit.words.listed("cautions.all")})
