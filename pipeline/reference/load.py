"""Read the tables under reference/ that drive code, docs and tests."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parent


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of ``reference/<name>.csv`` as dictionaries of text."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
        return tuple(csv.DictReader(handle))


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a record sheet, as ``fields.csv`` states it.

    Attributes:
        sheet: the record sheet it belongs to.
        field: its heading.
        kind: text, number, whole, date, yes_no or code.
        unit: mm, deg, ... or empty.
        is_required: a row without it is set aside.
        is_key: part of what makes a row of the sheet unique.
        identity: case, patient, person, lab, place or guide where the text is
            replaced by a code when the file is loaded; else empty.
        codes: allowed words for a code or yes_no field.
        column_group: fields that fold together in the template workbook.
        meaning: one clause for people.
    """

    sheet: str
    field: str
    kind: str
    unit: str
    is_required: bool
    is_key: bool
    identity: str
    codes: tuple[str, ...]
    column_group: str
    meaning: str


def _codes(text: str) -> tuple[str, ...]:
    if text == "@events":
        return tuple(row["event"] for row in rows("events"))
    return tuple(text.split("|")) if text else ()


@cache
def fields(sheet: str | None = None) -> tuple[Field, ...]:
    """Return the fields of one sheet, or of all, in the order of fields.csv."""
    return tuple(
        Field(
            sheet=row["sheet"],
            field=row["field"],
            kind=row["kind"],
            unit=row["unit"],
            is_required=row["is_required"] == "yes",
            is_key=row["is_key"] == "yes",
            identity=row["identity"],
            codes=_codes(row["codes"]),
            column_group=row["column_group"],
            meaning=row["meaning"],
        )
        for row in rows("fields")
        if sheet in (None, row["sheet"])
    )


@cache
def sheets() -> tuple[str, ...]:
    """Return the names of the record sheets, in the order of fields.csv."""
    return tuple(dict.fromkeys(row["sheet"] for row in rows("fields")))


@cache
def stand_ins(sheet: str) -> dict[str, str]:
    """Return field -> the field of a record sheet that may stand in its place."""
    return {
        row["field"]: row["stand_in"]
        for row in rows("stand_ins")
        if row["sheet"] == sheet
    }


def missing(sheet: str, there: Collection[str]) -> list[str]:
    """Return the required fields that are not there, nor what may stand in their place."""
    instead = stand_ins(sheet)
    return [
        one.field
        for one in fields(sheet)
        if one.is_required
        and one.field not in there
        and instead.get(one.field) not in there
    ]


@cache
def worked_examples() -> tuple[dict[str, Any], ...]:
    """Return the worked examples: each a small sheet and the figures it must give."""
    with (FOLDER / "worked_examples.toml").open("rb") as handle:
        return tuple(tomllib.load(handle)["example"])
