"""A workbook of rows to correct as it came back: what was asked, and what was answered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.errors import UnreadableFile
from pipeline.records import held_words as words
from pipeline.records.headings import plain_heading
from pipeline.records.held_cells import plain
from pipeline.records.store import fields_of
from pipeline.reference import load

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.records.file_read import FileRead, SheetRead


@dataclass(frozen=True, slots=True)
class AskedRow:
    """A row as the hidden tab keeps it.

    Attributes:
        sheet: its record sheet.
        row_id: its id in records.duckdb.
        digest: hash of the row as it was written.
    """

    sheet: str
    row_id: int
    digest: str


@dataclass(frozen=True, slots=True)
class AskedFinding:
    """A finding of a row, as the hidden tab keeps it.

    Attributes:
        finding_id: the finding; those of a case stand at several rows.
        check_id: the check.
        severity: stop or hold.
        field: the field meant; '' for none.
        evidence: the value judged; None for none.
    """

    finding_id: str
    check_id: str
    severity: str
    field: str
    evidence: float | None


@dataclass(frozen=True, slots=True, eq=False)
class HeldFile:
    """A workbook of rows to correct.

    Attributes:
        audit_id: the audit it was written for.
        rows: number at the left of a row -> the row.
        findings: the same number -> what is wrong with the row.
        tabs: record sheet -> its rows as they came back, one text column a field, and
            ``why`` and ``answer``; labelled by the number at the left.
        count_strange: rows without a number of ours, or with one that stands twice.
    """

    audit_id: str
    rows: dict[int, AskedRow]
    findings: dict[int, list[AskedFinding]]
    tabs: dict[str, pd.DataFrame]
    count_strange: int


def is_held(read: FileRead) -> bool:
    """Tell whether a file is a workbook of rows to correct."""
    return any(_is_hidden_tab(sheet.name) for sheet in read.sheets)


def refuse_torn(read: FileRead, *, source: str) -> None:
    """Refuse rows to correct that came back without their hidden tab.

    Saved as csv, or copied into another workbook, they would pass for new records.

    Raises:
        UnreadableFile: they did.
    """
    ours = {words.CAME_FROM, words.WRONG, words.WHY, words.ANSWER}
    for sheet in read.sheets:
        if ours <= {plain(heading).casefold() for heading in sheet.headings}:
            raise UnreadableFile(
                f"{source} holds rows that were set aside, without the hidden tab by "
                "which they are known again.",
                hint="Fill in the workbook that plumbpost held wrote, and save it as a "
                "workbook.",
            )


def _is_hidden_tab(name: str) -> bool:
    return name.strip().casefold() == words.HELD_TAB


def held_file(read: FileRead, *, source: str) -> HeldFile:
    """Return what a workbook of rows to correct says.

    Args:
        read: the workbook.
        source: the file as shown to people.

    Raises:
        UnreadableFile: what it needs to be read back is not there any more.
    """
    hidden = next(sheet for sheet in read.sheets if _is_hidden_tab(sheet.name))
    try:
        audit_id, rows, findings = _hidden(hidden)
    except (ValueError, KeyError):
        raise UnreadableFile(
            f"{source} was written to be corrected, but its hidden tab {words.HELD_TAB} "
            "has been changed, so its rows are not known again.",
            hint="Write a new one with plumbpost held, and copy your answers into it.",
        ) from None
    tabs, count_strange = {}, 0
    for sheet in read.sheets:
        name = plain_heading(sheet.name)
        if name in load.sheets():
            numbers = {key for key, row in rows.items() if row.sheet == name}
            tabs[name], count = _tab(name, sheet, numbers, source)
            count_strange += count
    return HeldFile(audit_id, rows, findings, tabs, count_strange)


def _hidden(
    sheet: SheetRead,
) -> tuple[str, dict[int, AskedRow], dict[int, list[AskedFinding]]]:
    lines = sheet.rows.set_axis(list(sheet.headings), axis=1)
    lines = lines.reindex(columns=list(words.HELD_COLUMNS), fill_value="")
    audit_id = ""
    rows: dict[int, AskedRow] = {}
    findings: dict[int, list[AskedFinding]] = {}
    for kind, key, tab, number, row_id, digest, *rest in lines.itertuples(index=False):
        if kind == "audit":
            audit_id = str(key)
        elif kind == "row":
            rows[int(number)] = AskedRow(str(tab), int(row_id), str(digest))
        elif kind == "finding":
            check_id, severity, field, evidence = map(str, rest)
            value = float(evidence) if evidence else None
            found = AskedFinding(str(key), check_id, severity, field, value)
            findings.setdefault(int(number), []).append(found)
    if not audit_id or any(row.sheet not in load.sheets() for row in rows.values()):
        raise ValueError
    return audit_id, rows, findings


def _tab(
    name: str, sheet: SheetRead, numbers: set[int], source: str
) -> tuple[pd.DataFrame, int]:
    """Return the rows of a tab by their number, and how many have none of ours."""
    import pandas as pd

    wanted = {words.NUMBER, words.WHY, words.ANSWER}
    known = set(fields_of(name))
    columns: dict[str, pd.Series] = {}
    for place, heading in enumerate(sheet.headings):
        field = plain_heading(heading)
        own = plain(heading).casefold()
        title = own if own in wanted else field
        if title in columns:
            raise UnreadableFile(
                f"{source}, tab {name!r}, has the column {title} more than once.",
                hint="Keep one of them.",
            )
        if own in wanted or field in known:
            columns[title] = sheet.rows[place].map(plain)
    missing = wanted - set(columns)
    if missing:
        raise UnreadableFile(
            f"{source}, tab {name!r}, has no column {', '.join(sorted(missing))} any more.",
            hint="Write a new workbook with plumbpost held, and copy your answers into it.",
        )
    rows = pd.DataFrame(columns)
    number = pd.to_numeric(rows.pop(words.NUMBER), errors="coerce")
    is_ours = number.isin(numbers) & ~number.duplicated(keep=False)
    return rows[is_ours].set_axis(number[is_ours].astype("int64")), int(
        (~is_ours).sum()
    )
