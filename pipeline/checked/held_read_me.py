"""The first tab of the workbook of rows to correct: what it is and how to fill it in."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING, Any

from openpyxl.styles import Alignment

from pipeline.checked.held_rows import HeldSheet, count_cases
from pipeline.records import held_words as words
from pipeline.records.phrases import counted
from pipeline.records.template_style import ink, set_up_print, style_heading

if TYPE_CHECKING:
    from pipeline.checked.held_workbook import Told

WIDTHS = (18, 60, 68)
LONGEST_LINE = 165
LONGEST_SENTENCE = 120

STEPS = (
    (
        "On the tabs after this one every row stands as your file has it. A coloured cell "
        "looks wrong: “what is wrong” at the right says why, “what to do” how it is mended."
    ),
    (
        "Look it up in the chart, or in the file that the row came from. Then type the right "
        "value over the coloured cell. Columns with nothing wrong are folded away: open the +."
    ),
    (
        "At the right end of the row say under “why” how you know, and choose an answer. "
        "Without a reason nothing is changed. Write no names there."
    ),
    (
        "Save the workbook and close it. It may stay in this folder, or go into records/. "
        "Then run: {command}"
    ),
    (
        "Your own files are never touched. While they still hold the old value, your answer "
        "stands, and nobody asks again; better put them right too."
    ),
    (
        "A row without an answer stays set aside. Nothing is lost: the old values are kept "
        "beside the new ones, with who, when and why."
    ),
)

ANSWERS = (
    (
        words.Answer.CORRECTED,
        "you typed over one or more of its cells",
        "the row is used with the new values",
    ),
    (
        words.Answer.LEAVE_OUT,
        "it should not be there: typed twice, a trial, another patient",
        "the row is no longer used; it is kept",
    ),
    (
        words.Answer.RIGHT,
        "unusual, but you looked it up and it is so",
        (
            "the row is used; it is asked about again only when it changes. Not offered where "
            "it cannot be so"
        ),
    ),
)


def draw_read_me(tab: Any, sheets: Sequence[HeldSheet], told: Told) -> None:
    """Write the first tab.

    Args:
        tab: an empty worksheet.
        sheets: the rows set aside.
        told: what is told of the audit.
    """
    tab.title = words.READ_ME_TAB
    tab.sheet_view.showGridLines = False
    for letter, width in zip("ABC", WIDTHS, strict=True):
        tab.column_dimensions[letter].width = width
    tab["A1"] = words.DO_NOT_CIRCULATE
    tab["A1"].font = ink(bold=True)
    tab["A3"] = "Rows set aside for you to correct"
    tab["A3"].font = ink(size=16, bold=True)
    tab.row_dimensions[3].height = 24
    tab["A4"] = _summary(sheets, told)
    tab["A4"].font = ink()
    for number, sentence in enumerate(STEPS, start=1):
        _step(tab, 5 + number, f"{number}.  {sentence.format(command=told.command)}")
    _table(tab, ("answer", "when", "what happens"), ANSWERS)
    rows = [(one.sheet, _rows_of(one), _most_often(one)) for one in sheets]
    _table(tab, ("tab", "rows", "most often"), rows)
    if told.questions:
        asked = [(key, source, sentence) for key, source, sentence in told.questions]
        _table(tab, ("also asked", "about the file", "what"), asked)
        _step(
            tab,
            tab.max_row + 1,
            "These are not answered here but with: plumbpost accept, naming the word in "
            "the first column.",
        )
    set_up_print(tab, total_width=sum(WIDTHS), has_heading_row=False)
    tab.oddFooter.left.text = words.DO_NOT_CIRCULATE


def _summary(sheets: Sequence[HeldSheet], told: Told) -> str:
    rows = sum(len(one.rows) for one in sheets)
    said = f"{counted(rows, 'row')} of {counted(count_cases(sheets), 'case')}"
    said += f", written on {told.today.isoformat()}"
    if told.title:
        said += f" for “{told.title}”"
    if told.count_left:
        said += f". {told.count_left} more rows follow in the next workbook"
    if not told.is_led_back:
        said += (
            ". Some numbers could not be led back on this computer; their codes stand "
            "in their place, leave them as they are"
        )
    return f"{said}."


def _rows_of(one: HeldSheet) -> str:
    cases = count_cases([one])
    rows = counted(len(one.rows), "row")
    return f"{rows} of {counted(cases, 'case')}" if cases else rows


def _most_often(one: HeldSheet) -> str:
    """Return the sentence that the most rows of a tab have, with how many."""
    count: dict[str, int] = {}
    sentence: dict[str, str] = {}
    for row in one.rows:
        for check_id in {mark.check_id for mark in row.marks}:
            count[check_id] = count.get(check_id, 0) + 1
        for mark in row.marks:
            sentence.setdefault(mark.check_id, mark.sentence)
    if not count:
        return ""
    most = max(count, key=lambda check_id: (count[check_id], check_id))
    said = sentence[most]
    if len(said) > LONGEST_SENTENCE:
        said = f"{said[:LONGEST_SENTENCE].rsplit(' ', 1)[0]} .."
    return f"{counted(count[most], 'row')}: {said}"


def _step(tab: Any, number: int, text: str) -> None:
    tab.merge_cells(start_row=number, start_column=1, end_row=number, end_column=3)
    cell = tab.cell(row=number, column=1, value=text)
    cell.font = ink()
    cell.alignment = Alignment(wrap_text=True, vertical="top")
    tab.row_dimensions[number].height = 34 if len(text) > LONGEST_LINE else 18


def _table(tab: Any, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Write a small table below what the tab already holds."""
    top = tab.max_row + 2
    for column, heading in enumerate(headings, start=1):
        cell = tab.cell(row=top, column=column, value=heading)
        style_heading(cell, is_required=True)
    for down, row in enumerate(rows, start=1):
        for column, text in enumerate(row, start=1):
            cell = tab.cell(row=top + down, column=column, value=str(text))
            cell.font = ink(bold=column == 1)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
        longest = max(
            len(text) / (1.1 * width) for text, width in zip(row, WIDTHS, strict=True)
        )
        tab.row_dimensions[top + down].height = 4 + 15 * ceil(longest)
