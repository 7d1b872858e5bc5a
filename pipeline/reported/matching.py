"""Which cases a verdict is about, so that each is drawn against its own band."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.table_reader import Row
from pipeline.summarised.comparison import CONDITIONS


def cases_compared(audit: AuditTables, verdict: Row) -> set[str]:
    """Return the codes of the cases whose guide is of the kind a set is about."""
    name = verdict["comparison_set"]
    chosen = next(
        (row for row in audit.comparison_sets if row["comparison_set"] == name), None
    )
    if chosen is None:
        return set()
    wanted = {name: chosen[name].split("|") for name in CONDITIONS if chosen[name]}
    return {
        case["case_key"]
        for case in audit.cases
        if all(case[name] in allowed for name, allowed in wanted.items())
    }


def set_words(audit: AuditTables, name: str) -> tuple[str, str]:
    """Return label and caution of a comparison set."""
    for row in audit.comparison_sets:
        if row["comparison_set"] == name:
            return row["label"], row["caution"]
    return audit.words.code("set", name), ""
