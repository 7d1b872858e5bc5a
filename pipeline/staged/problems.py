"""Which cells could not be read, and how much of each field was given.

The only place that tells an empty cell, a cell that says "no value" and an unreadable
one apart; staged.<sheet> has null for all three.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.reference import load
from pipeline.reference.load import Field
from pipeline.staged import written
from pipeline.tables import makes
from pipeline.warehouse import Warehouse, named

QUALIFIED = r"^\s*([<>~≈≤≥±]|ca\.?\s|approx|about|circa)|(approx|about|ca\.?)\s*$|\d\s*[-–]\s*\d"
"""A number with a word or sign that says it is not exactly that."""

_SHEETS = tuple(f"staged.{sheet}" for sheet in load.sheets())
_RECORDS = tuple(f"records.{sheet}" for sheet in load.sheets())


def staged_name(field: Field) -> str:
    """Return the name a field has in staged.<sheet>."""
    if field.identity == "case":
        return "case_key"
    if field.identity == "patient":
        return "patient_key"
    if field.identity:
        return f"{field.field.removesuffix('_id')}_code"
    if field.field == "source":
        return "reading_source"
    return field.field


def allowed_words() -> dict[str, list[str]]:
    """Return the SQL parameters that hold the allowed words of each code field."""
    return {
        f"{field.sheet}_{field.field}": list(field.codes)
        for field in load.fields()
        if field.kind == "code"
    }


def _trouble(field: Field) -> str:
    """Return SQL that is true for a row whose cell of this field is in trouble."""
    raw, staged = f"r.{named(field.field)}", f"s.{named(staged_name(field))}"
    if field.kind == "code":
        unread = f"trim({raw}) <> '' and code_of({raw}, ${field.sheet}_{field.field}) is null"
    else:
        unread = f"trim({raw}) <> '' and {staged} is null"
    if field.is_required:
        instead = load.stand_ins(field.sheet).get(field.field)
        is_away = f"trim({raw}) = ''"
        if instead is not None:
            is_away += f" and trim(r.{named(instead)}) = ''"
        return f"({unread} or {is_away})"
    return f"({unread})"


def _kind(field: Field) -> str:
    """Return SQL that names the trouble of one cell."""
    raw = f"r.{named(field.field)}"
    number = f"number_of({raw}, r.decimal_sign)"
    last = {
        "code": "'not_a_code'",
        "yes_no": "'not_a_code'",
        "date": "'not_a_day'",
        "number": "'not_a_number'",
        "whole": f"case when {number} is not null then 'not_whole' else 'not_a_number' end",
        "text": "'said_missing'",
    }[field.kind]
    qualified = (
        f"when regexp_matches(lower({raw}), $qualified) then 'qualified'"
        if field.kind in {"number", "whole"}
        else ""
    )
    known = written.told_apart(field, raw)
    return (
        f"case when trim({raw}) = '' then 'empty'"
        f" when is_said_missing({raw}) then 'said_missing'"
        f" {known} {qualified} else {last} end"
    )


@makes("staged.problems", reads=(*_SHEETS, *_RECORDS))
def make_problems(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make staged.problems: one row a cell in trouble."""
    warehouse.run(
        "create or replace table staged.problems (row_id bigint, sheet varchar,"
        " field varchar, as_written varchar, problem varchar)"
    )
    for sheet in load.sheets():
        checkable = load.fields(sheet)
        any_trouble = " or ".join(_trouble(field) for field in checkable)
        words = {
            f"{f.sheet}_{f.field}": parameters[f"{f.sheet}_{f.field}"]
            for f in checkable
            if f.kind == "code"
        }
        warehouse.run(
            f"""create or replace temp table troubled as
            select r.*, l.decimal_sign
            from records.{named(sheet)} as r
            inner join staged.{named(sheet)} as s on r.row_id = s.row_id
            inner join records.loads as l on r.load_no = l.load_no
            where {any_trouble}""",
            words,
        )
        if warehouse.value("select count(*) from troubled"):
            for field in checkable:
                _add_problems(warehouse, sheet, field, words)
        warehouse.run("drop table troubled")


def _add_problems(
    warehouse: Warehouse, sheet: str, field: Field, words: Mapping[str, Any]
) -> None:
    name = f"{field.sheet}_{field.field}"
    select = f"""
        select r.row_id, $sheet, $field, r.{named(field.field)}, {_kind(field)}
        from troubled as r
        inner join staged.{named(sheet)} as s on r.row_id = s.row_id
        where {_trouble(field)}"""
    given: dict[str, Any] = {"sheet": sheet, "field": field.field}
    if field.kind == "code":
        given[name] = words[name]
    if "$qualified" in select:
        given["qualified"] = QUALIFIED
    warehouse.run(f"insert into staged.problems {select}", given)


@makes("staged.completeness", reads=("staged.problems", *_SHEETS))
def make_completeness(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make staged.completeness: one row a field of a sheet in use."""
    import pandas as pd

    said = {
        (sheet, name): (missing, unreadable)
        for sheet, name, missing, unreadable in warehouse.run(
            """select sheet, field, count(*) filter (problem = 'said_missing'),
                count(*) filter (problem not in ('said_missing', 'empty'))
            from staged.problems group by all"""
        )
    }
    rows = []
    for sheet in load.sheets():
        checkable = load.fields(sheet)
        counts = ", ".join(f"count({named(staged_name(f))})" for f in checkable)
        found = warehouse.run(f"select count(*), {counts} from staged.{named(sheet)}")[
            0
        ]
        if found[0] == 0:
            continue
        for field, given in zip(checkable, found[1:], strict=True):
            missing, unreadable = said.get((sheet, field.field), (0, 0))
            rows.append((sheet, field.field, found[0], given, missing, unreadable))
    frame = pd.DataFrame(
        rows,
        columns=[
            "sheet",
            "field",
            "count_rows",
            "count_given",
            "count_said_missing",
            "count_unreadable",
        ],
    )
    warehouse.make_from_frame(
        "staged.completeness",
        frame,
        "sheet::varchar as sheet, field::varchar as field, count_rows::bigint as count_rows,"
        " count_given::bigint as count_given,"
        " count_said_missing::bigint as count_said_missing,"
        " count_unreadable::bigint as count_unreadable",
    )
