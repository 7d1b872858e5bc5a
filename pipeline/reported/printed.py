"""Tables of a page that also leave it: as CSV, and as a fragment a word processor takes.

The cells are the words the page prints, so that a file can never say anything else. A
column may have parts, such as the two ends of an interval: the page joins them, a CSV
file keeps them apart.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from pipeline.records.neutral import for_csv
from pipeline.reported.wording import MINUS, NO_BREAK_SPACE, NOT_HELD, Words

Cell: TypeAlias = str | tuple[str, ...]

_FIGURE = re.compile(rf"[-+{MINUS}]?[\d{NO_BREAK_SPACE}]+([.]\d+)?%?( .*)?|{NOT_HELD}")


@dataclass(frozen=True)
class Column:
    """A column of a printed table.

    Attributes:
        title: its heading.
        parts: headings of its parts; empty where a cell is one text.
    """

    title: str
    parts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Printed:
    """One table of a page.

    Attributes:
        name: of its files; letters, digits and underscores.
        title: above it.
        columns: its columns.
        lines: its cells; those of a column with parts are tuples.
        sources: the tables the figures can be looked up in, by ``plumbpost show``.
        notes: sentences below it.
        is_extra: it belongs to the supplement and is numbered apart.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    lines: tuple[tuple[Cell, ...], ...]
    sources: tuple[str, ...]
    notes: tuple[str, ...] = ()
    is_extra: bool = False

    def figures(self) -> list[bool]:
        """Say of each column whether it holds figures, which stand to the right."""
        return [
            bool(self.lines)
            and all(
                _FIGURE.fullmatch(part)
                for line in self.lines
                for part in _parts_of(line[at])
            )
            for at in range(len(self.columns))
        ]


def columns_of(
    words: Words, group: str, names: Iterable[str | tuple[str, ...]]
) -> tuple[Column, ...]:
    """Return columns by their keys below a group of words.

    A tuple is a column with parts: its own key, then those of its parts.
    """
    made = []
    for name in names:
        own, *parts = (name,) if isinstance(name, str) else name
        made.append(
            Column(words(f"{group}.{own}"), tuple(words(f"{group}.{p}") for p in parts))
        )
    return tuple(made)


def on_page(words: Words, cell: Cell) -> str:
    """Return a cell as one text: two ends as ``low to high``, none as a dash."""
    if isinstance(cell, str):
        return cell
    if all(part == NOT_HELD for part in cell):
        return NOT_HELD
    return words("number.interval", low=cell[0], high=cell[1])


def as_csv(table: Printed) -> str:
    """Return the table as CSV: plain signs and spaces, formulas made harmless."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    head: list[str] = []
    for column in table.columns:
        titles = [f"{column.title}: {part}" for part in column.parts]
        head += titles or [column.title]
    writer.writerow(_plain(title) for title in head)
    for line in table.lines:
        writer.writerow(_plain(part) for cell in line for part in _parts_of(cell))
    return text.getvalue()


def _parts_of(cell: Cell) -> Sequence[str]:
    return (cell,) if isinstance(cell, str) else cell


def _plain(text: str) -> str:
    plain = text.replace(MINUS, "-").replace(NO_BREAK_SPACE, " ")
    return for_csv("" if plain == NOT_HELD else plain)


def numbered(words: Words, tables: Iterable[Printed]) -> dict[str, str]:
    """Return the number each table carries on the page, by its name."""
    counts = {False: 0, True: 0}
    found = {}
    for table in tables:
        counts[table.is_extra] += 1
        key = "printed.extra" if table.is_extra else "printed.main"
        found[table.name] = words(key, n=counts[table.is_extra])
    return found
