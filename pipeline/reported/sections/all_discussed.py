"""The full lists that the first side cuts short: harm, discussion, changes on purpose."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections import discuss, harm


def content(audit: AuditTables) -> Section | None:
    """Return the lists; nothing when there is nothing in them."""
    cases = discuss.by_case(audit, is_on_purpose=False)
    on_purpose = discuss.by_case(audit, is_on_purpose=True)
    if not (cases or on_purpose or audit.harm):
        return None
    return Section(
        {"harm": harm.groups_of(audit), "cases": cases, "on_purpose": on_purpose}
    )
