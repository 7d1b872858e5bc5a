"""Every criterion, over all cases and by group."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections.criteria import line, main_lines, room_of


def content(audit: AuditTables) -> Section | None:
    """Return every line; nothing when the first side shows all."""
    if len(main_lines(audit.criteria)) <= audit.once(room_of).criteria:
        return None
    names = list(dict.fromkeys(row["criterion"] for row in main_lines(audit.criteria)))
    rows = sorted(
        audit.criteria,
        key=lambda row: (
            names.index(row["criterion"]),
            row["group_by"] != "overall",
            row["group_by"],
            row["group_value"],
        ),
    )
    return Section({"lines": [line(audit, row) for row in rows], "measured_by": ""})
