"""Write the workbook of rows to correct into to_correct/, under a name of its own."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from pipeline.checked import held_rows
from pipeline.errors import DiskFull
from pipeline.records import held_words
from pipeline.records.codes import Codebook
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    from pipeline.audit import Audit
    from pipeline.checked.held_rows import HeldSheet
    from pipeline.settings import Settings


@dataclass(frozen=True, slots=True)
class Written:
    """What was written.

    Attributes:
        path: the workbook; None when nothing is set aside.
        count_rows: its rows.
        count_cases: the cases they belong to.
        count_left: rows left for the next workbook.
        is_behind: rows were loaded after the checks that are written here.
    """

    path: Path | None
    count_rows: int = 0
    count_cases: int = 0
    count_left: int = 0
    is_behind: bool = False


def write_held(audit: Audit, settings: Settings, *, command: str) -> Written:
    """Write the rows that the last run set aside, for a person to correct.

    Args:
        audit: the audit folder; both databases must be there.
        settings: its settings; they name the key that leads codes back.
        command: what to type when the workbook is filled in.

    Raises:
        KeyProblem: the key is missing.
    """
    codebook = Codebook(settings)
    attach = {"records": audit.records_file}
    with Warehouse(
        audit.audit_file, root=audit.folder, attach=attach, read_only=True
    ) as warehouse:
        sheets, count_left = held_rows.held_sheets(warehouse)
        asked = held_rows.questions(warehouse)
        is_behind = _is_behind(warehouse)
    if not sheets:
        return Written(None, is_behind=is_behind)
    from pipeline.checked.held_workbook import Told, draw

    numbers = held_rows.numbers_behind(codebook, sheets)
    told = Told(
        settings.title,
        settings.audit_id,
        command,
        datetime.now(UTC).date(),
        count_left,
        _is_led_back(sheets, numbers),
        asked,
    )
    content = io.BytesIO()
    draw(sheets, numbers, told).save(content)
    return Written(
        _write_new(audit, content.getvalue()),
        sum(len(held.rows) for held in sheets),
        held_rows.count_cases(sheets),
        count_left,
        is_behind,
    )


def _is_behind(warehouse: Warehouse) -> bool:
    return bool(
        warehouse.value(
            """select coalesce((select max(load_no) from records.loads), 0)
            > coalesce((select max(load_no) from audit.sources), 0)"""
        )
    )


def _is_led_back(sheets: list[HeldSheet], numbers: dict[str, str]) -> bool:
    from pipeline.reference import load

    return all(
        row.cells[one.field] in numbers
        for held in sheets
        for one in load.fields(held.sheet)
        if one.identity
        for row in held.rows
        if row.cells[one.field]
    )


def _write_new(audit: Audit, content: bytes) -> Path:
    """Write under the next number; never over a workbook, open or not."""
    while True:
        folders = (audit.to_correct_folder, audit.records_folder)
        taken = [path for folder in folders for path in folder.rglob("*")]
        path = audit.to_correct_folder / held_words.next_name(taken)
        try:
            with path.open("xb") as handle:
                _write_whole(handle, path, content)
        except FileExistsError:
            continue
        return path


def _write_whole(handle: BinaryIO, path: Path, content: bytes) -> None:
    """Write all of it or leave no file behind."""
    try:
        handle.write(content)
        handle.flush()
    except OSError:
        path.unlink(missing_ok=True)
        raise DiskFull(
            f"There was no room to write {path.name}.",
            hint="Free some space and write it again.",
        ) from None
