"""Put right, or leave out, rows of records.duckdb at a person's word.

A corrected row is a new row of the same source, in a load of its own (status
``correction``) that is otherwise like the load of the row it takes the place of. The row
as the clinic's file has it is never touched.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from pipeline.records.row_keys import one_key_expression
from pipeline.records.store import ROWS_PER_LOAD, fields_of
from pipeline.warehouse import named

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.warehouse import Warehouse

CORRECTED, LEFT_OUT = "corrected", "left out"
"""Why a row is no longer in use."""

STATUS = "correction"
"""Status of a load made of corrected rows."""


@dataclass(frozen=True, slots=True)
class Answered:
    """Who answered, when, and where it was written.

    Attributes:
        by: who answers for it, as audit.toml names the lead.
        at: UTC, without a zone.
        workbook: the file the answers stand in, as shown to people.
        sha256: hash of that file.
    """

    by: str
    at: datetime
    workbook: str
    sha256: str


def correct(
    store: Warehouse, sheet: str, rows: pd.DataFrame, answered: Answered
) -> None:
    """Put corrected rows in the place of rows; call inside a transaction.

    Args:
        store: records.duckdb, open for loading.
        sheet: the record sheet.
        rows: one row a correction: old_row_id, why, and every field of the sheet as
            text under the decimal sign of the old row's load; identities are codes.
        answered: who, when, where.
    """
    names = ", ".join(f"{named(n)}::varchar as {named(n)}" for n in fields_of(sheet))
    with store.registered("given", rows):
        store.run(
            f"""create or replace temp table corrected as
            select old_row_id::bigint as old_row_id,
                old_row_id::bigint // {ROWS_PER_LOAD} as old_load_no,
                why::varchar as why, {names}
            from given"""
        )
    for (template,) in store.run(
        "select distinct old_load_no from corrected order by 1"
    ):
        _correct_of_load(store, sheet, template, answered)
    store.run("drop table corrected")


def _correct_of_load(
    store: Warehouse, sheet: str, template: int, answered: Answered
) -> None:
    load_no = new_load(
        store,
        template,
        file_sha256=answered.sha256,
        loaded_at=answered.at,
        notes=[f"rows put right in {answered.workbook}"],
    )
    given = {"load_no": load_no, "template": template}
    _insert_corrected(store, sheet, given)
    store.run(
        f"""insert into rows_not_in_use
        select c.old_row_id, '{CORRECTED}', $load_no from corrected as c
        where c.old_load_no = $template
            and c.old_row_id not in (select u.row_id from rows_not_in_use as u)""",
        given,
    )
    _note_fields(store, sheet, given, answered)
    store.run(
        f"""insert into corrections
        select $load_no, $sheet, '{CORRECTED}', coalesce(b.received_row_id, c.old_row_id),
            {id_in_load("c.old_row_id")}, null, true, $at, $by, c.why, $workbook
        from corrected as c
        left join corrections as b on b.is_in_force
            and c.old_row_id in (b.new_row_id, b.received_row_id)
        where c.old_load_no = $template""",
        given | _of(answered) | {"sheet": sheet},
    )
    _end_earlier(store, load_no)
    finish_load(store, sheet, load_no)


def _of(answered: Answered) -> dict[str, Any]:
    return {"at": answered.at, "by": answered.by, "workbook": answered.workbook}


def id_in_load(row_id: str) -> str:
    """Return SQL for the id that a row gets in the load ``$load_no``; its place stays."""
    return f"$load_no::bigint * {ROWS_PER_LOAD} + {row_id} % {ROWS_PER_LOAD}"


def new_load(store: Warehouse, template: int, **changes: Any) -> int:
    """Add a load of corrected rows that is otherwise like another; return its number."""
    load_no = int(store.value("select max(load_no) + 1 from loads"))
    replaced = "".join(f", ${name} as {name}" for name in changes)
    store.run(
        f"""insert into loads by name
        select * replace ($load_no::integer as load_no, '{STATUS}' as status,
            0 as count_new, 0 as count_same, 0 as count_gone, 0 as count_left_out,
            0 as count_problems{replaced})
        from loads where load_no = $template""",
        {"load_no": load_no, "template": template, **changes},
    )
    return load_no


def finish_load(store: Warehouse, sheet: str, load_no: int) -> None:
    """Write the counts of a load of corrected rows."""
    store.run(
        f"""update loads set count_rows = n.count_rows, count_changed = n.count_rows
        from (
            select count(*) as count_rows from {named(sheet)} where load_no = $load_no
        ) as n
        where load_no = $load_no""",
        {"load_no": load_no},
    )


def _insert_corrected(store: Warehouse, sheet: str, given: dict[str, Any]) -> None:
    """Insert the corrected rows of one load, keyed by what they say now."""
    names = ", ".join(named(name) for name in fields_of(sheet))
    store.run(
        f"""insert into {named(sheet)}
        (row_id, load_no, row_number, row_key, other_cells, {names})
        with keyed as (
            select old_row_id, row_number, other_cells, {names},
                {one_key_expression(sheet)} as one_key
            from (
                select c.*, r.row_number, r.other_cells
                from corrected as c inner join {named(sheet)} as r on c.old_row_id = r.row_id
                where c.old_load_no = $template
            )
        ),
        taken as (
            select plain_key(r.row_key) as one_key, max(coalesce(
                try_cast(regexp_extract(r.row_key, '#(\\d+)$', 1) as integer), 1
            )) as last_number
            from {named(sheet)} as r
            inner join loads as l on r.load_no = l.load_no
            anti join rows_not_in_use as u on r.row_id = u.row_id
            anti join corrected as c on r.row_id = c.old_row_id
            where l.source = (select t.source from loads as t where t.load_no = $template)
            group by 1
        )
        select {id_in_load("k.old_row_id")}, $load_no, k.row_number,
            k.one_key || case
                when t.last_number is null and count(*) over of_key = 1 then ''
                else '#' || (coalesce(t.last_number, 0) + row_number() over of_key)
            end,
            k.other_cells, {", ".join(f"k.{named(name)}" for name in fields_of(sheet))}
        from keyed as k left join taken as t on k.one_key = t.one_key
        window of_key as (partition by k.one_key order by k.row_number
            rows between unbounded preceding and unbounded following)""",
        given,
    )
    store.run(
        f"""insert into received_rows
        select {id_in_load("c.old_row_id")}, w.row_numbers, w.cells
        from corrected as c inner join received_rows as w on c.old_row_id = w.row_id
        where c.old_load_no = $template""",
        given,
    )


def _note_fields(
    store: Warehouse, sheet: str, given: dict[str, Any], answered: Answered
) -> None:
    """Write an amendment for every cell that was changed."""
    for name in fields_of(sheet):
        store.run(
            f"""insert into amendments
            select $load_no, $sheet, new.row_key, $field, old.{named(name)}, new.{named(name)},
                old.row_id, new.row_id, $at, $by, c.why
            from corrected as c
            inner join {named(sheet)} as old on c.old_row_id = old.row_id
            inner join {named(sheet)} as new on new.row_id = {id_in_load("c.old_row_id")}
            where c.old_load_no = $template and old.{named(name)} <> new.{named(name)}""",
            {
                **given,
                "sheet": sheet,
                "field": name,
                "at": answered.at,
                "by": answered.by,
            },
        )


def _end_earlier(store: Warehouse, load_no: int) -> None:
    """Let only the last answer to a row stand."""
    store.run(
        """update corrections set is_in_force = false
        where is_in_force and load_no < $load_no and received_row_id in
            (select c.received_row_id from corrections as c where c.load_no = $load_no)""",
        {"load_no": load_no},
    )


def leave_out(
    store: Warehouse, sheet: str, rows: pd.DataFrame, answered: Answered
) -> None:
    """Take rows out of use; call inside a transaction.

    Args:
        store: records.duckdb, open for loading.
        sheet: the record sheet.
        rows: one row a row left out: row_id, why.
        answered: who, when, where.
    """
    with store.registered("given", rows):
        store.run(
            f"""create or replace temp table left_out as
            select g.row_id::bigint as row_id, g.why::varchar as why, r.row_key,
                coalesce(b.received_row_id, r.row_id) as received_row_id
            from given as g
            inner join {named(sheet)} as r on g.row_id = r.row_id
            left join corrections as b on b.is_in_force and b.new_row_id = r.row_id"""
        )
    load_no = int(store.value("select max(load_no) from loads"))
    given = {"load_no": load_no, "sheet": sheet, "at": answered.at, "by": answered.by}
    store.run(
        f"insert into rows_not_in_use select row_id, '{LEFT_OUT}', $n from left_out",
        {"n": load_no},
    )
    store.run(
        f"""insert into amendments
        select $load_no, $sheet, row_key, '', 'in use', '{LEFT_OUT}', row_id, null, $at, $by, why
        from left_out""",
        given,
    )
    store.run(
        """update corrections set is_in_force = false where is_in_force
        and received_row_id in (select received_row_id from left_out)"""
    )
    store.run(
        f"""insert into corrections
        select $load_no, $sheet, '{LEFT_OUT}', received_row_id, null, null, true,
            $at, $by, why, $workbook
        from left_out""",
        given | {"workbook": answered.workbook},
    )
    store.run("drop table left_out")
