"""From a sheet as read to the columns of a record sheet."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.errors import UnreadableSheet
from pipeline.records.headings import plain_heading
from pipeline.records.store import fields_of
from pipeline.reference import load

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.records.read import SheetRead


@dataclass(frozen=True)
class Incoming:
    """Rows of one record sheet on their way in.

    Attributes:
        sheet: the record sheet.
        rows: one text column a field, '' where the column is not there, plus
            other_cells (JSON) and row_number.
        headings: the heading at each column of the file, A first; '' for a column
            that is dropped or empty.
        dropped: what the dropped identifying columns hold, such as "a name".
        unknown: headings that are not fields; their cells are kept.
    """

    sheet: str
    rows: pd.DataFrame
    headings: tuple[str, ...]
    dropped: tuple[str, ...]
    unknown: tuple[str, ...]


def sheet_meant(name: str, headings: tuple[str, ...]) -> str | None:
    """Return the record sheet a tab or file is, by its name, else by its headings.

    By headings means: exactly one sheet has all its required fields there and the
    most fields in common (three at the least).
    """
    plain = plain_heading(name)
    if plain in load.sheets():
        return plain
    present = {plain_heading(heading) for heading in headings}
    common: dict[str, int] = {}
    for sheet in load.sheets():
        shared = len(present & set(fields_of(sheet)))
        if shared >= 3 and not load.missing(sheet, present):
            common[sheet] = shared
    best = [s for s, shared in common.items() if shared == max(common.values())]
    return best[0] if len(best) == 1 else None


def is_complete(sheet: str, headings: tuple[str, ...]) -> bool:
    """Tell whether a sheet has all the headings that every row of ours needs."""
    plain = {plain_heading(heading) for heading in headings}
    return not load.missing(sheet, plain)


def incoming_of(sheet: str, read: SheetRead, *, source: str) -> Incoming:
    """Arrange a sheet as read into the columns of a record sheet.

    Raises:
        UnreadableSheet: a required column is not there, or two columns carry the
            same field.
    """
    import pandas as pd

    plain = [plain_heading(heading) for heading in read.headings]
    known = fields_of(sheet)
    _refuse_missing(sheet, plain, source, read.name)
    _refuse_twice(sheet, plain, known, source, read.name)
    identifying = {row["word"]: row["what"] for row in load.rows("identifying_columns")}
    dropped = {i: identifying[h] for i, h in enumerate(plain) if h in identifying}
    position = {h: i for i, h in enumerate(plain) if h in known}
    other = [i for i, h in enumerate(plain) if i not in dropped and h not in known]
    empty = pd.Series("", index=read.rows.index, dtype=object)
    columns = {f: read.rows[position[f]] if f in position else empty for f in known}
    rows = pd.DataFrame(columns, index=read.rows.index)
    rows["row_number"] = read.row_numbers
    rows["other_cells"] = _other_cells(read, other)
    shown = [""] * int(read.column_numbers.max(initial=0))
    for i, (heading, place) in enumerate(
        zip(read.headings, read.column_numbers, strict=True)
    ):
        shown[place - 1] = "" if i in dropped else heading
    return Incoming(
        sheet,
        rows,
        tuple(shown),
        tuple(dict.fromkeys(dropped.values())),
        tuple(read.headings[i] for i in other if read.headings[i].strip()),
    )


def _other_cells(read: SheetRead, positions: list[int]) -> pd.Series | str:
    """Return the cells of columns that are not ours, as JSON by heading or position."""
    if not positions:
        return ""
    names = [read.headings[i].strip() or f"column {i + 1}" for i in positions]
    part = read.rows[positions]
    records = part.set_axis(names, axis=1) if len(set(names)) == len(names) else part
    cells = records.to_dict(orient="records")
    return [  # type: ignore[return-value]
        json.dumps({str(k): v for k, v in row.items() if v != ""}, ensure_ascii=False)
        for row in cells
    ]


def _refuse_missing(sheet: str, plain: list[str], source: str, tab: str) -> None:
    missing = load.missing(sheet, plain)
    if missing:
        found = [h for h in plain if h][:12]
        more = " .." if len(plain) > 12 else ""
        raise UnreadableSheet(
            f"{_place(source, tab)} has no column {', '.join(missing)}, "
            f"which every row of {sheet} needs; its columns are: "
            f"{', '.join(found) or 'none'}{more}.",
            hint="Give the column that name in the heading row. The headings of "
            f"{sheet} are in the template workbook and under: plumbpost definitions {sheet}",
        )


def _refuse_twice(
    sheet: str, plain: list[str], known: list[str], source: str, tab: str
) -> None:
    twice = sorted({h for h in plain if h in known and plain.count(h) > 1})
    if twice:
        raise UnreadableSheet(
            f"{_place(source, tab)} has the column {', '.join(twice)} more than once.",
            hint=f"Keep one column of that name in {sheet}; rename or remove the other.",
        )


def _place(source: str, tab: str) -> str:
    return f"{source}, tab {tab!r}," if tab else source
