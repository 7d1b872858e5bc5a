"""The tables of an audit and the order they are made in: found, never listed.

A SQL file ``sql/<state>/<table>.sql`` makes the table of that name and is one bare
select. A table made in Python is a function marked with :func:`makes`. What a table
reads is taken from its SQL, or from the mark; the order follows from it.
"""

from __future__ import annotations

import graphlib
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from pipeline.bundled import folder
from pipeline.reference import load
from pipeline.warehouse import Warehouse

STATES = ("records", "staged", "checked", "measured", "summarised", "reported")
"""The states of the data, in order; also the schemas and the folders."""

APART = ("reference", "audit")
"""Schemas that hold what is not a state and may be read by every state."""

Maker = Callable[[Warehouse, Mapping[str, Any]], None]


@dataclass(frozen=True)
class Table:
    """One table: its name, what it reads, and the SQL or function that makes it."""

    name: str
    reads: frozenset[str]
    select: str = ""
    maker: Maker | None = None
    also_makes: tuple[str, ...] = ()

    @property
    def state(self) -> str:
        """The state (schema) the table belongs to."""
        return self.name.partition(".")[0]

    def parameters(self, given: Mapping[str, Any]) -> dict[str, Any]:
        """Return exactly the parameters the select names."""
        wanted = set(re.findall(r"\$([a-z_]+)", self.select))
        return {name: given[name] for name in wanted}

    def make(self, warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
        """Make the table in the warehouse."""
        if self.maker is not None:
            self.maker(warehouse, parameters)
        else:
            warehouse.make(self.name, self.select, self.parameters(parameters))


@dataclass
class _Registry:
    tables: dict[str, Table] = field(default_factory=dict)


_python_tables = _Registry()


def makes(*names: str, reads: Sequence[str]) -> Callable[[Maker], Maker]:
    """Mark a function that makes one or more tables in Python.

    Args:
        names: the tables it makes; the first names it in the graph.
        reads: the tables it reads.
    """

    def mark(maker: Maker) -> Maker:
        _python_tables.tables[names[0]] = Table(
            names[0], frozenset(reads), maker=maker, also_makes=names[1:]
        )
        return maker

    return mark


def sql_files(sub_folder: str) -> list[Path]:
    """Return the SQL files of one folder below sql/, sorted by name."""
    return sorted((folder("sql") / sub_folder).glob("*.sql"))


@cache
def sql_tables() -> tuple[Table, ...]:
    """Return the tables made by SQL files, with what each reads."""
    found = []
    with Warehouse() as parser:
        for state in STATES:
            for path in sql_files(state):
                select = path.read_text(encoding="utf-8")
                reads = frozenset(parser.tables_read(select))
                found.append(Table(f"{state}.{path.stem}", reads, select=select))
    return tuple(found)


def all_tables() -> dict[str, Table]:
    """Return every table by name; Python ones only once their module is imported."""
    return {table.name: table for table in sql_tables()} | _python_tables.tables


def in_order(tables: Mapping[str, Table]) -> Iterator[Table]:
    """Yield the tables so that each comes after those of them that it reads.

    Raises:
        graphlib.CycleError: the tables read each other in a circle.
    """
    maker_of = {name: name for name in tables}
    for table in tables.values():
        maker_of |= dict.fromkeys(table.also_makes, table.name)
    graph = {
        name: {maker_of[read] for read in sorted(table.reads) if read in maker_of}
        for name, table in sorted(tables.items())
    }
    for name in graphlib.TopologicalSorter(graph).static_order():
        yield tables[name]


def add_macros(warehouse: Warehouse, *, only: Sequence[str] = ()) -> None:
    """Add the macros of sql/macros/ to a connection, one file a macro.

    Args:
        warehouse: where they are wanted; they leave nothing in its file.
        only: names of the macros wanted; all of them when empty.
    """
    texts = {
        path.stem: path.read_text(encoding="utf-8") for path in sql_files("macros")
    }
    uses = {
        name: {other for other in texts if other != name and f"{other}(" in text}
        for name, text in texts.items()
    }
    for name in graphlib.TopologicalSorter(uses).static_order():
        if not only or name in only:
            warehouse.run(texts[name])


def write_rows(
    warehouse: Warehouse, table: str, rows: Sequence[Mapping[Any, Any]]
) -> None:
    """Make a table with exactly the columns and types that columns.csv states.

    Args:
        warehouse: the audit being made.
        table: ``schema.table``.
        rows: its rows by column; a column that a row leaves out is null.
    """
    import pandas as pd

    contract = [row for row in load.rows("columns") if row["table"] == table]
    names = [row["column"] for row in contract]
    frame = pd.DataFrame(list(rows), columns=names).astype(object)
    select = ", ".join(
        f'"{row["column"]}"::{row["type"]} as "{row["column"]}"' for row in contract
    )
    warehouse.make_from_frame(table, frame, select)


def build(
    warehouse: Warehouse,
    tables: Mapping[str, Table],
    parameters: Mapping[str, Any],
    *,
    up_to: str,
    say: Callable[[str], None] = lambda _: None,
) -> None:
    """Make every table of the states up to and including ``up_to``.

    Args:
        warehouse: an empty audit database with the records attached as ``records``.
        tables: every table by name.
        parameters: values for the ``$name`` parameters of the SQL files.
        up_to: the last state to make.
        say: told the name of each state as it begins.
    """
    for state in STATES[: STATES.index(up_to) + 1]:
        of_state = {n: t for n, t in tables.items() if t.state == state}
        if of_state:
            say(state)
        for table in in_order(of_state):
            table.make(warehouse, parameters)
