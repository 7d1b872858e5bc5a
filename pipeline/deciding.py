"""What a person answers to a finding, carried out and written down.

Two kinds can be answered: a row that is no longer in its file (stop using it), and a file
older than what was loaded before (use it). Every answer is a row of ``decisions`` in
records.duckdb and a line of decisions.csv: who, when, why, finding, old, new.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from pipeline.checked.checks import by_id
from pipeline.errors import NoSuchFinding, NotAnswerable, SettingsError
from pipeline.records import decisions
from pipeline.records.answering import older_loads, stop_using, use_older
from pipeline.records.codes import Codebook
from pipeline.records.decisions import Decision
from pipeline.records.store import open_for_loading
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    from pipeline.audit import Audit, Settings

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Found:
    """A finding to be answered.

    Attributes:
        finding_id: its short name.
        evidence: the column of evidence its check looks at, which tells its kind.
        source: file below records/.
        sheet: record sheet.
        row_number: row as it stood in the file; None for a file.
        row_id: the row; None for a file.
    """

    finding_id: str
    evidence: str
    source: str
    sheet: str
    row_number: int | None
    row_id: int | None


@dataclass(frozen=True, slots=True)
class Answer:
    """Who answers, when and why."""

    by: str
    at: datetime
    why: str


def accept(
    audit: Audit, settings: Settings, finding_ids: Sequence[str], why: str, say: Say
) -> None:
    """Answer findings, all of them or none.

    Args:
        audit: the audit folder.
        settings: its settings; they name who answers.
        finding_ids: names of findings of the last check.
        why: the person's own reason.
        say: told what was done.

    Raises:
        SettingsError: no reason was given, or audit.toml names nobody.
        NoSuchFinding: the last check had no such finding.
        NotAnswerable: a command cannot answer it, or not any more.
    """
    if not why.strip():
        raise SettingsError(
            "A decision needs its reason.",
            hint='Say it behind --why, such as --why "patient entered twice".',
        )
    if not settings.lead.strip():
        raise SettingsError(
            "A decision needs a name: audit.toml does not say who leads the audit.",
            hint='Write it there: lead = "your name or role".',
        )
    found = findings_named(audit, finding_ids)
    answer = Answer(settings.lead, datetime.now(UTC).replace(tzinfo=None), why.strip())
    fingerprint = Codebook(settings).fingerprint
    with open_for_loading(audit, settings, fingerprint) as store:
        with store.transaction():
            decided = [_answered(store, one, answer) for one in found]
            decisions.note(store, decided, by=answer.by, at=answer.at)
        caution = decisions.append_to_csv(store, audit.folder)
    for one, done in zip(found, decided, strict=True):
        say(f"{one.finding_id}: {done.answer} ({_place(one)})")
    if caution:
        say(caution)


def findings_named(audit: Audit, finding_ids: Sequence[str]) -> list[Found]:
    """Return the findings of the last check by their names.

    Raises:
        NoSuchFinding: there is none of a name; says near ones.
    """
    with Warehouse(audit.audit_file, root=audit.folder, read_only=True) as warehouse:
        rows = warehouse.run(
            "select finding_id, check_id, source, sheet, row_number, row_id"
            " from checked.findings"
        )
    known = {row[0]: Found(row[0], by_id()[row[1]].evidence, *row[2:]) for row in rows}
    wanted = list(dict.fromkeys(name.strip().lower() for name in finding_ids))
    for name in wanted:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=3)
            raise NoSuchFinding(
                f"The last check has no finding {name}.",
                hint=f"Perhaps: {', '.join(near)}."
                if near
                else f"See: plumbpost show {audit.folder} checked.findings",
            )
    return [known[name] for name in wanted]


def _answered(store: Warehouse, found: Found, answer: Answer) -> Decision:
    carry_out = ANSWERS.get(found.evidence)
    if carry_out is None:
        raise NotAnswerable(
            f"accept cannot answer {found.finding_id} yet.",
            hint="Correct the row in its file, or in the workbook of plumbpost held, and "
            "run again.",
        )
    return carry_out(store, found, answer)


def _stop_using_row(store: Warehouse, found: Found, answer: Answer) -> Decision:
    if found.row_id is None or not stop_using(store, found.row_id):
        raise _not_any_more(found)
    return Decision(
        "no longer used",
        found.finding_id,
        answer.why,
        old_value=f"in use: {_place(found)}",
        new_value="not in use",
    )


def _use_older_file(store: Warehouse, found: Found, answer: Answer) -> Decision:
    held = older_loads(store, found.source, found.sheet)
    if not held:
        raise _not_any_more(found)
    said = []
    for load_no in held:
        counts = use_older(store, load_no, by=answer.by, at=answer.at, why=answer.why)
        said.append(counts.in_words())
    return Decision(
        "the older file is used",
        found.finding_id,
        answer.why,
        old_value=f"held: {_place(found)}",
        new_value="; ".join(said),
    )


def _not_any_more(found: Found) -> NotAnswerable:
    return NotAnswerable(
        f"{found.finding_id} is settled already: the records have changed since the last "
        "check.",
        hint="Run again to see what is still open.",
    )


def _place(found: Found) -> str:
    place = f"{found.source}, {found.sheet}"
    return place if found.row_number is None else f"{place}, row {found.row_number}"


ANSWERS: Mapping[str, Callable[[Warehouse, Found, Answer], Decision]] = {
    "is_no_longer_there": _stop_using_row,
    "count_rows_older": _use_older_file,
}
"""What a person can answer, by the evidence that the finding's check looks at."""
