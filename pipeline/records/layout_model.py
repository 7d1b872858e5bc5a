"""What a layout says, once it has been read and found to make sense."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from pipeline.reference import load

MOST_PARTS = 64
"""Rows of one record sheet that one row of a foreign sheet may give."""

SAME_TAB = ""


@dataclass(frozen=True, slots=True)
class Source:
    """Where the value of a field comes from, and how it is written there.

    Attributes:
        heading: the column; '' where the value is always the same.
        always: the value where there is no column.
        unit: the unit of figures that carry none; '' for ours.
        decimal_sign: '.', ',' or 'either'.
        thousands_sign: '' for none.
        is_reversed: the sign of the figures means the opposite of ours.
        is_range_read: 7-8 stands for its middle.
        decimals_in: the column that holds what stood after a decimal comma.
        date_order: iso, d.m.y or m/d/y.
        notation: how a place in the jaw is written; '' where it is no such place.
        first_letter: the end of the jaw where the letter A stands.
        words: the clinic's words, in lower case, and ours.
        pattern: the whole cell; its one group is the value.
    """

    heading: str = ""
    always: str = ""
    unit: str = ""
    decimal_sign: str = "."
    thousands_sign: str = ""
    is_reversed: bool = False
    is_range_read: bool = False
    decimals_in: str = ""
    date_order: str = "iso"
    notation: str = ""
    first_letter: str = ""
    words: Mapping[str, str] | None = None
    pattern: re.Pattern[str] | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """One of the rows that a row of the foreign sheet gives.

    Attributes:
        sources: field -> where its value comes from, all marks filled in.
        own_headings: the columns of this part alone; where all are empty, the part
            gives no row. Empty when every row gives one.
    """

    sources: Mapping[str, Source]
    own_headings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Block:
    """A [[rows]] part of a layout: what rows of which record sheet come out.

    Attributes:
        sheet: the record sheet.
        parts: one or several rows for each row of the foreign sheet.
        is_distinct: rows that are alike in every field are given once.
        phrases_in: the column of free text whose phrases stand for events; '' for
            none.
    """

    sheet: str
    parts: tuple[Part, ...]
    is_distinct: bool = False
    phrases_in: str = ""


@dataclass(frozen=True, slots=True)
class RowChoice:
    """Rows chosen by the whole text of a cell.

    Attributes:
        heading: the column.
        pattern: what the whole cell must be; capitals do not matter.
        why: what such rows are, for the notes.
    """

    heading: str
    pattern: re.Pattern[str]
    why: str = ""


@dataclass(frozen=True, slots=True)
class Join:
    """Columns brought in from another tab of the file, or from other rows of the same.

    Attributes:
        name: what the headings of that tab are called by: ``name: heading``.
        tab: the tab; SAME_TAB for rows of the sheet itself.
        on: the key columns here.
        their: the key columns there.
        header_rows: rows its headings are written over.
        only: which rows; None for all.
    """

    name: str
    tab: str
    on: tuple[str, ...]
    their: tuple[str, ...]
    header_rows: int = 1
    only: RowChoice | None = None


@dataclass(frozen=True, slots=True)
class EventMeant:
    """An event that a phrase stands for."""

    event: str
    side: str = ""


@dataclass(frozen=True, slots=True)
class Layout:
    """How someone else's sheet maps onto our record sheets.

    Attributes:
        name: the name of its file, without .toml.
        sha256: of the file, recorded with each load it was used for.
        needs: headings a sheet must have for the layout to fit.
        tab: name of the tab it is for, * for any letters; '' for any.
        files: names of files it is for; empty for any.
        header_rows: rows the headings are written over.
        fill_down: columns whose empty cells mean "as above".
        drop: columns that identify a person and are dropped at the door.
        skip: rows that are no records.
        joins: columns brought in from elsewhere in the file.
        blocks: what comes out.
        phrases: whole phrase in its plain form -> the events it stands for.
        open_points: what a person has still to confirm.
    """

    name: str
    sha256: str
    needs: tuple[str, ...]
    tab: str = ""
    files: tuple[str, ...] = ()
    header_rows: int = 1
    fill_down: tuple[str, ...] = ()
    drop: tuple[str, ...] = ()
    skip: tuple[RowChoice, ...] = ()
    joins: tuple[Join, ...] = ()
    blocks: tuple[Block, ...] = ()
    phrases: Mapping[str, tuple[EventMeant, ...]] | None = None
    open_points: tuple[str, ...] = ()

    @property
    def file(self) -> str:
        """The file as shown to people."""
        return f"layouts/{self.name}.toml"

    @property
    def sheets(self) -> tuple[str, ...]:
        """The record sheets that come out, in the order of the layout."""
        return tuple(dict.fromkeys(block.sheet for block in self.blocks))

    def also_needs(self) -> tuple[str, ...]:
        """Return headings without which rows would be read wrongly or be no rows.

        Those of fields every row needs, of rows to skip, of cells to fill down, of free
        text; the headings of joined tabs apart.
        """
        found = [choice.heading for choice in self.skip]
        found += self.fill_down
        found += [block.phrases_in for block in self.blocks if block.phrases_in]
        found += [
            source.heading
            for sheet, name, source in self.sources()
            if source.heading and _is_needed(sheet, name)
        ]
        names = tuple(f"{join.name}: " for join in self.joins)
        return tuple(
            heading for heading in dict.fromkeys(found) if not heading.startswith(names)
        )

    def sources(self) -> Iterator[tuple[str, str, Source]]:
        """Yield (record sheet, field, source) of every part."""
        for block in self.blocks:
            for part in block.parts:
                for field, source in part.sources.items():
                    yield block.sheet, field, source


@cache
def fields_by_name(sheet: str) -> dict[str, load.Field]:
    """Return the fields of a record sheet by name."""
    return {field.field: field for field in load.fields(sheet)}


def _is_needed(sheet: str, name: str) -> bool:
    return fields_by_name(sheet)[name].is_required or (
        name in load.stand_ins(sheet).values()
    )


def same_heading(text: str) -> str:
    """Return a heading as it is compared: spaces and capitals do not matter.

    >>> same_heading(" Entry  (mm) ") == same_heading("entry (mm)")
    True
    """
    return " ".join(text.replace("\u00a0", " ").split()).casefold()


def plain_phrase(text: str) -> str:
    """Return a phrase as it is compared; a point at its end does not matter."""
    return same_heading(text).rstrip(". ")
