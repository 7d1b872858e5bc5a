"""How well it was measured: repeat readings, and what superimposing adds."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Cell, Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import number, whole

DIGITS: Final = 2
READINGS: Final = (
    "source",
    "quantity",
    "subjects",
    "readings",
    "within_sd",
    "dahlberg",
    "coefficient",
    "icc",
    ("interval", "low", "high"),
)
AGREEMENT: Final = (
    "source",
    "quantity",
    "pairs",
    "bias",
    "lower_limit",
    ("exact", "low", "high"),
    "upper_limit",
    ("exact", "low", "high"),
)
SCANS: Final = (
    "source",
    "scans",
    "superimposed",
    "points",
    ("misfit", "median", "largest"),
    "point_error",
    "error_basis",
    ("entry_error", "rms", "largest"),
    ("axis_error", "rms", "largest"),
)


def content(audit: AuditTables) -> Section:
    """Return the tables that have a line; without any a sentence says what is not known."""
    made = (_readings(audit), _agreement(audit), _scans(audit))
    tables = tuple(table for table in made if table.lines)
    return Section({"tables": tables}, printed=tables)


def _readings(audit: AuditTables) -> Printed:
    words = audit.words
    return Printed(
        "repeatability",
        words("method_error.readings"),
        columns_of(words, "method_error.column", READINGS),
        tuple(_reading(audit, row) for row in audit.repeatability),
        ("measured.repeatability",),
        (words("method_error.readings_note"),),
    )


def _reading(audit: AuditTables, row: Row) -> tuple[Cell, ...]:
    return (
        *_what(audit, row),
        whole(row["count_subjects"]),
        whole(row["count_readings"]),
        number(row["within_sd"], DIGITS),
        number(row["dahlberg"], DIGITS),
        number(row["repeatability_coefficient"], DIGITS),
        number(row["icc"], DIGITS),
        _pair(row, "icc_low", "icc_high"),
    )


def _agreement(audit: AuditTables) -> Printed:
    words = audit.words
    return Printed(
        "agreement",
        words("method_error.agreement"),
        columns_of(words, "method_error.column", AGREEMENT),
        tuple(
            (
                *_what(audit, row),
                whole(row["count_pairs"]),
                number(row["agreement_bias"], DIGITS, is_signed=True),
                number(row["agreement_low"], DIGITS, is_signed=True),
                _pair(row, "agreement_low_from", "agreement_low_to"),
                number(row["agreement_high"], DIGITS, is_signed=True),
                _pair(row, "agreement_high_from", "agreement_high_to"),
            )
            for row in audit.repeatability
            if row["agreement_low"] is not None
        ),
        ("measured.repeatability",),
        (words("method_error.agreement_note"),),
    )


def _what(audit: AuditTables, row: Row) -> tuple[str, str]:
    words = audit.words
    return (
        words.sources(f"{row['basis']} {row['achieved_source']}"),
        row["quantity"].replace("_", " "),
    )


def _pair(row: Row, *names: str) -> tuple[str, ...]:
    return tuple(number(row[name], DIGITS) for name in names)


def _scans(audit: AuditTables) -> Printed:
    words = audit.words
    return Printed(
        "superimposing",
        words("method_error.scans"),
        columns_of(words, "method_error.column", SCANS),
        tuple(_scan(audit, row) for row in audit.superimposing_errors),
        ("summarised.superimposing_errors", "measured.registrations"),
        (words("method_error.scans_note"),),
    )


def _scan(audit: AuditTables, row: Row) -> tuple[Cell, ...]:
    return (
        audit.words.code("source", row["achieved_source"]),
        whole(row["count_scans"]),
        whole(row["count_superimposed"]),
        number(row["median_points"], 0),
        _pair(row, "median_fre_mm", "largest_fre_mm"),
        number(row["fle_mm"], DIGITS),
        row["fle_basis"] or "",
        _pair(row, "rms_tre_entry_mm", "largest_tre_entry_mm"),
        _pair(row, "rms_axis_sd_deg", "largest_axis_sd_deg"),
    )
