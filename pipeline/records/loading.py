"""Load the files of records/ into records.duckdb, one file one transaction.

A load is a full statement of its source, the file below records/ and its tab. It is
compared with the rows of that source in use by natural key: a row is new, changed (an
amendment), the same, or gone; a gone row stays in use until the clinic answers. A file
older than the last load of its source is held whole. Order is the load number.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.audit import Audit
from pipeline.errors import UnreadableFile, UserError
from pipeline.records import decisions, held_loading
from pipeline.records.answering import older_loads
from pipeline.records.arranging import Arranged, arranged, digest_of
from pipeline.records.codes import Codebook
from pipeline.records.coming_in import (
    FOLLOW_UP,
    coming_in,
    put_file,
    replace_identities,
)
from pipeline.records.comparing import Counts
from pipeline.records.held_back import is_settled
from pipeline.records.held_loading import CameBack
from pipeline.records.held_read import is_held, refuse_torn
from pipeline.records.layouts import layouts_in
from pipeline.records.meshes import MESHES
from pipeline.records.named_files import read_named
from pipeline.records.registration_files import REGISTRATIONS
from pipeline.records.store import count_in_use, open_for_loading
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.records.layout_model import Layout
    from pipeline.records.read import FileRead
    from pipeline.warehouse import Warehouse

Say = Callable[[str], None]


@dataclass
class LoadReport:
    """What a load did.

    Attributes:
        count_loaded: files with at least one tab loaded.
        count_as_before: files loaded earlier and unchanged.
        counts: rows by what happened to them.
        problems: one per file or tab that could not be read.
        seen_not_read: number of pictures, PDFs and the like.
        count_in_use: rows in use after the load, of all files.
    """

    count_loaded: int = 0
    count_as_before: int = 0
    counts: Counts = field(default_factory=Counts)
    problems: list[UserError] = field(default_factory=list)
    seen_not_read: int = 0
    count_in_use: int = 0


@dataclass(frozen=True)
class _File:
    source: str
    path: Path
    sha256: str
    read: FileRead | None
    arranged: Arranged


@dataclass(frozen=True)
class _Loading:
    store: Warehouse
    codebook: Codebook
    lead: str
    known_layouts: str
    report: LoadReport
    say: Say


def load_folder(audit: Audit, settings: Settings, say: Say) -> LoadReport:
    """Load every file of records/ that is new or changed.

    Args:
        audit: the audit folder.
        settings: its settings; they name the key.
        say: told one line a file.

    Returns:
        What was loaded and what could not be read; each file by itself.
    """
    from pipeline.records.read import readable_files

    layouts = layouts_in(audit.layouts_folder)
    known_layouts = digest_of(layouts)
    codebook = Codebook(settings)
    files, seen_not_read = readable_files(audit.records_folder)
    report = LoadReport(seen_not_read=len(seen_not_read))
    with open_for_loading(audit, settings, codebook.fingerprint) as store:
        came_back, problems = held_loading.in_to_correct(
            store, audit, lambda path, name: _sha256(path, name, report)
        )
        fresh = []
        for path in files:
            source = path.relative_to(audit.records_folder).as_posix()
            digest = _sha256(path, source, report)
            if not digest:
                continue
            if is_settled(store, digest) or _is_as_before(store, digest, layouts):
                report.count_as_before += 1
                say(f"{source}: as before")
                continue
            file = _read(path, source, digest, layouts)
            if file.read is not None and is_held(file.read):
                came_back.append(
                    CameBack(source, digest, file.read, is_in_records=True)
                )
            else:
                fresh.append(file)
        # answers are about the rows as they were before this month's files
        problems += held_loading.take_back_all(
            store, came_back, codebook, settings, say
        )
        report.problems += problems
        to = _Loading(store, codebook, settings.lead, known_layouts, report, say)
        for file in sorted(fresh, key=_follow_up_last):
            _load_file(file, to)
        named = _read_files_named(store, audit.records_folder, say)
        report.seen_not_read = len(set(seen_not_read) - named)
        report.count_in_use = count_in_use(store)
        caution = decisions.append_to_csv(store, audit.folder)
        if caution:
            say(caution)
    return report


def _read_files_named(store: Warehouse, root: Path, say: Say) -> set[Path]:
    """Read the files that rows name; return those that are there."""
    there: set[Path] = set()
    for kind, what in (
        (MESHES, "meshes of implants read"),
        (REGISTRATIONS, "registration objects read"),
    ):
        files, count = read_named(store, root, kind)
        there |= files
        if count:
            say(f"{count} {what}")
    return there


def _sha256(path: Path, source: str, report: LoadReport) -> str:
    try:
        with path.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest()
    except OSError as error:
        report.problems.append(
            UnreadableFile(
                f"{source} cannot be opened: {error.strerror}.",
                hint="Close it in the spreadsheet and run again.",
            )
        )
        return ""


def _is_as_before(store: Warehouse, digest: str, layouts: Sequence[Layout]) -> bool:
    """Tell whether this content is what some source said last.

    A load that left rows of unknown patients out, or a tab that could not be read, is
    looked at again: the case may have come since, and the fault must be said again. So
    is a file whose layout has changed, or with a tab that a new layout might fit.
    """
    return bool(
        store.value(
            """select count(*) from loads as l
            where l.file_sha256 = $digest
                and l.load_no in (
                    select max(load_no) from loads
                    where status <> 'correction' group by source
                )
                and not exists (
                    select 1 from loads as k
                    where k.source = l.source and k.file_sha256 = $digest
                        and (
                            k.count_left_out > 0 or k.count_problems > 0
                            or k.status = 'in use' and (
                                not list_contains($layouts, coalesce(k.layout_sha256, ''))
                                or k.looked_with <> $known
                            )
                        )
                )""",
            {
                "digest": digest,
                "layouts": ["", *(layout.sha256 for layout in layouts)],
                "known": digest_of(layouts),
            },
        )
    )


def _read(path: Path, source: str, digest: str, layouts: Sequence[Layout]) -> _File:
    from pipeline.records.read import read_file

    try:
        read = read_file(path, name=source)
        if not is_held(read):
            refuse_torn(read, source=source)
    except UnreadableFile as problem:
        return _File(source, path, digest, None, Arranged((), (problem,), 0))
    return _File(source, path, digest, read, arranged(read, layouts, source=source))


def _follow_up_last(file: _File) -> tuple[bool, str]:
    """Order files so that the list of cases is known before appointment lists."""
    names = {sheet for tab in file.arranged.tabs for sheet in tab.sheets}
    return (bool(names) and names <= FOLLOW_UP, file.source)


def _load_file(file: _File, to: _Loading) -> None:
    report, say = to.report, to.say
    if file.read is None:
        report.problems += file.arranged.problems
        say(f"{file.source}: not read")
        return
    if _is_read_as_before(file, to):
        report.count_as_before += 1
        say(f"{file.source}: as before")
        return
    coming, problems = coming_in(
        file.arranged.tabs, file.read.notes, source=file.source
    )
    problems = [*file.arranged.problems, *problems]
    report.problems += problems
    if not coming:
        return
    to.codebook.remember(replace_identities(coming, to.codebook))
    stamp = {
        "source": file.source,
        "file_sha256": file.sha256,
        "file_format": file.read.format,
        "modified_at": _modified_at(file),
        "loaded_at": datetime.now(UTC).replace(tzinfo=None),
        "count_problems": len(problems),
        "looked_with": to.known_layouts if file.arranged.can_change else None,
    }
    with to.store.transaction():
        total, count_retired = put_file(to.store, coming, stamp, changed_by=to.lead)
    report.count_loaded += 1
    report.counts += total
    say(f"{file.source}: {total.in_words()}")
    for line in dict.fromkeys(one.line for one in coming if one.line):
        say(f"  {line}")
    if count_retired:
        say(f"  {count_retired} rows that another layout had made of it no longer used")


def _is_read_as_before(file: _File, to: _Loading) -> bool:
    """Tell whether only other layouts have come or gone since the file was loaded.

    Where an older copy of it was held in between, putting it back answers the question
    which of the two is right, so that it is loaded once more.
    """
    if file.arranged.problems or _is_asked_about(file, to):
        return False
    before = to.store.run(
        """select sheet, coalesce(layout_sha256, '') from loads
        where source = $source and file_sha256 = $digest and status = 'in use'
            and count_left_out = 0 and count_problems = 0""",
        {"source": file.source, "digest": file.sha256},
    )
    now = [
        (sheet, tab.fit.layout.sha256 if tab.fit else "")
        for tab in file.arranged.tabs
        for sheet in tab.sheets
    ]
    if not before or sorted(before) != sorted(now):
        return False
    to.store.run(
        "update loads set looked_with = $known where source = $source"
        " and file_sha256 = $digest and status = 'in use'",
        {"known": to.known_layouts, "source": file.source, "digest": file.sha256},
    )
    return True


def _is_asked_about(file: _File, to: _Loading) -> bool:
    sheets = {sheet for tab in file.arranged.tabs for sheet in tab.sheets}
    return any(older_loads(to.store, file.source, sheet) for sheet in sheets)


def _modified_at(file: _File) -> datetime:
    inside = file.read.modified_at if file.read else None
    if inside is not None:
        return inside.astimezone(UTC).replace(tzinfo=None) if inside.tzinfo else inside
    stamp = file.path.stat().st_mtime
    return datetime.fromtimestamp(stamp, UTC).replace(tzinfo=None)
