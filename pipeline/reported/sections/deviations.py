"""How far from the plan: every measure with its spread, interval and unit of analysis."""

from __future__ import annotations

from typing import Final

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Cell, Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import measures, number, whole

DIGITS: Final = 2
FEWEST_SUMMED: Final = 3
"""Patients a group takes before anything but its numbers is printed."""

FIGURES: Final = (
    "unit",
    "patients",
    "implants",
    "mean",
    "sd",
    ("interval", "low", "high"),
    "median",
    ("quarters", "q1", "q3"),
    ("range", "smallest", "largest"),
)


def content(audit: AuditTables) -> Section:
    """Return deviations, how alike two implants of one mouth are, and definitions."""
    rows = overall(audit)
    if not rows:
        return Section({"tables": ()})
    tables = (_deviations(audit, rows), _likeness(audit, rows), _definitions(audit))
    return Section({"tables": tables}, printed=tables)


def overall(audit: AuditTables) -> list[Row]:
    """Return the summary of each measure over all cases, in the order of measures.csv."""
    found = {
        row["measure"]: row for row in audit.accuracy if row["group_by"] == "overall"
    }
    return [found[name] for name in measures() if name in found]


def figures_of(row: Row) -> tuple[Cell, ...]:
    """Return the cells below `FIGURES` of a row of summarised.accuracy."""
    known = measures()[row["measure"]]
    is_shown = row["n_patients"] >= FEWEST_SUMMED

    def plain(name: str) -> str:
        amount = row[name] if is_shown else None
        is_signed = known.is_signed and name != "sd"
        return number(amount, DIGITS, is_signed=is_signed)

    return (
        known.unit,
        whole(row["n_patients"]),
        whole(row["n_implants"]),
        plain("mean"),
        plain("sd"),
        (plain("mean_low"), plain("mean_high")),
        plain("median"),
        (plain("q1"), plain("q3")),
        (plain("min"), plain("max")),
    )


def _deviations(audit: AuditTables, rows: list[Row]) -> Printed:
    words = audit.words
    sources = dict.fromkeys(words.sources(row["sources"]) for row in rows)
    return Printed(
        "deviations",
        words("deviations.table", sources="; ".join(sources)),
        columns_of(words, "deviations.column", ("measure", *FIGURES)),
        tuple((measures()[row["measure"]].label, *figures_of(row)) for row in rows),
        ("summarised.accuracy",),
        (
            *_one_source(audit, rows),
            words("deviations.unit_of_analysis"),
            words("deviations.spread"),
            words("deviations.few", n=FEWEST_SUMMED),
            *dict.fromkeys(row["note"] for row in rows if row["note"]),
        ),
    )


def _one_source(audit: AuditTables, rows: list[Row]) -> list[str]:
    """Say of how many of the measured implants the table is, where not of all."""
    measured = audit.counts["implants"]
    counted = max(row["n_implants"] for row in rows)
    if counted >= measured:
        return []
    n_of = audit.words.n_of(counted, measured)
    return [audit.words("deviations.one_source", n_of=n_of)]


def _likeness(audit: AuditTables, rows: list[Row]) -> Printed:
    words = audit.words
    names = ("measure", "pairs_of", "icc", ("interval", "low", "high"), "effect")
    lines = tuple(
        (
            measures()[row["measure"]].label,
            words(
                "deviations.clusters",
                patients=words.count("patient", row["n_patients"]),
                implants=words.count("implant", row["n_implants"]),
            ),
            number(row["icc"], DIGITS),
            (number(row["icc_low"], DIGITS), number(row["icc_high"], DIGITS)),
            number(row["design_effect"], DIGITS),
        )
        for row in rows
        if measures()[row["measure"]].place == "implants"
    )
    return Printed(
        "likeness",
        words("deviations.likeness"),
        columns_of(words, "deviations.column", names),
        lines,
        ("summarised.accuracy",),
        (words("deviations.icc_note"),),
    )


def _definitions(audit: AuditTables) -> Printed:
    words = audit.words
    return Printed(
        "definitions",
        words("deviations.definitions"),
        columns_of(words, "deviations.column", ("measure", "unit", "of", "definition")),
        tuple(
            (known.label, known.unit, known.place, known.sentence)
            for known in measures().values()
        ),
        ("reference.measures",),
        (words("deviations.frame"),),
        is_extra=True,
    )
