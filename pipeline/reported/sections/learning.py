"""Do deviations shrink with the trainees' own case numbers, over all of them together."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures, number


def content(audit: AuditTables) -> Section | None:
    """Return a sentence a measure; None where no trainee has a figure."""
    if not audit.learning:
        return None
    return Section({"sentences": [_said(audit, row) for row in audit.learning]})


def _said(audit: AuditTables, row: Row) -> str:
    words = audit.words
    label = measures()[row["measure"]].label
    if row["ratio"] is None:
        return words("learning.not_said", measure=label, why=row["why_not"])
    is_told = not row["low"] <= 1 <= row["high"]
    allowed = [words(f"learning.for.{n}") for n in row["covariates"].split("|") if n]
    return words(
        "learning.told" if is_told else "learning.not_told",
        measure=label,
        ratio=number(row["ratio"], 2),
        low=number(row["low"], 2),
        high=number(row["high"], 2),
        trainees=words.count("trainee", row["n_trainees"]),
        cases=words.count("case", row["n_cases"]),
        allowed=words("learning.allowed", what=", ".join(allowed))
        if allowed
        else words("learning.nothing_allowed"),
    )
