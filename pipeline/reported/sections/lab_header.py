"""Whom the page goes to, of which guides, and from which run."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections.header import cycle_name, run_facts


def content(audit: AuditTables) -> Section:
    """Return the laboratory's code, number of guides, frozen data time, version and run."""
    words = audit.words
    return Section(
        {
            "title": audit.title,
            "lab": audit.lab,
            "facts": [
                words.count("guide", len(audit.lab_guides)),
                cycle_name(audit),
                *run_facts(audit),
            ],
        }
    )
