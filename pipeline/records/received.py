"""The cells of a foreign sheet as received, kept beside the rows made of them.

Columns that identify a person are left empty, and the clinic's own numbers and names
are replaced by their codes, as everywhere in the audit folder.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.records.headings import plain_heading
from pipeline.records.layout_model import fields_by_name, same_heading
from pipeline.records.store import ROWS_PER_LOAD
from pipeline.reference import load
from pipeline.warehouse import named

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.records.joining import Gathered
    from pipeline.records.layout_model import Layout
    from pipeline.warehouse import Warehouse

CodesOf = Callable[[str, Iterable[str]], Mapping[str, str]]


@dataclass(frozen=True, slots=True, eq=False)
class Received:
    """Rows as received.

    Attributes:
        headings: shape (k,); '' for a column that was dropped.
        cells: shape (n, k); dropped columns are empty.
        row_numbers: shape (n, 1 + joins); 0 where a join has no partner row.
        identities: place of a column -> kind of identity its cells are.
        dropped: what the dropped columns held, such as "a name".
    """

    headings: tuple[str, ...]
    cells: NDArray[np.object_]
    row_numbers: NDArray[np.int64]
    identities: Mapping[int, str]
    dropped: tuple[str, ...]


def received_of(rows: Gathered, layout: Layout) -> Received:
    """Return the rows a layout was applied to, without what identifies a person."""
    identities = _identities(rows, layout)
    dropped = _dropped(rows, layout, identities)
    cells = np.empty((len(rows.row_numbers), len(rows.columns)), dtype=object)
    for place, column in enumerate(rows.columns):
        cells[:, place] = "" if place in dropped else column.cells
    headings = tuple(
        "" if place in dropped else column.heading
        for place, column in enumerate(rows.columns)
    )
    whats = tuple(dict.fromkeys(dropped.values()))
    return Received(headings, cells, rows.row_numbers, identities, whats)


def _identities(rows: Gathered, layout: Layout) -> dict[int, str]:
    places = rows.places()
    found: dict[int, str] = {}
    for sheet, name, source in layout.sources():
        kind = fields_by_name(sheet)[name].identity
        place = places.get(same_heading(source.heading))
        if kind and place is not None:
            found.setdefault(place, kind)
    # a key column there holds the same numbers as the one here
    for join in layout.joins:
        for ours, theirs in zip(join.on, join.their, strict=True):
            here = places.get(same_heading(ours))
            there = places.get(same_heading(f"{join.name}: {theirs}"))
            if here in found and there is not None:
                found.setdefault(there, found[here])
    return found


def _dropped(
    rows: Gathered, layout: Layout, identities: Mapping[int, str]
) -> dict[int, str]:
    known = {row["word"]: row["what"] for row in load.rows("identifying_columns")}
    named_so = {same_heading(heading) for heading in layout.drop}
    names = [f"{join.name}: " for join in layout.joins]
    found = {}
    for place, column in enumerate(rows.columns):
        own = column.heading
        if column.origin:
            own = own.removeprefix(names[column.origin - 1])
        what = known.get(plain_heading(own))
        if same_heading(column.heading) in named_so:
            what = what or "a column that identifies a person"
        if what and place not in identities:
            found[place] = what
    return found


def coded(received: Received, codes_of: CodesOf) -> NDArray[np.object_]:
    """Return the cells with the clinic's own numbers and names replaced by codes."""
    cells = received.cells.copy()
    for place, kind in received.identities.items():
        known = codes_of(kind, pd.unique(cells[:, place]).tolist())
        cells[:, place] = [known[text] for text in cells[:, place]]
    return cells


def keep_received(
    store: Warehouse, sheet: str, load_no: int, rows: pd.DataFrame, received: Received,
    cells: NDArray[np.object_],
) -> None:  # fmt: skip
    """Keep the cells behind the rows of a load that were put in.

    Args:
        store: records.duckdb, open for loading.
        sheet: the record sheet.
        load_no: the load.
        rows: its rows, with place and received_at.
        received: the rows received.
        cells: their cells, identities replaced.
    """
    at = rows["received_at"].to_numpy(dtype=np.int64)
    frame = pd.DataFrame({"place": rows["place"].to_numpy(dtype=np.int64)})
    frame["row_numbers"] = received.row_numbers[at].tolist()
    frame["cells"] = cells[at].tolist()
    with store.registered("received", frame):
        store.run(
            f"""insert into received_rows
            select r.row_id, f.row_numbers::bigint[], f.cells::varchar[]
            from received as f
            inner join {named(sheet)} as r
                on r.row_id = $load_no::bigint * {ROWS_PER_LOAD} + f.place""",
            {"load_no": load_no},
        )
