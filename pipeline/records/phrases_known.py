"""Free text to events, by whole phrases a person confirmed once; never by a part of one.

"Clips fine" and "no sore spots" hold the words of events and are none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.records.layout_model import EventMeant, plain_phrase, same_heading
from pipeline.records.phrases import counted

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.records.joining import Gathered
    from pipeline.records.layout_model import Layout


@dataclass(frozen=True, slots=True, eq=False)
class Phrases:
    """The free text of a sheet, phrase by phrase.

    Attributes:
        meant: shape (n,), the events of each row's phrase; None where it is unknown.
        is_unknown: shape (n,).
        cell: origin and letters of the column.
        notes: how many rows are of unknown content.
    """

    meant: tuple[tuple[EventMeant, ...] | None, ...]
    is_unknown: NDArray[np.bool_]
    cell: tuple[int, str]
    notes: tuple[str, ...]

    @classmethod
    def of(cls, layout: Layout, rows: Gathered) -> Phrases:
        """Look up the phrases of a sheet; none where the layout reads none."""
        headings = [block.phrases_in for block in layout.blocks if block.phrases_in]
        place = rows.places().get(same_heading(headings[0])) if headings else None
        count = len(rows.row_numbers)
        if place is None:
            return cls(((),) * count, np.zeros(count, dtype=bool), (0, ""), ())
        column = rows.columns[place]
        known = layout.phrases or {}
        found = {
            text: known.get(plain_phrase(text)) for text in pd.unique(column.cells)
        }
        meant = tuple(found[text] for text in column.cells)
        is_unknown = np.array([events is None for events in meant], dtype=bool)
        strange = {
            plain_phrase(text) for text, events in found.items() if events is None
        }
        strange.discard("")
        notes = []
        if is_unknown.any():
            kinds = counted(len(strange), "different phrase")
            notes.append(
                f"Content unknown in {int(is_unknown.sum())} of {counted(count, 'row')}: "
                f"{kinds} of {column.heading!r} not in [phrases], or nothing written."
            )
        return cls(meant, is_unknown, (column.origin, column.letters), tuple(notes))

    def events(
        self,
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], list[EventMeant]]:
        """Return row, number within the row, and event of every event there is."""
        counts = np.array([len(events or ()) for events in self.meant], dtype=np.int64)
        at = np.repeat(np.arange(len(counts)), counts)
        starts = np.cumsum(counts) - counts
        nth = np.arange(len(at)) - np.repeat(starts, counts)
        return at, nth, [event for events in self.meant for event in events or ()]
