"""Trainees' means beside the same means drawn toward all, by code."""

from __future__ import annotations

from itertools import groupby

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures
from pipeline.statistics.patients import FEWEST_FOR_INTERVAL
from pipeline.statistics.shrinkage import FEWEST_PEOPLE


def content(audit: AuditTables) -> Section | None:
    """Return one table a measure; None where no trainee has a figure."""
    tables = [
        _part(audit, name, list(rows))
        for name, rows in groupby(audit.shrunken, key=lambda row: row["measure"])
    ]
    if not tables:
        return None
    return Section({"tables": tables})


def _part(audit: AuditTables, name: str, rows: list[Row]) -> Row:
    words, known = audit.words, measures()[name]
    overall, between = rows[0]["overall"], rows[0]["spread_between"]
    if overall is None:
        said = words("shrunken.few_trainees", fewest=FEWEST_PEOPLE)
    elif not between:
        said = words("shrunken.no_difference", overall=words.value(name, overall))
    else:
        said = words(
            "shrunken.spread",
            overall=words.value(name, overall),
            between=words.value(name, between),
        )
    return {
        "label": known.label,
        "said": said,
        "sources": words.sources(rows[0]["sources"].replace(",", "")),
        "lines": [_line(audit, row) for row in rows],
    }


def _line(audit: AuditTables, row: Row) -> Row:
    words, name = audit.words, row["measure"]
    is_few = row["n_cases"] < FEWEST_FOR_INTERVAL
    few = words("shrunken.too_few")
    return {
        "trainee": row["trainee_code"],
        "cases": row["n_cases"],
        "values": row["n_values"],
        "mean": few if is_few else words.value(name, row["mean"]),
        "shrunken": ""
        if row["shrunken"] is None
        else words.value(name, row["shrunken"]),
    }
