"""What deviations go with: ratios from the mixed models, and what cannot be said."""

from __future__ import annotations

from typing import Final

from pipeline.reference import load
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Cell, Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, measures, number, whole

DIGITS: Final = 2
LEAST_P: Final = 0.001
LEVEL: Final = ("measure", "model", "factor", "level", "patients", "implants")
COLUMNS: Final = (
    *LEVEL,
    "ratio",
    ("interval", "low", "high"),
    "p",
    "p_adjusted",
)


def content(audit: AuditTables) -> Section | None:
    """Return the table of ratios and a sentence a model; None where nothing is measured."""
    if not audit.factor_effects:
        return None
    words = audit.words
    told = [row for row in audit.factor_effects if row["is_estimable"]]
    table = Printed(
        "factors",
        words("factors.table"),
        columns_of(words, "factors.column", COLUMNS),
        tuple(_line(audit, row) for row in told),
        ("summarised.factor_effects", "summarised.factor_models"),
        (words("factors.note"),),
    )
    said = [_said(audit, row) for row in audit.factor_models if _is_told(row)]
    untold = len(audit.factor_effects) - len(told)
    if untold:
        said.append(words("factors.untold", n=untold, total=len(audit.factor_effects)))
    tables = (table,) if told else ()
    return Section({"tables": tables, "said": said}, printed=tables)


def _line(audit: AuditTables, row: Row) -> tuple[Cell, ...]:
    words = audit.words
    ratio = number(row["estimate"], DIGITS)
    return (
        *level_of(audit, row),
        words("factors.reference") if row["is_reference"] else ratio,
        (number(row["low"], DIGITS), number(row["high"], DIGITS)),
        _p(audit, row["p"]),
        _p(audit, row["p_adjusted"]),
    )


def level_of(audit: AuditTables, row: Row) -> tuple[str, ...]:
    """Return measure, model, factor, level and how many have it."""
    words = audit.words
    labels = {one["factor"]: one["label"] for one in load.rows("factors")}
    return (
        measures()[row["measure"]].label,
        words(f"factors.model.{row['model']}"),
        labels[row["factor"]],
        words.code("group_value", row["level"]),
        whole(row["n_patients"]),
        whole(row["n_implants"]),
    )


def _p(audit: AuditTables, p: float | None) -> str:
    if p is None:
        return NOT_HELD
    if p < LEAST_P:
        return audit.words("factors.least_p", p=f"{LEAST_P:g}")
    return f"{p:.3f}"


def _is_told(row: Row) -> bool:
    return row["model"] == "together" or row["is_fragile"]


def _said(audit: AuditTables, row: Row) -> str:
    """Say how far a fit can be trusted, or why there is none."""
    return audit.words(
        "factors.said",
        measure=measures()[row["measure"]].label,
        model=audit.words(f"factors.model.{row['model']}"),
        said=row["diagnostics"] or row["why_not"],
    )
