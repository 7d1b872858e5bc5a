"""Make a table out of arrays with exactly the columns that columns.csv promises."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.reference import load
from pipeline.warehouse import Warehouse, named


def make_promised(warehouse: Warehouse, table: str, columns: Mapping[str, Any]) -> None:
    """Make a table; NaN and empty text become null.

    Args:
        warehouse: the audit.
        table: ``schema.table``, with its rows in columns.csv.
        columns: an array or series for each promised column, all of one length.
    """
    import pandas as pd

    promised = [row for row in load.rows("columns") if row["table"] == table]
    names = [row["column"] for row in promised]
    frame = pd.DataFrame({name: columns[name] for name in names})
    select = ", ".join(
        f"{_cast(row['column'], row['type'])} as {named(row['column'])}"
        for row in promised
    )
    warehouse.make_from_frame(table, frame, select)


def _cast(column: str, kind: str) -> str:
    value = f"{named(column)}::{kind}"
    return f"nullif({value}, '')" if kind == "VARCHAR" else value
