"""Parallelism kept and attachment events, as tables of a paper."""

from __future__ import annotations

from typing import Final

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.charts import Figure
from pipeline.reported.printed import Cell, Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.sections import years_after
from pipeline.reported.sections.attachment_trouble import EVERY_KIND
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, number, whole

ALL_TIME: Final = "all"
SHARES: Final = ("within_allowance", "within_printed", "leans_back")
PAIRS: Final = (
    "quantity",
    "state",
    "values",
    "patients",
    "mean",
    ("interval", "low", "high"),
    ("range", "smallest", "largest"),
)
EVENTS: Final = (
    "event_group",
    "period",
    "events",
    "dentures",
    "patients",
    "years",
    "rate",
    ("interval", "low", "high"),
)


def content(audit: AuditTables) -> Section | None:
    """Return both tables with the pictures of the years after; None without either."""
    tables = tuple(table for table in (_pairs(audit), _events(audit)) if table.lines)
    if not tables:
        return None
    drawn = audit.once(years_after.content) or Section()
    figures = tuple(f for f in drawn.figures if not _shows_cases(f, drawn))
    rows = {name: drawn.tables[name] for f in figures for name in f.tables}
    return Section(
        {"tables": tables, "figures": figures}, figures, rows, printed=tables
    )


def _shows_cases(figure: Figure, drawn: Section) -> bool:
    """Tell whether a picture names single cases: this page and its files leave the house."""
    return any("case" in row for name in figure.tables for row in drawn.tables[name])


def _pairs(audit: AuditTables) -> Printed:
    words = audit.words
    rows = [row for row in audit.parallelism if row["quantity"] not in SHARES]
    return Printed(
        "parallelism",
        words("outcomes.parallelism"),
        columns_of(words, "outcomes.column", PAIRS),
        tuple(_pair(audit, row) for row in rows),
        ("summarised.parallelism",),
        (words("outcomes.parallelism_note"),),
    )


def _pair(audit: AuditTables, row: Row) -> tuple[Cell, ...]:
    words = audit.words
    is_signed = row["statistic"] == "signed"

    def told(name: str) -> str:
        return number(row[name], 1, is_signed=is_signed)

    return (
        words(f"parallelism.quantity.{row['quantity']}"),
        words(f"outcomes.state.{row['state']}"),
        words.count(row["of_what"], row["n_values"]),
        whole(row["n_patients"]),
        told("value"),
        (told("low"), told("high")),
        (told("smallest"), told("largest")),
    )


def _events(audit: AuditTables) -> Printed:
    words = audit.words
    labels = {row["event_group"]: row["label"] for row in load.rows("event_groups")}
    lines = tuple(
        (
            labels[group],
            words.code("years_after.period", period),
            whole(row["count_events"]),
            whole(row["count_dentures"]),
            whole(row["n_patients"]),
            number(row["exposure_years"], 1),
            number(row["rate_per_100"], 1),
            _limits(row),
        )
        for group in labels
        for period in (*years_after.PERIODS, ALL_TIME)
        if (row := audit.event_rates.get((group, EVERY_KIND, period)))
    )
    return Printed(
        "attachment_events",
        words("outcomes.events"),
        columns_of(words, "outcomes.column", EVENTS),
        lines,
        ("summarised.event_rates",),
        (words("outcomes.events_note"),),
    )


def _limits(row: Row) -> tuple[str, str]:
    if row["rate_high"] is None:
        return NOT_HELD, NOT_HELD
    return number(row["rate_low"] or 0.0, 1), number(row["rate_high"], 1)
