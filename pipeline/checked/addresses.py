"""Where a cell stands in the spreadsheet it came from, and which rows repeat a key."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from pipeline.reference import load
from pipeline.warehouse import Warehouse, named, quoted

if TYPE_CHECKING:
    import pandas as pd


def _columns(warehouse: Warehouse) -> pd.DataFrame:
    """Return load_no, field and column letters of every heading that is a field."""
    import pandas as pd
    from openpyxl.utils import get_column_letter

    from pipeline.records.headings import plain_heading

    rows = []
    laid_out = set(_laid_out_loads(warehouse))
    for load_no, sheet, headings in warehouse.run(
        "select load_no, sheet, headings from records.loads"
    ):
        if load_no in laid_out:
            continue
        names = {field.field for field in load.fields(sheet)}
        for position, heading in enumerate(headings or [], start=1):
            if plain_heading(heading) in names:
                letters = get_column_letter(position)
                rows.append((load_no, plain_heading(heading), letters))
    return pd.DataFrame(rows, columns=["load_no", "field", "letters"])


def make_cell_columns(warehouse: Warehouse) -> None:
    """Make a passing table: the column letters of each field, by load."""
    with warehouse.registered("columns_given", _columns(warehouse)):
        warehouse.run(
            """create or replace temp table cell_columns as
            select load_no::bigint as load_no, field::varchar as field,
                letters::varchar as letters
            from columns_given"""
        )


def _laid_out_loads(warehouse: Warehouse) -> dict[int, str]:
    """Return the loads a layout was used for, and where their fields stood (JSON)."""
    names = {name for name, _ in warehouse.columns("records.loads")}
    if "field_cells" not in names:
        return {}
    return dict(
        warehouse.run(
            "select load_no, field_cells from records.loads where field_cells <> ''"
        )
    )


def name_laid_out_cells(warehouse: Warehouse) -> None:
    """Put the address in the file received into the findings of laid-out rows.

    One row there can give several of ours, each with its cells in other columns or
    tabs; which part a row is stands in its row_id, above its row number.
    """
    import pandas as pd

    rows = [
        (load_no, part, field, origin, letters)
        for load_no, said in _laid_out_loads(warehouse).items()
        for part, cells in enumerate(json.loads(said))
        for field, (origin, letters) in cells.items()
    ]
    if not rows:
        return
    names = ["load_no", "part", "field", "origin", "letters"]
    with warehouse.registered("cells_given", pd.DataFrame(rows, columns=names)):
        warehouse.run(
            f"""update checked.findings as f
            set cell = c.letters || nullif(r.row_numbers[c.origin + 1], 0)
            from cells_given as c, records.received_rows as r
            where f.row_id = r.row_id
                and f.row_id // {2**32} = c.load_no
                and f.row_id % {2**32} // {2**26} = c.part
                and f.field = c.field"""
        )


def make_repeats(warehouse: Warehouse) -> None:
    """Make a passing table: the second and later rows of one file with one key.

    Their findings need ids of their own. The order among them is that of their
    content, so that it stays when the rows of the file change places.
    """
    warehouse.run("create or replace temp table repeats (row_id bigint, nth varchar)")
    for sheet in load.sheets():
        warehouse.run(
            f"""insert into repeats
            with alike as (
                select s.row_id, row_number() over (
                    partition by s.source, plain_key(s.row_key)
                    order by
                        hash(*columns(s.* exclude (row_id, source, row_number, row_key))),
                        s.row_number
                ) as place
                from staged.{named(sheet)} as s
                inner join checked.row_evidence as e on s.row_id = e.row_id
                where e.sheet = {quoted(sheet)}
                    and (e.count_in_file is null or e.count_in_file > 1)
            )
            select row_id, '#' || place from alike where place > 1"""
        )


def drop(warehouse: Warehouse) -> None:
    """Drop the passing tables."""
    for table in ("cell_columns", "repeats"):
        warehouse.run(f"drop table {table}")
