"""What a person answers to a finding, carried out and written down.

Four kinds can be answered: a row that is no longer in its file (stop using it), a file
older than what was loaded before (use it), a planned figure given as a range (read it as its
middle), and points that a proposed mend brings back to plausible (mend the cells). Every answer is a row of ``decisions`` in records.duckdb, for a
mend one a cell, and a line of decisions.csv: who, when, why, finding, old, new.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING

from pipeline.checked.checks import by_id
from pipeline.errors import NoSuchFinding, NotAnswerable, SettingsError
from pipeline.mending import Mending, mending_of
from pipeline.records import decisions
from pipeline.records.answering import older_loads, stop_using, use_older
from pipeline.records.codes import Codebook
from pipeline.records.decisions import NAMELESS, NAMELESS_HINT, Decision
from pipeline.records.mended import count_out_of_use, put_back, write_mend
from pipeline.records.phrases import counted
from pipeline.records.planned_ranges import middle_of_planned
from pipeline.records.store import open_for_loading
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    from pipeline.audit import Audit
    from pipeline.settings import Settings

Say = Callable[[str], None]

AS_IT_CAME = "none"
"""What is said for the name of a mend to put its rows back as they came."""


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
        field: the field of a cell; '' where the finding is about more than one.
        as_written: what stands in that cell.
    """

    finding_id: str
    evidence: str
    source: str
    sheet: str
    row_number: int | None
    row_id: int | None
    field: str
    as_written: str


@dataclass(frozen=True, slots=True)
class Answer:
    """Who answers, when, why, and the mend chosen ('' for none)."""

    by: str
    at: datetime
    why: str
    mend: str = ""

    @property
    def given(self) -> tuple[str, datetime, str]:
        """Who, when and why."""
        return self.by, self.at, self.why


@dataclass(frozen=True, slots=True)
class Done:
    """What one answer did: what to say of it, and what to write down."""

    said: str
    decided: Sequence[Decision]


def accept(
    audit: Audit,
    settings: Settings,
    finding_ids: Sequence[str],
    why: str,
    mend: str,
    say: Say,
) -> None:
    """Answer findings, all of them or none.

    Args:
        audit: the audit folder.
        settings: its settings; they name who answers.
        finding_ids: names of findings of the last check.
        why: the person's own reason.
        mend: name of the mend chosen where several are proposed, "none" to put the rows
            of a mend back as they came; '' for none chosen.
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
            f"A decision needs a name: {NAMELESS}.", hint=f"{NAMELESS_HINT}."
        )
    now = datetime.now(UTC).replace(tzinfo=None)
    answer = Answer(settings.lead.strip(), now, why.strip(), mend.strip().lower())
    carry_out = (
        _putting_back(finding_ids)
        if answer.mend == AS_IT_CAME
        else _answers(audit, finding_ids, answer)
    )
    fingerprint = Codebook(settings).fingerprint
    with open_for_loading(audit, settings, fingerprint) as store:
        with store.transaction():
            done = [one(store, answer) for one in carry_out]
            decided = [each for one in done for each in one.decided]
            decisions.note(store, decided, by=answer.by, at=answer.at)
        caution = decisions.append_to_csv(store, audit.folder)
    for one in done:
        say(one.said)
    if caution:
        say(caution)


def findings_named(audit: Audit, finding_ids: Sequence[str]) -> list[Found]:
    """Return the findings of the last check by their names.

    Raises:
        NoSuchFinding: there is none of a name; says near ones.
    """
    with Warehouse(audit.audit_file, root=audit.folder, read_only=True) as warehouse:
        rows = warehouse.run(
            "select finding_id, check_id, source, sheet, row_number, row_id,"
            " coalesce(field, ''), coalesce(as_written, '') from checked.findings"
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


CarryOut = Callable[["Warehouse", Answer], Done]


def _answers(
    audit: Audit, finding_ids: Sequence[str], answer: Answer
) -> list[CarryOut]:
    """Return what to carry out; a case is mended once, however many findings are named."""
    found = findings_named(audit, finding_ids)
    known = {one.finding_id: ANSWERS.get(one.evidence) for one in found}
    mended: set[str] = set()
    carry_out: list[CarryOut] = []
    with Warehouse(audit.audit_file, root=audit.folder, read_only=True) as warehouse:
        for one in found:
            if one.evidence == RANGES and not answer.mend:
                carry_out.append(partial(_read_range, one))
                continue
            simple = None if answer.mend else known[one.finding_id]
            if simple:
                carry_out.append(partial(_simply, simple, one))
                continue
            mending = mending_of(warehouse, one.finding_id, answer.mend)
            if mending.case_key not in mended:
                carry_out.append(partial(_mend, one, mending))
            mended.add(mending.case_key)
    return carry_out


def _simply(
    how: Callable[[Warehouse, Found, Answer], Decision],
    found: Found,
    store: Warehouse,
    answer: Answer,
) -> Done:
    decision = how(store, found, answer)
    return Done(f"{found.finding_id}: {decision.answer} ({_place(found)})", [decision])


def _mend(found: Found, mending: Mending, store: Warehouse, answer: Answer) -> Done:
    if count_out_of_use(store, list(mending.changes)):
        raise _not_any_more(found)
    decided = write_mend(
        store, mending.sheet, mending.changes, found.finding_id, answer.given
    )
    rows, cells = len(mending.changes), len(decided)
    return Done(
        f"{found.finding_id}: {mending.in_words} ({counted(cells, 'cell')} of "
        f"{counted(rows, 'row')} of {mending.sheet})",
        decided,
    )


def _read_range(found: Found, store: Warehouse, answer: Answer) -> Done:
    if found.row_id is None or count_out_of_use(store, [found.row_id]):
        raise _not_any_more(found)
    middle = middle_of_planned(
        store, found.sheet, found.row_id, found.field, found.as_written
    )
    decided = write_mend(
        store,
        found.sheet,
        {found.row_id: {found.field: middle.text}},
        found.finding_id,
        answer.given,
    )
    return Done(
        f"{found.finding_id}: {found.field} read as the middle of its range, half the "
        f"width {middle.half_width} ({_place(found)})",
        decided,
    )


def _putting_back(finding_ids: Sequence[str]) -> list[CarryOut]:
    names = dict.fromkeys(name.strip().lower() for name in finding_ids)
    return [partial(_put_back, name) for name in names]


def _put_back(finding_id: str, store: Warehouse, answer: Answer) -> Done:
    decided = put_back(store, finding_id, answer.given)
    if not decided:
        raise NotAnswerable(
            f"No mend of {finding_id} is in force, so there is nothing to put back.",
            hint="decisions.csv names the findings that were mended.",
        )
    cells = counted(len(decided), "cell")
    return Done(f"{finding_id}: {cells} put back as they came", decided)


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


RANGES = "count_qualified"
"""Evidence of a cell that holds a range."""

ANSWERS: Mapping[str, Callable[[Warehouse, Found, Answer], Decision]] = {
    "is_no_longer_there": _stop_using_row,
    "count_rows_older": _use_older_file,
}
"""What a person can answer, by the evidence that the finding's check looks at."""
