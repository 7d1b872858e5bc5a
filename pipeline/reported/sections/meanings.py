"""What each figure and word on the page means."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.wording import measures


def content(audit: AuditTables) -> Section:
    """Return measures, figures of the tables, and the words of the judgements."""
    words = audit.words
    return Section(
        {
            "measures": [
                (known.label, known.sentence) for known in measures().values()
            ],
            "figures": list(words.table("meaning.figure").values()),
            "words": list(words.table("meaning.word").values()),
        }
    )
