"""How many cases there are, and how far their records go."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section

ONLY_IN_FULL = ("with the guide on record", "operated, with a figure")
"""Stages that stand with the records in full, not on the first side."""


def content(audit: AuditTables) -> Section:
    """Return the stages with n of N, the denominator, and the rows set aside."""
    words = audit.words
    stages = [
        {
            "name": words.code("stage", row["stage"]),
            "n": row["count_cases"],
            "of": words.n_of(row["count_cases"], row["count_expected"]),
            "share": _share(row["count_cases"], row["count_expected"]),
        }
        for row in audit.completeness
        if row["stage"] not in ONLY_IN_FULL
    ]
    counts = audit.counts
    return Section(
        {
            "stages": stages,
            "about": words(
                "completeness.about",
                cases=words.count("case", counts["cases"]),
                patients=words.count("patient", counts["patients"]),
                implants=words.count("implant", counts["implants"]),
            ),
            "denominator": _denominator(audit),
            "set_aside": words(
                "completeness.set_aside", rows=words.count("row", counts["held"])
            ),
        }
    )


def _denominator(audit: AuditTables) -> str:
    """Return what the cases are a share of: a list from outside, or nothing outside."""
    words = audit.words
    for row in audit.treated:
        said = words(
            "completeness.treated",
            treated=words.n_of(row["count_in_audit"], row["count_treated"]),
        )
        if not row["count_without_day"]:
            return said
        left_out = words.count("patient", row["count_without_day"])
        return f"{said} {words('completeness.without_day', patients=left_out)}"
    return words("completeness.denominator")


def _share(n: int, total: int) -> float:
    return round(100 * n / total, 1) if total else 0.0
