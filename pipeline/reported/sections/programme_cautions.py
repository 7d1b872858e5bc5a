"""What pages about people may be used for."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section


def content(audit: AuditTables) -> Section:
    """Return the cautions and the lines to sign."""
    words = audit.words
    return Section(
        {
            "cautions": words.listed("programme.cautions"),
            "sign": words("trainee.sign") if audit.trainee else words("programme.sign"),
        }
    )
