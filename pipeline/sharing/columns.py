"""Which columns leave the clinic, and in what form: reference/shared_columns.csv.

A row of that file is a column of a table that an export is made from. The select of an
export, its dictionary and its report of small groups all follow from these rows; a
column without one does not leave.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from pipeline.reference import load
from pipeline.warehouse import named, quoted

FLAG = "is_in_small_group"
"""Column of the exported cases that the report of small groups adds."""

FORMS = {
    "kept": "as measured",
    "days": "days since the surgery, in place of a date",
    "banded": "a band, in place of the figure",
    "fresh_code": "a random code made for this export alone",
    "dropped": "",
}
"""The forms a column may take, in words of the dictionary."""

_TYPES = {
    "VARCHAR": "string",
    "DOUBLE": "number",
    "BIGINT": "integer",
    "INTEGER": "integer",
    "BOOLEAN": "boolean",
}
_KINDS = {"code": "string", "whole": "integer", "number": "number", "yes_no": "boolean"}


@dataclass(frozen=True, slots=True)
class SharedColumn:
    """One column of a table that an export is made from.

    Attributes:
        table: the exported table.
        source: the table of the audit it comes from.
        column: its name there.
        form: kept, days, banded, fresh_code or dropped.
        name: its name in the export; empty where dropped.
        code_of: what the code names: case, patient, implant, person, lab, denture, visit.
        step: width of a band, in the column's unit.
        only: a pattern; a text that does not match all of it stays behind.
        is_key: part of what makes a row of the exported table unique.
        is_quasi: somebody outside may know it, so that a rare combination may point
            at a person.
        why: why it is dropped.
        type: string, number, integer or boolean, as exported.
        unit: mm, deg, days, ... or empty.
        null_means: what an empty cell means.
        meaning: one clause for people.
    """

    table: str
    source: str
    column: str
    form: str
    name: str
    code_of: str
    step: str
    only: str
    is_key: bool
    is_quasi: bool
    why: str
    type: str
    unit: str
    null_means: str
    meaning: str

    @property
    def is_required(self) -> bool:
        """Every row of the export has it."""
        return self.null_means == "never" and self.form != "days" and not self.only

    def expression(self) -> str:
        """Return the column as SQL, its source table aliased by its own name.

        A code is found in the list of codes of its kind, a day counted from the surgery
        of the case ``k``.
        """
        own = f"{alias(self.source)}.{named(self.column)}"
        if self.form == "fresh_code":
            return f"codes_{self.table}_{self.code_of}.code"
        if self.form == "days":
            return f"{own} - k.surgery_date"
        if self.form == "banded":
            low = f"floor({own} / {self.step}) * {self.step}"
            return f"format('{{:g}} to under {{:g}}', {low}, {low} + {self.step})"
        if self.only:
            return f"if(regexp_full_match({own}, {quoted(self.only)}), {own}, null)"
        return own


def alias(source: str) -> str:
    """Return the alias of a source table in a select."""
    return source.partition(".")[2]


@cache
def all_columns() -> tuple[SharedColumn, ...]:
    """Return every row of shared_columns.csv with what the contract says of the column."""
    return tuple(_column(row) for row in load.rows("shared_columns"))


@cache
def exported() -> dict[str, tuple[SharedColumn, ...]]:
    """Return the columns that leave, by exported table."""
    found: dict[str, tuple[SharedColumn, ...]] = {}
    for column in all_columns():
        if column.form != "dropped":
            found[column.table] = (*found.get(column.table, ()), column)
    return found


def key_of(table: str) -> tuple[str, ...]:
    """Return the names that make a row of an exported table unique; () for none."""
    return tuple(column.name for column in exported()[table] if column.is_key)


def quasi_identifiers() -> tuple[str, ...]:
    """Return the columns of the exported cases that somebody outside may know."""
    return tuple(column.name for column in exported()["cases"] if column.is_quasi)


def _column(row: dict[str, str]) -> SharedColumn:
    kind, unit, null_means, meaning = _contract(row["source"], row["column"])
    # the note itself stays behind
    form, null_means = row["form"], null_means.removesuffix(", see basis_note")
    if form == "days":
        kind, unit = "integer", "days"
        meaning = f"{meaning}, in days since the surgery"
        no_day = "no day of surgery is recorded"
        null_means = no_day if null_means == "never" else f"{null_means}; or {no_day}"
    if form in {"banded", "fresh_code"}:
        kind = "string"
    return SharedColumn(
        table=row["table"],
        source=row["source"],
        column=row["column"],
        form=form,
        name=row["name"],
        code_of=row["code_of"],
        step=row["step"],
        only=row["only"],
        is_key=row["is_key"] == "yes",
        is_quasi=row["is_quasi"] == "yes",
        why=row["why"],
        type=kind,
        unit=unit,
        null_means=null_means,
        meaning=meaning,
    )


@cache
def _contracts() -> dict[tuple[str, str], tuple[str, str, str, str]]:
    return {
        (row["table"], row["column"]): (
            _TYPES.get(row["type"], ""),
            row["unit"],
            row["null_means"],
            row["meaning"],
        )
        for row in load.rows("columns")
    }


def _contract(source: str, column: str) -> tuple[str, str, str, str]:
    """Return type, unit, what null means and meaning of a column of the audit.

    A measured column has them in columns.csv, a column of a usable sheet in fields.csv.
    """
    found = _contracts().get((source, column))
    if found:
        return found
    sheet = alias(source).removeprefix("usable_")
    for field in load.fields(sheet):
        if field.field == column:
            kind = _KINDS.get(field.kind, "")
            return kind, field.unit, "not given", field.meaning
    return "", "", "", ""
