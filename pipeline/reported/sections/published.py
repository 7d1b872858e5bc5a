"""Where the published figures come from."""

from __future__ import annotations

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables, Row
from pipeline.reported.matching import set_words
from pipeline.reported.section import Section
from pipeline.reported.wording import measures, number


def content(audit: AuditTables) -> Section | None:
    """Return the figures that make the bands on this page, by comparison set."""
    used = list(dict.fromkeys(row["comparison_set"] for row in audit.verdicts))
    if not used:
        return None
    primary = {name for name, known in measures().items() if known.is_primary}
    published = {row["key"]: row for row in audit.published}
    sets = []
    for name in used:
        label, caution = set_words(audit, name)
        lines = [
            _line(audit, member, published[member["key"]])
            for member in load.rows("comparison_members")
            if member["comparison_set"] == name
            and member["role"] == "band"
            and member["key"] in published
            and member["measure"] in primary
        ]
        sets.append({"label": label, "caution": caution, "lines": lines})
    return Section({"sets": sets})


def _line(audit: AuditTables, member: Row, row: Row) -> Row:
    words = audit.words
    known = measures()[member["measure"]]
    low, high = row["ci_low"], row["ci_high"]
    return {
        "measure": known.label,
        "value": number(float(row["value"]), 2) + words.unit(known.unit),
        "interval": words("number.interval", low=low, high=high)
        if low and high
        else "",
        "citation": row["citation"],
        "doi": row["doi"],
        "design": words.code("design", row["design"]),
        "read": words.code("read", row["source_status"]),
        "note": member["note"],
    }
