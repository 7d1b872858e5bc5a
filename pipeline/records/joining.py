"""Bring the columns a layout names together, row by row, from one tab or several."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.errors import UnreadableSheet
from pipeline.records.header_rows import Table, is_empty
from pipeline.records.layout_model import SAME_TAB, Join, RowChoice, same_heading
from pipeline.records.phrases import counted, rows_named

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.records.layout_fit import Fit
    from pipeline.records.layout_model import Layout


BETWEEN = "\x1f"
"""Between the parts of a key."""


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """A column as every row has it.

    Attributes:
        heading: as shown, with the name of its join before it.
        cells: shape (n,).
        origin: 0 for the sheet itself, else the number of the join from 1.
        letters: those above the column, its tab before them where that is another.
    """

    heading: str
    cells: NDArray[np.object_]
    origin: int
    letters: str


@dataclass(frozen=True, slots=True, eq=False)
class Gathered:
    """The rows of a foreign sheet with all their columns, and what became of the others.

    Attributes:
        columns: all of them, in the order of the tabs.
        row_numbers: shape (n, 1 + joins); 0 where a join has no partner row.
        count_received: rows of the sheet.
        skipped: numbers of the rows that are no records.
        count_partners: rows of the sheet that were joined to another row of it.
        notes: what there is to say.
    """

    columns: tuple[Column, ...]
    row_numbers: NDArray[np.int64]
    count_received: int
    skipped: tuple[int, ...]
    count_partners: int
    notes: tuple[str, ...]

    def places(self) -> dict[str, int]:
        """Return the place of each column by its heading, as it is compared."""
        found: dict[str, int] = {}
        for place, column in enumerate(self.columns):
            found.setdefault(same_heading(column.heading), place)
        return found


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Rows of one tab, filled down, without those that are no records."""

    table: Table
    cells: NDArray[np.object_]
    numbers: NDArray[np.int64]
    skipped: tuple[int, ...]

    def keep(self, is_kept: NDArray[np.bool_]) -> _Rows:
        return _Rows(
            self.table, self.cells[is_kept], self.numbers[is_kept], self.skipped
        )


def gathered(fit: Fit, *, source: str) -> Gathered:
    """Leave out what is no record, fill down, and join.

    Args:
        fit: the layout and the tabs it fits.
        source: the file as shown to people.

    Raises:
        UnreadableSheet: a row has several partners in a joined tab.
    """
    notes: list[str] = []
    layout = fit.layout
    whole = _prepared(fit.table, layout, "", notes)
    rows, count_partners = _without_partners(whole, layout.joins)
    columns = [
        Column(heading, rows.cells[:, place], 0, fit.table.letters(place))
        for place, heading in enumerate(fit.table.headings)
    ]
    numbers = [rows.numbers]
    for origin, join in enumerate(layout.joins, start=1):
        if join.tab == SAME_TAB:
            their = whole
        else:
            their = _prepared(fit.joined[join.name], layout, f"{join.name}: ", notes)
        if join.only is not None:
            their = their.keep(_is_chosen(their, join.only))
        tab = "" if join.tab == SAME_TAB else f"{their.table.tab}!"
        partner = _partners(rows, their, join, source, notes)
        has = partner >= 0
        for place, heading in enumerate(their.table.headings):
            cells = np.full(len(rows.numbers), "", dtype=object)
            cells[has] = their.cells[partner[has], place]
            letters = tab + their.table.letters(place)
            columns.append(Column(f"{join.name}: {heading}", cells, origin, letters))
        joined = np.zeros(len(rows.numbers), dtype=np.int64)
        joined[has] = their.numbers[partner[has]]
        numbers.append(joined)
    return Gathered(
        tuple(columns),
        np.stack(numbers, axis=1),
        len(fit.table.row_numbers),
        whole.skipped,
        count_partners,
        tuple(notes),
    )


def _prepared(table: Table, layout: Layout, prefix: str, notes: list[str]) -> _Rows:
    """Return the records of a tab: no totals, nothing blank, empty cells filled down."""
    rows = _Rows(table, table.cells.copy(), table.row_numbers, ())
    is_skipped = np.asarray(is_empty(rows.cells).all(axis=1))
    for choice in layout.skip:
        if _belongs(choice.heading, prefix, layout):
            own = RowChoice(choice.heading.removeprefix(prefix), choice.pattern)
            chosen = _is_chosen(rows, own) & ~is_skipped
            if chosen.any():
                what = choice.why or "no records"
                left = rows_named(rows.numbers[chosen].tolist())
                notes.append(f"Left out as {what}: {left}{_in(table.tab, prefix)}.")
            is_skipped |= chosen
    kept = rows.keep(~is_skipped)
    for heading in layout.fill_down:
        if _belongs(heading, prefix, layout):
            _fill_down(kept, heading.removeprefix(prefix), notes)
    skipped = tuple(rows.numbers[is_skipped].tolist())
    return _Rows(kept.table, kept.cells, kept.numbers, skipped)


def _belongs(heading: str, prefix: str, layout: Layout) -> bool:
    if prefix:
        return heading.startswith(prefix)
    return not any(heading.startswith(f"{join.name}: ") for join in layout.joins)


def _in(tab: str, prefix: str) -> str:
    return f" of the tab {tab}" if prefix else ""


def _is_chosen(rows: _Rows, choice: RowChoice) -> NDArray[np.bool_]:
    place = rows.table.place(choice.heading)
    if place is None:
        return np.zeros(len(rows.numbers), dtype=bool)
    texts = rows.cells[:, place]
    found = {
        text: choice.pattern.fullmatch(text.strip()) is not None
        for text in pd.unique(texts)
    }
    return np.array([found[text] for text in texts], dtype=bool)


def _fill_down(rows: _Rows, heading: str, notes: list[str]) -> None:
    """Fill empty cells from above, never across a row that is not there."""
    place = rows.table.place(heading)
    if place is None or not len(rows.numbers):
        return
    column = rows.cells[:, place]
    empty = is_empty(column)
    here = np.arange(len(column))
    is_new = np.diff(rows.numbers, prepend=rows.numbers[0]) > 1
    first_of_block = np.maximum.accumulate(np.where(is_new, here, 0))
    last_given = np.maximum.accumulate(np.where(empty, -1, here))
    is_filled = empty & (last_given >= first_of_block)
    if is_filled.any():
        rows.cells[is_filled, place] = column[last_given[is_filled]]
        count = counted(int(is_filled.sum()), "empty cell")
        notes.append(f"Filled down {count} of the column {heading!r}.")


def _without_partners(rows: _Rows, joins: Sequence[Join]) -> tuple[_Rows, int]:
    """Take out the rows that are joined to other rows of the same sheet."""
    is_partner = np.zeros(len(rows.numbers), dtype=bool)
    for join in joins:
        if join.tab == SAME_TAB and join.only is not None:
            is_partner |= _is_chosen(rows, join.only)
    return rows.keep(~is_partner), int(is_partner.sum())


def _keys(rows: _Rows, headings: Iterable[str]) -> list[str]:
    """Return the key of each row, '' where nothing of it is given."""
    parts = []
    for heading in headings:
        place = rows.table.place(heading)
        texts = rows.cells[:, place or 0].tolist()
        known = {text: same_heading(text) for text in set(texts)}
        parts.append([known[text] for text in texts])
    return [BETWEEN.join(key) if any(key) else "" for key in zip(*parts, strict=True)]


def _partners(
    rows: _Rows, their: _Rows, join: Join, source: str, notes: list[str]
) -> NDArray[np.int64]:
    """Return the place of each row's partner there, -1 where it has none."""
    ours, theirs = _keys(rows, join.on), _keys(their, join.their)
    wanted = set(ours) - {""}
    places: dict[str, list[int]] = {}
    for place, key in enumerate(theirs):
        if key in wanted:
            places.setdefault(key, []).append(place)
    twice = sorted(
        place for found in places.values() if len(found) > 1 for place in found
    )
    if twice:
        numbers = rows_named(their.numbers[twice].tolist())
        raise UnreadableSheet(
            f"{source}: {numbers} of {join.name!r} carry the same "
            f"{' and '.join(join.their)} as another row there, so it is not clear which "
            "belongs to which.",
            hint="Name more columns in on, or start from that tab and join the other "
            "one to it.",
        )
    partner = np.array([places.get(key, [-1])[0] for key in ours], dtype=np.int64)
    _note_alone(rows, their, join, partner, notes)
    return partner


def _note_alone(
    rows: _Rows,
    their: _Rows,
    join: Join,
    partner: NDArray[np.int64],
    notes: list[str],
) -> None:
    alone = rows.numbers[partner < 0].tolist()
    if alone:
        notes.append(f"{rows_named(alone).capitalize()} without a row in {join.name}.")
    is_used = np.zeros(len(their.numbers), dtype=bool)
    is_used[partner[partner >= 0]] = True
    left = their.numbers[~is_used].tolist()
    if left:
        verbs = ("belongs", "was") if len(left) == 1 else ("belong", "were")
        notes.append(
            f"{rows_named(left).capitalize()} of {join.name} {verbs[0]} to no row here "
            f"and {verbs[1]} left unread."
        )
