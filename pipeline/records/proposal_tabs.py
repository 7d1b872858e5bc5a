"""Understand the tabs of a foreign file: headings, roles, which record sheet they are."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from pipeline.records.axes_evidence import DIRECTIONS, letters_of_words
from pipeline.records.evidence import given
from pipeline.records.header_rows import (
    Table,
    first_rows,
    is_unheaded,
    joined_headings,
    refuse_cut_numbers,
    table_under,
)
from pipeline.records.heading_marks import READING, Marked, marked
from pipeline.records.heading_meaning import (
    Meaning,
    count_known,
    is_case,
    is_place,
    matches,
    meaning_of,
)
from pipeline.records.headings import plain_heading
from pipeline.records.layout_model import fields_by_name, same_heading
from pipeline.records.template import is_skipped_tab
from pipeline.reference import load

if TYPE_CHECKING:
    from pipeline.records.file_read import FileRead, SheetRead
    from pipeline.reference.load import Field

MOST_HEADER_ROWS = 3
FIGURE_SHEETS = (
    "implants", "deviations", "cast_readings", "pair_readings", "films", "landmarks",
    "guides", "dentures",
)  # fmt: skip
ROLES = frozenset(
    {
        "case_id",
        "patient_id",
        "side",
        "tooth",
        "site",
        "state",
        "reading",
        "examiner",
        "scan",
        "achieved_source",
        "measured_date",
    }
)
IDENTIFYING_WORDS = frozenset(
    {
        "name",
        "surname",
        "forename",
        "birth",
        "dob",
        "phone",
        "mobile",
        "email",
        "address",
        "postcode",
        "insurance",
        "ssn",
        "sex",
        "gender",
        "age",
    }
)
STATES = frozenset({"planned", "achieved", "guide"})
ENDS = frozenset({"entry", "apex"})


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One column of a tab.

    Attributes:
        marked: its heading and the marks in it.
        meaning: what the words of the heading mean, marks left out.
        cells: its cells.
    """

    marked: Marked
    meaning: Meaning
    cells: tuple[str, ...]

    @property
    def heading(self) -> str:
        """Its heading as written."""
        return self.marked.heading

    @property
    def states(self) -> frozenset[str]:
        """The states its heading names."""
        return self.meaning.tokens & STATES

    @property
    def is_unheaded(self) -> bool:
        """Whether nothing stands above its cells."""
        return is_unheaded(self.heading)

    def stateless(self) -> Meaning:
        """Return its meaning without the state."""
        tokens = self.meaning.tokens - STATES
        return Meaning(tokens, self.meaning.unknown, self.meaning.unit)


@dataclass(frozen=True, eq=False)
class Tab:
    """A tab and its columns.

    Attributes:
        table: the rows under the headings.
        header_rows: rows the headings are written over.
        columns: its columns.
    """

    table: Table
    header_rows: int
    columns: tuple[Column, ...]

    @cached_property
    def case(self) -> Column | None:
        """The column of case numbers."""
        exact = [
            c for c in self.columns if is_case(c.meaning) and not c.meaning.unknown
        ]
        for wanted in ("case", "practice", "patient"):
            for column in exact:
                if wanted in column.meaning.tokens and not is_identifying(column):
                    return column
        short = {"id", "no", "no.", "nr", "nr.", "#", "number"}
        return next((c for c in self.columns if same_heading(c.heading) in short), None)

    @cached_property
    def place(self) -> Column | None:
        """The column of places in the jaw."""
        return next((c for c in self.columns if is_place(c.meaning)), None)

    @cached_property
    def state(self) -> Column | None:
        """The column that says plan, guide or result."""
        words = words_of("state")
        for column in self.columns:
            found = {same_heading(cell) for cell in given(column.cells)}
            if "state" in column.meaning.tokens and found and found <= set(words):
                return column
        return None

    def fields(self, sheet: str) -> Iterator[tuple[Column, str]]:
        """Yield the columns that may be fields of a record sheet, and which."""
        known = fields_by_name(sheet)
        for column in self.columns:
            if column in {self.case, self.place} or is_identifying(column):
                continue
            name = self._field(column, sheet)
            if name and fits_kind(column.cells, known[name]):
                yield column, name

    def _field(self, column: Column, sheet: str) -> str:
        meanings = [column.meaning]
        if column.states and "state" in fields_by_name(sheet):
            meanings.append(column.stateless())
        found = [
            match
            for meaning in meanings
            for match in matches(meaning)
            if match.sheet == sheet and match.field != "case_id"
        ]
        return min(found, key=lambda match: match.count_unknown).field if found else ""

    def count_figures(self, sheet: str) -> int:
        """Return how many fields of a record sheet the tab holds, what it needs there."""
        found = {name for _, name in self.fields(sheet)}
        if sheet in {"guides", "dentures"}:
            needed = {f.field for f in load.fields(sheet) if f.is_required}
            return len(found) if needed <= found | {"case_id", "kind"} else 0
        numbers = {f.field for f in load.fields(sheet) if f.kind == "number"}
        if sheet != "cases" and not found & numbers:
            return 0
        return len(found - ROLES)


def understood(file: FileRead, name: str) -> list[Tab]:
    """Return the tabs of a file under the headings that are understood best.

    Raises:
        UnreadableSheet: numbers of it were cut in two at their decimal comma.
    """
    return [
        _tab(sheet, name) for sheet in file.sheets if not is_skipped_tab(sheet.name)
    ]


def _tab(sheet: SheetRead, name: str) -> Tab:
    rows = first_rows(sheet)
    numbers = sheet.column_numbers.tolist()
    best, best_score = (len(sheet.above), 1), -1.0
    for size in range(1, MOST_HEADER_ROWS + 1):
        for first in range(len(rows) - size + 1):
            part = [cells for _, cells in rows[first : first + size]]
            headings = joined_headings(part, numbers)
            # of two that are understood as well, the shorter and the upper one
            score = count_known(headings) - 0.01 * first - 0.1 * size
            if score > best_score:
                best, best_score = (first, size), score
    table = table_under(sheet, *best)
    refuse_cut_numbers(table, sheet.delimiter, name)
    columns = [
        Column(one, _meaning(one), tuple(table.cells[:, place].tolist()))
        for place, one in enumerate(marked(table.headings))
    ]
    return Tab(table, best[1], _with_directions(columns))


def _with_directions(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Take three columns named forward, up, left and the like for x, y and z."""
    groups: dict[frozenset[str], list[int]] = {}
    for place, column in enumerate(columns):
        words = column.meaning.unknown
        if len(words) == 1 and words[0] in DIRECTIONS and column.meaning.tokens & ENDS:
            groups.setdefault(column.meaning.tokens, []).append(place)
    found = list(columns)
    for tokens, places in groups.items():
        names = [columns[place].meaning.unknown[0] for place in places]
        if len(places) == 3 and letters_of_words(names):
            for place, axis in zip(places, "xyz", strict=True):
                unit = columns[place].meaning.unit
                meaning = Meaning(tokens | {axis}, (), unit)
                found[place] = replace(columns[place], meaning=meaning)
    return tuple(found)


def _meaning(one: Marked) -> Meaning:
    found = meaning_of(one.bare)
    if READING in one.marks:
        found = Meaning(found.tokens - {"reading"}, found.unknown, found.unit)
    return found


def is_dropped_anyway(column: Column) -> bool:
    """Tell whether a column is left out when loading, whatever a layout says."""
    known = {row["word"] for row in load.rows("identifying_columns")}
    return plain_heading(column.heading) in known


def is_identifying(column: Column) -> bool:
    """Tell whether the heading says that a column identifies a person."""
    words = set(re.findall(r"[a-z]+", column.heading.casefold()))
    return is_dropped_anyway(column) or bool(words & IDENTIFYING_WORDS)


def fits_kind(cells: Iterable[str], field: Field) -> bool:
    """Tell whether the cells of a column can be those of a field of its kind."""
    full = given(cells)
    if not full:
        return True
    if field.kind in {"number", "whole", "date"}:
        return sum(any(map(str.isdigit, cell)) for cell in full) >= len(full) / 2
    if field.kind in {"code", "yes_no"}:
        return len({same_heading(cell) for cell in full}) <= 12
    return True


def words_of(field: str) -> dict[str, tuple[str, bool]]:
    """Return word -> (our word, whether it must be asked) for a coded field."""
    found = {}
    for row in load.rows("clinic_words"):
        if row["field"] == field:
            for word in row["words"].split("|"):
                found[same_heading(word)] = (row["ours"], row["is_asked"] == "yes")
    return found


def record_sheet_of(tab: Tab) -> str:
    """Return the record sheet whose figures a tab holds most of; '' for none."""
    counts = {sheet: tab.count_figures(sheet) for sheet in FIGURE_SHEETS}
    if tab.state is not None and _has_points(tab):
        return "implants"
    best = max(counts, key=lambda sheet: counts[sheet])
    if counts[best]:
        return best
    dates = [c for c in tab.columns if "date" in c.meaning.tokens]
    is_list = any(c.meaning.tokens & {"status", "reason_text"} for c in tab.columns)
    if dates and is_list:
        return "visits"
    return "cases" if tab.count_figures("cases") else ""


def _has_points(tab: Tab) -> bool:
    """Tell whether points stand under headings that do not say of which state."""
    wanted = [{"entry", "x"}, {"entry", "y"}, {"entry", "z"}]
    tokens = [column.meaning.tokens for column in tab.columns]
    return all(one in tokens for one in wanted)


def is_unique(columns: Sequence[Column]) -> bool:
    """Tell whether no two rows are alike in these columns."""
    keys = list(zip(*(map(same_heading, c.cells) for c in columns), strict=True))
    return len(set(keys)) == len(keys)
