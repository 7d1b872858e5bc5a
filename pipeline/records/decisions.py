"""What people decided about rows and findings: a table, and decisions.csv beside it.

The table in records.duckdb is written in the transaction of what was decided. The csv
file is the copy for people, and for the day the database is lost: lines are only ever
added to it, those that it lacks after each command. Identities are codes in both.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.records.neutral import for_csv

if TYPE_CHECKING:
    from pipeline.warehouse import Warehouse

FILE_NAME = "decisions.csv"

NAMELESS = "audit.toml does not say who leads the audit"
NAMELESS_HINT = 'Write it there: lead = "your name or role"'
"""Why nothing is decided at anybody's word, neither by command nor by a workbook."""

TABLE = """create table if not exists decisions (
    decision_id varchar, decided_at timestamp, decided_by varchar, answer varchar,
    about varchar, field varchar, old_value varchar, new_value varchar, why varchar)"""

_COLUMNS = {
    "date": "decided_at",
    "who": "decided_by",
    "answer": "answer",
    "about": "about",
    "field": "field",
    "old": "old_value",
    "new": "new_value",
    "why": "why",
    "decision": "decision_id",
}
"""Headings of the csv file, and the columns of the table they show."""


@dataclass(frozen=True, slots=True)
class Decision:
    """One thing decided by a person.

    Attributes:
        answer: what was decided, such as "corrected" or "right as it is".
        about: a finding, or a row as ``file, sheet, row``.
        why: the person's own reason.
        field: the field changed; '' where the row or finding as a whole is meant.
        old_value: the cell before; an identity is its code.
        new_value: the cell after.
    """

    answer: str
    about: str
    why: str
    field: str = ""
    old_value: str = ""
    new_value: str = ""


def note(
    store: Warehouse, decided: Sequence[Decision], *, by: str, at: datetime
) -> None:
    """Write decisions into the table; call inside the transaction of what they change.

    Args:
        store: records.duckdb, open for loading.
        decided: what was decided.
        by: who answers for it, as audit.toml names the lead.
        at: when, UTC without a zone.
    """
    if not decided:
        return
    import pandas as pd

    names = list(_COLUMNS.values())
    rows = pd.DataFrame([_row(one, by, at) for one in decided], columns=names)
    with store.registered("decided", rows):
        store.run(
            f"insert into decisions ({', '.join(names)})"
            f" select {', '.join(names)} from decided"
        )


def _row(one: Decision, by: str, at: datetime) -> tuple[Any, ...]:
    said = (one.answer, one.about, one.field, one.old_value, one.new_value, one.why)
    digest = hashlib.sha256("\x1f".join((at.isoformat(), by, *said)).encode())
    return (at, by, *said, digest.hexdigest()[:12])


def append_to_csv(store: Warehouse, folder: Path) -> str:
    """Add to decisions.csv what it lacks of the table.

    Args:
        store: records.duckdb.
        folder: the audit folder.

    Returns:
        A caution when the file could not be written; '' when all is well.
    """
    path = folder / FILE_NAME
    rows = store.run(
        f"select {', '.join(_COLUMNS.values())} from decisions order by decided_at, rowid"
    )
    if not rows:
        return ""
    try:
        known = _known(path)
        missing = [row for row in rows if row[-1] not in known]
        if missing:
            _append(path, missing)
    except (OSError, UnicodeError, csv.Error):
        return (
            f"{FILE_NAME} could not be written; close it in the spreadsheet. Nothing is "
            "lost: what it lacks is added at the next run."
        )
    return ""


def _known(path: Path) -> set[str]:
    """Return the ids of the decisions that the file holds."""
    if not path.exists():
        return set()
    text = path.read_text(encoding="utf-8-sig")
    delimiter = ";" if text.partition("\n")[0].count(";") > 1 else ","
    reader = csv.DictReader(io.StringIO(text), delimiter=delimiter)
    return {row.get("decision") or "" for row in reader}


def _append(path: Path, rows: Sequence[tuple[Any, ...]]) -> None:
    is_new = not path.exists() or path.stat().st_size == 0
    text = io.StringIO()
    writer = csv.writer(text, delimiter=_delimiter(path), lineterminator="\n")
    if is_new:
        writer.writerow(_COLUMNS)
    for decided_at, *others in rows:
        day = decided_at.replace(tzinfo=UTC).isoformat(timespec="seconds")
        writer.writerow([day, *(for_csv(value or "") for value in others)])
    with path.open("ab") as handle:
        if not is_new and not path.read_bytes().endswith(b"\n"):
            handle.write(b"\n")
        handle.write(text.getvalue().encode())
        handle.flush()
        os.fsync(handle.fileno())


def _delimiter(path: Path) -> str:
    """Return what the file uses already: a spreadsheet may have saved it with ;."""
    if not path.exists():
        return ","
    first = path.read_text(encoding="utf-8-sig").partition("\n")[0]
    return ";" if first.count(";") > 1 else ","
