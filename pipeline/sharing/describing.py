"""What stands beside the tables of an export: dictionary, descriptor, groups, manifest."""

from __future__ import annotations

import csv
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.bundled import folder as bundled
from pipeline.records.neutral import for_csv
from pipeline.sharing.columns import (
    FLAG,
    FORMS,
    SharedColumn,
    exported,
    key_of,
    quasi_identifiers,
)
from pipeline.warehouse import named

if TYPE_CHECKING:
    from pipeline.sharing.extract import Extract

TABLE_WORDS = {
    "cases": "one row per treated jaw",
    "implants": "planned against achieved, one row per implant and record of it",
    "pairs": "the two implants of a jaw against each other, one row per record of the pair",
    "motions": "the error of a pair as ten numbers, six of a common motion and four that none makes",
    "dentures": "how long each overdenture was under observation, and why that ended",
    "visits": "one row per visit of a denture's wearer",
    "events": "one row per attachment event and side",
}
"""What a row of each exported table is."""

DICTIONARY_HEAD = (
    "table",
    "column",
    "type",
    "unit",
    "form",
    "empty_means",
    "meaning",
    "may_be_known_outside",
)


def dictionary_rows(k: int) -> list[tuple[str, ...]]:
    """Return the dictionary, a row a column of the export, without its head."""
    rows = [
        (
            table,
            column.name,
            column.type,
            column.unit,
            FORMS[column.form],
            column.null_means,
            column.meaning,
            "yes" if column.is_quasi else "no",
        )
        for table, columns in exported().items()
        for column in columns
    ]
    meaning = f"fewer than {k} patients share what may be known outside: see groups.csv"
    of_cases = sum(row[0] == "cases" for row in rows)
    flag = ("cases", FLAG, "boolean", "", FORMS["kept"], "never", meaning, "no")
    return [*rows[:of_cases], flag, *rows[of_cases:]]


def write_csv(path: Path, head: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Write a csv file that a spreadsheet may open."""
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(head)
        writer.writerows([[_cell(value) for value in row] for row in rows])


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return str(value).lower()
    return for_csv(value) if isinstance(value, str) else value


def group_rows(extract: Extract) -> list[tuple[Any, ...]]:
    """Return how many patients share each value, and each combination of values.

    Columns: what is shared (one value, all of them), the quasi-identifiers, patients,
    cases, whether the patients are fewer than k.
    """
    names = quasi_identifiers()
    columns = ", ".join(map(named, names))
    sets = ", ".join([f"({columns})", *(f"({named(name)})" for name in names)])
    return extract.warehouse.run(
        f"""select
            if(grouping({columns}) = 0, 'all of them', 'one value') as shared,
            {columns},
            count(distinct patient_code) as n_patients,
            count(*) as n_cases,
            count(distinct patient_code) < {extract.k} as is_small
        from ({extract.select("cases")})
        group by grouping sets ({sets})
        order by all"""
    )


def group_head() -> tuple[str, ...]:
    """Return the heads of the report of groups."""
    return ("shared", *quasi_identifiers(), "n_patients", "n_cases", "is_small")


def descriptor(
    folder: Path, rows: Sequence[tuple[str, ...]], version: str
) -> dict[str, Any]:
    """Return the Data Package descriptor of the csv tables.

    Data Package and Table Schema, version 1 (specs.frictionlessdata.io).

    Args:
        folder: the export, its csv tables written.
        rows: the dictionary.
        version: of plumbpost.
    """
    return {
        "profile": "tabular-data-package",
        "name": "plumbpost-export",
        "title": "Planned against achieved positions of two-implant lower overdentures",
        "description": f"De-identified data set made by plumbpost {version}; see READ_ME.md",
        "resources": [_resource(folder, table, rows) for table in exported()],
    }


def _resource(
    folder: Path, table: str, rows: Sequence[tuple[str, ...]]
) -> dict[str, Any]:
    path = folder / "csv" / f"{table}.csv"
    required = {c.name for c in exported()[table] if c.is_required} | {FLAG}
    fields = [
        _field(dict(zip(DICTIONARY_HEAD, row, strict=True)), required)
        for row in rows
        if row[0] == table
    ]
    schema: dict[str, Any] = {"fields": fields, "missingValues": [""]}
    if key_of(table):
        schema["primaryKey"] = list(key_of(table))
    links = [_link(column) for column in exported()[table] if _home(column) is not None]
    if links:
        schema["foreignKeys"] = links
    return {
        "profile": "tabular-data-resource",
        "name": table,
        "path": f"csv/{table}.csv",
        "description": TABLE_WORDS[table],
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": path.stat().st_size,
        "hash": f"sha256:{sha256(path)}",
        "schema": schema,
    }


def _field(row: Mapping[str, str], required: set[str]) -> dict[str, Any]:
    words = [row["meaning"]]
    if row["unit"]:
        words.append(f"unit: {row['unit']}")
    if row["empty_means"] != "never":
        words.append(f"empty: {row['empty_means']}")
    field: dict[str, Any] = {
        "name": row["column"],
        "type": row["type"],
        "description": "; ".join(words),
    }
    if row["column"] in required:
        field["constraints"] = {"required": True}
    return field


def _home(column: SharedColumn) -> str | None:
    """Return the table whose only key a code is, if that is another table."""
    for table in exported():
        if table != column.table and key_of(table) == (column.name,):
            return table
    return None


def _link(column: SharedColumn) -> dict[str, Any]:
    reference = {"resource": _home(column), "fields": column.name}
    return {"fields": column.name, "reference": reference}


def sha256(path: Path) -> str:
    """Return the SHA-256 of a file."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def write_json(path: Path, said: Mapping[str, Any]) -> None:
    """Write a JSON file for people and programs."""
    text = json.dumps(said, indent=2, ensure_ascii=False, default=str)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def read_me(run: Mapping[str, str], k: int, counts: Mapping[str, int]) -> str:
    """Return the words of READ_ME.md."""
    text = (bundled("reports") / "export" / "READ_ME.md").read_text(encoding="utf-8")
    lines = ["| table | a row is | rows |", "| --- | --- | --- |"]
    lines += [f"| `{t}` | {TABLE_WORDS[t]} | {n} |" for t, n in counts.items()]
    return text.format(**run, k=k, tables="\n".join(lines))
