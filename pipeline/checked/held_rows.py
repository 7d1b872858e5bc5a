"""The rows that are set aside, as they came, with what is wrong with each."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from pipeline.checked.cells_meant import DIFFERING, cells_of
from pipeline.checked.vocabulary import GEOMETRY_SHEETS
from pipeline.records.held_cells import digest_of
from pipeline.records.store import fields_of
from pipeline.reference import load
from pipeline.warehouse import named

if TYPE_CHECKING:
    from pipeline.records.codes import Codebook
    from pipeline.reference.load import Field
    from pipeline.warehouse import Warehouse

MOST_ROWS = 20_000
"""More rows set aside at once are a fault of a whole file, which a person does not mend
row by row; the others follow in the next workbook."""

MOST_QUESTIONS = 20


@dataclass(frozen=True, slots=True)
class Mark:
    """One thing wrong with a row.

    Attributes:
        finding_id: the finding.
        check_id: the check that found it.
        severity: stop or hold.
        field: the one field meant; '' for none.
        fields: the fields to look at.
        evidence: the value judged, as text; '' for none.
        sentence: what is wrong.
        suggestion: what to do.
        other_tab: the tab the finding is about, where it is about the case; ''.
    """

    finding_id: str
    check_id: str
    severity: str
    field: str
    fields: tuple[str, ...]
    evidence: str
    sentence: str
    suggestion: str
    other_tab: str = ""


@dataclass(frozen=True, slots=True)
class HeldRow:
    """One row that is set aside.

    Attributes:
        row_id: the row in records.duckdb.
        case_key: code of the case; '' for none.
        came_from: file, tab and row, for people.
        decimal_sign: of the load.
        cells: field -> cell as received, identities as codes.
        marks: what is wrong with it.
    """

    row_id: int
    case_key: str
    came_from: str
    decimal_sign: str
    cells: dict[str, str]
    marks: list[Mark] = field(default_factory=list)

    @property
    def digest(self) -> str:
        """Hash of the row as received."""
        return digest_of(self.cells)


@dataclass(frozen=True, slots=True)
class HeldSheet:
    """The rows of one record sheet that are set aside, in the order of their files."""

    sheet: str
    rows: tuple[HeldRow, ...]

    @property
    def fields(self) -> tuple[Field, ...]:
        """The fields that hold anything in these rows, or that a mark names."""
        wanted = {name for row in self.rows for name, cell in row.cells.items() if cell}
        wanted |= {n for row in self.rows for mark in row.marks for n in mark.fields}
        return tuple(
            one
            for one in load.fields(self.sheet)
            if one.field in wanted or one.is_required
        )


def held_sheets(warehouse: Warehouse) -> tuple[list[HeldSheet], int]:
    """Read the rows set aside, or with a cell set aside, and still in use.

    Args:
        warehouse: audit.duckdb, with records.duckdb attached as ``records``.

    Returns:
        The sheets that have any, in the order of fields.csv, and the number of rows
        left for the next workbook.
    """
    _make_rows(warehouse)
    total = int(warehouse.value("select count(*) from held_rows"))
    found = []
    for sheet in load.sheets():
        rows = _rows(warehouse, sheet)
        if rows:
            _mark(warehouse, sheet, rows)
            found.append(HeldSheet(sheet, tuple(rows.values())))
    warehouse.run("drop table held_rows")
    return found, max(0, total - MOST_ROWS)


def _make_rows(warehouse: Warehouse) -> None:
    """Make a passing table of the rows to write: row_id, sheet, case_key, is_written."""
    aside = " union all ".join(
        f"select s.row_id, '{sheet}' as sheet, {_case_key(sheet)} as case_key,"
        f" s.source, s.row_number from staged.{named(sheet)} as s"
        for sheet in load.sheets()
    )
    warehouse.run(
        f"""create or replace temp table held_rows as
        select s.row_id, s.sheet, s.case_key,
            row_number() over (order by s.sheet, s.source, s.row_number) <= {MOST_ROWS}
                as is_written
        from ({aside}) as s
        semi join (
            select row_id from checked.held union select row_id from checked.cells_set_aside
        ) as h on s.row_id = h.row_id
        anti join records.rows_not_in_use as u on s.row_id = u.row_id"""
    )


def _case_key(sheet: str) -> str:
    has_case = any(one.identity == "case" for one in load.fields(sheet))
    return "s.case_key" if has_case else "null"


def _rows(warehouse: Warehouse, sheet: str) -> dict[int, HeldRow]:
    names = fields_of(sheet)
    cells = ", ".join(f"r.{named(name)}" for name in names)
    rows = warehouse.run(
        f"""select r.row_id, coalesce(h.case_key, ''), l.source, l.tab, r.row_number,
            l.decimal_sign, {cells}
        from records.{named(sheet)} as r
        inner join held_rows as h on r.row_id = h.row_id
        inner join records.loads as l on r.load_no = l.load_no
        where h.is_written order by l.source, r.row_number, r.row_id"""
    )
    return {
        row_id: HeldRow(
            row_id,
            case_key,
            _place(source, tab, number, sheet),
            sign or ".",
            dict(zip(names, texts, strict=True)),
        )
        for row_id, case_key, source, tab, number, sign, *texts in rows
    }


def _place(source: str, tab: str | None, row_number: int, sheet: str) -> str:
    named_tab = f", tab {tab}" if tab and tab != sheet else ""
    return f"{source}{named_tab}, row {row_number}"


def _mark(warehouse: Warehouse, sheet: str, rows: Mapping[int, HeldRow]) -> None:
    """Add to the rows of a sheet what is wrong with each, and with its case."""
    columns = """f.finding_id, f.check_id, f.severity, coalesce(f.field, '') as field,
        f.evidence, f.sentence, f.suggestion, f.sheet, f.row_id"""
    serious = "f.severity in ('stop', 'hold') and not f.is_accepted"
    marks = warehouse.frame(
        f"""select h.row_id as marked_id, {columns}
        from checked.findings as f inner join held_rows as h on f.row_id = h.row_id
        where {serious} and h.sheet = $sheet and h.is_written
        union all
        select h.row_id as marked_id, {columns}
        from checked.findings as f inner join held_rows as h on f.case_key = h.case_key
        where {serious} and f.reach = 'case' and f.row_id is distinct from h.row_id
            and h.sheet = $sheet and h.is_written
        order by marked_id, severity desc, row_id nulls last, check_id, field""",
        {"sheet": sheet},
    )
    found: list[dict[str, Any]] = marks.to_dict("records")  # type: ignore[assignment]
    for one in found:
        row = rows[int(one["marked_id"])]
        if _is_set_aside_by(one, sheet):
            row.marks.append(_mark_of(one, row, sheet))
    _resolve_differing(rows)


def _is_set_aside_by(one: Mapping[str, Any], sheet: str) -> bool:
    is_own = one["row_id"] == one["marked_id"]
    return is_own or sheet in GEOMETRY_SHEETS


def _mark_of(one: Mapping[str, Any], row: HeldRow, sheet: str) -> Mark:
    is_about_row = one["row_id"] == row.row_id
    is_here = is_about_row or (one["sheet"] == sheet and _is_missing(one["row_id"]))
    named_fields = [one["field"]] if one["field"] else []
    fields = tuple(named_fields or cells_of(one["check_id"], sheet)) if is_here else ()
    evidence = one["evidence"]
    return Mark(
        one["finding_id"],
        one["check_id"],
        one["severity"],
        one["field"] if is_about_row else "",
        fields,
        "" if _is_missing(evidence) else repr(float(evidence)),
        _short(one["sentence"], one["field"]),
        one["suggestion"],
        "" if is_here else one["sheet"],
    )


def _is_missing(value: Any) -> bool:
    return value is None or value != value  # noqa: PLR0124 - NaN alone differs from itself


def _short(sentence: str, field_meant: str) -> str:
    """Leave out the row number, which has a column, and a long list, which is offered."""
    bare = re.sub(r"^Row \d+(: |, )", "", sentence)
    bare = re.sub(r"( none of the words it may be): .{40,}\.$", r"\1.", bare)
    is_field = bool(field_meant) and bare.startswith(field_meant)
    return bare if is_field else bare[:1].upper() + bare[1:]


def _resolve_differing(rows: Mapping[int, HeldRow]) -> None:
    """Put the cells in which rows of one case and check differ in the place of DIFFERING."""
    alike: dict[tuple[str, str], list[HeldRow]] = {}
    for row in rows.values():
        for mark in row.marks:
            if DIFFERING in mark.fields:
                alike.setdefault((mark.check_id, row.case_key), []).append(row)
    for (check_id, _), together in alike.items():
        differing = _differing([row.cells for row in together])
        for row in together:
            for place, mark in enumerate(row.marks):
                if mark.check_id == check_id:
                    others = [name for name in mark.fields if name != DIFFERING]
                    fields = tuple(dict.fromkeys([*differing, *others]))
                    row.marks[place] = replace(mark, fields=fields)


def _differing(rows: Sequence[Mapping[str, str]]) -> tuple[str, ...]:
    return tuple(name for name in rows[0] if len({row[name] for row in rows}) > 1)


def numbers_behind(codebook: Codebook, sheets: Iterable[HeldSheet]) -> dict[str, str]:
    """Return code -> the clinic's own number or name, of every kind that is needed."""
    kinds = {
        one.identity
        for held in sheets
        for one in load.fields(held.sheet)
        if one.identity
    }
    return {
        code: number
        for kind in sorted(kinds)
        for code, number in codebook.numbers_behind(kind).items()
    }


def count_cases(sheets: Iterable[HeldSheet]) -> int:
    """Return how many cases the rows belong to."""
    return len({row.case_key for held in sheets for row in held.rows if row.case_key})


def questions(warehouse: Warehouse) -> list[tuple[str, str, str]]:
    """Return what is asked about files and rows no longer in them.

    Returns:
        (finding id, file, sentence) of each, the first of every check and file; they
        set nothing aside and are answered one by one.
    """
    return [
        (finding_id, source, sentence)
        for finding_id, source, sentence in warehouse.run(
            f"""select f.finding_id, f.source, f.sentence
            from checked.findings as f
            where not f.is_accepted
                and (f.check_id like '%-older-file' or f.check_id like '%-no-longer-there')
            order by f.source, f.check_id, f.row_number limit {MOST_QUESTIONS}"""
        )
    ]
