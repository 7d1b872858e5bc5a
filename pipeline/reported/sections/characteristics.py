"""Who was treated and how, and what was placed: tables 1 and 2 of a paper."""

from __future__ import annotations

from itertools import groupby

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.printed import Cell, Printed, columns_of
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import NOT_HELD, number, percent, whole

NUMBER, MISSING = "number", "not recorded"
COLUMNS = ("characteristic", "value", "cases", "share", "patients", "not_measured")


def content(audit: AuditTables) -> Section:
    """Return both tables; without measured cases a sentence says so."""
    if not any(row["is_measured"] for row in audit.case_characteristics):
        return Section({"tables": ()})
    tables = (_cases(audit), _implants(audit))
    return Section({"tables": tables}, printed=tables)


def _cases(audit: AuditTables) -> Printed:
    words = audit.words
    rows = audit.case_characteristics
    lines: list[tuple[Cell, ...]] = []
    for (name, value), both in groupby(
        rows, key=lambda row: (row["characteristic"], row["value"])
    ):
        found = {row["is_measured"]: row for row in both}
        inside, outside = found.get(True), found.get(False)
        total = _total(rows, name, "count_cases", is_measured=True)
        left = _total(rows, name, "count_cases", is_measured=False)
        n = inside["count_cases"] if inside else 0
        lines.append(
            (
                _name(audit, name),
                _value(audit, name, value, inside),
                whole(n),
                percent(n / total),
                whole(inside["count_patients"] if inside else 0),
                words.n_of(outside["count_cases"] if outside else 0, left),
            )
        )
    return Printed(
        "patients",
        words("characteristics.patients", cases=_said(audit, rows)),
        columns_of(words, "characteristics.column", COLUMNS),
        tuple(lines),
        ("summarised.case_characteristics",),
        (words("characteristics.note"), words("characteristics.no_age")),
    )


def _implants(audit: AuditTables) -> Printed:
    words = audit.words
    rows = audit.implant_characteristics
    lines: list[tuple[Cell, ...]] = [
        (
            _name(audit, row["characteristic"]),
            _value(audit, row["characteristic"], row["value"], row),
            whole(row["count_implants"]),
            percent(
                row["count_implants"]
                / _total(rows, row["characteristic"], "count_implants")
            ),
            whole(row["count_patients"]),
        )
        for row in rows
    ]
    n = _total(rows, "side", "count_implants")
    names = ("characteristic", "value", "implants", "share", "patients")
    return Printed(
        "implants",
        words("characteristics.implants", implants=words.count("implant", n)),
        columns_of(words, "characteristics.column", names),
        tuple(lines),
        ("summarised.implant_characteristics",),
        (words("characteristics.note"),),
    )


def _said(audit: AuditTables, rows: list[Row]) -> str:
    return audit.words.count(
        "case", _total(rows, "jaw", "count_cases", is_measured=True)
    )


def _total(
    rows: list[Row], name: str, count: str, *, is_measured: bool | None = None
) -> int:
    return sum(
        row[count]
        for row in rows
        if row["characteristic"] == name
        and (is_measured is None or row["is_measured"] == is_measured)
    )


def _name(audit: AuditTables, name: str) -> str:
    return audit.words(f"characteristics.of.{name}")


def _value(audit: AuditTables, name: str, value: str, row: Row | None) -> str:
    """Return a word, or mean, SD, median and range of a number."""
    words = audit.words
    if value == MISSING:
        return words("characteristics.missing")
    if value == NUMBER:
        if row is None:
            return NOT_HELD
        figures = ("mean", "sd", "median", "smallest", "largest")
        return words(
            "characteristics.number",
            **{figure: number(row[figure], 1) for figure in figures},
        )
    if name == "source":
        return words.sources(value)
    return words.code("group_value", value)
