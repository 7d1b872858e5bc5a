"""Draw the tabs that people fill: headings, notes, word lists, dates, folds."""

from __future__ import annotations

from typing import Any

from openpyxl.comments import Comment
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.records.template_plan import Column, Tab
from pipeline.records.template_style import (
    alignment,
    column_width,
    set_up_print,
    style_heading,
)
from pipeline.reference import load
from pipeline.reference.load import Field

LISTS_TAB = "_lists"
LAST_ROW = 2001  # the first 2,000 rows below the heading

# Longer ones make a spreadsheet call the file damaged. Error text: Microsoft,
# [MS-OI29500] 2.1.613; list written into the rule: from memory.
LONGEST_ERROR = 224
LONGEST_INLINE_LIST = 255

NUMBER_FORMATS = {"text": "@", "date": "yyyy-mm-dd", "whole": "0"}
FAR_FROM_ANY_FIGURE = 9999  # dates count days: a date in a number column lies beyond
NOTE_WIDTH = 320
NOTE_CHARACTERS = 42


def draw_tab(workbook: Any, plan: Tab) -> None:
    """Add one record tab to the workbook.

    Args:
        workbook: an openpyxl workbook; a long word list also goes to its lists tab.
        plan: the tab's name and columns.
    """
    tab = workbook.create_sheet(plan.sheet)
    tab.sheet_properties.outlinePr.summaryRight = False
    tab.row_dimensions[1].height = 24
    for number, column in enumerate(plan.columns, start=1):
        _draw_heading(tab, number, column)
        _draw_column(tab, number, column)
        rule = entry_rule(workbook, column.field)
        if rule is not None:
            letter = get_column_letter(number)
            rule.add(f"{letter}2:{letter}{LAST_ROW}")
            tab.add_data_validation(rule)
    tab.freeze_panes = "B2"
    tab.column_dimensions.max_outline = 1  # without it some programs hide the +
    visible = (column for column in plan.columns if not column.is_folded)
    set_up_print(
        tab,
        total_width=sum(
            column_width(column.field.field, column.field.codes) for column in visible
        ),
        has_heading_row=True,
    )


def _draw_heading(tab: Any, number: int, column: Column) -> None:
    cell = tab.cell(row=1, column=number, value=column.field.field)
    style_heading(cell, kind=column.field.kind, is_required=column.field.is_required)
    text = note_text(column)
    lines = sum(1 + len(line) // NOTE_CHARACTERS for line in text.splitlines())
    cell.comment = Comment(text, "plumbpost", width=NOTE_WIDTH, height=24 + 17 * lines)


def _draw_column(tab: Any, number: int, column: Column) -> None:
    """Set width, format and fold of a whole column, so empty cells carry them too."""
    look = tab.column_dimensions[get_column_letter(number)]
    look.width = column_width(column.field.field, column.field.codes)
    look.alignment = alignment(column.field.kind)
    look.number_format = NUMBER_FORMATS.get(column.field.kind, "General")
    if column.is_folded:
        look.outlineLevel = 1
        look.hidden = True
    if column.folds:
        # The mark of a closed fold is read on its left or on its right, by program.
        look.collapsed = True
        behind = number + len(column.folds) + 1
        tab.column_dimensions[get_column_letter(behind)].collapsed = True


def note_text(column: Column) -> str:
    """Return the note on a heading: meaning, unit, words allowed, what folds out."""
    field = column.field
    lines = [field.meaning[0].upper() + field.meaning[1:] + "."]
    if field.unit:
        lines.append(f"Unit: {field.unit}")
    if field.kind == "date":
        lines.append("Written as year-month-day: 2025-03-14")
    if field.codes:
        lines.append(f"Words allowed: {', '.join(field.codes)}")
    lines.append(_needed(field))
    if column.folds:
        lines.append(f"Folded behind it, under the +: {', '.join(column.folds)}")
    return "\n".join(lines)


def _needed(field: Field) -> str:
    if not field.is_required:
        return "May stay empty."
    instead = load.stand_ins(field.sheet).get(field.field)
    return f"Needed in every row{f', or {instead} instead' if instead else ''}."


def entry_rule(workbook: Any, field: Field) -> DataValidation | None:
    """Return the entry rule of a field, or None where any text will do.

    Args:
        workbook: an openpyxl workbook; a long word list goes to its lists tab.
        field: the field that the cells hold.
    """
    if field.codes:
        return _word_rule(workbook, field)
    or_empty = "" if field.is_required else ", or leave the cell empty"
    if field.kind == "date":
        return DataValidation(
            type="date",
            operator="between",
            formula1="DATE(1990,1,1)",
            formula2="DATE(2099,12,31)",
            **_error(
                "stop", "A date", f"Write year-month-day, such as 2025-03-14{or_empty}."
            ),
        )
    if field.kind in ("number", "whole"):
        # A warning, not a stop: a planned range such as 7-8 is read, kept as text.
        example = "A whole number" if field.kind == "whole" else "A number"
        return DataValidation(
            type="whole" if field.kind == "whole" else "decimal",
            operator="between",
            formula1=str(-FAR_FROM_ANY_FIGURE),
            formula2=str(FAR_FROM_ANY_FIGURE),
            **_error(
                "warning",
                f"{example} in {field.unit}" if field.unit else example,
                f"{example} belongs here{or_empty}. A range such as 7-8 turns into a "
                "date: write it as '7-8 with the mark in front, and keep it.",
            ),
        )
    return None


def _word_rule(workbook: Any, field: Field) -> DataValidation:
    or_empty = "" if field.is_required else ", or leave the cell empty"
    inline = ",".join(field.codes)
    sentence = f"Choose one of: {', '.join(field.codes)}{or_empty}."
    if len(sentence) > LONGEST_ERROR:
        sentence = f"Choose a word from the list in the cell{or_empty}."
    is_short = len(inline) <= LONGEST_INLINE_LIST
    return DataValidation(
        type="list",
        formula1=f'"{inline}"' if is_short else _listed(workbook, field),
        **_error("stop", "A word from the list", sentence),
    )


def _error(style: str, title: str, sentence: str) -> dict[str, Any]:
    return {
        "allow_blank": True,
        "showErrorMessage": True,
        "errorStyle": style,
        "errorTitle": title,
        "error": sentence,
    }


def _listed(workbook: Any, field: Field) -> str:
    """Write a long word list on the hidden lists tab and return its range."""
    if LISTS_TAB not in workbook.sheetnames:
        workbook.create_sheet(LISTS_TAB).sheet_state = "hidden"
        number = 1
    else:
        number = workbook[LISTS_TAB].max_column + 1
    tab = workbook[LISTS_TAB]
    tab.cell(row=1, column=number, value=f"{field.sheet}.{field.field}")
    for row, word in enumerate(field.codes, start=2):
        tab.cell(row=row, column=number, value=word)
    letter = get_column_letter(number)
    return f"{quote_sheetname(LISTS_TAB)}!${letter}$2:${letter}${len(field.codes) + 1}"
