"""The plan before surgery: did the film change it, foretell the result, was it on file."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import number


def content(audit: AuditTables) -> Section | None:
    """Return sentences only; nothing where no case has been operated or checked."""
    checks = {row["film_check"]: row for row in audit.film_checks}
    looked_at = sum(checks[word]["count_cases"] for word in ("changed", "accepted")) if checks else 0  # fmt: skip
    plans = audit.plans_kept
    if not looked_at and not plans.get("count_with_plan"):
        return None
    return Section(
        {
            "film": _film(audit, checks, looked_at),
            "foretold": [_foretold(audit, row) for row in audit.film_foretold],
            "has_film": looked_at > 0,
            "on_file": _on_file(audit, plans),
        }
    )


def _film(audit: AuditTables, checks: dict[str, Row], looked_at: int) -> str:
    words = audit.words
    if not looked_at:
        return words("plans.no_film_check")
    rest = checks["not_done"]["count_cases"]
    return words(
        "plans.film_check",
        n_of=words.n_of(checks["changed"]["count_cases"], looked_at),
        rest=words.count("case", rest),
        unknown=words.count("case", checks["not known"]["count_cases"]),
    )


def _foretold(audit: AuditTables, row: Row) -> str:
    """Say how near the film came, and whether film and result go together."""
    words = audit.words
    said = words(
        "plans.foretold",
        what=words(f"plans.quantity.{row['quantity']}"),
        n_of=words.n_of(row["n_same_way"], row["n_patients"]),
        mean=number(row["mean_difference"], 1, is_signed=True),
    )
    if row["low"] is None:
        return f"{said} {words('plans.too_few')}"
    low, high = (number(row[end], 1, is_signed=True) for end in ("low", "high"))
    said += " " + words("plans.between", low=low, high=high)
    if row["correlation"] is None:
        return said
    ends = [row[f"correlation{end}"] for end in ("", "_low", "_high")]
    r, r_low, r_high = (number(value, 2, is_signed=True) for value in ends)
    key = "plans.together" if row["is_told"] else "plans.not_told"
    return said + " " + words(key, r=r, low=r_low, high=r_high)


def _on_file(audit: AuditTables, plans: Row) -> str:
    words = audit.words
    if not plans.get("count_with_plan"):
        return words("plans.none_on_file")
    n, total = plans["count_before_surgery"], plans["count_with_plan"]
    said = words("plans.on_file", n_of=words.n_of(n, total))
    altered = plans["count_altered_after"]
    if altered:
        said += " " + words("plans.altered", cases=words.count("case", altered))
    elif n == 0:
        first = words.day(plans["first_on_file_date"])
        said += " " + words("plans.loaded_later", day=first)
    return said
