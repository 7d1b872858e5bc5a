"""Answers given earlier, when the clinic's file comes again.

While a row of the file says what it said when a person corrected it or left it out, the
answer is taken up again: nothing changes back, and nobody is asked again. Once the row
says something new, the answer has ended.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pipeline.records.corrections import LEFT_OUT, finish_load, id_in_load, new_load
from pipeline.records.store import ROWS_PER_LOAD, fields_of
from pipeline.warehouse import named

if TYPE_CHECKING:
    from pipeline.warehouse import Warehouse


def take_up(store: Warehouse, sheet: str, where: Mapping[str, Any]) -> None:
    """Let answers given earlier stand for the rows of a new load that say the same.

    Needs the passing tables ``pairs`` and ``standing``. The corrected rows themselves
    follow by :func:`copy_taken_up`, once the file is in.

    Args:
        store: records.duckdb, open for loading.
        sheet: the record sheet.
        where: source, load_no, and tab where each tab is compared by itself.
    """
    load_no = where["load_no"]
    given = {key: where[key] for key in ("source", "load_no", "tab")} | {"sheet": sheet}
    store.run(
        """insert into rows_not_in_use
        select new_id, taken_up, $load_no from pairs where taken_up is not null""",
        {"load_no": load_no},
    )
    store.run(
        """insert into corrections
        select $load_no, c.sheet, c.kind, s.row_id, null, s.new_row_id, true,
            c.decided_at, c.decided_by, c.why, c.workbook
        from standing as s inner join corrections as c
            on s.received_row_id = c.received_row_id and c.is_in_force""",
        {"load_no": load_no},
    )
    store.run(
        """update corrections set is_in_force = false
        where is_in_force and load_no < $load_no and (
            received_row_id in (select s.received_row_id from standing as s)
            or new_row_id in (select p.old_id from pairs as p where p.new_id is not null)
        )""",
        {"load_no": load_no},
    )
    store.run(
        f"""update corrections set is_in_force = false
        where is_in_force and kind = '{LEFT_OUT}' and sheet = $sheet and received_row_id in (
            select r.row_id
            from {named(sheet)} as r
            inner join loads as l on r.load_no = l.load_no and l.source = $source
                and ($tab::varchar is null or l.tab = $tab)
            inner join {named(sheet)} as n on r.row_key = n.row_key and n.load_no = $load_no
            inner join pairs as p on n.row_id = p.new_id and p.taken_up is null
        )""",
        given,
    )


def copy_taken_up(store: Warehouse) -> None:
    """Put the corrected rows of answers taken up again beside the rows of the new load.

    A copy stands where the row stands in the new file, so that its row number is right.
    """
    pending = "new_row_id is null and copy_of is not null and is_in_force"
    groups = store.run(
        f"""select distinct sheet, received_row_id // {ROWS_PER_LOAD}, copy_of // {ROWS_PER_LOAD}
        from corrections where {pending} order by all"""
    )
    for sheet, template, before in groups:
        sign, sha256 = store.run(
            """select b.decimal_sign, t.file_sha256 from loads as b, loads as t
            where b.load_no = $before and t.load_no = $template""",
            {"before": before, "template": template},
        )[0]
        load_no = new_load(
            store,
            template,
            decimal_sign=sign,
            file_sha256=sha256,
            notes=["rows put right earlier; the file still says the same"],
        )
        given = {"load_no": load_no, "template": template, "before": before}
        names = ", ".join(f"o.{named(name)}" for name in fields_of(sheet))
        of_group = f"""{pending} and c.received_row_id // {ROWS_PER_LOAD} = $template
            and c.copy_of // {ROWS_PER_LOAD} = $before"""
        store.run(
            f"""insert into {named(sheet)} (row_id, load_no, row_number, row_key,
                other_cells, {", ".join(named(name) for name in fields_of(sheet))})
            select {id_in_load("r.row_id")}, $load_no, r.row_number, o.row_key,
                r.other_cells, {names}
            from corrections as c
            inner join {named(sheet)} as r on c.received_row_id = r.row_id
            inner join {named(sheet)} as o on c.copy_of = o.row_id
            where {of_group}""",
            given,
        )
        store.run(
            f"""insert into received_rows
            select {id_in_load("w.row_id")}, w.row_numbers, w.cells
            from corrections as c
            inner join received_rows as w on c.received_row_id = w.row_id
            where {of_group}""",
            given,
        )
        store.run(
            f"""update corrections as c set new_row_id = {id_in_load("c.received_row_id")}
            where {of_group}""",
            given,
        )
        finish_load(store, sheet, load_no)
