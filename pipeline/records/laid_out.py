"""Apply a layout: rows of someone else's sheet become rows of our record sheets.

The same file and the same layout give the same rows, always. No row is lost: each one
received is mapped, skipped by name, a partner of another row, or counted as empty.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.errors import UnreadableSheet
from pipeline.records.header_rows import refuse_cut_numbers
from pipeline.records.joining import Gathered, gathered
from pipeline.records.laid_out_rows import PartRead, rows_of_part, rows_of_phrases
from pipeline.records.layout_model import MOST_PARTS, Layout, same_heading
from pipeline.records.phrases import counted
from pipeline.records.phrases_known import Phrases
from pipeline.records.received import Received, received_of
from pipeline.records.sheets import Incoming
from pipeline.records.store import fields_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.records.layout_fit import Fit

PLACES_PER_PART = 2**26
"""A row's place in its load: its number, and above this the part of it that it is."""


@dataclass(frozen=True, slots=True)
class Tally:
    """What became of the rows of a sheet.

    Attributes:
        received: rows under the headings.
        mapped: rows that gave at least one row of ours.
        skipped: rows left out as no records.
        partners: rows joined to another row of the same sheet.
        empty: rows in which nothing stood that the layout reads.
    """

    received: int
    mapped: int
    skipped: int
    partners: int
    empty: int

    @property
    def is_whole(self) -> bool:
        """Whether every row received is accounted for."""
        return self.received == self.mapped + self.skipped + self.partners + self.empty


@dataclass(frozen=True, slots=True, eq=False)
class LaidOut:
    """The rows of one record sheet that came out of a foreign one.

    Attributes:
        incoming: the rows; ``place`` and ``received_at`` beside the fields say which
            part of which row each one is.
        received: the rows as received, shared by all sheets of one tab.
        field_cells: for each part, where each field stood: field -> (0 for the tab
            itself or the number of a join, letters of the column).
    """

    incoming: Incoming
    received: Received
    field_cells: tuple[Mapping[str, tuple[int, str]], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Applied:
    """What a layout made of a sheet."""

    sheets: tuple[LaidOut, ...]
    tally: Tally
    notes: tuple[str, ...]


@dataclass(slots=True)
class _Gathering:
    """What comes out for one record sheet, part by part."""

    frames: list[pd.DataFrame] = field(default_factory=list)
    field_cells: list[Mapping[str, tuple[int, str]]] = field(default_factory=list)


def lay_out(fit: Fit, *, source: str) -> Applied:
    """Apply a layout to the sheet it fits.

    Args:
        fit: the layout and the tabs.
        source: the file as shown to people.

    Raises:
        UnreadableSheet: the joined tabs do not say which row belongs to which, or
            numbers were cut in two at their decimal comma.
    """
    layout = fit.layout
    if not any(source.decimals_in for _, _, source in layout.sources()):
        refuse_cut_numbers(fit.table, fit.delimiter, source)
    rows = gathered(fit, source=source)
    received = received_of(rows, layout)
    phrases = Phrases.of(layout, rows)
    sheets: dict[str, _Gathering] = {name: _Gathering() for name in layout.sheets}
    is_mapped = np.zeros(len(rows.row_numbers), dtype=bool)
    notes = [*rows.notes]
    for block in layout.blocks:
        gathering = sheets[block.sheet]
        before = len(gathering.frames)
        for part in block.parts:
            if block.phrases_in:
                read = rows_of_phrases(part, rows, phrases)
            else:
                unknown = phrases.is_unknown if block.sheet == "visits" else None
                read = rows_of_part(block, part, rows, unknown)
            is_mapped[read.at] = True
            notes += read.notes
            _add(gathering, block.sheet, read, rows, source)
        if block.is_distinct:
            _once(gathering.frames, before, fields_of(block.sheet))
    notes += phrases.notes
    tally = Tally(
        rows.count_received,
        int(is_mapped.sum()),
        len(rows.skipped),
        rows.count_partners,
        int((~is_mapped).sum()),
    )
    laid = tuple(
        LaidOut(_incoming(name, one, received), received, tuple(one.field_cells))
        for name, one in sheets.items()
    )
    notes += [*_not_there(layout, rows), *_sums(tally, laid, layout)]
    return Applied(laid, tally, tuple(dict.fromkeys(notes)))


def _add(
    gathering: _Gathering, sheet: str, read: PartRead, rows: Gathered, source: str
) -> None:
    """Add the rows of a part, and say where each stands."""
    first = len(gathering.field_cells)
    if first + read.count_parts > MOST_PARTS:
        raise UnreadableSheet(
            f"{source}: one row gives more than {MOST_PARTS} rows of {sheet}.",
            hint="Split the layout's [[rows]] over two tabs or files.",
        )
    frame = read.frame
    numbers = rows.row_numbers[read.at, 0]
    frame["row_number"] = numbers
    frame["place"] = numbers + PLACES_PER_PART * (first + read.nth)
    frame["received_at"] = read.at
    gathering.frames.append(frame)
    gathering.field_cells += [read.field_cells] * read.count_parts


def _once(frames: list[pd.DataFrame], before: int, names: list[str]) -> None:
    """Keep one of the rows of a [[rows]] part that are alike in every field."""
    whole = pd.concat(frames[before:], ignore_index=True)
    frames[before:] = [whole.drop_duplicates(subset=names, ignore_index=True)]


def _incoming(sheet: str, gathering: _Gathering, received: Received) -> Incoming:
    rows = pd.concat(gathering.frames, ignore_index=True)
    rows = rows.sort_values(["row_number", "place"], ignore_index=True)
    return Incoming(sheet, rows, received.headings, received.dropped, ())


def _not_there(layout: Layout, rows: Gathered) -> Iterator[str]:
    places = rows.places()
    asked = dict.fromkeys(
        source.heading for _, _, source in layout.sources() if source.heading
    )
    lacking = [name for name in asked if same_heading(name) not in places]
    if lacking:
        shown = ", ".join(repr(name) for name in lacking[:5])
        more = f" and {len(lacking) - 5} more" if len(lacking) > 5 else ""
        yield f"Not in this sheet, so left empty: {shown}{more}."


def _sums(tally: Tally, laid: Sequence[LaidOut], layout: Layout) -> Iterator[str]:
    gave = " and ".join(
        f"{len(one.incoming.rows)} of {one.incoming.sheet}" for one in laid
    )
    rows = counted(tally.mapped, "row")
    yield f"Read by {layout.file}: {rows} of {tally.received} gave {gave}."
    if tally.empty:
        yield f"{counted(tally.empty, 'row')} held nothing that the layout reads."


def field_cells_text(laid: LaidOut) -> str:
    """Return where the fields stood, as it is kept with the load."""
    return json.dumps(laid.field_cells)
