"""An audit in memory for tests: cells are given as text and go through the real SQL."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd

from pipeline import own_limits, tables
from pipeline.checked import cell_signs as _cell_signs  # noqa: F401 - makes tables
from pipeline.checked import diagnoses as _diagnoses  # noqa: F401 - makes tables
from pipeline.checked import findings as _findings  # noqa: F401 - makes tables
from pipeline.checked import jaws as _jaws  # noqa: F401 - makes tables
from pipeline.checked import number_signs as _number_signs  # noqa: F401 - makes tables
from pipeline.checked import superimposing as _superimposing  # noqa: F401 - makes tables
from pipeline.records.meshes import MESHES
from pipeline.records.named_files import NamedFiles
from pipeline.records.registration_files import REGISTRATIONS
from pipeline.records.row_keys import row_key_expression
from pipeline.records.store import ROWS_PER_LOAD, fields_of
from pipeline.reference import load
from pipeline.staged import problems
from pipeline.warehouse import Warehouse, named

RUN_DATE = dt.date(2026, 6, 30)


class GivenRecords:
    """Rows as a person wrote them, by sheet and file.

    Each file and sheet is one load, whose first row is row 2, under its headings.
    """

    def __init__(self) -> None:
        self.warehouse = Warehouse()
        run = self.warehouse.run
        for name in ("reference", "records"):
            run(f"create schema {name}")
        for path in load.FOLDER.glob("*.csv"):
            self._reference(path.stem)
        tables.add_macros(self.warehouse)
        run(
            """create table records.loads (load_no integer, source varchar,
            sheet varchar, headings varchar[], decimal_sign varchar, tab varchar,
            status varchar, count_rows bigint, count_left_out bigint)"""
        )
        run("create table records.rows_not_in_use (row_id bigint)")
        for kind in (MESHES, REGISTRATIONS):
            run(kind.create_table.replace(kind.table, f"records.{kind.table}"))
        for sheet in load.sheets():
            columns = ", ".join(f"{named(name)} varchar" for name in fields_of(sheet))
            run(
                f"create table records.{sheet} (row_id bigint, load_no integer,"
                f" row_number bigint, row_key varchar, other_cells varchar, {columns})"
            )
        self._loads: dict[tuple[str, ...], int] = {}
        self._rows: dict[int, int] = {}

    def _reference(self, name: str) -> None:
        frame = pd.DataFrame(load.rows(name), dtype="str")
        self.warehouse.make_from_frame(f"reference.{name}", frame)

    def add(self, sheet: str, source: str = "clinic.xlsx", /, **cells: Any) -> int:
        """Add one row; cells are given as they are written. Return its row_id."""
        for kind in (MESHES, REGISTRATIONS):
            if sheet == kind.table:
                return self._add_reading(kind, cells)
        load_no = self._load_of(source, sheet)
        self._rows[load_no] = self._rows.get(load_no, 1) + 1
        row_id = load_no * ROWS_PER_LOAD + self._rows[load_no]
        names = fields_of(sheet)
        unknown = set(cells) - set(names)
        if unknown:
            raise KeyError(f"{sheet} has no {', '.join(sorted(unknown))}")
        values = [str(cells.get(name, "")) for name in names]
        marks = ", ".join("?" for _ in names)
        self.warehouse.run(
            f"insert into records.{sheet} values (?, ?, ?, '', '{{}}', {marks})",
            [row_id, load_no, self._rows[load_no], *values],
        )
        return row_id

    def _add_reading(self, kind: NamedFiles, reading: dict[str, Any]) -> int:
        """Add what was read from a file that rows name."""
        names = ("file", "file_sha256", "failure", *kind.figures)
        self.warehouse.run(
            f"""insert into records.{kind.table} select
            coalesce(max({kind.number}), 0) + 1, {", ".join("?" for _ in names)}
            from records.{kind.table}""",
            [reading.get(name) for name in names],
        )
        return 0

    def _load_of(self, source: str, sheet: str) -> int:
        known = self._loads.get((source, sheet))
        if known:
            return known
        load_no = len(self._loads) + 1
        self._loads[source, sheet] = load_no
        self.warehouse.run(
            "insert into records.loads values (?, ?, ?, ?, '.', '', 'in use', 0, 0)",
            [load_no, source, sheet, fields_of(sheet)],
        )
        return load_no

    def load_again(self, sheet: str, source: str, *, as_status: str) -> None:
        """Say that a file was loaded again without its rows, or held as too old.

        As "left out", the new load knows no patient of its one row.
        """
        first = self._load_of(source, sheet)
        run, is_older = self.warehouse.run, as_status == "older"
        left_out = int(as_status == "left out")
        run(
            "insert into records.loads select max(load_no) + 1, $source, $sheet, [], '.',"
            " '', $status, $count, $left_out from records.loads",
            {
                "source": source,
                "sheet": sheet,
                "status": "in use" if left_out else as_status,
                "left_out": left_out,
                "count": self._rows[first] - 1 if is_older else 0,
            },
        )
        self._loads[source, sheet, as_status] = len(self._loads) + 1
        if not is_older:
            run(
                "update records.loads set status = 'replaced' where load_no = $n",
                {"n": first},
            )

    def _give_keys(self, sheet: str) -> None:
        """Give the rows their natural keys; repeats in one file are numbered."""
        self.warehouse.run(
            f"""update records.{sheet} set row_key = keyed.row_key from (
                select row_id, one_key || if(
                    count(*) over (partition by load_no, one_key) = 1, '',
                    '#' || row_number() over (
                        partition by load_no, one_key order by row_number
                    )
                ) as row_key
                from (
                    select *, {row_key_expression(sheet)} as one_key
                    from records.{sheet}
                )
            ) as keyed where {sheet}.row_id = keyed.row_id"""
        )

    def _ask_codes(self, select: str) -> pd.DataFrame:
        """Answer as the list of codes does: here codes stand for themselves."""
        selects = [
            f"select distinct '{field.identity}' as kind, {named(field.field)} as code"
            f" from records.{field.sheet} where {named(field.field)} <> ''"
            for field in load.fields()
            if field.identity in {"case", "person"}
        ]
        every = " union ".join(selects)
        codes = f"codes as (select kind, code, code as number from ({every}))"
        rest = select.strip().removeprefix("with")
        joined = (
            f"with {codes}, {rest}"
            if rest != select.strip()
            else f"with {codes} {select}"
        )
        return self.warehouse.frame(joined)

    def checked(self) -> Warehouse:
        """Stage and check all rows; return the warehouse with its tables."""
        for sheet in load.sheets():
            self._give_keys(sheet)
        parameters = {
            "run_date": RUN_DATE,
            "ask_codes": self._ask_codes,
            **own_limits.Superimposing().parameters(),
            **problems.allowed_words(),
        }
        tables.build(self.warehouse, tables.all_tables(), parameters, up_to="checked")
        return self.warehouse

    def findings(self, columns: str, **where: str) -> list[tuple[Any, ...]]:
        """Return columns of the findings that have the values given."""
        wanted = " and ".join(f"{name} = ${name}" for name in where) or "true"
        return self.warehouse.run(
            f"select {columns} from checked.findings where {wanted} order by all", where
        )


def implant(side: str, **changes: Any) -> dict[str, Any]:
    """Return the cells of a good implants row: planned upright, placed a little off."""
    sign = 1 if side == "left" else -1
    cells = {
        "side": side,
        "planned_entry_x_mm": 8 * sign,
        "planned_entry_y_mm": 0,
        "planned_entry_z_mm": 0,
        "planned_apex_x_mm": 8 * sign,
        "planned_apex_y_mm": 0,
        "planned_apex_z_mm": -10,
        "achieved_entry_x_mm": 8 * sign + 0.5,
        "achieved_entry_y_mm": 0.3,
        "achieved_entry_z_mm": -0.2,
        "achieved_apex_x_mm": 8 * sign + 0.9,
        "achieved_apex_y_mm": 0.4,
        "achieved_apex_z_mm": -10.2,
        "planned_length_mm": 10,
        "placed_length_mm": 10,
    }
    return {name: cell for name, cell in (cells | changes).items() if cell is not None}
