"""What a proposal says of a sheet as a whole: rows to skip, filled down, joined, axes."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from pipeline.records.axes_evidence import (
    CHOICES,
    DIRECTIONS,
    axes_of,
    letters_of_words,
)
from pipeline.records.evidence import Guess, given, place_of
from pipeline.records.heading_marks import SITE, side_of_word
from pipeline.records.layout_draft import Draft
from pipeline.records.layout_model import same_heading
from pipeline.records.layout_said import OPEN
from pipeline.records.numbers_written import EITHER, POINT, Style, read_number
from pipeline.records.phrases import rows_named
from pipeline.records.proposal_tabs import Column, Tab, is_unique, words_of
from pipeline.records.site_notation import (
    FDI,
    NOTATIONS,
    UNIVERSAL,
    fdi_of,
    side_of_fdi,
)
from pipeline.records.units import units

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.records.proposal_rows import Filled

TOTALS = re.compile(
    r"(mean|average|avg|total|totals|sum|sd|s\.d\.|std|stdev|median|min|minimum|max|"
    r"maximum|count|range|n\s*=.*)\W*",
    re.IGNORECASE,
)
NOTE_LENGTH = 25


def add_skipped(draft: Draft, tab: Tab) -> None:
    """Propose to skip rows of totals, and notes below the table."""
    column = tab.case or (tab.columns[0] if tab.columns else None)
    if column is None:
        return
    numbers = tab.table.row_numbers.tolist()
    totals = [
        (number, cell.strip())
        for number, cell in zip(numbers, column.cells, strict=True)
        if TOTALS.fullmatch(cell.strip())
    ]
    if totals:
        words = dict.fromkeys(re.escape(cell.casefold()) for _, cell in totals)
        rows = rows_named(number for number, _ in totals)
        _add_skip(draft, column, "|".join(words), "totals", f"{rows}: no case number")
    usual = sorted(len(cell) for cell in given(column.cells))
    if usual and usual[len(usual) // 2] < NOTE_LENGTH / 2:
        notes = [
            number
            for number, cell, row in zip(
                numbers, column.cells, tab.table.cells, strict=True
            )
            if len(cell.strip()) >= NOTE_LENGTH
            and sum(bool(c.strip()) for c in row) == 1
        ]
        if notes:
            pattern = f".{{{NOTE_LENGTH},}}"
            reason = f"{rows_named(notes)}: a sentence, and nothing beside it"
            _add_skip(draft, column, pattern, "notes", reason)


def _add_skip(
    draft: Draft, column: Column, pattern: str, why: str, reason: str
) -> None:
    skip = draft.values.setdefault("skip", [])
    skip.append({"heading": column.heading, "pattern": pattern, "why": why})
    draft.because(("skip", len(skip) - 1), reason)


def is_record(tab: Tab, draft: Draft) -> list[bool]:
    """Return which rows of a tab are not skipped by what was proposed so far."""
    kept = [True] * len(tab.table.row_numbers)
    by_heading = {column.heading: column for column in tab.columns}
    for skip in draft.values.get("skip", []):
        pattern = re.compile(skip["pattern"], re.IGNORECASE)
        for place, cell in enumerate(by_heading[skip["heading"]].cells):
            kept[place] &= not pattern.fullmatch(cell.strip())
    return kept


def add_fill_down(draft: Draft, tab: Tab, used: Iterable[Column]) -> None:
    """Propose to fill the case number down where every other row leaves it out."""
    case = tab.case
    if case is None:
        return
    kept = is_record(tab, draft)
    blank = [not cell.strip() for cell in case.cells]
    open_rows = [i for i, is_open in enumerate(blank) if is_open and kept[i]]
    if not open_rows or blank[0]:
        return
    columns = [case]
    for column in used:
        gaps = {i for i, c in enumerate(column.cells) if not c.strip() and kept[i]}
        if column is not case and gaps == set(open_rows):
            columns.append(column)
    names = list(dict.fromkeys(column.heading for column in columns))
    draft.put(("fill_down",), names)
    rows = rows_named(tab.table.row_numbers[open_rows].tolist())
    draft.because(("fill_down",), f"empty in {rows}, as in merged cells")
    draft.confirm(
        f"filled down: {'does' if len(open_rows) == 1 else 'do'} {rows} belong to the case "
        "above?",
        [("fill_down",)],
        case.cells,
    )


def joins_to(main: Tab, others: Iterable[Tab]) -> list[tuple[Tab, list[Column]]]:
    """Return the tabs that can be joined to a tab, and their key columns."""
    found = []
    for other in others:
        if other.case is None or main.case is None:
            continue
        keys = [other.case]
        if other.place is not None and main.place is not None:
            keys.append(other.place)
        ours = {same_heading(cell) for cell in given(main.case.cells)}
        theirs = {same_heading(cell) for cell in given(other.case.cells)}
        if ours & theirs and is_unique(keys):
            found.append((other, keys))
    return found


def add_axes(
    draft: Draft, tabs: Mapping[str, Tab], figures: Sequence[Filled], place: Guess
) -> None:
    """Propose the axis convention of planned and achieved points.

    Args:
        draft: the proposal.
        tabs: the tab each prefix stands for.
        figures: the coordinates, as field and column.
        place: how the places of the sheet are written.
    """
    guesses = {}
    for state in ("planned", "achieved"):
        mine = [one for one in figures if one.field.startswith(f"{state}_entry_")]
        if mine:
            guesses[state] = _axes_of_state(draft, tabs, figures, state, place)
    if not guesses:
        return
    values = {guess.value for guess in guesses.values()}
    if values == {"LPS"} and not any(guess.ask for guess in guesses.values()):
        for guess in guesses.values():
            draft.because(("rows", 0), f"coordinates as ours, LPS: {guess.reason}")
        return
    if len(values) == 1 and len(guesses) == 2:
        one = guesses["planned"]
        ask = one.ask.replace("the planned coordinates", "the coordinates")
        draft.guess(
            [("axes",)], Guess(one.value, one.reason, ask, one.choices, is_free=True)
        )
        return
    draft.put(("axes",), {})
    for state, guess in guesses.items():
        draft.guess([("axes", state)], guess)


def _axes_of_state(
    draft: Draft,
    tabs: Mapping[str, Tab],
    figures: Sequence[Filled],
    state: str,
    place: Guess,
) -> Guess:
    columns = {
        one.field: one
        for one in reversed(figures)
        if one.field.startswith(f"{state}_")
        and one.field.endswith(("x_mm", "y_mm", "z_mm"))
    }
    said = _said_directions(columns, state)
    if said:
        return Guess(
            said,
            "the headings name the directions",
            f"do the {state} coordinates grow as their headings say, {said}?",
            (said, *CHOICES),
            is_free=True,
        )
    points: dict[str, list[NDArray[np.float64]]] = {"entry": [], "apex": []}
    cases: list[str] = []
    sides: list[str] = []
    for marks in _sets_of_marks(figures, state):
        chosen = {
            one.field: one
            for one in figures
            if one.field in columns and one.column.marked.marks.items() <= marks.items()
        }
        first = chosen.get(f"{state}_entry_x_mm")
        if first is None:
            continue
        tab = tabs[first.prefix]
        for end, found in points.items():
            names = [f"{state}_{end}_{axis}_mm" for axis in "xyz"]
            if all(name in chosen for name in names):
                found.append(_numbers(draft, [chosen[name].column for name in names]))
        cases += _filled(tab.case.cells if tab.case else first.column.cells)
        sides += _sides(tab, marks.get(SITE, ""), place)
    entry = np.vstack(points["entry"]) if points["entry"] else np.empty((0, 3))
    apex = np.vstack(points["apex"]) if points["apex"] else None
    if apex is not None and len(apex) != len(entry):
        apex = None
    return axes_of(state, entry, apex, cases, sides)


def _filled(cells: Iterable[str]) -> list[str]:
    """Return cells with empty ones filled from above."""
    found: list[str] = []
    for cell in cells:
        found.append(cell.strip() or (found[-1] if found else ""))
    return found


def _said_directions(columns: Mapping[str, Filled], state: str) -> str:
    words = []
    for axis in "xyz":
        one = columns.get(f"{state}_entry_{axis}_mm")
        found = [] if one is None else [
            word
            for word in re.findall(r"[a-z]+", one.column.heading.casefold())
            if word in DIRECTIONS
        ]  # fmt: skip
        words.append(found[-1] if found else "")
    return letters_of_words(words) if all(words) else ""


def _sets_of_marks(figures: Sequence[Filled], state: str) -> list[dict[str, str]]:
    found = [
        one.column.marked.marks
        for one in figures
        if one.field.startswith(f"{state}_entry_")
    ]
    return [dict(one) for one in dict.fromkeys(tuple(marks.items()) for marks in found)]


def _numbers(draft: Draft, columns: Sequence[Column]) -> NDArray[np.float64]:
    """Return columns of figures as numbers, NaN where there is none."""
    sign = draft.values.get("decimal_sign", POINT)
    style = Style(EITHER if sign == OPEN else sign, unit=units()["mm"])
    rows = []
    for column in columns:
        read = [read_number(cell, style) for cell in column.cells]
        rows.append([float(one.text) if one else np.nan for one in read])
    return np.array(rows, dtype=float).T


def _sides(tab: Tab, mark: str, place: Guess) -> list[str]:
    """Return left, right or '' for each row, as far as it is known yet."""
    notation = place.value if place.value in NOTATIONS else FDI
    words = words_of("side")

    def side(text: str) -> str:
        word = same_heading(text)
        if side_of_word(word) or word in words:
            return side_of_word(word) or words[word][0]
        for known in (notation, UNIVERSAL):
            fdi = fdi_of(text, known) if known != "letters" else None
            if fdi:
                return side_of_fdi(fdi)
        return ""

    if mark:
        return [side(mark)] * len(tab.table.row_numbers)
    if tab.place is None:
        return [""] * len(tab.table.row_numbers)
    known = {cell: side(cell) for cell in set(tab.place.cells)}
    return [known[cell] for cell in tab.place.cells]


def place_guess(tab: Tab) -> Guess:
    """Return how the places of a tab are written; our own way where it has none."""
    if tab.place is None:
        return Guess(FDI, "")
    return place_of(tab.place.heading, tab.place.cells)[1]
