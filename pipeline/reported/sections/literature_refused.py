"""Published figures that were not compared with, each with its reason."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.sections.literature import comparison_of, definition_of
from pipeline.reported.wording import number

COLUMNS: Final = ("comparison", "source", "definition", "values", "why")


def content(audit: AuditTables) -> Section | None:
    """Return the table; figures of one paper with one reason share a line."""
    lines: dict[tuple[str, str, str, str], list[str]] = {}
    for match in audit.published_matches:
        if not match["is_in_band"]:
            key = (
                comparison_of(audit, match),
                match["citation"],
                definition_of(audit, match["published_measure"]),
                match["reason"],
            )
            lines.setdefault(key, []).append(number(match["value"], 2))
    if not lines:
        return None
    words = audit.words
    table = Printed(
        "literature_refused",
        words("literature.refused"),
        columns_of(words, "literature.column", COLUMNS),
        tuple(
            (comparison, citation, definition, "; ".join(values), why)
            for (comparison, citation, definition, why), values in lines.items()
        ),
        ("summarised.published_matches",),
        is_extra=True,
    )
    return Section({"table": table}, printed=(table,))
