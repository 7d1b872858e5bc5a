"""Run the checks: their outcomes, what was found, and what is set aside.

For every check the judge says how many rows failed; a select made from the same row of
the check tables says which. The two must agree, on every run.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from pipeline.checked import accepting, addresses, engine, sentences
from pipeline.checked.checks import Check, all_checks
from pipeline.checked.engine import Verdict
from pipeline.checked.vocabulary import GEOMETRY_SHEETS
from pipeline.reference import load
from pipeline.tables import makes
from pipeline.warehouse import Warehouse, named, quoted

EVIDENCE_TABLES = tuple(sorted({check.evidence_table for check in all_checks()}))
STAGED_TABLES = tuple(f"staged.{sheet}" for sheet in load.sheets())

_EMPTY_TABLES = (
    """create or replace table checked.results (check_id varchar, sheet varchar,
    severity varchar, outcome varchar, count_failed bigint, count_judged bigint)""",
    """create or replace table checked.findings (finding_id varchar, check_id varchar,
    severity varchar, reach varchar, source varchar, sheet varchar, row_number bigint,
    cell varchar, case_key varchar, side varchar, field varchar, as_written varchar,
    evidence double, sentence varchar, suggestion varchar, row_id bigint)""",
)


class CountsDisagree(Exception):
    """The judge and the select found different rows (a fault of ours)."""


@makes(
    "checked.results",
    "checked.findings",
    "checked.held",
    "checked.cells_set_aside",
    reads=(*EVIDENCE_TABLES, *STAGED_TABLES, "staged.problems", "checked.cell_signs"),
)
def make_findings(warehouse: Warehouse, parameters: Mapping[str, Any]) -> None:
    """Make checked.results, findings, held and cells_set_aside.

    Args:
        warehouse: the audit, with the evidence tables made and ``records`` attached.
        parameters: holds ``run_date``, the day of the run.
    """
    run_date: dt.date = parameters["run_date"]
    for statement in _EMPTY_TABLES:
        warehouse.run(statement)
    addresses.make_cell_columns(warehouse)
    addresses.make_repeats(warehouse)
    verdicts = [
        verdict
        for checks in _of_one_kind(all_checks())
        for verdict in _judged(warehouse, checks, run_date)
    ]
    _note_results(warehouse, verdicts)
    for verdict in verdicts:
        if verdict.outcome == "failed":
            _add_findings(warehouse, verdict, run_date)
    accepting.mark(warehouse)
    _make_held(warehouse)
    _make_cells_set_aside(warehouse)
    addresses.name_laid_out_cells(warehouse)
    addresses.drop(warehouse)


def _of_one_kind(checks: Sequence[Check]) -> Iterator[list[Check]]:
    """Yield the checks of one evidence table and sheet together."""

    def kind(check: Check) -> tuple[str, str]:
        return check.evidence_table, check.sheet

    for _, together in groupby(sorted(checks, key=kind), key=kind):
        yield list(together)


def _rows(check: Check) -> str:
    """Return SQL for the rows of evidence a check looks at, named e."""
    if check.is_of_every_sheet:
        return f"{check.evidence_table} as e where e.sheet = {quoted(check.sheet)}"
    return f"{check.evidence_table} as e where true"


def _judged(
    warehouse: Warehouse, checks: Sequence[Check], run_date: dt.date
) -> Iterator[Verdict]:
    """Yield the verdict of every check of one evidence table.

    A column without any value needs no judge: there is nothing to judge.
    """
    rows = _rows(checks[0])
    counts = ", ".join(f"count({sentences.judged(check)})" for check in checks)
    found = warehouse.run(f"select {counts} from {rows}")[0]
    with_values = []
    for check, count in zip(checks, found, strict=True):
        if count:
            with_values.append(check)
        else:
            yield Verdict(check, "not applicable", 0, 0)
    for five in engine.fives(with_values):
        columns = {
            f"{sentences.judged(check)} as {named(check.evidence)}" for check in five
        }
        frame = warehouse.frame(f"select {', '.join(sorted(columns))} from {rows}")
        yield from engine.judge(frame, five, run_date)


def _note_results(warehouse: Warehouse, verdicts: Sequence[Verdict]) -> None:
    """Fill checked.results: one row a check."""
    values = [
        value
        for verdict in verdicts
        for value in (
            verdict.check.check_id,
            verdict.check.sheet,
            verdict.check.severity,
            verdict.outcome,
            verdict.count_failed,
            verdict.count_judged,
        )
    ]
    marks = ", ".join("(?, ?, ?, ?, ?, ?)" for _ in verdicts)
    warehouse.run(f"insert into checked.results values {marks}", values)


def _add_findings(warehouse: Warehouse, verdict: Verdict, run_date: dt.date) -> None:
    """Add a finding for every row that failed, or for every cell it is about.

    Raises:
        CountsDisagree: the select finds other rows than the judge.
    """
    check = verdict.check
    outside = sentences.failed(check, run_date)
    count = warehouse.value(f"select count(*) from {_rows(check)} and {outside}")
    select = _of_rows if check.level == "row" else _of_groups
    added = warehouse.value(
        f"insert into checked.findings {select(check, outside, run_date)}",
        {"pairs": sentences.PAIRS},
    )
    is_short = added < count if check.problem else added != count
    if count != verdict.count_failed or is_short:
        raise CountsDisagree(
            f"{check.check_id}: {verdict.count_failed} rows were judged to fail,"
            f" {count} selected, {added} findings made"
        )


def _of_rows(check: Check, outside: str, run_date: dt.date) -> str:
    """Return the select of the findings of a check of rows."""
    fields = {field.field: field for field in load.fields(check.sheet)}
    field = sentences.field_meant(check)
    joins = [f"inner join staged.{named(check.sheet)} as s on e.row_id = s.row_id"]
    as_written, evidence = "cast(null as varchar)", sentences.judged(check)
    if check.problem:
        kinds = "'empty', 'said_missing'" if check.problem == "empty" else ""
        joins.append(
            f"inner join {check.cells_table} as p on e.row_id = p.row_id"
            f" and p.problem in ({kinds or quoted(check.problem)})"
        )
        if check.problem == "empty":
            required = ", ".join(quoted(n) for n, f in fields.items() if f.is_required)
            joins[-1] += f" and p.field in ({required})"
        as_written, evidence = _masked(check, fields), "cast(null as double)"
    elif check.field and not fields[check.field].identity:
        joins.append(
            f"left join records.{named(check.sheet)} as r on e.row_id = r.row_id"
        )
        as_written = f"r.{named(check.field)}"
    joins.append(
        "left join cell_columns as c on e.row_id // 4294967296 = c.load_no"
        f" and c.field = {field}"
    )
    joins.append("left join repeats as n on e.row_id = n.row_id")
    key = "concat(plain_key(s.row_key), n.nth)"
    case_key = "s.case_key" if "case_id" in fields else "null"
    side = "s.side" if "side" in fields else "null"
    rows, _, condition = _rows(check).partition(" where ")
    return f"""
        select {_id(check, "s.source", quoted(check.sheet), key, field)},
            {quoted(check.check_id)}, {quoted(check.severity)}, {quoted(check.reach)},
            s.source, {quoted(check.sheet)}, s.row_number,
            c.letters || s.row_number, {case_key}, {side}, {field}, {as_written},
            {evidence}, {sentences.sentence(check, run_date)},
            {quoted(check.suggestion)}, s.row_id
        from {rows} {" ".join(joins)}
        where {condition} and {outside}"""


def _of_groups(check: Check, outside: str, run_date: dt.date) -> str:
    """Return the select of the findings about pairs, cases or the figures of a file."""
    field = sentences.field_meant(check)
    key = {"pair": "e.pair_key", "case": "e.case_key", "set": "''"}[check.level]
    case_key = "null" if check.level == "set" else "e.case_key"
    sheet = quoted(check.sheet) if check.level == "pair" else "e.sheet"
    return f"""
        select {_id(check, "e.source", sheet, key, field)},
            {quoted(check.check_id)}, {quoted(check.severity)}, {quoted(check.reach)},
            e.source, {sheet}, null, null, {case_key}, null, {field}, null,
            {sentences.judged(check)}, {sentences.sentence(check, run_date)},
            {quoted(check.suggestion)}, null
        from {_rows(check)} and {outside}"""


def _id(check: Check, source: str, sheet: str, key: str, field: str) -> str:
    """Return SQL for the id: check, source, sheet, natural key, field."""
    parts = f"{quoted(check.check_id)}, {source}, {sheet}, {key}, coalesce({field}, '')"
    return sentences.finding_id(f"concat_ws('|', {parts})")


def _masked(check: Check, fields: Mapping[str, load.Field]) -> str:
    """Return SQL that leaves out what identifies a person or a laboratory."""
    if check.problem == "identifier_in_text":
        return "cast(null as varchar)"
    hidden = [quoted(name) for name, field in fields.items() if field.identity]
    if not hidden:
        return "p.as_written"
    return f"if(p.field in ({', '.join(hidden)}), null, p.as_written)"


def _make_held(warehouse: Warehouse) -> None:
    """Make checked.held: rows that a stop or hold of their own or of their case reaches."""
    required = ", ".join(
        f"({quoted(field.sheet)}, {quoted(field.field)})"
        for field in load.fields()
        if field.is_required
    )
    of_cases = " union all ".join(
        f"select row_id, {quoted(sheet)} as sheet, case_key from staged.{sheet}"
        for sheet in GEOMETRY_SHEETS
    )
    warehouse.make(
        "checked.held",
        f"""
        with serious as (
            select * from checked.findings
            where severity in ('stop', 'hold') and not is_accepted
        ),
        causes as (
            select row_id, sheet, case_key, check_id from serious
            where reach = 'row' or (reach = 'cell' and (sheet, field) in ({required}))
            union all
            select g.row_id, g.sheet, g.case_key, f.check_id
            from ({of_cases}) as g
            inner join serious as f on g.case_key = f.case_key and f.reach = 'case'
        )
        select row_id, any_value(sheet) as sheet, any_value(case_key) as case_key,
            list_sort(list_distinct(list(check_id))) as check_ids
        from causes group by row_id order by row_id""",
    )


def _make_cells_set_aside(warehouse: Warehouse) -> None:
    """Make checked.cells_set_aside: values that count as missing."""
    warehouse.make(
        "checked.cells_set_aside",
        """
        select distinct row_id, field from checked.findings
        where severity in ('stop', 'hold') and reach = 'cell' and not is_accepted
        order by row_id, field""",
    )
