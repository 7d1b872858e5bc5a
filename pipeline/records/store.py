"""records.duckdb: rows as received, loads, amendments. Append only; the file to back up.

Row ids carry their load: ``load_no * 2**32 + row_number``; of a row that a layout made,
the row number stands in the lower 26 bits and the part of the row above them. A row
that a later load of the same source replaces is never changed or deleted; it is named
in ``rows_not_in_use``, with the reason.
"""

from __future__ import annotations

from pipeline.audit import Audit
from pipeline.errors import DamagedFile, KeyProblem
from pipeline.records import decisions
from pipeline.records.meshes import MESHES
from pipeline.records.registration_files import REGISTRATIONS
from pipeline.reference import load
from pipeline.settings import Settings
from pipeline.tables import add_macros
from pipeline.warehouse import Warehouse, named

SCHEMA_VERSION = 1
ROWS_PER_LOAD = 2**32

HEAD_COLUMNS = ("row_id", "load_no", "row_number", "row_key", "other_cells")
"""Columns of every record table before its fields; other_cells is JSON."""

_TABLES = (
    """create table if not exists meta
    (schema_version integer, audit_id varchar, key_fingerprint varchar)""",
    """create table if not exists loads (
        load_no integer primary key, source varchar, sheet varchar, tab varchar,
        file_sha256 varchar, file_format varchar, encoding varchar, delimiter varchar,
        decimal_sign varchar, headings varchar[], modified_at timestamp,
        loaded_at timestamp, status varchar, count_rows bigint, count_new bigint,
        count_changed bigint, count_same bigint, count_gone bigint,
        count_left_out bigint, count_problems bigint, notes varchar[])""",
    """create table if not exists rows_not_in_use
    (row_id bigint, because varchar, load_no integer)""",
    """create table if not exists amendments (
        load_no integer, sheet varchar, row_key varchar, field varchar,
        old_value varchar, new_value varchar, old_row_id bigint, new_row_id bigint,
        changed_at timestamp, changed_by varchar, why varchar)""",
    # what a layout was applied to: the cells behind a row, under loads.headings; the row's
    # number in its own tab and in each joined one, 0 for none
    """create table if not exists received_rows
    (row_id bigint, row_numbers bigint[], cells varchar[])""",
    decisions.TABLE,
    # a row of the clinic's file that a person corrected or left out, and the row in use in
    # its place; copy_of: the row it is a copy of, where an earlier answer was taken up again
    """create table if not exists corrections (
        load_no integer, sheet varchar, kind varchar, received_row_id bigint,
        new_row_id bigint, copy_of bigint, is_in_force boolean, decided_at timestamp,
        decided_by varchar, why varchar, workbook varchar)""",
    # a finding that a person called right as it is, while it says the same
    """create table if not exists accepted (
        finding_id varchar, check_id varchar, source varchar, sheet varchar,
        row_key varchar, case_key varchar, field varchar, evidence double,
        cell_sha256 varchar, accepted_at timestamp, accepted_by varchar, why varchar)""",
    # what was done of a workbook of rows to correct, so that nothing is done twice
    """create table if not exists answers
    (row_id bigint, answer_sha256 varchar, workbook varchar, answered_at timestamp)""",
    """create table if not exists workbooks_back (
        file_sha256 varchar, workbook varchar, looked_at timestamp, count_open bigint)""",
    MESHES.create_table,
    REGISTRATIONS.create_table,
)

_LATER_COLUMNS = (
    ("loads", "layout", "varchar"),
    ("loads", "layout_sha256", "varchar"),
    # JSON: for each part of a row, field -> [0 or the number of a join, column letters]
    ("loads", "field_cells", "varchar"),
    # digest of all layouts there were, null where no other could change how it is read
    ("loads", "looked_with", "varchar"),
)
"""Columns that an older records.duckdb does not have yet; '' or null where unused."""


def fields_of(sheet: str) -> list[str]:
    """Return the field names of a record sheet, in order."""
    return [field.field for field in load.fields(sheet)]


def open_for_loading(audit: Audit, settings: Settings, fingerprint: str) -> Warehouse:
    """Open records.duckdb to add to it, making it when it is not there.

    Raises:
        KeyProblem: it was made with another key.
        DamagedFile: it was made by a later version.
    """
    store = Warehouse(audit.records_file, root=audit.folder)
    add_macros(store, only=("side_of", "plain_key"))
    with store.transaction():
        for statement in _TABLES:
            store.run(statement)
        for table, column, kind in _LATER_COLUMNS:
            store.run(f"alter table {table} add column if not exists {column} {kind}")
        for sheet in load.sheets():
            columns = ", ".join(f"{named(field)} varchar" for field in fields_of(sheet))
            store.run(
                f"create table if not exists {named(sheet)} (row_id bigint, load_no integer,"
                f" row_number bigint, row_key varchar, other_cells varchar, {columns})"
            )
            _add_new_fields(store, sheet)
        if not store.value("select count(*) from meta"):
            store.run(
                "insert into meta values ($version, $audit_id, $fingerprint)",
                {
                    "version": SCHEMA_VERSION,
                    "audit_id": settings.audit_id,
                    "fingerprint": fingerprint,
                },
            )
    version, known = store.run("select schema_version, key_fingerprint from meta")[0]
    if version > SCHEMA_VERSION:
        store.close()
        raise DamagedFile(
            "records.duckdb was made by a later version of plumbpost.",
            hint="Install that version or a later one.",
        )
    if known != fingerprint:
        store.close()
        raise KeyProblem(
            "The key found is not the one this audit was made with; nothing was loaded.",
            hint=f"Copy the right key back to {settings.key_file}.",
        )
    return store


def _add_new_fields(store: Warehouse, sheet: str) -> None:
    """Add the fields that a records.duckdb of an earlier version does not have."""
    known = {name for name, _ in store.columns(named(sheet))}
    for field in fields_of(sheet):
        if field not in known:
            store.run(
                f"alter table {named(sheet)} add column {named(field)} varchar default ''"
            )


def count_in_use(store: Warehouse) -> int:
    """Return the number of rows in use, of all record sheets."""
    every = " union all ".join(f"select row_id from {named(s)}" for s in load.sheets())
    return int(
        store.value(
            f"select count(*) from ({every}) anti join rows_not_in_use using (row_id)"
        )
    )
