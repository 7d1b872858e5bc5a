"""The rows of one record sheet that one part of a layout makes of the rows received."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.records.header_rows import is_empty
from pipeline.records.laid_out_cells import ReadColumn, read_column, with_decimals
from pipeline.records.layout_model import (
    Block,
    Part,
    Source,
    fields_by_name,
    same_heading,
)
from pipeline.records.phrases import counted, rows_named

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.records.joining import Column, Gathered
    from pipeline.records.phrases_known import Phrases
    from pipeline.reference.load import Field


@dataclass(frozen=True, slots=True, eq=False)
class PartRead:
    """The rows one part of a layout makes.

    Attributes:
        frame: every field of the record sheet as text, and other_cells (JSON).
        at: shape (n,), which of the rows received each one comes from.
        nth: shape (n,), which of several of the same row it is, from 0.
        count_parts: the most rows that one row received gives.
        field_cells: field -> (origin, letters) of the column it was read from.
        notes: what there is to say.
    """

    frame: pd.DataFrame
    at: NDArray[np.int64]
    nth: NDArray[np.int64]
    count_parts: int
    field_cells: Mapping[str, tuple[int, str]]
    notes: tuple[str, ...]


def rows_of_part(
    block: Block,
    part: Part,
    rows: Gathered,
    is_content_unknown: NDArray[np.bool_] | None = None,
) -> PartRead:
    """Make the rows of one part: one for each row in which it holds anything.

    Args:
        block: the [[rows]] part of the layout.
        part: one of its parts.
        rows: the rows received.
        is_content_unknown: shape (n,), visits of which the free text says nothing
            known; None where the sheet has no such text.
    """
    at = np.arange(len(rows.row_numbers))
    if part.own_headings:
        places = rows.places()
        own = [places.get(same_heading(heading)) for heading in part.own_headings]
        there = [rows.columns[place].cells for place in own if place is not None]
        is_blank = np.ones(len(at), dtype=bool)
        for cells in there:
            is_blank &= is_empty(cells)
        at = at[~is_blank]
    made = _Made(block.sheet, part, rows, at)
    if is_content_unknown is not None and is_content_unknown.any():
        unknown = np.where(is_content_unknown[at], "unknown", "")
        made.others["content"] = unknown.astype(object)
    return PartRead(
        made.frame(),
        at,
        np.zeros(len(at), dtype=np.int64),
        1,
        made.field_cells,
        tuple(made.notes),
    )


def rows_of_phrases(part: Part, rows: Gathered, phrases: Phrases) -> PartRead:
    """Make one row of events for each event that a row's phrase stands for."""
    at, nth, meant = phrases.events()
    made = _Made("events", part, rows, at)
    made.texts["event"] = np.array([event.event for event in meant], dtype=object)
    sides = np.array([event.side for event in meant], dtype=object)
    if "side" in made.texts:
        sides = np.where(sides == "", made.texts["side"], sides)
    made.texts["side"] = sides
    made.field_cells["event"] = phrases.cell
    count_parts = int(nth.max(initial=0)) + 1
    return PartRead(
        made.frame(), at, nth, count_parts, made.field_cells, tuple(made.notes)
    )


class _Made:
    """The fields of a part, read one after the other.

    Args:
        sheet: the record sheet.
        part: where each field comes from.
        rows: the rows received.
        at: which of them.
    """

    def __init__(
        self, sheet: str, part: Part, rows: Gathered, at: NDArray[np.int64]
    ) -> None:
        self.sheet = sheet
        self.count = len(at)
        self.texts: dict[str, NDArray[np.object_]] = {}
        self.others: dict[str, NDArray[np.object_]] = {}
        self.field_cells: dict[str, tuple[int, str]] = {}
        self.notes: list[str] = []
        fields = fields_by_name(sheet)
        places = rows.places()
        for name, source in part.sources.items():
            place = places.get(same_heading(source.heading))
            if not source.heading:
                self.texts[name] = np.full(self.count, source.always, dtype=object)
            elif place is not None:
                column = rows.columns[place]
                cells = column.cells[at]
                if source.decimals_in:
                    cells = self._with_decimals(cells, source, rows, at)
                self._read(cells, column, source, fields[name], rows.row_numbers[at])

    @staticmethod
    def _with_decimals(
        cells: NDArray[np.object_],
        source: Source,
        rows: Gathered,
        at: NDArray[np.int64],
    ) -> NDArray[np.object_]:
        place = rows.places().get(same_heading(source.decimals_in))
        if place is None:
            return cells
        rest = rows.columns[place].cells[at]
        return with_decimals(cells, rest, source.decimal_sign)

    def _read(
        self,
        cells: NDArray[np.object_],
        column: Column,
        source: Source,
        field: Field,
        numbers: NDArray[np.int64],
    ) -> None:
        read = read_column(cells, source, field)
        self.texts[field.field] = read.texts
        self.field_cells[field.field] = (column.origin, column.letters)
        if read.half_widths is not None:
            self.others[f"{field.field} half-width"] = read.half_widths
        self.notes += _said_of(read, column.heading, numbers[:, column.origin])

    def frame(self) -> pd.DataFrame:
        """Return all fields of the sheet, '' where the layout fills none."""
        empty = np.full(self.count, "", dtype=object)
        columns = {
            name: self.texts.get(name, empty) for name in fields_by_name(self.sheet)
        }
        frame = pd.DataFrame(columns, dtype=object)
        frame["other_cells"] = _as_json(self.others, self.count)
        return frame


def _said_of(
    read: ReadColumn, heading: str, numbers: NDArray[np.int64]
) -> Iterator[str]:
    if read.units:
        yield f"Units read from the cells of {heading!r}: {_counts(read.units)}."
    if read.half_widths is not None:
        count = int((read.half_widths != "").sum())
        yield (
            f"{counted(count, 'range')} of {heading!r} read as the middle, half the "
            "width kept beside it."
        )
    if read.is_day.any():
        where = rows_named(dict.fromkeys(numbers[read.is_day].tolist()))
        yield (
            f"A day stands where {heading!r} should hold a figure ({where}): the "
            "spreadsheet turned a number into a date. Retype it from the source; "
            "8 July may have been 7-8."
        )
    other = read.is_unread & ~read.is_day
    if other.any():
        where = rows_named(dict.fromkeys(numbers[other].tolist()))
        yield f"Not written as the layout says in {heading!r}, left as it is: {where}."


def _counts(units: Counter[str]) -> str:
    return ", ".join(f"{unit} {count}" for unit, count in sorted(units.items()))


def _as_json(
    others: Mapping[str, NDArray[np.object_]], count: int
) -> NDArray[np.object_]:
    """Return what is kept beside the fields, as JSON; '' where there is nothing."""
    if not others:
        return np.full(count, "", dtype=object)
    records = pd.DataFrame(others, dtype=object).to_dict(orient="records")
    return np.array(
        [_json({str(k): v for k, v in row.items() if v != ""}) for row in records],
        dtype=object,
    )


def _json(cells: Mapping[str, object]) -> str:
    return json.dumps(cells, ensure_ascii=False) if cells else ""
