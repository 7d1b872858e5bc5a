"""Put the rows of one tab into records.duckdb, compared with what is in use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from pipeline.records import taking_up
from pipeline.records.pairing import make_pairs
from pipeline.records.row_keys import one_key_expression
from pipeline.records.store import ROWS_PER_LOAD, fields_of
from pipeline.reference import load
from pipeline.warehouse import named

if TYPE_CHECKING:
    from pipeline.records.sheets import Incoming
    from pipeline.warehouse import Warehouse

CORE_SHEETS = (
    "cases",
    "implants",
    "deviations",
    "cast_readings",
    "pair_readings",
    "films",
)
"""Sheets that say which cases the audit is about."""


@dataclass
class Counts:
    """Rows by what happened to them."""

    rows: int = 0
    new: int = 0
    changed: int = 0
    same: int = 0
    gone: int = 0
    left_out: int = 0
    older: int = 0

    def __add__(self, other: Counts) -> Counts:
        return Counts(
            *(getattr(self, f.name) + getattr(other, f.name) for f in fields(self))
        )

    def in_words(self) -> str:
        """Return one line for people; only counts, no values."""
        if self.older:
            return f"{self.older} rows held: the file is older than what was loaded from it before"
        said = [f"{self.rows} rows", f"{self.new} new"]
        if self.changed:
            said.append(f"{self.changed} changed")
        if self.same:
            said.append(f"{self.same} as before")
        if self.gone:
            said.append(f"{self.gone} no longer there (still used until you answer)")
        if self.left_out:
            said.append(f"{self.left_out} of patients not in the audit left unread")
        return ", ".join(said)


def put_rows(
    store: Warehouse,
    incoming: Incoming,
    stamp: Mapping[str, Any],
    *,
    changed_by: str,
    is_known_cases_only: bool,
    is_of_tab: bool = False,
) -> Counts:
    """Add one tab's rows as a new load; call inside a transaction.

    Args:
        store: records.duckdb, open for loading.
        incoming: the rows, identities already replaced by codes.
        stamp: columns of ``loads`` that tell where the rows come from.
        changed_by: written into amendments.
        is_known_cases_only: leave out (and count) rows of cases the audit does
            not know.
        is_of_tab: other tabs of the file give rows of this sheet too, so that each
            is compared with its own last load.
    """
    load_no = int(store.value("select coalesce(max(load_no), 0) + 1 from loads"))
    counts = Counts()
    with store.registered("incoming", incoming.rows):
        counts.left_out = _insert(
            store, incoming, load_no, known_only=is_known_cases_only
        )
    where = {
        "source": stamp["source"],
        "sheet": incoming.sheet,
        "load_no": load_no,
        "tab": stamp["tab"] if is_of_tab else None,
    }
    table = named(incoming.sheet)
    counts.rows = int(
        store.value(f"select count(*) from {table} where load_no = $n", {"n": load_no})
    )
    if _is_older(store, where, stamp):
        counts.older = counts.rows
        _set_aside(store, table, load_no, because="older file")
        status = "older"
    else:
        compare_load(store, incoming.sheet, where, counts, stamp, changed_by)
        status = "in use"
    note_load(store, where, stamp, counts, status)
    return counts


def _insert(
    store: Warehouse, incoming: Incoming, load_no: int, *, known_only: bool
) -> int:
    sheet = incoming.sheet
    # where one row of a file gives several of ours, each has a place of its own
    place = "place" if "place" in incoming.rows.columns else "row_number"
    names = ", ".join(named(name) for name in fields_of(sheet))
    # an empty column of a frame has no type of its own
    typed = ", ".join(f"{named(n)}::varchar as {named(n)}" for n in fields_of(sheet))
    where = f"where {_known_case(sheet)}" if known_only else ""
    all_rows = int(store.value("select count(*) from incoming"))
    store.run(
        f"""insert into {named(sheet)}
        (row_id, load_no, row_number, row_key, other_cells, {names})
        with received as (
            select row_number, {place}::bigint as place,
                other_cells::varchar as other_cells, {typed}
            from incoming
        ),
        keyed as (
            select row_number, place, other_cells, {names},
                {one_key_expression(sheet)} as one_key
            from received {where}
        )
        select $load_no::bigint * {ROWS_PER_LOAD} + place, $load_no, row_number,
            one_key || case
                when count(*) over (partition by one_key) = 1 then ''
                else '#' || row_number() over (partition by one_key order by row_number, place)
            end,
            other_cells, {names}
        from keyed order by row_number, place""",
        {"load_no": load_no},
    )
    kept = store.value(
        f"select count(*) from {named(sheet)} where load_no = $n", {"n": load_no}
    )
    return all_rows - int(kept)


def _known_case(sheet: str) -> str:
    """Return SQL that is true for a row of a patient the audit may know."""
    cases = " union ".join(f"select case_id from {sheet}" for sheet in CORE_SHEETS)
    is_known = (
        f"(case_id in ({cases})"
        f" or not exists (select 1 from ({cases}) where case_id <> ''))"
    )
    number = load.stand_ins(sheet).get("case_id")
    if number is None:
        return f"case_id = '' or {is_known}"
    # staging leads the number to its case in the same two ways
    numbers = (
        f"select practice_no from numbers where {is_known}"
        " union select patient_id from cases"
    )
    return (
        f"if(case_id = '', {named(number)} = '' or {named(number)} in ({numbers}),"
        f" {is_known})"
    )


def _is_older(
    store: Warehouse, where: Mapping[str, Any], stamp: Mapping[str, Any]
) -> bool:
    return bool(
        store.value(
            "select count(*) from loads where source = $source and sheet = $sheet"
            " and ($tab::varchar is null or tab = $tab)"
            " and status = 'in use' and modified_at > $modified_at",
            {
                "source": where["source"],
                "sheet": where["sheet"],
                "tab": where["tab"],
                "modified_at": stamp["modified_at"],
            },
        )
    )


def _set_aside(store: Warehouse, table: str, load_no: int, *, because: str) -> None:
    store.run(
        f"insert into rows_not_in_use select row_id, $because, $load_no"
        f" from {table} where load_no = $load_no",
        {"because": because, "load_no": load_no},
    )


def compare_load(
    store: Warehouse,
    sheet: str,
    where: Mapping[str, Any],
    counts: Counts,
    stamp: Mapping[str, Any],
    changed_by: str,
) -> None:
    """Compare with the rows in use of the same source; note what changed."""
    make_pairs(store, sheet, where)
    counts.new, counts.changed, counts.same, counts.gone = store.run(
        """select count(*) filter (old_id is null and taken_up is null),
            count(*) filter (old_id is not null and new_id is not null and is_changed),
            count(*) filter (
                new_id is not null and not is_changed
                and (old_id is not null or taken_up is not null)
            ),
            count(*) filter (new_id is null)
        from pairs"""
    )[0]
    store.run(
        "insert into rows_not_in_use select old_id, 'replaced', $load_no from pairs"
        " where old_id is not null and new_id is not null",
        {"load_no": where["load_no"]},
    )
    taking_up.take_up(store, sheet, where)
    if counts.changed:
        _note_amendments(store, sheet, where, stamp, changed_by)
    for table in ("pairs", "standing"):
        store.run(f"drop table {table}")


def _note_amendments(
    store: Warehouse,
    sheet: str,
    where: Mapping[str, Any],
    stamp: Mapping[str, Any],
    changed_by: str,
) -> None:
    table = named(sheet)
    for name in [*fields_of(sheet), "other_cells"]:
        store.run(
            f"""insert into amendments
            select $load_no, $sheet, new.row_key, $field, old.{named(name)},
                new.{named(name)}, p.old_id, p.new_id, $changed_at, $changed_by,
                if(
                    (select o.file_sha256 from loads as o where o.load_no = old.load_no)
                        = $file_sha256,
                    'the same file was read by another layout',
                    'the file was loaded again'
                )
            from pairs as p
            inner join {table} as old on p.old_id = old.row_id
            inner join {table} as new on p.new_id = new.row_id
            where p.is_changed and old.{named(name)} <> new.{named(name)}""",
            {
                "load_no": where["load_no"],
                "sheet": sheet,
                "field": name,
                "changed_at": stamp["loaded_at"],
                "changed_by": changed_by,
                "file_sha256": stamp["file_sha256"],
            },
        )


def note_load(
    store: Warehouse,
    where: Mapping[str, Any],
    stamp: Mapping[str, Any],
    counts: Counts,
    status: str,
) -> None:
    """Note a load and its counts; one that is in use replaces the last of its source."""
    if status == "in use":
        store.run(
            # of corrected rows, those that the load still holds have been taken up anew
            "update loads set status = 'replaced' where source = $source"
            " and sheet = $sheet and status in ('in use', 'correction')"
            " and ($tab::varchar is null or tab = $tab)",
            {key: where[key] for key in ("source", "sheet", "tab")},
        )
    row = {
        **where,
        **stamp,
        "status": status,
        "count_rows": counts.rows,
        "count_new": counts.new,
        "count_changed": counts.changed,
        "count_same": counts.same,
        "count_gone": counts.gone,
        "count_left_out": counts.left_out,
    }
    names = ", ".join(row)
    marks = ", ".join(f"${name}" for name in row)
    store.run(f"insert into loads ({names}) values ({marks})", row)
