"""Draw the workbook of rows to correct: one tab a record sheet, one row a row set aside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil
from typing import TYPE_CHECKING, Any

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.checked.held_rows import HeldRow, HeldSheet, Mark
from pipeline.checked.held_texts import lines_of, what_is_wrong, what_to_do
from pipeline.records import held_words as words
from pipeline.records.held_cells import shown
from pipeline.records.neutral import could_be_formula, for_workbook
from pipeline.records.template_plan import Column
from pipeline.records.template_style import (
    RULE,
    ink,
    set_up_print,
    style_heading,
)
from pipeline.records.template_tabs import NUMBER_FORMATS, entry_rule, note_text

if TYPE_CHECKING:
    from pipeline.reference.load import Field

LOOK_HERE = "F6E2B3"
FILL_IN = "F3F7F8"
EDGE = "B98A2F"
HEADING_LETTERS = 13
LONGEST_COMMENT = 1500
PAGE_CHARACTERS = 240
WIDTHS = {
    words.NUMBER: 6.0,
    words.CAME_FROM: 22.0,
    words.WRONG: 44.0,
    words.TO_DO: 54.0,
    words.WHY: 30.0,
    words.ANSWER: 15.0,
}
LINE_HEIGHT = 14.0
UNDER = Border(bottom=Side("thin", color=RULE))
ALWAYS_SEEN = frozenset({"side", "tooth", "site"})


@dataclass(frozen=True, slots=True)
class Told:
    """What the read-me tab tells besides how to fill the others in.

    Attributes:
        title: of the audit.
        audit_id: of the audit.
        command: what to type when the workbook is filled in.
        today: the day it is written.
        count_left: rows left for the next workbook.
        is_led_back: every code could be led back to the clinic's own number.
        questions: (finding id, file, sentence) of what is asked about whole files.
    """

    title: str
    audit_id: str
    command: str
    today: date
    count_left: int
    is_led_back: bool
    questions: Sequence[tuple[str, str, str]]


def draw(
    sheets: Sequence[HeldSheet], numbers: Mapping[str, str], told: Told
) -> Workbook:
    """Return the workbook.

    Args:
        sheets: the rows, by record sheet.
        numbers: code -> the clinic's own number or name.
        told: what the first tab tells.
    """
    from pipeline.checked.held_read_me import draw_read_me

    workbook = Workbook()
    workbook.properties.creator = "plumbpost"
    draw_read_me(workbook.active, sheets, told)
    hidden: list[list[str]] = [["audit", told.audit_id, *[""] * 8]]
    first = 1
    for held in sheets:
        _draw_tab(workbook, held, numbers, first)
        hidden += _hiddenlines_of(held, first)
        first += len(held.rows)
    _draw_hidden(workbook, hidden)
    lists = [name for name in workbook.sheetnames if name.startswith("_lists")]
    for name in lists:
        workbook.move_sheet(name, offset=len(workbook.sheetnames))
    return workbook


def _draw_tab(
    workbook: Any, held: HeldSheet, numbers: Mapping[str, str], first: int
) -> None:
    tab = workbook.create_sheet(held.sheet)
    fields = held.fields
    tab.row_dimensions[1].height = 3 * LINE_HEIGHT
    headings = [words.NUMBER, words.CAME_FROM]
    headings += [broken(one.field) for one in fields]
    headings += [words.WRONG, words.TO_DO, words.WHY, words.ANSWER]
    for column, heading in enumerate(headings, start=1):
        cell = tab.cell(row=1, column=column, value=heading)
        style_heading(cell, is_required=heading in WIDTHS)
        cell.alignment = Alignment("left", "center", wrap_text=True, indent=1)
        if heading not in WIDTHS:
            note = note_text(Column(fields[column - 3], is_folded=False))
            _comment(cell, note)
    for place, row in enumerate(held.rows):
        _draw_row(tab, place + 2, first + place, row, fields, numbers)
    _set_widths(tab, held, fields, numbers)
    _fold(tab, held, fields)
    _add_rules(workbook, tab, held, fields)
    tab.freeze_panes = "D2"
    looks = tab.column_dimensions.values()
    total = sum(look.width for look in looks if not look.hidden)
    set_up_print(tab, total_width=total, has_heading_row=True)
    tab.page_setup.fitToWidth = ceil(total / PAGE_CHARACTERS)
    tab.print_options.gridLines = False
    tab.oddFooter.left.text = words.DO_NOT_CIRCULATE
    tab.print_title_cols = "A:C"


def broken(name: str) -> str:
    """Return a field's name over several short lines; a line break stands for a _.

    The reader takes both for the same.

    >>> broken("planned_entry_x_mm").splitlines()
    ['planned_entry', 'x_mm']
    """
    lines = [""]
    for part in name.split("_"):
        joined = f"{lines[-1]}_{part}" if lines[-1] else part
        if len(joined) <= HEADING_LETTERS or not lines[-1]:
            lines[-1] = joined
        else:
            lines.append(part)
    return "\n".join(lines)


def _draw_row(
    tab: Any,
    number: int,
    key: int,
    row: HeldRow,
    fields: Sequence[Field],
    numbers: Mapping[str, str],
) -> None:
    tab.cell(row=number, column=1, value=key)
    _write_text(tab.cell(row=number, column=2), row.came_from)
    for column, one in enumerate(fields, start=3):
        cell = tab.cell(row=number, column=column)
        text = row.cells[one.field]
        text = numbers.get(text, text) if one.identity else text
        _write(cell, text, one, row.decimal_sign)
        about = [mark for mark in row.marks if one.field in mark.fields]
        if about:
            _mark_cell(cell, about)
    right = 3 + len(fields)
    wrong, to_do = what_is_wrong(row.marks), what_to_do(row.marks)
    _write_text(tab.cell(row=number, column=right), wrong)
    _write_text(tab.cell(row=number, column=right + 1), to_do)
    for column in (1, 2, right, right + 1, right + 2, right + 3):
        cell = tab.cell(row=number, column=column)
        cell.alignment = Alignment("left", "top", wrap_text=True, indent=1)
        cell.font = ink(size=10)
        cell.border = UNDER
    for column in (right + 2, right + 3):
        cell = tab.cell(row=number, column=column)
        cell.fill = PatternFill("solid", fgColor=FILL_IN)
        cell.border = Border(*[Side("thin", color=RULE)] * 4)
    lines = max(
        lines_of(wrong, WIDTHS[words.WRONG]),
        lines_of(to_do, WIDTHS[words.TO_DO]),
        lines_of(row.came_from, WIDTHS[words.CAME_FROM]),
    )
    tab.row_dimensions[number].height = max(2, lines) * LINE_HEIGHT


def _write(cell: Any, text: str, one: Field, decimal_sign: str) -> None:
    value = shown(text, one, decimal_sign)
    if isinstance(value, str):
        _write_text(cell, value)
        # a format of text in a column of figures would keep a corrected one from being one
        cell.number_format = "@" if one.kind == "text" else "General"
    else:
        cell.value = value
        cell.number_format = NUMBER_FORMATS.get(one.kind, "General")
    is_number = isinstance(value, int | float)
    cell.alignment = Alignment(
        horizontal="right" if is_number else "left", vertical="top", indent=1
    )
    cell.font = ink(size=10)
    cell.border = UNDER


def _write_text(cell: Any, text: str) -> None:
    """Write text as text, also where a spreadsheet would take it for a formula."""
    cell.value = for_workbook(text) or None
    if could_be_formula(text):
        cell.data_type = "s"
        cell.quotePrefix = True


def _mark_cell(cell: Any, marks: Sequence[Mark]) -> None:
    cell.fill = PatternFill("solid", fgColor=LOOK_HERE)
    cell.border = Border(*[Side("thin", color=EDGE)] * 4)
    cell.font = ink(size=10, bold=True)
    parts = dict.fromkeys(f"{mark.sentence}\n{mark.suggestion}" for mark in marks)
    _comment(cell, "\n\n".join(parts))


def _comment(cell: Any, text: str) -> None:
    kept = text if len(text) <= LONGEST_COMMENT else f"{text[:LONGEST_COMMENT]} .."
    height = 30 + 17 * lines_of(kept, 44)
    cell.comment = Comment(kept, "plumbpost", width=330, height=height)


def _set_widths(
    tab: Any, held: HeldSheet, fields: Sequence[Field], numbers: Mapping[str, str]
) -> None:
    for column in range(1, tab.max_column + 1):
        heading = str(tab.cell(row=1, column=column).value)
        width = WIDTHS.get(heading)
        if width is None:
            one = fields[column - 3]
            longest = max(
                len(numbers.get(r.cells[one.field], r.cells[one.field]))
                for r in held.rows
            )
            lines = max(len(line) for line in heading.splitlines())
            width = max(8.0, lines + 2.5, min(longest, 24) + 2.5)
        tab.column_dimensions[get_column_letter(column)].width = width


def _fold(tab: Any, held: HeldSheet, fields: Sequence[Field]) -> None:
    """Fold away columns that nothing is wrong with; the column before holds the +."""
    marked = _marked(held)
    is_folded = [
        one.field not in marked and not one.is_required and one.field not in ALWAYS_SEEN
        for one in fields
    ]
    tab.sheet_properties.outlinePr.summaryRight = False
    for column, folded in enumerate(is_folded, start=3):
        if folded:
            look = tab.column_dimensions[get_column_letter(column)]
            look.outlineLevel, look.hidden = 1, True
            before = tab.column_dimensions[get_column_letter(column - 1)]
            before.collapsed = not before.hidden
    tab.column_dimensions.max_outline = 1 if any(is_folded) else None


def _marked(held: HeldSheet) -> set[str]:
    return {name for row in held.rows for mark in row.marks for name in mark.fields}


def _add_rules(
    workbook: Any, tab: Any, held: HeldSheet, fields: Sequence[Field]
) -> None:
    """Add the lists of words to choose from: answers, and the codes of marked cells."""
    letter = get_column_letter(tab.max_column)
    for is_right_offered in (True, False):
        offered = [
            answer.value
            for answer in words.Answer
            if is_right_offered or answer is not words.Answer.RIGHT
        ]
        rule = DataValidation(
            type="list",
            formula1=f'"{",".join(offered)}"',
            allow_blank=True,
            showErrorMessage=True,
            errorTitle="An answer from the list",
            error=f"Choose one of: {', '.join(offered)}; or leave the cell empty.",
        )
        for place, row in enumerate(held.rows):
            if is_right_offered is not any(m.severity == "stop" for m in row.marks):
                rule.add(f"{letter}{place + 2}")
        if rule.sqref:
            tab.add_data_validation(rule)
    marked = _marked(held)
    for column, one in enumerate(fields, start=3):
        rule = entry_rule(workbook, one) if one.field in marked and one.codes else None
        if rule is not None:
            letter = get_column_letter(column)
            rule.add(f"{letter}2:{letter}{len(held.rows) + 1}")
            tab.add_data_validation(rule)


def _hiddenlines_of(held: HeldSheet, first: int) -> list[list[str]]:
    lines = []
    for key, row in enumerate(held.rows, start=first):
        place = [held.sheet, str(key), str(row.row_id)]
        lines.append(["row", "", *place, row.digest, "", "", "", ""])
        for mark in row.marks:
            what = [mark.check_id, mark.severity, mark.field, mark.evidence]
            lines.append(["finding", mark.finding_id, *place, "", *what])
    return lines


def _draw_hidden(workbook: Any, lines: Sequence[Sequence[str]]) -> None:
    tab = workbook.create_sheet(words.HELD_TAB)
    tab.sheet_state = "hidden"
    tab.append(list(words.HELD_COLUMNS))
    for line in lines:
        tab.append([text or None for text in line])
