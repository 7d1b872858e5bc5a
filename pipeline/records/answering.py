"""Answers to two questions about files: is a row really gone, is the older file right.

Nothing is deleted. A row that is no longer wanted is named in ``rows_not_in_use``; a file
that was held because it is older is loaded once more from the rows kept of it, and so
compared with what is in use like any other load.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from pipeline.records.comparing import Counts, compare_load, note_load
from pipeline.records.store import ROWS_PER_LOAD, fields_of
from pipeline.records.taking_up import copy_taken_up
from pipeline.warehouse import named

if TYPE_CHECKING:
    from pipeline.warehouse import Warehouse

NO_LONGER_THERE = "no longer in the file"
"""Why a row is no longer in use."""

_COUNTED = frozenset(
    {"load_no", "status"}
    | {
        f"count_{what}"
        for what in ("rows", "new", "changed", "same", "gone", "left_out")
    }
)


def stop_using(store: Warehouse, row_id: int) -> bool:
    """Stop using a row that its file no longer has; call inside a transaction.

    Args:
        store: records.duckdb, open for loading.
        row_id: the row.

    Returns:
        Whether it was still used and is no longer in its file; else nothing is done.
    """
    load_no = row_id // ROWS_PER_LOAD
    answered_by = store.value(
        """select max(l.load_no) from loads as l
        inner join loads as o on o.load_no = $load_no and o.status = 'replaced'
            and l.source = o.source and l.sheet = o.sheet
        where l.load_no > o.load_no
            and $row_id not in (select row_id from rows_not_in_use)""",
        {"load_no": load_no, "row_id": row_id},
    )
    if answered_by is None:
        return False
    store.run(
        "insert into rows_not_in_use values ($row_id, $because, $load_no)",
        {"row_id": row_id, "because": NO_LONGER_THERE, "load_no": answered_by},
    )
    return True


def older_loads(store: Warehouse, source: str, sheet: str) -> list[int]:
    """Return the loads of a file and sheet that are held because they are older.

    A later load of the same tab has answered the question.
    """
    return [
        row[0]
        for row in store.run(
            """select o.load_no from loads as o
            anti join loads as l on o.source = l.source and o.sheet = l.sheet
                and o.tab is not distinct from l.tab and o.load_no < l.load_no
                and l.status <> 'correction'
            where o.status = 'older' and o.source = $source and o.sheet = $sheet
            order by o.load_no""",
            {"source": source, "sheet": sheet},
        )
    ]


def use_older(
    store: Warehouse, load_no: int, *, by: str, at: datetime, why: str
) -> Counts:
    """Use a file that was held because it is older; call inside a transaction.

    Its rows become a load of their own, the newest, and replace those in use.

    Args:
        store: records.duckdb, open for loading.
        load_no: the load that was held.
        by: who answers for it.
        at: when, UTC without a zone.
        why: the person's own reason, written into amendments.

    Returns:
        What happened to the rows.
    """
    stamp = _stamp_of(store, load_no) | {"loaded_at": at}
    sheet = str(stamp.pop("sheet"))
    again = int(store.value("select max(load_no) + 1 from loads"))
    _copy_rows(store, sheet, load_no, again)
    where = {
        "source": stamp["source"],
        "sheet": sheet,
        "load_no": again,
        "tab": stamp["tab"] if _is_of_tab(store, stamp["source"], sheet) else None,
    }
    counts = Counts(
        rows=int(
            store.value(
                f"select count(*) from {named(sheet)} where load_no = $n", {"n": again}
            )
        )
    )
    compare_load(store, sheet, where, counts, stamp, by)
    note_load(store, where, stamp, counts, "in use")
    copy_taken_up(store)
    store.run(
        "update amendments set why = $why where load_no = $load_no",
        {"why": why, "load_no": again},
    )
    return counts


def _stamp_of(store: Warehouse, load_no: int) -> dict[str, Any]:
    """Return what is known of a load beside its number, status and counts."""
    names = [name for name, _ in store.columns("loads") if name not in _COUNTED]
    columns = ", ".join(named(name) for name in names)
    found = store.run(f"select {columns} from loads where load_no = $n", {"n": load_no})
    return dict(zip(names, found[0], strict=True))


def _copy_rows(store: Warehouse, sheet: str, from_load: int, to_load: int) -> None:
    fields = ", ".join(named(name) for name in fields_of(sheet))
    numbers = {"from_load": from_load, "to_load": to_load}
    moved = f"$to_load::bigint * {ROWS_PER_LOAD} + row_id % {ROWS_PER_LOAD}"
    store.run(
        f"""insert into {named(sheet)}
        (row_id, load_no, row_number, row_key, other_cells, {fields})
        select {moved}, $to_load, row_number, row_key, other_cells, {fields}
        from {named(sheet)} where load_no = $from_load order by row_id""",
        numbers,
    )
    store.run(
        f"""insert into received_rows
        select {moved}, row_numbers, cells from received_rows
        where row_id // {ROWS_PER_LOAD} = $from_load""",
        numbers,
    )


def _is_of_tab(store: Warehouse, source: str, sheet: str) -> bool:
    """Tell whether several tabs of the file give rows of this sheet."""
    return bool(
        store.value(
            "select count(distinct tab) > 1 from loads where source = $source"
            " and sheet = $sheet and status = 'in use'",
            {"source": source, "sheet": sheet},
        )
    )
