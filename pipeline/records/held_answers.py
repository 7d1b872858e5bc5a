"""What a person answered in a workbook of rows to correct, row by row.

Nothing is decided here about records.duckdb: an answer is either usable, or the reason
why not is counted, so that the person can be told.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pipeline.records import decisions
from pipeline.records import held_words as words
from pipeline.records.held_cells import as_read, shown
from pipeline.records.held_read import AskedFinding, HeldFile
from pipeline.records.held_words import Answer
from pipeline.reference import load

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.records.codes import Codebook

Row = Mapping[str, Any]
"""A row of records.duckdb by column: every field is text."""


@dataclass(frozen=True, slots=True)
class Answered:
    """A usable answer to one row.

    Attributes:
        row_id: the row as the workbook keeps it.
        answer: corrected, leave out or right as it is.
        why: the person's reason.
        changes: field -> what the cell says now, as the workbook has it; an identity is
            its code.
        findings: what was wrong with the row.
    """

    row_id: int
    answer: Answer
    why: str
    changes: dict[str, str]
    findings: tuple[AskedFinding, ...]

    @property
    def sha256(self) -> str:
        """Hash of what was answered, whatever the reason given."""
        said = repr((self.answer.value, sorted(self.changes.items())))
        return hashlib.sha256(said.encode()).hexdigest()


@dataclass(slots=True)
class Answers:
    """What a workbook answers.

    Attributes:
        usable: answers by record sheet.
        not_usable: reason -> number of rows, in the words of NOT_USABLE.
        codes: (kind, number) -> code of identities that were typed in.
    """

    usable: dict[str, list[Answered]] = field(default_factory=dict)
    not_usable: Counter[str] = field(default_factory=Counter)
    codes: dict[tuple[str, str], str] = field(default_factory=dict)


NOT_USABLE = {
    "no_why": "changed or answered without a reason under “why”: not applied",
    "unclear": "with another answer than corrected, leave out or right as it is: not applied",
    "no_change": "said to be corrected, but every cell is as it came: nothing to apply",
    "no_answer": "with a reason, but neither a changed cell nor an answer: nothing to apply",
    "not_right": "called right as they are, but what is wrong there cannot be right: correct "
    "them or leave them out",
    "both": "called right as they are, and changed too: say one of the two",
    "strange": "without a number of ours at the left, or with one that stands twice: not "
    "read; new rows belong into your own file",
    "no_lead": f"answered, but a decision needs a name, and {decisions.NAMELESS}: not applied. "
    f"{decisions.NAMELESS_HINT}, and run again",
    "other_records": "written from other records than these: not applied",
    "later": "that have changed since the workbook was written, or are gone: not applied; "
    "write a new one with plumbpost held",
}
"""Why an answer is not applied, to follow "3 rows"."""

OPEN = frozenset(
    {"no_why", "unclear", "no_change", "no_answer", "not_right", "both", "no_lead"}
)
"""Reasons that can be mended without another workbook, so that they are said again."""


def answers_of(
    held: HeldFile,
    asked: Mapping[str, Mapping[int, Row]],
    numbers: Mapping[str, str],
    codebook: Codebook,
) -> Answers:
    """Return what a workbook answers.

    Args:
        held: the workbook.
        asked: record sheet -> row_id -> the row as it was written: decimal_sign and
            the fields.
        numbers: code -> the clinic's own number or name, as they were shown.
        codebook: makes codes of identities that were typed in.
    """
    answers = Answers()
    answers.not_usable["strange"] += held.count_strange
    for sheet, tab in held.tabs.items():
        rows = asked[sheet]
        keys = [key for key in tab.index if held.rows[key].row_id in rows]
        answers.not_usable["other_records"] += _count_answered(tab.drop(index=keys))
        known = tab.loc[keys]
        before = [rows[held.rows[key].row_id] for key in keys]
        changes = _changes(sheet, known, before, numbers, codebook, answers.codes)
        for key in keys:
            one = _answered(held, tab.loc[key], key, changes.get(key, {}), answers)
            if one is not None:
                answers.usable.setdefault(sheet, []).append(one)
    return answers


def _count_answered(tab: pd.DataFrame) -> int:
    return int((tab[[words.WHY, words.ANSWER]] != "").any(axis=1).sum())


def _changes(
    sheet: str,
    tab: pd.DataFrame,
    before: Sequence[Row],
    numbers: Mapping[str, str],
    codebook: Codebook,
    codes: dict[tuple[str, str], str],
) -> dict[int, dict[str, str]]:
    """Return the cells that a person typed over, by the number of the row."""
    changes: dict[int, dict[str, str]] = {}
    for one in load.fields(sheet):
        if one.field not in tab.columns:
            continue
        for key, came_back, row in zip(tab.index, tab[one.field], before, strict=True):
            text, sign = row[one.field], row["decimal_sign"]
            given = numbers.get(text, text) if one.identity else text
            # a code that could not be led back was shown as it is
            if came_back in (as_read(shown(given, one, sign)), text):
                continue
            new = came_back
            if one.identity:
                new = codebook.code_of(one.identity, came_back)
                codes[one.identity, came_back] = new
                if new == text:
                    continue
            changes.setdefault(int(key), {})[one.field] = new
    return changes


def _answered(
    held: HeldFile, line: pd.Series, key: int, changes: dict[str, str], answers: Answers
) -> Answered | None:
    """Return the answer to one row, or count why it cannot be used."""
    why = str(line[words.WHY])
    try:
        answer = words.answer_of(str(line[words.ANSWER]))
    except ValueError:
        answers.not_usable["unclear"] += 1
        return None
    findings = tuple(held.findings.get(key, ()))
    sheet = held.rows[key].sheet
    is_right_possible = not any(cannot_be_right(one, sheet) for one in findings)
    reason = _not_usable(answer, why, changes, is_right_possible=is_right_possible)
    if reason:
        answers.not_usable[reason] += 1
        return None
    if answer is None and not changes:
        return None
    meant = answer or Answer.CORRECTED
    kept = changes if meant is Answer.CORRECTED else {}
    return Answered(held.rows[key].row_id, meant, why, kept, findings)


def _not_usable(
    answer: Answer | None,
    why: str,
    changes: Mapping[str, str],
    *,
    is_right_possible: bool,
) -> str:
    """Return why an answer cannot be used; '' when it can, or when there is none."""
    if answer is None and not changes:
        return "no_answer" if why else ""
    if not why:
        return "no_why"
    if answer is Answer.CORRECTED and not changes:
        return "no_change"
    if answer is Answer.RIGHT:
        if changes:
            return "both"
        if not is_right_possible:
            return "not_right"
    return ""


def cannot_be_right(finding: AskedFinding, sheet: str) -> bool:
    """Tell whether no reason in the world makes right what was found.

    That is so of a stop, and of a cell that every row needs and that cannot be read.
    """
    is_needed = any(
        one.is_required and one.field == finding.field for one in load.fields(sheet)
    )
    is_unread = bool(finding.field) and finding.evidence is None
    return finding.severity == "stop" or (is_unread and is_needed)
