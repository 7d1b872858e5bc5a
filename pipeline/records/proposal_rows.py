"""The [[rows]] parts of a proposal: which column fills which field, side by side."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.records.evidence import number_notation
from pipeline.records.heading_marks import (
    READING,
    SITE,
    notation_of_marks,
    side_of_word,
)
from pipeline.records.layout_draft import KEEP, NO, YES, Draft, Path, Question
from pipeline.records.layout_model import fields_by_name
from pipeline.records.layout_said import OPEN
from pipeline.records.proposal_gaps import add_place, ask_for_missing
from pipeline.records.proposal_tabs import Column
from pipeline.records.site_notation import (
    FDI,
    QUADRANT,
    UNIVERSAL,
    fdi_of,
    side_of_fdi,
)
from pipeline.reference import load

Marks = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Filled:
    """A column that fills a field.

    Attributes:
        field: the field.
        column: the column.
        prefix: name of the join it comes by, such as ``Plan: ``; '' for none.
        state: the state its heading names, for sheets that have the field state.
    """

    field: str
    column: Column
    prefix: str = ""
    state: str = ""

    def heading(self, *, template: bool) -> str:
        """Return the heading as the layout writes it."""
        marked = self.column.marked
        return self.prefix + (marked.template if template else marked.heading)


@dataclass(frozen=True, slots=True, eq=False)
class Written:
    """A field as written into the draft.

    Attributes:
        path: of the field in the draft.
        field: the field of the record sheet.
        columns: the columns that fill it, one a part.
    """

    path: Path
    field: load.Field
    columns: tuple[Column, ...]

    @property
    def cells(self) -> tuple[str, ...]:
        """All cells of its columns."""
        return tuple(cell for column in self.columns for cell in column.cells)


@dataclass(frozen=True, slots=True, eq=False)
class RowsProposal:
    """The rows of one record sheet as they are proposed.

    Attributes:
        draft: the proposal they become part of.
        sheet: the record sheet.
        place: the column of places; None where the headings say the place.
        sites: all marks of places in the headings.
    """

    draft: Draft
    sheet: str
    place: Column | None
    sites: tuple[str, ...]

    def add(self, shared: Sequence[Filled], figures: Sequence[Filled]) -> list[Written]:
        """Add the [[rows]] parts.

        Args:
            shared: columns that every row of ours takes, such as the case number.
            figures: columns that may stand once for each side, reading or state.

        Returns:
            Every field written from a column.
        """
        written: list[Written] = []
        states = sorted({one.state for one in figures})
        stated = {one.field for one in figures if one.state}
        # a figure that names no state belongs to each, unless it stands with one too
        if states[1:] and not any(
            one.field in stated for one in figures if not one.state
        ):
            states = states[1:]
        for state in states or [""]:
            of_state = [
                one
                for one in figures
                if one.state == state or (not one.state and one.field not in stated)
            ]
            combos = _combos(of_state)
            if not combos or _is_regular(of_state):
                written += self._block([*shared, *of_state], state, combos)
                continue
            for combo in combos:
                chosen = [one for one in of_state if _fits(one.column, combo)]
                written += self._block(
                    [*shared, *chosen], state, [combo], is_each=False
                )
        return written

    def _block(
        self,
        filled: Sequence[Filled],
        state: str,
        combos: Sequence[Marks],
        *,
        is_each: bool = True,
    ) -> list[Written]:
        """Add one [[rows]] part: with marks in its headings, or with whole headings."""
        draft = self.draft
        rows = draft.values.setdefault("rows", [])
        at: Path = ("rows", len(rows))
        block: dict[str, Any] = {"sheet": self.sheet}
        rows.append(block)
        parts = [self._part(combo, with_marks=is_each) for combo in combos]
        if parts and is_each:
            block["each"] = parts
        block["fields"] = {}
        for part in [] if is_each else parts:
            for name, value in part.items():
                block["fields"][name] = {"always": value}
        self._ask_of_marks(at, combos)
        self._ask_of_readings(at, filled)
        written = self._fill(at, filled, template=is_each)
        if state:
            path = (*at, "fields", "state", "always")
            draft.put(path, state, "the headings say so")
        if self.place is not None and not any(SITE in dict(combo) for combo in combos):
            add_place(draft, at, self.sheet, self.place)
        ask_for_missing(draft, at, self.sheet)
        return written

    def _fill(
        self, at: Path, filled: Sequence[Filled], *, template: bool
    ) -> list[Written]:
        known = fields_by_name(self.sheet)
        there = self.draft.values["rows"][at[1]]["fields"]
        written = []
        for one in filled:
            if one.field in there:
                continue
            path = (*at, "fields", one.field)
            self.draft.put(path, {"heading": one.heading(template=template)})
            if one.column.meaning.unknown:
                words = ", ".join(map(repr, one.column.meaning.unknown))
                self.draft.confirm(
                    f"is {one.column.heading!r} the {one.field} of {self.sheet}? the "
                    f"word {words} is not known here",
                    [path],
                    one.column.cells,
                )
            columns = [other.column for other in filled if other.field == one.field]
            written.append(Written(path, known[one.field], tuple(columns)))
        return written

    def _part(self, combo: Marks, *, with_marks: bool) -> dict[str, str]:
        """Return one part: the marks in its headings, and what they say."""
        part: dict[str, str] = {}
        for mark, text in combo:
            if with_marks:
                part[mark] = text
            if mark == READING:
                part["reading"] = "".join(filter(str.isdigit, text))
            else:
                part |= self._place_said(text, notation_of_marks(self.sites))
        return part

    def _place_said(self, text: str, notation: str) -> dict[str, str]:
        side = side_of_word(text)
        if side:
            return {"side": side}
        fdi = fdi_of(text, notation or FDI)
        if "tooth" in fields_by_name(self.sheet):
            return {"tooth": fdi or OPEN}
        return {"side": side_of_fdi(fdi) if fdi else OPEN}

    def _ask_of_marks(self, at: Path, combos: Sequence[Marks]) -> None:
        """Ask which notation tooth numbers in headings are of, where that is open."""
        own = [dict(combo).get(SITE, "") for combo in combos]
        if not any(own) or notation_of_marks(self.sites) in {"", QUADRANT}:
            return
        draft = self.draft
        guess = number_notation("the headings", self.sites)
        name = "tooth" if "tooth" in fields_by_name(self.sheet) else "side"
        is_each = "each" in draft.values["rows"][at[1]]
        paths: list[Path] = [
            (*at, "each", number, name) if is_each else (*at, "fields", name, "always")
            for number in range(len(combos))
        ]
        written = {
            notation: tuple(self._place_said(text, notation)[name] for text in own)
            for notation in (FDI, UNIVERSAL)
        }
        shown = written.get(guess.value, (OPEN,) * len(paths))
        for path, value in zip(paths, shown, strict=True):
            draft.put(path, value)
        draft.because((*at, "each") if is_each else paths[0], guess.reason)
        if guess.ask:
            where = tuple(paths)
            draft.ask(
                Question(guess.ask, where, guess.choices, guess.value, written=written)
            )

    def _ask_of_readings(self, at: Path, filled: Sequence[Filled]) -> None:
        """Ask whether bare numbers in headings count readings, and not implants."""
        marked = [
            one.column.marked for one in filled if READING in one.column.marked.marks
        ]
        parts = self.draft.values["rows"][at[1]].get("each", [])
        if not parts or all(one.is_surely_a_reading for one in marked):
            return
        paths: list[Path] = [(*at, "each", n, "reading") for n in range(len(parts))]
        numbers = " and ".join(dict.fromkeys(part["reading"] for part in parts))
        written = {YES: (KEEP,) * len(paths), NO: (OPEN,) * len(paths)}
        self.draft.ask(
            Question(
                f"do the numbers {numbers} in the headings count repeat readings of one "
                "implant (not two implants)?",
                tuple(paths),
                (YES, NO),
                YES,
                written=written,
            )
        )


def _combos(figures: Iterable[Filled]) -> list[Marks]:
    """Return the sets of marks that stand together, those with the most kinds of marks."""
    found = dict.fromkeys(
        tuple(sorted(one.column.marked.marks.items())) for one in figures
    )
    most = max((len(combo) for combo in found), default=0)
    return [combo for combo in found if len(combo) == most and combo]


def _is_regular(figures: Iterable[Filled]) -> bool:
    """Tell whether each field's headings differ in their marks only."""
    templates: dict[str, set[str]] = {}
    for one in figures:
        templates.setdefault(one.field, set()).add(one.column.marked.template)
    return all(len(found) == 1 for found in templates.values())


def _fits(column: Column, combo: Marks) -> bool:
    return set(column.marked.marks.items()) <= set(combo)
