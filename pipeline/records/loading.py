"""Load the files of records/ into records.duckdb, one file one transaction.

A load is a full statement of its source, the file below records/ and its tab. It is
compared with the rows of that source in use by natural key: a row is new, changed (an
amendment), the same, or gone; a gone row stays in use until the clinic answers. A file
older than the last load of its source is held whole. Order is the load number.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.audit import Audit, Settings
from pipeline.errors import UnreadableFile, UnreadableSheet, UserError
from pipeline.records.codes import Codebook
from pipeline.records.comparing import Counts, put_rows
from pipeline.records.sheets import Incoming, incoming_of, sheet_meant
from pipeline.records.store import count_in_use, open_for_loading
from pipeline.reference import load as reference

if TYPE_CHECKING:
    from pipeline.records.read import FileRead
    from pipeline.warehouse import Warehouse

Say = Callable[[str], None]

FOLLOW_UP = frozenset({"visits", "events", "dentures"})
"""Sheets that come from a practice's whole appointment list."""


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
    problem: UserError | None = None


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

    codebook = Codebook(settings)
    files, seen_not_read = readable_files(audit.records_folder)
    report = LoadReport(seen_not_read=len(seen_not_read))
    with open_for_loading(audit, settings, codebook.fingerprint) as store:
        fresh = []
        for path in files:
            source = path.relative_to(audit.records_folder).as_posix()
            digest = _sha256(path, source, report)
            if not digest:
                continue
            if _is_as_before(store, digest):
                report.count_as_before += 1
                say(f"{source}: as before")
            else:
                fresh.append(_read(path, source, digest))
        for file in sorted(fresh, key=_follow_up_last):
            _load_file(file, store, codebook, settings, report, say)
        report.count_in_use = count_in_use(store)
    return report


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


def _is_as_before(store: Warehouse, digest: str) -> bool:
    """Tell whether this content is what some source said last.

    A load that left rows of unknown patients out, or a tab that could not be read, is
    looked at again: the case may have come since, and the fault must be said again.
    """
    return bool(
        store.value(
            """select count(*) from loads as l
            where l.file_sha256 = $digest
                and l.load_no in (select max(load_no) from loads group by source)
                and not exists (
                    select 1 from loads as k
                    where k.source = l.source and k.file_sha256 = $digest
                        and (k.count_left_out > 0 or k.count_problems > 0)
                )""",
            {"digest": digest},
        )
    )


def _read(path: Path, source: str, digest: str) -> _File:
    from pipeline.records.read import read_file

    try:
        return _File(source, path, digest, read_file(path, name=source))
    except UnreadableFile as problem:
        return _File(source, path, digest, None, problem)


def _follow_up_last(file: _File) -> tuple[bool, str]:
    """Order files so that the list of cases is known before appointment lists."""
    names = {
        sheet_meant(_name_of(file, sheet.name), sheet.headings)
        for sheet in (file.read.sheets if file.read else ())
    }
    return (bool(names) and names <= FOLLOW_UP, file.source)


def _name_of(file: _File, tab: str) -> str:
    return tab or Path(file.source).stem


def _load_file(
    file: _File,
    store: Warehouse,
    codebook: Codebook,
    settings: Settings,
    report: LoadReport,
    say: Say,
) -> None:
    if file.read is None:
        problem = file.problem or UnreadableFile(f"{file.source} cannot be read.")
        report.problems.append(problem)
        say(f"{file.source}: not read")
        return
    problems_before = len(report.problems)
    arranged = list(_arranged(file, report))
    count_problems = len(report.problems) - problems_before
    if not arranged:
        return
    codes: dict[tuple[str, str], str] = {}
    for incoming, _ in arranged:
        _replace_identities(incoming, codebook, codes)
    codebook.remember(codes)
    modified_at = _modified_at(file)
    total = Counts()
    with store.transaction():
        for incoming, details in arranged:
            stamp = {
                "source": file.source,
                "file_sha256": file.sha256,
                "file_format": file.read.format,
                "modified_at": modified_at,
                "loaded_at": datetime.now(UTC).replace(tzinfo=None),
                "headings": list(incoming.headings),
                "count_problems": count_problems,
                **details,
            }
            total += put_rows(
                store,
                incoming,
                stamp,
                changed_by=settings.lead,
                is_known_cases_only=incoming.sheet in FOLLOW_UP,
            )
    report.count_loaded += 1
    report.counts += total
    say(f"{file.source}: {total.in_words()}")


def _arranged(
    file: _File, report: LoadReport
) -> Iterator[tuple[Incoming, dict[str, Any]]]:
    """Yield the tabs that are record sheets; the others become problems or notes."""
    read = file.read
    if read is None:
        return
    found = 0
    tabs = [s for s in read.sheets if not _is_skipped(s.name)]
    for sheet in tabs:
        name = _name_of(file, sheet.name)
        meant = sheet_meant(name, sheet.headings)
        if meant is None:
            if len(tabs) == 1:
                report.problems.append(_not_ours(file.source, sheet.headings))
            continue
        found += 1
        try:
            incoming = incoming_of(meant, sheet, source=file.source)
        except UnreadableSheet as problem:
            report.problems.append(problem)
            continue
        notes = [*read.notes, *sheet.notes]
        notes += [f"left out at the door: {what}" for what in incoming.dropped]
        yield (
            incoming,
            {
                "tab": sheet.name,
                "encoding": sheet.encoding,
                "delimiter": sheet.delimiter,
                "decimal_sign": sheet.decimal_sign,
                "notes": notes,
            },
        )
    if not found and len(tabs) != 1:
        report.problems.append(_no_tab_ours(file.source, [s.name for s in tabs]))


def _is_skipped(tab: str) -> bool:
    from pipeline.records.template import is_skipped_tab

    return is_skipped_tab(tab)


def _not_ours(source: str, headings: tuple[str, ...]) -> UserError:
    shown = ", ".join(h.strip() for h in headings[:12] if h.strip())
    more = " .." if len(headings) > 12 else ""
    missing = "" if "case_id" in headings else " It has no column case_id."
    return UnreadableSheet(
        f"{source} is none of our record sheets.{missing} Its columns are: "
        f"{shown or 'none'}{more}.",
        hint=f"Name the file after its sheet ({', '.join(reference.sheets()[:5])}, ..) and use "
        "the headings of the template workbook.",
    )


def _no_tab_ours(source: str, tabs: list[str]) -> UserError:
    return UnreadableSheet(
        f"{source} has no tab named after a record sheet; its tabs are: "
        f"{', '.join(tabs) or 'none with rows'}.",
        hint=f"Name the tabs {', '.join(reference.sheets())}; only those in use need exist.",
    )


def _replace_identities(
    incoming: Incoming, codebook: Codebook, codes: dict[tuple[str, str], str]
) -> None:
    for item in reference.fields(incoming.sheet):
        if not item.identity:
            continue
        column = incoming.rows[item.field]
        known = codebook.codes_of(item.identity, column.unique())
        incoming.rows[item.field] = column.map(known)
        codes |= {(item.identity, number): code for number, code in known.items()}


def _modified_at(file: _File) -> datetime:
    inside = file.read.modified_at if file.read else None
    if inside is not None:
        return inside.astimezone(UTC).replace(tzinfo=None) if inside.tzinfo else inside
    stamp = file.path.stat().st_mtime
    return datetime.fromtimestamp(stamp, UTC).replace(tzinfo=None)
