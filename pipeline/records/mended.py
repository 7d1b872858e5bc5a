"""Write the cells that a mend changes, and put rows back as they came.

Both are corrections like any other: the row as received is kept, a corrected row takes
its place, and the last answer to a row stands.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING

from pipeline.errors import NotAnswerable
from pipeline.records import corrections
from pipeline.records.decisions import Decision
from pipeline.records.held_cells import as_received
from pipeline.records.held_rows_now import cells_now
from pipeline.records.store import fields_of
from pipeline.reference import load
from pipeline.warehouse import named

if TYPE_CHECKING:
    from pipeline.warehouse import Warehouse

MENDED, PUT_BACK = "mended", "put back as it came"
"""What was decided about a row."""


def write_mend(
    store: Warehouse,
    sheet: str,
    changes: Mapping[int, Mapping[str, str]],
    finding_id: str,
    given: tuple[str, datetime, str],
) -> list[Decision]:
    """Put mended rows in the place of rows; call inside a transaction.

    Args:
        store: records.duckdb, open for loading.
        sheet: the record sheet.
        changes: row_id -> field -> new cell, with a decimal point.
        finding_id: the finding that is answered.
        given: who answers, when (UTC without a zone) and why.

    Returns:
        One decision a cell.

    Raises:
        NotAnswerable: a coordinate to change stands in no cell but comes from a mesh.
    """
    fields = {one.field: one for one in load.fields(sheet)}
    rows = cells_now(store, sheet, list(changes))
    if any(
        name.endswith("_mm") and not rows[row_id][name].strip()
        for row_id, cells in changes.items()
        for name in cells
    ):
        raise NotAnswerable(
            f"{finding_id} is about points that were fitted to a mesh; there is no cell "
            "to mend.",
            hint="Put the mesh right, or name the right one, and run again.",
        )
    new = {
        row_id: {
            name: as_received(text, fields[name], str(rows[row_id]["decimal_sign"]))
            for name, text in cells.items()
        }
        for row_id, cells in changes.items()
    }
    return _correct(store, sheet, {i: (i, new[i]) for i in new}, finding_id, given)


def put_back(
    store: Warehouse, finding_id: str, given: tuple[str, datetime, str]
) -> list[Decision]:
    """Put the rows that a finding's mend changed back as they came.

    Returns:
        One decision a cell; none where no such mend is in force.
    """
    decided: list[Decision] = []
    mended = store.run(
        """select sheet, received_row_id, new_row_id from corrections
        where is_in_force and workbook = $answer and new_row_id is not null
        order by sheet, received_row_id""",
        {"answer": _answer_to(finding_id)},
    )
    for sheet in dict.fromkeys(row[0] for row in mended):
        ids = {new: old for name, old, new in mended if name == sheet}
        received = cells_now(store, sheet, list(ids.values()))
        rows = {
            new: (old, {name: received[old][name] for name in fields_of(sheet)})
            for new, old in ids.items()
        }
        decided += _correct(store, sheet, rows, finding_id, given, PUT_BACK)
    return decided


def count_out_of_use(store: Warehouse, row_ids: list[int]) -> int:
    """Return how many of these rows are no longer in use."""
    return int(
        store.value(
            "select count(distinct row_id) from rows_not_in_use"
            " where list_contains($row_ids, row_id)",
            {"row_ids": row_ids},
        )
    )


def _correct(
    store: Warehouse,
    sheet: str,
    rows: Mapping[int, tuple[int, dict[str, str]]],
    finding_id: str,
    given: tuple[str, datetime, str],
    answer: str = MENDED,
) -> list[Decision]:
    """Correct rows; ``rows`` is row in use -> (row whose place is told, its new cells)."""
    import pandas as pd

    by, at, why = given
    before = cells_now(store, sheet, list(rows))
    places = _places(store, sheet, [shown for shown, _ in rows.values()])
    frame = pd.DataFrame(
        [
            before[row_id] | cells | {"old_row_id": row_id, "why": why}
            for row_id, (_, cells) in rows.items()
        ]
    )
    decided = [
        Decision(
            answer,
            f"{places[shown]}, finding {finding_id}",
            why,
            name,
            before[row_id][name],
            text,
        )
        for row_id, (shown, cells) in rows.items()
        for name, text in cells.items()
        if text != before[row_id][name]
    ]
    told = _answer_to(finding_id) if answer == MENDED else f"{finding_id} put back"
    sha256 = hashlib.sha256(f"{told} {at.isoformat()}".encode()).hexdigest()
    corrections.correct(store, sheet, frame, corrections.Answered(by, at, told, sha256))
    return decided


def _answer_to(finding_id: str) -> str:
    """Return what stands in corrections.workbook for a mend."""
    return f"the answer to finding {finding_id}"


def _places(store: Warehouse, sheet: str, row_ids: list[int]) -> dict[int, str]:
    return {
        row_id: f"{source}, {sheet}, row {row_number}"
        for row_id, source, row_number in store.run(
            f"""select r.row_id, l.source, r.row_number
            from {named(sheet)} as r inner join loads as l on r.load_no = l.load_no
            where list_contains($row_ids, r.row_id)""",
            {"row_ids": row_ids},
        )
    }
