"""A few lines for the terminal at the end of a run: counts and verdicts, no codes."""

from __future__ import annotations

from datetime import UTC, datetime

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.matching import set_words
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NO_BREAK_SPACE, measures
from pipeline.warehouse import Warehouse


def summary_lines(warehouse: Warehouse) -> list[str]:
    """Return what a run found, without values of a row and without case codes.

    Harm comes first, then cases and one verdict for each primary measure (of the largest
    comparison). Rows set aside are said by the command, with what to do about them.
    """
    audit = AuditTables(warehouse, datetime.now(UTC))
    words = audit.words
    lines = []
    if audit.counts["harm"]:
        entries = words.count("entry", audit.counts["harm"])
        lines.append(words("summary.harm", entries=entries))
    lines.append(
        words(
            "summary.cases",
            cases=words.count("case", audit.counts["cases"]),
            implants=words.count("implant", audit.counts["implants"]),
        )
    )
    lines += _verdicts(audit)
    if not audit.counts["held"]:
        lines.append(words("summary.none_set_aside"))
    return [line.replace(NO_BREAK_SPACE, " ") for line in lines]


def _verdicts(audit: AuditTables) -> list[str]:
    found: dict[str, Row] = {}
    for row in audit.verdicts:
        found.setdefault(row["measure"], row)
    if not found:
        return [audit.words("summary.no_verdict")]
    return [_verdict(audit, found[name]) for name in measures() if name in found]


def _verdict(audit: AuditTables, row: Row) -> str:
    words = audit.words
    known = measures()[row["measure"]]
    noun = "implant" if known.place == "implants" else "pair"
    key = "summary.verdict_provisional" if row["is_provisional"] else "summary.verdict"
    return words(
        key,
        measure=known.label,
        verdict=row["verdict"],
        set=set_words(audit, row["comparison_set"])[0],
        n=words.count(noun, row["n_implants"]),
        patients=words.count("patient", row["n_patients"]),
    )
