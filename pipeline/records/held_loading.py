"""Find the workbooks of rows to correct among the files, and take them back in order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import UnreadableFile, UserError
from pipeline.records import held_back
from pipeline.records.corrections import Answered
from pipeline.records.file_kinds import WORKBOOK_ENDINGS
from pipeline.records.held_read import held_file, is_held
from pipeline.records.held_words import is_our_name

if TYPE_CHECKING:
    from pipeline.audit import Audit
    from pipeline.records.codes import Codebook
    from pipeline.records.file_read import FileRead
    from pipeline.settings import Settings
    from pipeline.warehouse import Warehouse

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, eq=False)
class CameBack:
    """A workbook of rows to correct that came back.

    Attributes:
        name: its path as shown to people.
        sha256: hash of the file.
        read: the workbook.
        is_in_records: it lies in records/, and not where it was written.
    """

    name: str
    sha256: str
    read: FileRead
    is_in_records: bool


def in_to_correct(
    store: Warehouse, audit: Audit, sha256_of: Callable[[Path, str], str]
) -> tuple[list[CameBack], list[UserError]]:
    """Return the workbooks that came back into to_correct/, and what hindered reading.

    Other files there are nobody's business here.

    Args:
        store: records.duckdb; a workbook taken back before is left out.
        audit: the audit folder.
        sha256_of: hash of a file, '' when it cannot be opened (which is then said).
    """
    from pipeline.records.read import read_file, readable_files

    found: list[CameBack] = []
    problems: list[UserError] = []
    files, _ = readable_files(audit.to_correct_folder)
    for path in files:
        if path.suffix.lower() not in WORKBOOK_ENDINGS:
            continue
        name = path.relative_to(audit.folder).as_posix()
        sha256 = sha256_of(path, name)
        if not sha256 or held_back.is_settled(store, sha256):
            continue
        try:
            read = read_file(path, name=name)
        except UnreadableFile as problem:
            if is_our_name(path):
                problems.append(problem)
            continue
        if is_held(read):
            found.append(CameBack(name, sha256, read, is_in_records=False))
    return found, problems


def take_back_all(
    store: Warehouse,
    came_back: list[CameBack],
    codebook: Codebook,
    settings: Settings,
    say: Say,
) -> list[UserError]:
    """Take workbooks back, the one saved first first; each is a transaction.

    Args:
        store: records.duckdb, open for loading.
        came_back: the workbooks.
        codebook: of the audit.
        settings: of the audit.
        say: told one line a workbook, and one for each reason not to apply an answer.

    Returns:
        A problem for each that could not be used.
    """
    problems: list[UserError] = []
    for one in sorted(came_back, key=_saved_at):
        given = Answered(
            settings.lead.strip(),
            datetime.now(UTC).replace(tzinfo=None),
            one.name,
            one.sha256,
        )
        try:
            held = held_file(one.read, source=one.name)
            taken = held_back.take_back(store, held, codebook, settings, given)
        except UnreadableFile as problem:
            problems.append(problem)
            continue
        first, *others = taken.lines()
        if one.is_in_records or taken.done or others:
            say(f"{one.name}: {first}")
        for line in others:
            say(line)
    return problems


def _saved_at(one: CameBack) -> tuple[float, str]:
    saved = one.read.modified_at
    return (saved.timestamp() if saved else 0.0, one.name)
