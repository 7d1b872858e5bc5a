"""Propose a layout for a file that is not ours, with the reason for each guess.

Nothing is guessed silently where two readings fit: such a point is left open or marked
to be confirmed, and a layout with open points is not used.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import UnreadableSheet
from pipeline.records.evidence import Guess, number_notation
from pipeline.records.heading_marks import SITE, side_of_word
from pipeline.records.layout_draft import Draft, toml_of
from pipeline.records.layout_model import fields_by_name, same_heading
from pipeline.records.proposal_cells import describe_cells, describe_signs
from pipeline.records.proposal_columns import ColumnChoice
from pipeline.records.proposal_list import add_visits
from pipeline.records.proposal_rows import Filled, RowsProposal, Written
from pipeline.records.proposal_sheet import (
    add_axes,
    add_fill_down,
    add_skipped,
    place_guess,
)
from pipeline.records.proposal_tabs import (
    Column,
    Tab,
    is_dropped_anyway,
    is_identifying,
    is_unique,
    record_sheet_of,
    understood,
)
from pipeline.records.read import read_file
from pipeline.records.sheets import is_complete, sheet_meant
from pipeline.reference import load


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """A proposed layout.

    Attributes:
        draft: what it says, with reasons and questions.
        name: for its file.
        file: the file it is for, as shown to people.
    """

    draft: Draft
    name: str
    file: str

    def text(self) -> str:
        """Return it as TOML."""
        count = len(self.draft.questions)
        points = "1 point" if count == 1 else f"{count} points"
        state = f"{points} to confirm." if count else "Nothing is left open."
        first = f"Layout for {self.file}, proposed from the file itself. {state}"
        place = f"Read it through; its place is layouts/{self.name}.toml of the audit."
        return toml_of(self.draft, [first, place])


def propose(path: Path, *, tab: str = "") -> Proposal:
    """Propose a layout for a file.

    Args:
        path: the file.
        tab: the tab to begin with; '' for the one that holds most.

    Raises:
        UnreadableFile: the file cannot be read.
        UnreadableSheet: nothing in it looks like a record of ours.
    """
    file = read_file(path, name=path.name)
    tabs = understood(file, path.name)
    main, sheet = _main_tab(tabs, tab, path.name)
    draft = Draft()
    _name_file_of_ours(draft, main, path.name)
    name = re.sub(r"[^a-z0-9]+", "_", path.stem.casefold()).strip("_") or "layout"
    _Proposing(draft, tabs, main, sheet).make()
    return Proposal(draft, name, path.name)


def _name_file_of_ours(draft: Draft, tab: Tab, name: str) -> None:
    """Say that a sheet under our own headings needs no layout, or one that names it."""
    own = sheet_meant(tab.table.tab or Path(name).stem, tab.table.headings)
    if own and is_complete(own, tab.table.headings):
        draft.notices.append(
            f"its headings are those of our sheet {own}, so it is loaded as it is and needs "
            "no layout; this one is used only because it names the file."
        )
        draft.put(("files",), [name])


def _main_tab(tabs: Sequence[Tab], wanted: str, name: str) -> tuple[Tab, str]:
    """Return the tab to begin with and the record sheet it is most like."""
    if wanted:
        tabs = [t for t in tabs if same_heading(t.table.tab) == same_heading(wanted)]
    found = [(tab, sheet) for tab in tabs if (sheet := record_sheet_of(tab))]
    if not found:
        headings = tabs[0].table.headings[:12] if tabs else ()
        raise UnreadableSheet(
            f"{name} holds nothing that looks like a record of ours; its columns are: "
            f"{', '.join(headings) or 'none'}.",
            hint="A layout can be written by hand; the page 'your sheet, as it is' shows "
            "how.",
        )
    order = [sheet for sheet in load.sheets() if sheet != "cases"] + ["cases"]
    # the sheet with the figures first; of tabs alike, the one with more rows
    return max(
        found,
        key=lambda one: (
            -order.index(one[1]),
            _count_achieved(one[0]),
            len(one[0].table.row_numbers),
        ),
    )


def _count_achieved(tab: Tab) -> int:
    return sum("achieved" in column.meaning.tokens for column in tab.columns)


class _Proposing:
    """The proposal as it is being made.

    Args:
        draft: what comes out.
        tabs: all tabs of the file.
        main: the tab to begin with.
        sheet: the record sheet it is most like.
    """

    def __init__(
        self, draft: Draft, tabs: Sequence[Tab], main: Tab, sheet: str
    ) -> None:
        self.draft = draft
        self.main = main
        self.sheet = sheet
        self.others = [tab for tab in tabs if tab is not main]
        self.used: list[Column] = [c for c in (main.case, main.place) if c]

    def make(self) -> None:
        """Make the whole proposal, the headings it needs at its top."""
        draft = self.draft
        draft.put(("needs",), [])
        if self.main.table.tab and self.others:
            draft.put(("tab",), self.main.table.tab)
        if self.main.header_rows > 1:
            reason = f"headings stand over {self.main.header_rows} rows"
            draft.put(("header_rows",), self.main.header_rows, reason)
        self._drop()
        add_skipped(draft, self.main)
        chosen = ColumnChoice(draft, self.main, self.others, self.sheet)
        figures = chosen.figures()
        cases = chosen.case_fields()
        chosen.add_joins([*figures, *cases])
        self.used += chosen.used
        written = self._rows(figures, cases)
        everything = [one for part in written.values() for one in part]
        describe_signs(draft, everything)
        for sheet, part in written.items():
            describe_cells(draft, sheet, part, self.main.columns)
        if self.sheet == "visits":
            add_visits(draft, self.main, self._case_filled())
        add_fill_down(draft, self.main, self.used)
        if self.sheet == "implants":
            add_axes(draft, chosen.tabs, figures, self._place_guess(figures))
        self._needs(figures)
        self._unused()

    def _drop(self) -> None:
        """Name the columns that identify a person; one of them may be the case number."""
        for column in self.main.columns:
            if column is self.main.case or not is_identifying(column):
                continue
            if is_dropped_anyway(column):
                self.draft.notices.append(
                    f"{column.heading!r} identifies a person and is left out when loading."
                )
            else:
                self.draft.values.setdefault("drop", []).append(column.heading)
                self.draft.because(("drop",), "these identify a person")
            self.used.append(column)

    def _case_filled(self) -> list[Filled]:
        case = self.main.case
        return [] if case is None else [Filled("case_id", case)]

    def _rows(
        self, figures: Sequence[Filled], cases: Sequence[Filled]
    ) -> dict[str, list[Written]]:
        written: dict[str, list[Written]] = {}
        shared = self._case_filled()
        marks = [one.column.marked.marks for one in figures]
        sites = tuple(dict.fromkeys(found[SITE] for found in marks if SITE in found))
        place = self.main.place if "side" in fields_by_name(self.sheet) else None
        if self.sheet == "visits":
            place = None
        rows = RowsProposal(self.draft, self.sheet, place, sites)
        written[self.sheet] = rows.add(shared, figures)
        if cases:
            rows = RowsProposal(self.draft, "cases", None, ())
            written["cases"] = rows.add([*shared, *cases], [])
        case = self.main.case
        if "cases" in written and (case is None or not is_unique([case])):
            block = self.draft.values["rows"][-1]
            fields = block.pop("fields")
            block |= {"distinct": True, "fields": fields}
        self.used += [one.column for one in [*figures, *cases]]
        return written

    def _place_guess(self, figures: Sequence[Filled]) -> Guess:
        marks = [one.column.marked.marks.get(SITE, "") for one in figures]
        numbers = [text for text in marks if text and not side_of_word(text)]
        if numbers:
            return number_notation("the headings", numbers)
        return place_guess(self.main)

    def _needs(self, figures: Sequence[Filled]) -> None:
        """List the headings the sheet is known by: its keys and a few figures."""
        own = [one.column.heading for one in figures if not one.prefix]
        keys = [c.heading for c in (self.main.case, self.main.place) if c is not None]
        if self.main.state is not None:
            keys.append(self.main.state.heading)
        if self.sheet == "visits":
            said = {"status", "reason_text"}
            keys += [c.heading for c in self.main.columns if c.meaning.tokens & said]
        needs = list(dict.fromkeys([*keys, *own[:2], *own[-2:]]))
        self.draft.put(("needs",), needs, "the sheet is known by these headings")

    def _unused(self) -> None:
        used = {id(column) for column in self.used}
        left = [
            column.heading
            for column in self.main.columns
            if id(column) not in used
            and not column.is_unheaded
            and not column.meaning.tokens & {"reason_text", "status"}
        ]
        if left:
            self.draft.notices.append(
                f"not used, but kept as received: {', '.join(map(repr, left))}."
            )
