"""What a laboratory should know before it reads its own figures."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section


def content(audit: AuditTables) -> Section:
    """Return the sentences."""
    return Section({"cautions": audit.words.listed("lab_return.cautions")})
