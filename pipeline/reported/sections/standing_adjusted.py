"""Where each trainee's score stands once hard cases are allowed for, or why it cannot be said."""

from __future__ import annotations

from itertools import groupby

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import number, percent
from pipeline.summarised.competence import FEWEST_JUDGED


def content(audit: AuditTables) -> Section | None:
    """Return a line a trainee and what was allowed for; None where no case is judged."""
    rows = audit.competence_adjusted
    if not rows:
        return None
    if not rows[0]["covariates"]:
        return Section({"said": rows[0]["why_not"], "lines": []})
    by_trainee = groupby(rows, key=lambda row: row["trainee_code"])
    lines = [_line(audit, code, list(own)) for code, own in by_trainee]
    return Section({"said": _model(audit, rows[0]), "lines": lines})


def _model(audit: AuditTables, row: Row) -> str:
    words = audit.words
    allowed = [words(f"adjusted.for.{name}") for name in row["covariates"].split("|")]
    return words(
        "adjusted.model",
        what=", ".join(allowed),
        cases=words.count("case", row["n_cases_in_model"]),
        failed=row["n_failed_in_model"],
        odds=number(row["odds_ratio"], 1),
    )


def _line(audit: AuditTables, code: str, rows: list[Row]) -> Row:
    last = rows[-1]
    return {
        "trainee": code,
        "failed": audit.words.n_of(sum(row["has_failed"] for row in rows), len(rows)),
        "expected": ""
        if last["expected_risk"] is None
        else number(sum(row["expected_risk"] for row in rows), 1),
        "standing": _standing(audit, rows),
    }


def _standing(audit: AuditTables, rows: list[Row]) -> str:
    words, last = audit.words, rows[-1]
    if last["why_not"] is not None:
        return str(last["why_not"])
    signals = [str(row["case_number"]) for row in rows if row["is_signal"]]
    limit = {
        "limit": number(last["limit"], 1),
        "false_alarm": percent(last["false_alarm"]),
        "power": percent(last["power"]),
    }
    if signals:
        return words("adjusted.signal", cases=", ".join(signals), **limit)
    if len(rows) < FEWEST_JUDGED:
        more = words.count("case", FEWEST_JUDGED - len(rows))
        return words("programme.too_few", more=more)
    return words("adjusted.no_signal", score=number(last["score"], 1), **limit)
