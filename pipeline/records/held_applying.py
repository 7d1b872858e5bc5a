"""Apply the answers to the rows of one record sheet, and keep who gave them and why."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pipeline.records import corrections, decisions
from pipeline.records.decisions import Decision
from pipeline.records.held_answers import NOT_USABLE, OPEN, Answered, Row
from pipeline.records.held_cells import as_read, as_received, shown
from pipeline.records.held_rows_now import ANSWERED, GONE, IN_USE, LATER, cells_now
from pipeline.records.held_words import Answer
from pipeline.records.phrases import counted
from pipeline.reference import load

if TYPE_CHECKING:
    from pipeline.records.held_read import AskedFinding
    from pipeline.warehouse import Warehouse


@dataclass(slots=True)
class TakenBack:
    """What a workbook of rows to correct did.

    Attributes:
        done: answer -> number of rows it was applied to.
        not_done: reason -> number of rows.
    """

    done: Counter[Answer] = field(default_factory=Counter)
    not_done: Counter[str] = field(default_factory=Counter)

    @property
    def count_open(self) -> int:
        """Rows whose answer can be mended without another workbook."""
        return sum(self.not_done[reason] for reason in OPEN)

    def lines(self) -> list[str]:
        """Return what to tell the person, counts only."""
        words = {
            Answer.CORRECTED: "corrected",
            Answer.LEAVE_OUT: "left out",
            Answer.RIGHT: "found right as it is",
        }
        done = [
            f"{counted(self.done[answer], 'row')} {word}"
            for answer, word in words.items()
            if self.done[answer]
        ]
        not_done = [
            f"  {counted(count, 'row')} {NOT_USABLE[reason]}"
            for reason, count in self.not_done.items()
            if count
        ]
        return [", ".join(done) or "nothing new to apply", *not_done]


class Applying:
    """The answers to the rows of one record sheet, on their way into records.duckdb."""

    def __init__(
        self,
        store: Warehouse,
        sheet: str,
        now: Mapping[int, Row],
        numbers: Mapping[str, str],
        given: corrections.Answered,
        taken: TakenBack,
    ) -> None:
        self.store, self.sheet, self.now = store, sheet, now
        self.numbers, self.given, self.taken = numbers, given, taken
        self.applied: list[Answered] = []

    def correct(self, answered: Sequence[Answered]) -> None:
        """Put the corrected rows in the place of those in use."""
        import pandas as pd

        ids = [self.now[one.row_id]["now_id"] for one in answered]
        cells = cells_now(self.store, self.sheet, [i for i in ids if i is not None])
        rows: list[dict[str, Any]] = []
        decided: list[Decision] = []
        for one in answered:
            changed = self._changed_cells(one, cells)
            if changed is None:
                self.taken.not_done["later"] += 1
                continue
            self.applied.append(one)
            if not changed:
                continue
            now_id = self.now[one.row_id]["now_id"]
            why = self._without_names(one)
            before = cells[now_id]
            rows.append(before | changed | {"old_row_id": now_id, "why": why})
            decided += [
                Decision(
                    Answer.CORRECTED, self._place(one), why, name, before[name], new
                )
                for name, new in changed.items()
            ]
        if rows:
            corrections.correct(self.store, self.sheet, pd.DataFrame(rows), self.given)
            decisions.note(self.store, decided, by=self.given.by, at=self.given.at)
            self.taken.done[Answer.CORRECTED] += len(rows)

    def _changed_cells(
        self, one: Answered, cells: Mapping[int, Row]
    ) -> dict[str, str] | None:
        """Return the cells to write, none where all is so already, None on conflict."""
        asked = self.now[one.row_id]
        if asked["now_state"] == GONE:
            return None
        now = cells[asked["now_id"]]
        changed = {}
        for item in load.fields(self.sheet):
            if item.field not in one.changes:
                continue
            sign = str(now["decimal_sign"])
            new = one.changes[item.field]
            new = new if item.identity else as_received(new, item, sign)
            if as_read(shown(now[item.field], item, sign)) == as_read(
                shown(new, item, sign)
            ):
                continue
            if asked["now_state"] == LATER and now[item.field] != asked[item.field]:
                return None
            changed[item.field] = new
        return changed

    def leave_out(self, answered: Sequence[Answered]) -> None:
        """Take rows out of use."""
        import pandas as pd

        rows: list[dict[str, Any]] = []
        decided: list[Decision] = []
        for one in answered:
            state = self.now[one.row_id]["now_state"]
            if state in (LATER, GONE):
                self.taken.not_done["later"] += 1
                continue
            self.applied.append(one)
            if state in (IN_USE, ANSWERED):
                why = self._without_names(one)
                now_id = self.now[one.row_id]["now_id"]
                rows.append({"row_id": now_id, "why": why})
                decided.append(Decision(Answer.LEAVE_OUT, self._place(one), why))
        if rows:
            frame = pd.DataFrame(rows)
            corrections.leave_out(self.store, self.sheet, frame, self.given)
            decisions.note(self.store, decided, by=self.given.by, at=self.given.at)
            self.taken.done[Answer.LEAVE_OUT] += len(rows)

    def accept(
        self, answered: Sequence[Answered], elsewhere: Sequence[Answered]
    ) -> None:
        """Let findings stand as right.

        What is wrong with a case stands at each of its rows. It is only taken for right
        where no row of the case was changed: else the change is to be judged first.
        """
        mended = {
            finding.finding_id
            for other in elsewhere
            if other.answer is not Answer.RIGHT
            for finding in other.findings
        }
        decided = []
        for one in answered:
            self.applied.append(one)
            asked = self.now[one.row_id]
            why = self._without_names(one)
            for finding in one.findings:
                if finding.finding_id in mended:
                    continue
                cell = asked[finding.field] if finding.field else None
                sha256 = hashlib.sha256(cell.encode()).hexdigest() if cell else ""
                self._note_accepted(finding, asked, sha256, why)
                about = f"{self._place(one)}, finding {finding.finding_id}"
                decided.append(Decision(Answer.RIGHT, about, why, finding.field))
            self.taken.done[Answer.RIGHT] += 1
        decisions.note(self.store, decided, by=self.given.by, at=self.given.at)

    def _note_accepted(
        self, finding: AskedFinding, asked: Row, cell_sha256: str, why: str
    ) -> None:
        self.store.run(
            """insert into accepted
            select $finding_id, $check_id, $source, $sheet, $row_key, $case_key, $field, $evidence,
                $cell, $at, $by, $why
            where not exists (
                select 1 from accepted where finding_id = $finding_id
                    and evidence is not distinct from $evidence and cell_sha256 = $cell
            )""",
            {
                "finding_id": finding.finding_id,
                "check_id": finding.check_id,
                "source": asked["file_source"],
                "sheet": self.sheet,
                "row_key": asked["row_key"],
                "case_key": asked.get("case_id", ""),
                "field": finding.field,
                "evidence": finding.evidence,
                "cell": cell_sha256,
                "at": self.given.at,
                "by": self.given.by,
                "why": why,
            },
        )

    def _place(self, one: Answered) -> str:
        asked = self.now[one.row_id]
        return f"{asked['file_source']}, {self.sheet}, row {asked['row_number']}"

    def _without_names(self, one: Answered) -> str:
        """Return the reason with the row's own numbers and names as codes."""
        asked = self.now[one.row_id]
        why = one.why
        for item in load.fields(self.sheet):
            number = self.numbers.get(asked[item.field], "") if item.identity else ""
            if len(number) > 1:
                pattern = rf"(?<!\w){re.escape(number)}(?!\w)"
                why = re.sub(pattern, asked[item.field], why, flags=re.IGNORECASE)
        return why
