"""Findings that a person called right as they are set nothing aside any more.

The answer belongs to what was judged: once the cell or the figure changes, it is asked
about again. What cannot be right (a stop) cannot be answered so.
"""

from __future__ import annotations

from pipeline.warehouse import Warehouse, named, quoted


def mark(warehouse: Warehouse) -> None:
    """Add the column is_accepted to checked.findings.

    Args:
        warehouse: the audit being made; ``records`` may hold a table ``accepted``.
    """
    warehouse.run(
        "alter table checked.findings add column is_accepted boolean default false"
    )
    has_answers = warehouse.value(
        """select count(*) from duckdb_tables()
        where table_name = 'accepted' and 'records' in (schema_name, database_name)"""
    )
    if not has_answers:
        return
    # figures of geometry may differ in their last digits between two computers
    warehouse.run(
        """create or replace temp table answers_met as
        select f.finding_id, f.sheet, f.field, f.row_id, a.cell_sha256
        from checked.findings as f
        inner join records.accepted as a on f.finding_id = a.finding_id
        where f.severity = 'hold' and (
            f.evidence is not distinct from a.evidence
            or abs(f.evidence - a.evidence) <= 1e-9 * abs(a.evidence)
        )"""
    )
    _drop_changed_cells(warehouse)
    warehouse.run(
        """update checked.findings as f set is_accepted = true
        where f.finding_id in (select m.finding_id from answers_met as m)"""
    )
    warehouse.run("drop table answers_met")


def _drop_changed_cells(warehouse: Warehouse) -> None:
    """Keep only the answers to cells that still read the same."""
    cells = warehouse.run(
        "select distinct sheet, field from answers_met where cell_sha256 <> ''"
    )
    for sheet, field in cells:
        warehouse.run(
            f"""delete from answers_met as m using records.{named(sheet)} as r
            where m.row_id = r.row_id and m.sheet = {quoted(sheet)}
                and m.field = {quoted(field)} and m.cell_sha256 <> ''
                and sha256(r.{named(field)}) <> m.cell_sha256"""
        )
