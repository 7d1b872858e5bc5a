"""As good within a margin, and how many patients a study of these measures would take."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Cell, Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, measures, number, whole

DIGITS: Final = 2
COMPARED: Final = (
    "comparison",
    "measure",
    "new",
    "usual",
    "patients",
    "difference",
    ("interval", "low", "high"),
    "margin",
    "p_above",
    "p_below",
    "verdict",
)
SIZES: Final = ("measure", "aim", "needed", "seen", "spread", "effect")


def content(audit: AuditTables) -> Section | None:
    """Return both tables; None where nothing is measured."""
    made = (_compared(audit), _sizes(audit))
    tables = tuple(table for table in made if table.lines)
    if not tables:
        return None
    return Section({"tables": tables}, printed=tables)


def _compared(audit: AuditTables) -> Printed:
    words = audit.words
    return Printed(
        "equivalence",
        words("as_good.table"),
        columns_of(words, "as_good.column", COMPARED),
        tuple(_line(audit, row) for row in audit.equivalence),
        ("summarised.equivalence",),
        (words("as_good.note"),),
    )


def _line(audit: AuditTables, row: Row) -> tuple[Cell, ...]:
    words = audit.words
    return (
        row["comparison"],
        measures()[row["measure"]].label,
        words.code("group_value", row["new_value"]),
        words.code("group_value", row["usual_value"]),
        f"{whole(row['n_patients_new'])} / {whole(row['n_patients_usual'])}",
        number(row["difference"], DIGITS, is_signed=True),
        (
            number(row["low_90"], DIGITS, is_signed=True),
            number(row["high_90"], DIGITS, is_signed=True),
        ),
        number(row["margin"], DIGITS),
        _p(row["p_above"]),
        _p(row["p_below"]),
        _verdict(audit, row),
    )


def _p(p: float | None) -> str:
    return NOT_HELD if p is None else f"{p:.3f}"


def _verdict(audit: AuditTables, row: Row) -> str:
    words = audit.words
    if row["is_not_worse"] is None:
        said: str = row["why_not"]
    elif row["is_equivalent"]:
        said = words("as_good.verdict.alike")
    elif row["is_not_worse"]:
        said = words("as_good.verdict.not_worse")
    else:
        said = words("as_good.verdict.not_shown")
    if row["is_chosen_before"]:
        return said
    return f"{said} {words('as_good.chosen_late')}"


def _sizes(audit: AuditTables) -> Printed:
    words = audit.words
    return Printed(
        "sample_size",
        words("as_good.sizes"),
        columns_of(words, "as_good.column", SIZES),
        tuple(
            (
                measures()[row["measure"]].label,
                words(
                    f"as_good.aim.{row['aim']}",
                    amount=number(row["amount"], 1),
                    unit=measures()[row["measure"]].unit,
                ),
                whole(row["patients_needed"]),
                whole(row["n_patients"]),
                number(row["spread"], DIGITS),
                number(row["design_effect"], DIGITS),
            )
            for row in audit.sample_size
            if row["patients_needed"] is not None
        ),
        ("summarised.sample_size",),
        (words("as_good.sizes_note"),),
        is_extra=True,
    )
