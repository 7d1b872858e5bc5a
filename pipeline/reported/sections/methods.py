"""A methods paragraph of what was really done."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections.record_flow import MEASURED, by_source, summed
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
    received, _ = summed(flow)
    cases, implants = summed([row for row in flow if row["fate"] == MEASURED])
    operated = (
        words("header.from_to", first=words.day(first), last=words.day(last))
        if first is not None
        else words("methods.no_day")
    )
    return words(
        "methods.cases",
        received=words.count("case", received),
        operated=operated,
        cases=words.count("case", cases),
        implants=words.count("implant", implants),
    )


def _sources(audit: AuditTables) -> str:
    words = audit.words
    said = by_source(audit)
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
