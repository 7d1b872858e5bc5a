"""Take back a workbook of rows to correct: put right, leave out, let stand.

One workbook is one transaction. Answers are remembered by the row they were asked about,
so that reading a workbook twice, under whatever name, changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from pipeline.errors import UnreadableFile
from pipeline.records.held_answers import Answered, Answers, answers_of
from pipeline.records.held_applying import Applying, TakenBack
from pipeline.records.held_cells import digest_of
from pipeline.records.held_rows_now import rows_now
from pipeline.records.held_words import Answer
from pipeline.records.store import fields_of
from pipeline.reference import load

if TYPE_CHECKING:
    from pipeline.records import corrections
    from pipeline.records.codes import Codebook
    from pipeline.records.held_read import HeldFile
    from pipeline.settings import Settings
    from pipeline.warehouse import Warehouse


def is_settled(store: Warehouse, sha256: str) -> bool:
    """Tell whether a workbook of this content was taken back and left nothing open."""
    return bool(
        store.value(
            "select count(*) from workbooks_back where file_sha256 = $sha256"
            " and count_open = 0",
            {"sha256": sha256},
        )
    )


def take_back(
    store: Warehouse,
    held: HeldFile,
    codebook: Codebook,
    settings: Settings,
    given: corrections.Answered,
) -> TakenBack:
    """Apply what a workbook answers.

    Args:
        store: records.duckdb, open for loading.
        held: the workbook.
        codebook: leads codes back as the workbook showed them, and makes new ones.
        settings: of the audit.
        given: who answers for it, when, and the workbook's name and hash.

    Raises:
        UnreadableFile: it was written for another audit.
    """
    if held.audit_id != settings.audit_id:
        raise UnreadableFile(
            f"{given.workbook} holds rows of another audit.",
            hint="Put it into the folder of the audit it was written for.",
        )
    now = {sheet: _known(store, held, sheet) for sheet in held.tabs}
    numbers = _numbers(codebook, held.tabs)
    answers = answers_of(held, now, numbers, codebook)
    taken = TakenBack(not_done=answers.not_usable)
    if not given.by:
        _wait_for_a_name(store, answers, taken)
    codebook.remember(answers.codes)
    with store.transaction():
        for sheet, answered in answers.usable.items():
            fresh = _not_yet_applied(store, answered)
            one = Applying(store, sheet, now[sheet], numbers, given, taken)
            one.correct([a for a in fresh if a.answer is Answer.CORRECTED])
            one.leave_out([a for a in fresh if a.answer is Answer.LEAVE_OUT])
            elsewhere = [a for s in answers.usable for a in answers.usable[s]]
            one.accept([a for a in fresh if a.answer is Answer.RIGHT], elsewhere)
            _remember(store, one.applied, given)
        decided = {"sha256": given.sha256, "name": given.workbook, "at": given.at}
        store.run(
            "insert into workbooks_back values ($sha256, $name, $at, $count_open)",
            {**decided, "count_open": taken.count_open},
        )
    return taken


def _wait_for_a_name(store: Warehouse, answers: Answers, taken: TakenBack) -> None:
    """Leave every answer that was not applied before for the day there is a name."""
    for answered in answers.usable.values():
        taken.not_done["no_lead"] += len(_not_yet_applied(store, answered))
    answers.usable.clear()


def _known(store: Warehouse, held: HeldFile, sheet: str) -> dict[int, dict[str, Any]]:
    """Return the rows asked about that records.duckdb still has as they were written."""
    asked = {row.row_id: row for row in held.rows.values() if row.sheet == sheet}
    names = fields_of(sheet)
    return {
        row_id: row
        for row_id, row in rows_now(store, sheet, list(asked)).items()
        if digest_of({name: row[name] for name in names}) == asked[row_id].digest
    }


def _numbers(codebook: Codebook, sheets: Mapping[str, Any]) -> dict[str, str]:
    kinds = {
        one.identity for sheet in sheets for one in load.fields(sheet) if one.identity
    }
    found: dict[str, str] = {}
    for kind in sorted(kinds):
        found |= codebook.numbers_behind(kind)
    return found


def _not_yet_applied(store: Warehouse, answered: Sequence[Answered]) -> list[Answered]:
    """Return the answers that are not the last ones applied to their rows."""
    last: dict[int, str] = dict(
        store.run(
            "select row_id, arg_max(answer_sha256, rowid) from answers group by row_id"
        )
    )
    return [one for one in answered if last.get(one.row_id) != one.sha256]


def _remember(
    store: Warehouse, applied: Sequence[Answered], given: corrections.Answered
) -> None:
    import pandas as pd

    rows = pd.DataFrame(
        [(one.row_id, one.sha256) for one in applied], columns=["row_id", "sha256"]
    )
    with store.registered("applied", rows):
        store.run(
            "insert into answers select row_id::bigint, sha256::varchar, $name, $at"
            " from applied",
            {"name": given.workbook, "at": given.at},
        )
