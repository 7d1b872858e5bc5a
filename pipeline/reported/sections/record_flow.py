"""From the records received to what is measured: counts that add up, with reasons."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.flow_chart import FlowChart
from pipeline.reported.printed import Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.sections.data_quality import reason_of
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Words, whole

MEASURED: Final = "measured"
NOT_MEANT: Final = ("not of a patient", "outside the period", "not of the pair")
"""What the audit is not about."""

NOT_YET: Final = ("not operated yet", "not placed")
STEPS: Final = (("meant", NOT_MEANT), ("placed", NOT_YET))


def content(audit: AuditTables) -> Section:
    """Return the diagram and the table of reasons."""
    rows = audit.record_flow
    total = summed(rows)
    table = _table(audit, rows)
    context = {"table": table, "drawing": None, "has_records": bool(total[0])}
    if not total[0]:
        return Section(context, printed=(table,))
    drawing, tables = _diagram(audit, rows)
    return Section(context | {"drawing": drawing}, (drawing,), tables, (), (table,))


def summed(rows: list[Row]) -> tuple[int, int]:
    """Return the cases and the implants of these rows."""
    return (
        sum(row["count_cases"] for row in rows),
        sum(row["count_implants"] for row in rows),
    )


def _counted(words: Words, counts: tuple[int, int]) -> str:
    return words(
        "flow.counted",
        cases=words.count("case", counts[0]),
        implants=words.count("implant", counts[1]),
    )


def _table(audit: AuditTables, rows: list[Row]) -> Printed:
    """Return every fate with its reasons; the last line is the sum of the others."""
    words = audit.words
    lines = [
        (
            words(f"flow.fate.{row['fate']}"),
            reason_of(words, row["first_check"]) if row["first_check"] else "",
            whole(row["count_cases"]),
            whole(row["count_implants"]),
        )
        for row in rows
        if row["count_cases"] or row["count_implants"] or row["fate"] == MEASURED
    ]
    cases, implants = summed(rows)
    lines.append((words("flow.received"), "", whole(cases), whole(implants)))
    return Printed(
        "records",
        words("flow.table"),
        columns_of(words, "flow.column", ("fate", "reason", "cases", "implants")),
        tuple(lines),
        ("summarised.record_flow", "summarised.records_received"),
        (words("flow.one_fate"), words("flow.pair_only")),
        is_extra=True,
    )


def _diagram(audit: AuditTables, rows: list[Row]) -> tuple[Figure, dict[str, Rows]]:
    """Draw what stays, what leaves and why, and what the measured ones consist of."""
    words = audit.words
    chart = FlowChart()
    chart.stays([words("flow.box.received"), _counted(words, summed(rows))])
    left = list(rows)
    known = {fate for _, fates in STEPS for fate in fates} | {MEASURED}
    later = tuple(row["fate"] for row in rows if row["fate"] not in known)
    for name, leaving in (*STEPS, (MEASURED, later)):
        gone = [row for row in left if row["fate"] in leaving and any(summed([row]))]
        left = [row for row in left if row["fate"] not in leaving]
        said = [_leaves(words, part) for part in _by_fate(gone)]
        chart.leaves(said or [words("flow.nothing_leaves")])
        chart.stays([words(f"flow.box.{name}"), _counted(words, summed(left))])
    sources = by_source(audit)
    if sources:
        chart.consists_of(sources)
    return chart.drawn("record_flow", _told(audit, rows, left))


def by_source(audit: AuditTables) -> list[str]:
    """Return each source with its measured implants and patients, in words."""
    words = audit.words
    return [
        words(
            "flow.source",
            source=words.sources(row["value"]),
            implants=words.count("implant", row["count_implants"]),
            patients=words.count("patient", row["count_patients"]),
        )
        for row in audit.implant_characteristics
        if row["characteristic"] == "source"
    ]


def _by_fate(rows: list[Row]) -> list[list[Row]]:
    fates = dict.fromkeys(row["fate"] for row in rows)
    return [[row for row in rows if row["fate"] == fate] for fate in fates]


def _leaves(words: Words, rows: list[Row]) -> str:
    return words(
        "flow.leaves",
        fate=words(f"flow.fate.{rows[0]['fate']}"),
        counted=_counted(words, summed(rows)),
    )


def _told(audit: AuditTables, rows: list[Row], measured: list[Row]) -> Told:
    words = audit.words
    caption = words(
        "flow.caption",
        received=_counted(words, summed(rows)),
        measured=_counted(words, summed(measured)),
    )
    title = words("flow.title")
    return Told(caption, words("flow.aria", title=title, caption=caption), title)
