"""The only module that touches DuckDB: opens files, runs one select into one table.

Connections are opened hardened: nothing outside the audit folder can be read or
written, nothing is fetched, and the setting is locked. DuckDB's own messages quote
rows, so none of them reaches a person; they are translated here.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline.errors import Busy, DamagedFile, DiskFull

if TYPE_CHECKING:
    import pandas as pd

type_of_row = tuple[Any, ...]


class NotOneSelect(Exception):
    """A SQL file holds something else than one bare select (a fault of ours)."""


def quoted(text: str | Path) -> str:
    """Return text as a SQL literal, for the few places that take no parameter."""
    return "'" + str(text).replace("'", "''") + "'"


def named(identifier: str) -> str:
    """Return an identifier in double quotes."""
    return '"' + identifier.replace('"', '""') + '"'


def named_table(table: str) -> str:
    """Return ``schema.table`` with each part in double quotes."""
    return ".".join(named(part) for part in table.split("."))


@contextmanager
def _translated(path: Path | None) -> Iterator[None]:
    """Turn DuckDB's errors about files into ours; the rest keeps its class only."""
    try:
        yield
    except duckdb.IOException as error:
        text = str(error)
        name = path.name if path else "the audit"
        if "lock" in text:
            raise Busy(
                f"{name} is open in another program.",
                hint="Wait until the other run has ended, or close the notebook that has it open.",
            ) from None
        if "No space left" in text or "disk full" in text.lower():
            raise DiskFull(
                f"There is no room left to write {name}.",
                hint="Free some space and run again; what was loaded before is kept.",
            ) from None
        raise DamagedFile(
            f"{name} is damaged or is not a database of plumbpost.",
            hint="Restore it from your last copy; audit.duckdb alone may be deleted and is made again.",
        ) from None
    except (
        duckdb.SerializationException,
        duckdb.InternalException,
        duckdb.FatalException,
    ):
        name = path.name if path else "the audit"
        raise DamagedFile(
            f"{name} is damaged.",
            hint="Restore it from your last copy; audit.duckdb alone may be deleted and is made again.",
        ) from None


class Warehouse:
    """One hardened connection to one database file, or to memory.

    Args:
        path: the database file; ``None`` for memory.
        root: the only folder whose files may be touched.
        attach: other database files to attach read-only, by name.
        read_only: open the file itself read-only.
    """

    def __init__(
        self,
        path: Path | None = None,
        *,
        root: Path | None = None,
        attach: Mapping[str, Path] | None = None,
        read_only: bool = False,
    ) -> None:
        self.path = path
        config: dict[str, Any] = {"threads": os.cpu_count() or 1}
        with _translated(path):
            self._connection = duckdb.connect(":memory:", config=config)
            if path is not None:
                # under a name of its own: a file called audit.duckdb would hide the schema
                mode = "(read_only)" if read_only else ""
                self._run_now(f"attach {quoted(path)} as store {mode}")
                self._run_now("use store")
            for name, other in (attach or {}).items():
                self._run_now(f"attach {quoted(other)} as {named(name)} (read_only)")
            for setting in self._hardening(root):
                self._run_now(setting)

    def _run_now(self, statement: str) -> None:
        self._connection.execute(statement).fetchall()

    @staticmethod
    def _hardening(root: Path | None) -> list[str]:
        settings = []
        if root is not None:
            settings.append(f"set temp_directory={quoted(root / 'tmp')}")
            settings.append(f"set allowed_directories=[{quoted(str(root) + os.sep)}]")
        return [
            *settings,
            "set autoinstall_known_extensions=false",
            "set autoload_known_extensions=false",
            "set allow_community_extensions=false",
            "set python_enable_replacements=false",
            "set enable_external_access=false",
            "set lock_configuration=true",
        ]

    def __enter__(self) -> Warehouse:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection; closing twice is harmless."""
        self._connection.close()

    def run(
        self, sql: str, parameters: Mapping[str, Any] | Sequence[Any] | None = None
    ) -> list[type_of_row]:
        """Run one statement and return all its rows, so that nothing stays unread."""
        with _translated(self.path):
            return self._connection.execute(sql, parameters or None).fetchall()

    def value(
        self, sql: str, parameters: Mapping[str, Any] | Sequence[Any] | None = None
    ) -> Any:
        """Return the first value of the first row, or None."""
        found = self.run(sql, parameters)
        return found[0][0] if found else None

    def frame(
        self, sql: str, parameters: Mapping[str, Any] | Sequence[Any] | None = None
    ) -> pd.DataFrame:
        """Run one select and return a DataFrame."""
        with _translated(self.path):
            return self._connection.execute(sql, parameters or None).df()

    def make(
        self, table: str, select: str, parameters: Mapping[str, Any] | None = None
    ) -> int:
        """Make ``schema.table`` from one select; return its number of rows."""
        self._ensure_schema(table)
        self.run(f"create or replace table {table} as\n{select}", parameters)
        return int(self.value(f"select count(*) from {table}"))

    def make_from_frame(self, table: str, frame: pd.DataFrame, select: str = "") -> int:
        """Make ``schema.table`` from a DataFrame.

        Args:
            table: the table to make.
            frame: the rows.
            select: the select list that casts them; all columns as they are when empty.
        """
        with self.registered("frame_given", frame):
            return self.make(table, f"select {select or '*'} from frame_given")

    @contextmanager
    def registered(self, name: str, frame: pd.DataFrame) -> Iterator[None]:
        """Let SQL read a DataFrame under ``name`` for a while."""
        self._connection.register(name, frame)
        yield
        # not in a finally: after an error DuckDB refuses it, and would hide the error
        self._connection.unregister(name)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Do all of it or nothing."""
        self.run("begin transaction")
        try:
            yield
        except BaseException:
            self._connection.execute("rollback")
            raise
        self.run("commit")

    def columns(self, table: str) -> list[tuple[str, str]]:
        """Return (column, type) of a table, in order."""
        return [(row[0], row[1]) for row in self.run(f"describe {table}")]

    def tables(self) -> list[str]:
        """Return ``schema.table`` of all tables and views of this file, sorted."""
        return [
            row[0]
            for row in self.run(
                "select table_schema || '.' || table_name from information_schema.tables"
                " where table_catalog = current_database() order by all"
            )
        ]

    def copy_out(self, select: str, target: Path, file_format: str) -> None:
        """Write the rows of a select into a file below the root folder."""
        self.run(f"copy ({select}) to {quoted(target)} (format {file_format})")

    def tables_read(self, select: str) -> set[str]:
        """Return the ``schema.table`` names a select reads, without needing them.

        Raises:
            NotOneSelect: the text is not one bare select.
        """
        tree = json.loads(self.value("select json_serialize_sql($q)", {"q": select}))
        if tree["error"]:
            raise NotOneSelect(tree["error_message"])
        if len(tree["statements"]) != 1:
            raise NotOneSelect("more than one statement")
        found: set[str] = set()
        todo: list[Any] = [tree]
        while todo:
            node = todo.pop()
            if isinstance(node, dict):
                if node.get("type") == "BASE_TABLE" and node.get("schema_name"):
                    found.add(f"{node['schema_name']}.{node['table_name']}")
                todo.extend(node.values())
            elif isinstance(node, list):
                todo.extend(node)
        return found

    def _ensure_schema(self, table: str) -> None:
        schema, _, _ = table.partition(".")
        self.run(f"create schema if not exists {named(schema)}")
