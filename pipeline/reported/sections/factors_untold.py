"""Levels of factors that cannot be estimated, each with its reason."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.sections.factors import LEVEL, level_of

COLUMNS: Final = (*LEVEL, "why_not")


def content(audit: AuditTables) -> Section | None:
    """Return the table; None where everything is estimated."""
    untold = [row for row in audit.factor_effects if not row["is_estimable"]]
    if not untold:
        return None
    words = audit.words
    table = Printed(
        "factors_untold",
        words("factors.untold_table"),
        columns_of(words, "factors.column", COLUMNS),
        tuple((*level_of(audit, row), row["why_not"]) for row in untold),
        ("summarised.factor_effects",),
        is_extra=True,
    )
    return Section({"table": table}, printed=(table,))
