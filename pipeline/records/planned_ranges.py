"""A planned figure given as a range, such as 7-8, read as its middle when a person says so.

A plan may leave room: anything between is as planned, and its middle with half the width
beside it says the same. A reading has no such room, so a range of one is never read.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.errors import NotAnswerable
from pipeline.records.held_rows_now import cells_now
from pipeline.records.numbers_written import Style, Written, read_number
from pipeline.records.units import units
from pipeline.reference import load

if TYPE_CHECKING:
    from pipeline.warehouse import Warehouse

PLANNED = "planned"


def middle_of_planned(
    store: Warehouse, sheet: str, row_id: int, field: str, as_written: str
) -> Written:
    """Return the middle of a planned range, and half its width.

    Args:
        store: records.duckdb.
        sheet: the record sheet.
        row_id: the row.
        field: the field whose cell holds the range.
        as_written: the cell.

    Raises:
        NotAnswerable: it is no range of two figures, or no plan but a reading.
    """
    row = cells_now(store, sheet, [row_id])[row_id]
    state = str(row.get("state") or "").strip().lower()
    if not field.startswith(f"{PLANNED}_") and state != PLANNED:
        raise NotAnswerable(
            f"{field} of that row is a reading, not a plan: a range of it has no middle to "
            "be measured against.",
            hint="Write the one number that was read, or leave the cell empty, and run again.",
        )
    known = {one.field: one for one in load.fields(sheet)}[field]
    style = Style(
        str(row["decimal_sign"]), unit=units().get(known.unit), is_range_read=True
    )
    found = read_number(as_written, style)
    if found is None or not found.half_width:
        raise NotAnswerable(
            f"{field} of that row is no range of two figures, the smaller first.",
            hint="Write the planned number, and run again.",
        )
    return found
