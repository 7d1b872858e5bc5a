"""Does a mean rest on how the cases were chosen."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Cell, Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.sections.deviations import DIGITS, FEWEST_SUMMED
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, measures, number, whole

COLUMNS: Final = (
    "measure",
    "variant",
    "patients",
    "implants",
    "mean",
    ("interval", "low", "high"),
)


def content(audit: AuditTables) -> Section | None:
    """Return one table of all measures; None where nothing is measured."""
    if not audit.sensitivity:
        return None
    words = audit.words
    table = Printed(
        "sensitivity",
        words("sensitivity.table"),
        columns_of(words, "sensitivity.column", COLUMNS),
        tuple(_line(audit, row) for row in audit.sensitivity),
        ("summarised.sensitivity",),
        (words("sensitivity.note"),),
    )
    return Section({"table": table}, printed=(table,))


def _line(audit: AuditTables, row: Row) -> tuple[Cell, ...]:
    words, known = audit.words, measures()[row["measure"]]
    if row["detail"]:
        variant = words("sensitivity.by", what=words.sources(row["detail"]))
    else:
        variant = words(f"sensitivity.variant.{row['variant']}")
    is_shown = row["n_patients"] >= FEWEST_SUMMED

    def told(name: str) -> str:
        return number(row[name], DIGITS) if is_shown else NOT_HELD

    return (
        words("strip.axis", label=known.label, unit=known.unit),
        variant,
        whole(row["n_patients"]),
        whole(row["n_values"]),
        told("mean"),
        (told("mean_low"), told("mean_high")),
    )
