"""Where a cell stands in the spreadsheet it came from, and which rows repeat a key."""

from __future__ import annotations

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
    for load_no, sheet, headings in warehouse.run(
        "select load_no, sheet, headings from records.loads"
    ):
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
