"""A methods paragraph of what was really done."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections.record_flow import MEASURED
from pipeline.versions import software

SEVERAL: Final = ";"
"""Stands between the sources of figures that share a mean."""


def content(audit: AuditTables) -> Section:
    """Return the sentences in their order."""
    said = [_cases(audit), _sources(audit), *_always(audit), _records(audit)]
    said += [_software(audit)]
    return Section({"sentences": said})


def _cases(audit: AuditTables) -> str:
    words, flow = audit.words, audit.record_flow
    first, last = audit.counts["first_day"], audit.counts["last_day"]
    received = sum(row["count_cases"] for row in flow)
    measured = [row for row in flow if row["fate"] == MEASURED]
    operated = (
        words("header.from_to", first=words.day(first), last=words.day(last))
        if first is not None
        else words("methods.no_day")
    )
    return words(
        "methods.cases",
        received=words.count("case", received),
        operated=operated,
        cases=words.count("case", sum(row["count_cases"] for row in measured)),
        implants=words.count("implant", sum(row["count_implants"] for row in measured)),
    )


def _sources(audit: AuditTables) -> str:
    words = audit.words
    said = [
        words(
            "flow.source",
            source=words.sources(row["value"]),
            implants=words.count("implant", row["count_implants"]),
            patients=words.count("patient", row["count_patients"]),
        )
        for row in audit.implant_characteristics
        if row["characteristic"] == "source"
    ]
    scans = sum(row["count_superimposed"] for row in audit.superimposing_errors)
    parts = [words("methods.sources", sources="; ".join(said))] if said else []
    if scans:
        parts.append(words("methods.superimposed", scans=words.count("scan", scans)))
    return " ".join(parts) or words("methods.no_source")


def _always(audit: AuditTables) -> list[str]:
    """Return what is done in every audit, and whether sources share a mean."""
    is_merged = any(
        SEVERAL in row["sources"]
        for row in audit.accuracy
        if row["group_by"] == "overall"
    )
    key = "methods.merged" if is_merged else "methods.apart"
    return [*audit.words.listed("methods.always"), audit.words(key)]


def _records(audit: AuditTables) -> str:
    words = audit.words
    aside = sum(row["count_rows_held"] for row in audit.received)
    mended = sum(row["count_changes"] for row in audit.mended)
    said = words("methods.records", aside=words.count("row", aside))
    if mended:
        said += " " + words("methods.mended", mended=words.count("cell", mended))
    return said


def _software(audit: AuditTables) -> str:
    run = audit.run
    versions = software() | {"plumbpost": str(run["version"])}
    listed = ", ".join(f"{name} {version}" for name, version in versions.items())
    return audit.words(
        "methods.software",
        versions=listed,
        run=run["run_id"],
        command=run["command"],
    )
