"""Several centres' exports as one audit.

The exports are copied into ``pooled/`` of a new audit folder, one folder a centre named
by the code its export drew. A run of such an audit reads no records: the measured
tables are the exported rows, one centre after the other, and everything after them is
made as in any audit. Days are counted from each surgery, so there are no dates: what
needs the calendar (the strip in date order, recalls that are due) stays empty.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import audit as audits
from pipeline.errors import CannotPool
from pipeline.reference import load
from pipeline.sharing.columns import SharedColumn, exported
from pipeline.sharing.conventions import disagreements
from pipeline.sharing.describing import sha256
from pipeline.sharing.reading import (
    POOLED_TABLES,
    TOTALS_FILES,
    Export,
    csv_rows,
    read_export,
    type_of,
)
from pipeline.tables import Table
from pipeline.warehouse import named, quoted

if TYPE_CHECKING:
    from pipeline.audit import Audit
    from pipeline.warehouse import Warehouse

FILLED = {"BOOLEAN": "true", "BIGINT": "0", "INTEGER": "0"}
"""What stands in a column that is never null and that no centre gives."""


def pool(folder: Path, sources: Sequence[Path]) -> Audit:
    """Make one audit folder out of several exports.

    Args:
        folder: the new audit folder.
        sources: the exports, each a folder.

    Raises:
        NotAnExport: one of them is none, or is damaged.
        CannotPool: fewer than two, the same one twice, or they do not agree.
        FolderNotEmpty: the folder is there already.
    """
    exports = [read_export(source) for source in sources]
    if len(exports) < 2:
        raise CannotPool("One export alone is nothing to pool; name two or more.")
    _refuse_twice(exports)
    _refuse_conflicts(exports)
    audit = audits.create_folder(folder)
    for export in exports:
        to = audit.pooled_folder / export.centre_code
        for name in (*export.files(), "manifest.json"):
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(export.folder / name, to / name)
    return audit


def _refuse_twice(exports: Sequence[Export]) -> None:
    for one, other in combinations(exports, 2):
        for what in ("centre_code", "run_id"):
            if one.manifest[what] == other.manifest[what]:
                raise CannotPool(
                    f"{one.folder} and {other.folder} come from the same run of one audit.",
                    hint="Its patients would count twice; name each centre once.",
                )


def _refuse_conflicts(exports: Sequence[Export]) -> None:
    reasons = [
        f"{one.folder.name} and {other.folder.name} differ in {reason}"
        for one, other in combinations(exports, 2)
        for reason in disagreements(
            one.manifest["conventions"], other.manifest["conventions"]
        )
    ]
    if reasons:
        raise CannotPool(
            "These exports do not measure the same: " + "; ".join(reasons) + ".",
            hint="Export again after the audits agree (same version, same settings in"
            " audit.toml), or pool only those that do.",
        )


def pooled_files_sha256(audit: Audit) -> list[tuple[str, str]]:
    """Return each centre's code and the hash of its manifest, which has all others."""
    return [
        (path.name, sha256(path / "manifest.json"))
        for path in sorted(audit.pooled_folder.glob("*"))
    ]


def given_totals(
    audit: Audit,
) -> Iterator[tuple[str, list[dict[str, str]], tuple[str, ...]]]:
    """Yield (table of reference, rows, columns) of the totals that centres gave."""
    for file, (table, columns) in TOTALS_FILES.items():
        rows = []
        for path in sorted(audit.pooled_folder.glob(f"*/{file}")):
            with path.open(encoding="utf-8", newline="") as handle:
                rows += [
                    {**row, "centre_code": path.parent.name}
                    for row in csv.DictReader(handle)
                ]
        yield table, rows, columns


def pooled_tables(audit: Audit) -> dict[str, Table]:
    """Return the measured tables of a pooled audit, in place of those made of records.

    Raises:
        NotAnExport: a file in pooled/ is not as the centre gave it.
    """
    if not audit.is_pooled:
        return {}
    for folder in sorted(audit.pooled_folder.glob("*")):
        read_export(folder)
    return {
        source: Table(source, frozenset(), maker=_maker(audit, table, source))
        for table in POOLED_TABLES
        for source in {column.source for column in exported()[table]}
        if source.startswith("measured.")
    }


def _maker(audit: Audit, table: str, source: str) -> Any:
    def make(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
        selects = [
            _select(folder / "csv" / f"{table}.csv", source, folder.name)
            for folder in sorted(audit.pooled_folder.glob("*"))
            if (folder / "csv").is_dir()
        ]
        warehouse.make(source, " union all ".join(selects) or _no_rows(source))

    return make


def _no_rows(source: str) -> str:
    """Return a measured table without rows, where every centre gave totals alone."""
    terms = [
        f"null::{row['type']} as {named(row['column'])}"
        for row in load.rows("columns")
        if row["table"] == source
    ]
    return f"select {', '.join(terms)} limit 0"


def _select(path: Path, source: str, centre: str) -> str:
    """Return the rows of one centre as rows of a measured table."""
    shared = {
        column.column: column
        for columns in exported().values()
        for column in columns
        if column.source == source
    }
    terms = []
    for row in load.rows("columns"):
        if row["table"] == source:
            value = _value(row, shared.get(row["column"]), centre)
            terms.append(f"{value}::{row['type']} as {named(row['column'])}")
    return f"select {', '.join(terms)} from {csv_rows(path)}"


def _value(row: Mapping[str, str], column: SharedColumn | None, centre: str) -> str:
    if row["column"] == "row_id":
        return "row_number() over ()"
    # a day or a band is not the date or the figure it came from
    if column is None or column.form in {"days", "banded"}:
        return (
            FILLED.get(row["type"], "null") if row["null_means"] == "never" else "null"
        )
    own = f"cast({named(column.name)} as {type_of(column)})"
    return f"coalesce({own}, {quoted(centre)})" if column.code_of == "centre" else own
