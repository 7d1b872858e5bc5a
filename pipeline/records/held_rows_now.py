"""What became of the rows of a workbook to correct since it was written."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from pipeline.records.corrections import CORRECTED
from pipeline.records.pairing import content_of
from pipeline.warehouse import named

if TYPE_CHECKING:
    from pipeline.warehouse import Warehouse

IN_USE, ANSWERED, OUT, LATER, GONE = "in use", "answered", "out", "later", "gone"
"""A row now: as it was; put right; left out; saying something else by now; not there."""


def rows_now(
    store: Warehouse, sheet: str, row_ids: Sequence[int]
) -> dict[int, dict[str, Any]]:
    """Return every row asked about as it was written, and as it is now.

    Args:
        store: records.duckdb.
        sheet: the record sheet.
        row_ids: ids of the rows as the workbook keeps them; those that records.duckdb
            does not hold are left out.

    Returns:
        row_id -> now_state, now_id (the row in use, or the one the file has where it
        was left out; None where it is gone), and file_source, decimal_sign, row_number,
        row_key and the fields of the row asked about.
    """
    import pandas as pd

    content = content_of(sheet)
    with store.registered("given", pd.DataFrame({"row_id": row_ids}, dtype="int64")):
        store.run(
            f"""create or replace temp table asked as
            select r.row_id, r.row_key, plain_key(r.row_key) as plain, {content} as content,
                l.source, coalesce(l.tab, '') as tab, l.decimal_sign,
                coalesce(c.received_row_id, r.row_id) as root_id
            from given as g
            inner join {named(sheet)} as r on g.row_id = r.row_id
            inner join loads as l on r.load_no = l.load_no
            left join corrections as c on r.row_id = c.new_row_id"""
        )
    select = f"""with used as (
            select r.row_id, r.row_key, {content} as content, l.source,
                coalesce(l.tab, '') as tab
            from {named(sheet)} as r
            inner join loads as l on r.load_no = l.load_no
            anti join rows_not_in_use as u on r.row_id = u.row_id
            where r.row_key in (select row_key from asked)
        ),
        standing as (
            select c.received_row_id, c.new_row_id, c.kind, r.row_key,
                plain_key(r.row_key) as plain, {content} as content, l.source
            from corrections as c
            inner join {named(sheet)} as r on c.received_row_id = r.row_id
            inner join loads as l on r.load_no = l.load_no
            where c.is_in_force and c.sheet = $sheet
        ),
        answered as (
            select a.row_id, s.received_row_id, s.new_row_id, s.kind
            from asked as a
            inner join (
                select r.row_id, r.row_key, {content} as content from {named(sheet)} as r
            ) as w on a.root_id = w.row_id
            inner join standing as s on a.source = s.source
                and plain_key(w.row_key) = s.plain and w.content = s.content
            qualify row_number() over (
                partition by a.row_id order by s.row_key = w.row_key desc, s.received_row_id
            ) = 1
        )
        select a.row_id, case
                when a.row_id not in (select u.row_id from rows_not_in_use as u) then '{IN_USE}'
                when u.content = a.content then '{IN_USE}'
                when d.kind = '{CORRECTED}' then '{ANSWERED}'
                when d.kind is not null then '{OUT}'
                when u.row_id is not null then '{LATER}'
                else '{GONE}'
            end as now_state,
            case
                when a.row_id not in (select u.row_id from rows_not_in_use as u) then a.row_id
                when u.content = a.content then u.row_id
                else coalesce(d.new_row_id, d.received_row_id, u.row_id)
            end as now_id,
            a.source as file_source, a.decimal_sign, r.* exclude (row_id, load_no, other_cells)
        from asked as a
        inner join {named(sheet)} as r on a.row_id = r.row_id
        left join used as u
            on a.row_key = u.row_key and a.source = u.source and a.tab = u.tab
        left join answered as d on a.row_id = d.row_id
        qualify row_number() over (partition by a.row_id order by u.row_id desc) = 1
        order by a.row_id"""
    found = _by_id(store, select, {"sheet": sheet})
    store.run("drop table asked")
    return found


def _by_id(
    store: Warehouse, select: str, given: dict[str, Any]
) -> dict[int, dict[str, Any]]:
    """Return the rows of a select by the first column, by name."""
    names = [row[0] for row in store.run(f"describe {select}", given)]
    rows = store.run(select, given)
    return {row[0]: dict(zip(names, row, strict=True)) for row in rows}


def cells_now(
    store: Warehouse, sheet: str, row_ids: Sequence[int]
) -> dict[int, dict[str, Any]]:
    """Return rows as records.duckdb has them: row_id -> decimal_sign and the fields."""
    import pandas as pd

    with store.registered("given", pd.DataFrame({"row_id": row_ids}, dtype="int64")):
        return _by_id(
            store,
            f"""select r.row_id, l.decimal_sign,
                r.* exclude (row_id, load_no, row_number, row_key, other_cells)
            from {named(sheet)} as r
            semi join given as g on r.row_id = g.row_id
            inner join loads as l on r.load_no = l.load_no""",
            {},
        )
