"""An export as another centre gave it: looked over before anything of it is used."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any

from pipeline.errors import NotAnExport
from pipeline.reference import load
from pipeline.sharing.columns import SharedColumn, exported
from pipeline.sharing.describing import sha256
from pipeline.sharing.taking_out import FORMAT
from pipeline.summarised.centre_totals import (
    BIN_COLUMNS,
    COLUMNS,
    MET,
    ROOT,
    VALUE,
    fixed,
)
from pipeline.warehouse import Warehouse, named, quoted

TOTALS_FILES = {
    "totals.csv": ("centre_totals", COLUMNS),
    "bins.csv": ("centre_bins", BIN_COLUMNS),
}
"""The files of totals with the table of the schema reference that holds them."""

WHOLE = ("per_patient", "n_patients", "place", "count_values")
NUMBERS = (
    "limit_value",
    "counted_from",
    "sum_totals",
    "sum_squared_totals",
    "sum_squared_values",
    "width",
)

POOLED_TABLES = ("cases", "implants", "pairs", "dentures", "visits", "events")
"""Tables of an export that a pooled audit reads. The common motion of a pair stays out:
without the length of the implants, which does not leave a clinic, it cannot be divided."""


@dataclass(frozen=True)
class Export:
    """One centre's export.

    Attributes:
        folder: where it lies.
        manifest: what it says of itself.
    """

    folder: Path
    manifest: dict[str, Any]

    @property
    def centre_code(self) -> str:
        """The random code that the export gave itself."""
        return str(self.manifest["centre_code"])

    def files(self) -> tuple[str, ...]:
        """Return the files a pooled audit takes over, beside the manifest."""
        if self.manifest["content"] == "totals":
            return tuple(TOTALS_FILES)
        return tuple(f"csv/{table}.csv" for table in POOLED_TABLES)


def read_export(folder: Path) -> Export:
    """Read what an export says of itself and look over the files that will be used.

    Raises:
        NotAnExport: it is none, a file is missing or not as it was written, or a column
            is not what this version expects.
    """
    try:
        text = (folder / "manifest.json").read_text(encoding="utf-8")
        manifest = json.loads(text)
        is_ours = manifest["format"] == FORMAT and manifest["content"] in {
            "rows",
            "totals",
        }
        is_coded = re.fullmatch("[a-z]{12}", manifest["centre_code"])
        hashes = {name: said["sha256"] for name, said in manifest["files"].items()}
        is_said = isinstance(manifest["conventions"], dict) and manifest["run_id"]
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise NotAnExport(
            f"{folder} is no export: it holds no manifest.json of one.",
            hint="Name the folder that plumbpost export wrote, unpacked.",
        ) from None
    if not (is_ours and is_coded and is_said):
        raise NotAnExport(f"{folder} is an export of a kind that cannot be pooled.")
    export = Export(folder, manifest)
    for name in export.files():
        if not (folder / name).is_file() or sha256(folder / name) != hashes.get(name):
            raise NotAnExport(
                f"{folder}: {name} is missing or not as the export was written.",
                hint="Ask the centre for the export again; do not edit its files.",
            )
    if manifest["content"] == "totals":
        _refuse_other_totals(export)
    else:
        for table in POOLED_TABLES:
            _refuse_other_columns(export, table)
    return export


def _refuse_other_totals(export: Export) -> None:
    """Refuse totals with other columns, or with a cell that is not what it should be."""
    for name, (_, columns) in TOTALS_FILES.items():
        path = export.folder / name
        with path.open(encoding="utf-8", newline="") as handle:
            reader = csv.DictReader(handle)
            is_right = tuple(reader.fieldnames or ()) == columns[1:]
            if not is_right or not all(map(_is_usable, reader)):
                raise NotAnExport(
                    f"{path} does not hold what totals of this version hold.",
                    hint="Export again with the same version of plumbpost.",
                )


def _is_usable(row: Mapping[str, str]) -> bool:
    """Tell whether a line of totals or of bins can be added to those of others."""
    try:
        whole = [int(row[name]) for name in WHOLE if name in row]
        numbers = [float(row[name]) for name in NUMBERS if row.get(name)]
        own = fixed(row["measure"])
        if "width" in row:
            return float(row["width"]) == own.bin_width
        origins = {VALUE: own.counted_from, ROOT: own.root_counted_from, MET: 0.0}
        is_same = float(row["counted_from"]) == origins[row["quantity"]]
    except (ValueError, TypeError, KeyError):
        return False
    return is_same and min(whole) > 0 and all(map(isfinite, numbers))


def csv_rows(path: Path) -> str:
    """Return a csv table of an export as SQL to read it from, every cell as text."""
    return (
        f"read_csv({quoted(path)}, header = true, delim = ',', quote = '\"',"
        " escape = '\"', all_varchar = true, nullstr = '', auto_detect = false,"
        f" columns = {{{_heads(path)}}})"
    )


def _heads(path: Path) -> str:
    with path.open(encoding="utf-8") as handle:
        names = handle.readline().rstrip("\n").split(",")
    return ", ".join(f"{quoted(name)}: 'VARCHAR'" for name in names)


def type_of(column: SharedColumn) -> str:
    """Return the SQL type of an exported column."""
    if column.form in {"banded", "fresh_code"}:
        return "VARCHAR"
    if column.form == "days":
        return "BIGINT"
    kinds = {(row["table"], row["column"]): row["type"] for row in load.rows("columns")}
    return kinds.get((column.source, column.column), "VARCHAR")


def _refuse_other_columns(export: Export, table: str) -> None:
    """Refuse a table with other columns, or with a cell that is not of its type."""
    path = export.folder / "csv" / f"{table}.csv"
    with Warehouse(root=export.folder) as warehouse:
        rows = csv_rows(path)
        held = {name for name, _ in warehouse.columns(f"(from {rows})")}
        columns = exported()[table]
        missing = [column.name for column in columns if column.name not in held]
        if missing:
            raise NotAnExport(
                f"{path} has no column {', '.join(missing)}.",
                hint="Another version of plumbpost wrote it; export again with this one.",
            )
        counts = ", ".join(
            f"count(*) filter ({own} is not null"
            f" and try_cast({own} as {type_of(column)}) is null)"
            for column in columns
            for own in (named(column.name),)
        )
        wrong = warehouse.run(f"select {counts} from {rows}")[0]
        for column, count in zip(columns, wrong, strict=True):
            if count:
                raise NotAnExport(
                    f"{path}, column {column.name}: {count} cells are no {column.type}."
                )
