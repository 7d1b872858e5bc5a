"""Examples of cells that were written in a way that has its own mend, a sheet each."""

from __future__ import annotations

from pipeline.checked.checks import by_id
from pipeline.reference import load
from pipeline.reference.load import Field
from tests.spec.check_examples import Example, Row, row

NUMBERS = ("number", "whole")

WRITTEN = {
    "became_day": (
        NUMBERS,
        "8-Jul",
        "holds a day instead of a number: 8 July may have been 7-8, 8.7 or 7.8.",
    ),
    "other_decimal_sign": (
        NUMBERS,
        "3,2",
        (
            "is written with the other decimal sign; it may be 3.2, or a thousand times as"
            " much."
        ),
    ),
    "unit_written": (NUMBERS, "", "carries a unit beside its number."),
    "other_unit": (
        NUMBERS,
        "7 %",
        (
            "carries a unit of another kind: a length has no degrees, an angle no"
            " millimetres, and neither a percentage."
        ),
    ),
    "serial_day": (
        ("date",),
        "45846",
        (
            "is a spreadsheet's count of days: 2025-07-08, or 2029-07-09 where the workbook"
            " counts its days from 1904."
        ),
    ),
    "day_number": (
        NUMBERS,
        "45846",
        "looks like a spreadsheet's count of days: 8 July may have been 7-8, 8.7 or 7.8.",
    ),
    "stray_characters": (
        (*NUMBERS, "date"),
        "\u00a0",
        (
            "held characters that are not seen, such as a space that does not break or a"
            " typeset minus sign; it was read without them."
        ),
    ),
    "identifier_in_text": (
        ("text",),
        "call Mrs Quillmere, 0555 210 4477",
        (
            "holds what looks like a name, an address, a telephone number, a birth date or"
            " the path of a file; it is kept out of tables and export."
        ),
    ),
}
"""By problem: kinds of field that can have it, a cell that has it, what is said."""


def field_for(sheet: str, problem: str) -> Field | None:
    """The first field of a sheet that can have the problem."""
    kinds, _, _ = WRITTEN[problem]
    for field in load.fields(sheet):
        is_unit = problem != "other_unit" or field.unit in {"mm", "deg"}
        if field.kind in kinds and not field.identity and is_unit:
            return field
    return None


def faulty_cell(field: Field, problem: str) -> str:
    if problem == "unit_written":
        return "3°" if field.unit == "deg" else "3 mm"
    if problem == "stray_characters":
        return "2025-09-02\u00a0" if field.kind == "date" else "3\u00a0"
    return WRITTEN[problem][1]


def of_sheet(sheet: str, problem: str, field: Field) -> Example:
    good: Row = row(sheet)
    bad = row(sheet, **{field.field: faulty_cell(field, problem)})
    return Example(
        f"{sheet.replace('_', '-')}-{problem.replace('_', '-')}",
        (good,),
        (bad,),
        f"Row 2: {field.field} {WRITTEN[problem][2]}",
    )


_FIELDS = {
    (sheet, problem): field_for(sheet, problem)
    for sheet in load.sheets()
    for problem in WRITTEN
}

CELLS = tuple(
    of_sheet(sheet, problem, field)
    for (sheet, problem), field in _FIELDS.items()
    if field
)

NO_SUCH_CELL = {
    name
    for (sheet, problem), field in _FIELDS.items()
    if not field
    and (name := f"{sheet.replace('_', '-')}-{problem.replace('_', '-')}") in by_id()
}
"""Checks of sheets that hold no field of that kind."""
