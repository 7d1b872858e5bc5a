"""Choose the columns of a proposal, from the tab itself and from tabs joined to it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from pipeline.records.layout_draft import Draft
from pipeline.records.layout_model import fields_by_name, same_heading
from pipeline.records.proposal_rows import Filled
from pipeline.records.proposal_sheet import joins_to
from pipeline.records.proposal_tabs import Column, Tab, words_of


class ColumnChoice:
    """The columns of a file that fill fields.

    Args:
        draft: the proposal; joins are written into it.
        main: the tab to begin with.
        others: the other tabs of the file.
        sheet: the record sheet the main tab is most like.

    Attributes:
        tabs: the tab each prefix of a heading stands for.
        used: columns that were used for something else than a field.
    """

    def __init__(
        self, draft: Draft, main: Tab, others: Sequence[Tab], sheet: str
    ) -> None:
        self.draft = draft
        self.main = main
        self.others = others
        self.sheet = sheet
        self.tabs: dict[str, Tab] = {"": main}
        self.used: list[Column] = []

    def figures(self) -> list[Filled]:
        """Return the columns that fill the figures of the record sheet."""
        sheet = self.sheet
        found = [
            Filled(name, column, state=_state_of(column, sheet))
            for column, name in self.main.fields(sheet)
        ]
        if sheet == "implants" and self.main.state is not None:
            found += self._points_by_row()
        there = {one.field for one in found}
        for other, keys in joins_to(self.main, self.others):
            prefix = f"{other.table.tab}: "
            more = [
                Filled(name, column, prefix, _state_of(column, sheet))
                for column, name in other.fields(sheet)
                if name not in there and column not in keys
            ]
            if more:
                self.tabs[prefix] = other
                found += more
        return found

    def _points_by_row(self) -> list[Filled]:
        """Return points of plan and result that stand in rows of their own."""
        state, words = self.main.state, words_of("state")
        found: list[Filled] = []
        if state is None:
            return found
        planned = dict.fromkeys(
            cell.strip()
            for cell in state.cells
            if words.get(same_heading(cell), ("",))[0] == "planned"
        )
        if not planned:
            return found
        heading = state.heading
        on = [c.heading for c in (self.main.case, self.main.place) if c is not None]
        pattern = "|".join(re.escape(word.casefold()) for word in planned)
        join = {
            "name": "plan",
            "on": on,
            "only": {"heading": heading, "pattern": pattern},
        }
        self.draft.values.setdefault("join", []).append(join)
        self.draft.because(("join", 0), "plan and result stand in rows of their own")
        self.tabs["plan: "] = self.main
        self.used.append(state)
        for column in self.main.columns:
            tokens = column.meaning.tokens
            for end in ("entry", "apex"):
                for axis in "xyz":
                    if tokens == {end, axis}:
                        name = f"{end}_{axis}_mm"
                        found.append(Filled(f"planned_{name}", column, "plan: "))
                        found.append(Filled(f"achieved_{name}", column))
        return found

    def case_fields(self) -> list[Filled]:
        """Return the columns that belong to the case, not to the implant."""
        if self.sheet == "cases":
            return []
        taken = {id(column) for column, _ in self.main.fields(self.sheet)}
        found = [
            Filled(name, column)
            for column, name in self.main.fields("cases")
            if id(column) not in taken
            and not (self.sheet == "visits" and name == "patient_id")
        ]
        there = {one.field for one in found}
        for other, keys in joins_to(self.main, self.others):
            prefix = f"{other.table.tab}: "
            more = [
                Filled(name, column, prefix)
                for column, name in other.fields("cases")
                if name not in there and column not in keys
            ]
            if more and other.count_figures("cases") > len(found):
                self.tabs[prefix] = other
                found += more
        return found

    def add_joins(self, filled: Iterable[Filled]) -> None:
        """Propose the joins by which some of the columns come."""
        wanted = {one.prefix for one in filled}
        for other, keys in joins_to(self.main, self.others):
            prefix = f"{other.table.tab}: "
            if prefix not in wanted:
                continue
            ours = [c for c in (self.main.case, self.main.place) if c is not None]
            join: dict[str, object] = {
                "tab": other.table.tab,
                "on": [column.heading for column in ours[: len(keys)]],
            }
            their = [column.heading for column in keys]
            if their != join["on"]:
                join["their"] = their
            if other.header_rows > 1:
                join["header_rows"] = other.header_rows
            joins = self.draft.values.setdefault("join", [])
            joins.append(join)
            reason = "its case numbers are those of this tab, each there once"
            self.draft.because(("join", len(joins) - 1), reason)


def _state_of(column: Column, sheet: str) -> str:
    """Return the state a heading names, for sheets that have the field state."""
    if "state" not in fields_by_name(sheet):
        return ""
    return min(column.states, default="")
