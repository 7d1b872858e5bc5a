"""A finished audit as DataFrames, for a notebook or a script."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import audit as audits
from pipeline.errors import NoSuchTable
from pipeline.reference import load
from pipeline.showing import refuse_unknown
from pipeline.warehouse import Warehouse, named_table

if TYPE_CHECKING:
    import pandas as pd

ABOUT_A_COLUMN = ["column", "type", "unit", "null_means", "meaning"]


class OpenAudit:
    """The tables of the last complete run of an audit folder, read-only.

    Each call opens the file, reads and closes it, so that a run can take its place
    meanwhile.

    Args:
        folder: the audit folder.

    Raises:
        NotAnAudit: the folder holds no audit.toml.
        NoSuchTable: the audit has not been run.
    """

    def __init__(self, folder: Path) -> None:
        self._audit = audits.existing_folder(folder)
        if not self._audit.audit_file.exists():
            raise NoSuchTable(
                f"Nothing has been measured yet in {self._audit.folder}.",
                hint=f"First: plumbpost run {folder}",
            )

    def tables(self) -> list[str]:
        """Return the names of all tables, ``schema.table``, sorted."""
        with self._warehouse() as warehouse:
            return warehouse.tables()

    def table(self, name: str) -> pd.DataFrame:
        """Return a table whole; its columns and units are those of ``columns``.

        Args:
            name: ``schema.table``, such as ``measured.implants``.

        Raises:
            NoSuchTable: there is no such table; names near ones.
        """
        with self._warehouse() as warehouse:
            refuse_unknown(name, warehouse.tables())
            return warehouse.frame(f"select * from {named_table(name)}")

    def columns(self, name: str) -> pd.DataFrame:
        """Return what each column of a table means, its type and its unit.

        Args:
            name: ``schema.table``.

        Returns:
            One row a column: column, type, unit, null_means, meaning.

        Raises:
            NoSuchTable: there is no such table; names near ones.
        """
        import pandas as pd

        refuse_unknown(name, self.tables())
        rows = [row for row in load.rows("columns") if row["table"] == name]
        return pd.DataFrame(rows, columns=ABOUT_A_COLUMN)

    def run(self) -> dict[str, Any]:
        """Return what the run was: run_id, version, command, cycle, days."""
        return dict(self.table("audit.run").iloc[0])

    def _warehouse(self) -> Warehouse:
        return Warehouse(
            self._audit.audit_file, root=self._audit.folder, read_only=True
        )
