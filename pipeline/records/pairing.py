"""Which row of a new load is which row in use, when both come from one source.

Rows are paired by natural key. A row that a person corrected or left out is paired by
what the clinic's file said when the person answered: while the file says the same, the
answer stands. Where a file repeats a key, rows of the same content belong together.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pipeline.records.store import fields_of
from pipeline.warehouse import named

if TYPE_CHECKING:
    from pipeline.warehouse import Warehouse

_OF_SOURCE = """inner join loads as l on r.load_no = l.load_no and l.source = $source
            and ($tab::varchar is null or l.tab = $tab)"""


def content_of(sheet: str) -> str:
    """Return SQL for everything a row r of a sheet says."""
    values = [*fields_of(sheet), "other_cells"]
    return f"row({', '.join(f'r.{named(value)}' for value in values)})"


def make_pairs(store: Warehouse, sheet: str, where: Mapping[str, Any]) -> None:
    """Make a passing table ``pairs`` of the rows in use and those of a load.

    Its columns: old_id (null for a new row), new_id (null for a row that is gone),
    is_changed, and taken_up: corrected or left out where an answer given to the row
    earlier stands, else null. A table ``standing`` of those answers is made too.

    Args:
        store: records.duckdb, open for loading.
        sheet: the record sheet.
        where: source, load_no, and tab where each tab is compared by itself.
    """
    _make_standing(store, sheet, where)
    content = content_of(sheet)
    store.run(
        f"""create or replace temp table pairs as
        select old.row_id as old_id, new.row_id as new_id,
            old.content is distinct from new.content as is_changed,
            cast(null as varchar) as taken_up
        from (
            select r.row_id, r.row_key, {content} as content
            from {named(sheet)} as r
            {_OF_SOURCE}
            anti join rows_not_in_use as u on r.row_id = u.row_id
            anti join standing as s on r.row_id = s.new_row_id
            where r.load_no < $load_no
        ) as old
        full join (
            select r.row_id, r.row_key, {content} as content
            from {named(sheet)} as r
            anti join standing as s on r.row_id = s.row_id
            where r.load_no = $load_no
        ) as new on old.row_key = new.row_key
        union all
        select s.new_row_id, s.row_id, false, s.kind from standing as s""",
        {key: where[key] for key in ("source", "load_no", "tab")},
    )
    _pair_late(store, sheet)


def _make_standing(store: Warehouse, sheet: str, where: Mapping[str, Any]) -> None:
    """Find the rows of a load that an answer given earlier is about.

    Makes a passing table: row_id in the load, and received_row_id, new_row_id and kind
    of the correction.
    """
    store.run(
        """create or replace temp table standing
        (row_id bigint, received_row_id bigint, new_row_id bigint, kind varchar)"""
    )
    content = content_of(sheet)
    store.run(
        f"""create or replace temp table answered as
        select c.received_row_id, c.new_row_id, c.kind, r.row_key,
            plain_key(r.row_key) as plain, {content} as content
        from corrections as c
        inner join {named(sheet)} as r on c.received_row_id = r.row_id
        {_OF_SOURCE}
        where c.sheet = $sheet and c.is_in_force""",
        {key: where[key] for key in ("source", "tab", "sheet")},
    )
    if store.value("select count(*) from answered"):
        store.run(
            f"""create or replace temp table asked as
            select r.row_id, r.row_key, plain_key(r.row_key) as plain, {content} as content
            from {named(sheet)} as r
            where r.load_no = $load_no
                and plain_key(r.row_key) in (select plain from answered)""",
            {"load_no": where["load_no"]},
        )
        # the very row first; then one that changed places with another of its key
        for same_place in ("a.row_key = n.row_key", "a.place = n.place"):
            store.run(_STANDING.format(same_place=same_place))
        store.run("drop table asked")
    store.run("drop table answered")


_STANDING = """
    insert into standing
    select n.row_id, a.received_row_id, a.new_row_id, a.kind
    from (
        select a.*, row_number() over (partition by plain, content order by row_key) as place
        from answered as a
        anti join standing as s on a.received_row_id = s.received_row_id
    ) as a
    inner join (
        select n.*, row_number() over (partition by plain, content order by row_key) as place
        from asked as n
        anti join standing as s on n.row_id = s.row_id
    ) as n on a.plain = n.plain and a.content = n.content and {same_place}"""


def _pair_late(store: Warehouse, sheet: str) -> None:
    """Pair what is left over: first by key and content, then by key without its number."""
    counts = store.run(
        "select count(*) filter (new_id is null),"
        " count(*) filter (old_id is null and taken_up is null) from pairs"
    )[0]
    if not all(counts):
        return
    content = content_of(sheet)
    store.run(
        f"""create or replace temp table late_old as
        select p.old_id, {content} as content,
            plain_key(coalesce(w.row_key, r.row_key)) as plain
        from pairs as p
        inner join {named(sheet)} as r on p.old_id = r.row_id
        left join corrections as c on r.row_id = c.new_row_id and c.is_in_force
        left join {named(sheet)} as w on c.received_row_id = w.row_id
        where p.new_id is null"""
    )
    store.run(
        f"""create or replace temp table late_new as
        select p.new_id, {content} as content, plain_key(r.row_key) as plain
        from pairs as p
        inner join {named(sheet)} as r on p.new_id = r.row_id
        where p.old_id is null and p.taken_up is null"""
    )
    store.run(
        "create or replace temp table late (old_id bigint, new_id bigint, is_changed boolean)"
    )
    for same in ("plain, content", "plain"):
        store.run(_LATE.format(same=same))
    store.run(
        """delete from pairs where new_id is null and old_id in (select old_id from late)
        or old_id is null and new_id in (select new_id from late)"""
    )
    store.run("insert into pairs select old_id, new_id, is_changed, null from late")
    for table in ("late", "late_old", "late_new"):
        store.run(f"drop table {table}")


_LATE = """
    insert into late
    select old.old_id, new.new_id, old.content is distinct from new.content
    from (
        select o.*, row_number() over (partition by {same} order by old_id) as place
        from late_old as o
        anti join late as l on o.old_id = l.old_id
    ) as old
    inner join (
        select n.*, row_number() over (partition by {same} order by new_id) as place
        from late_new as n
        anti join late as l on n.new_id = l.new_id
    ) as new using ({same}, place)"""
