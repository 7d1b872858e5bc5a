"""Print a table of an audit to standard output."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from pipeline.errors import NoSuchTable
from pipeline.warehouse import Warehouse, named_table

if TYPE_CHECKING:
    from pipeline.audit import Audit

FORMATS = ("table", "csv", "json", "parquet")
WIDEST_CELL = 28
"""Characters of a cell in the table format; csv and json give all of it."""


def print_table(
    audit: Audit,
    source: Path,
    table: str,
    file_format: str,
    out: TextIO,
    say: Callable[[str], None],
) -> None:
    """Print one table.

    Args:
        audit: the audit folder.
        source: records.duckdb or audit.duckdb.
        table: ``schema.table``; tables of received rows are ``records.<sheet>``.
        file_format: table, csv, json or parquet.
        out: where the text goes; parquet goes to the bytes behind it.
        say: told how many rows a table view leaves out.

    Raises:
        NoSuchTable: the audit holds no such table; names near ones.
    """
    with Warehouse(source, root=audit.folder, read_only=True) as warehouse:
        schema = "main" if source == audit.records_file else ""
        name = f"main.{table.partition('.')[2]}" if schema else table
        known = [k.replace("main.", "records.") for k in warehouse.tables()]
        refuse_unknown(table, known)
        select = f"select * from {named_table(name)}"
        if file_format in {"csv", "json", "parquet"}:
            _copy(audit, warehouse, select, file_format, out)
        else:
            _draw(warehouse, select, out, say)


def refuse_unknown(table: str, known: Sequence[str]) -> None:
    """Refuse a table that is not there.

    Raises:
        NoSuchTable: names near ones.
    """
    if table not in known:
        near = get_close_matches(table, known, n=3) or known
        raise NoSuchTable(
            f"There is no table {table}.", hint=f"Perhaps: {', '.join(near)}."
        )


def _copy(
    audit: Audit, warehouse: Warehouse, select: str, file_format: str, out: TextIO
) -> None:
    """Write inside the folder first: a hardened connection reaches nothing else."""
    target = audit.tmp / f"shown.{file_format}"
    options = {"csv": "csv, header", "json": "json, array true", "parquet": "parquet"}
    warehouse.copy_out(select, target, options[file_format])
    try:
        with target.open("rb") as handle:
            out.flush()
            shutil.copyfileobj(handle, out.buffer if out is sys.stdout else out)  # type: ignore[misc]
    finally:
        target.unlink(missing_ok=True)


def _draw(
    warehouse: Warehouse, select: str, out: TextIO, say: Callable[[str], None]
) -> None:
    rows = warehouse.run(f"{select} limit 40")
    names = [name for name, _ in warehouse.columns(f"({select})")]
    total = int(warehouse.value(f"select count(*) from ({select})"))
    cells = [names, *([_text(value) for value in row] for row in rows)]
    widths = [
        min(WIDEST_CELL, max(map(len, column))) for column in zip(*cells, strict=True)
    ]
    for row in cells:
        line = "  ".join(cell[:w].ljust(w) for cell, w in zip(row, widths, strict=True))
        out.write(line.rstrip() + "\n")
    if total > len(rows):
        say(f"{len(rows)} of {total} rows shown; --format csv gives all.")


def _text(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.3f}" if isinstance(value, float) else str(value)
