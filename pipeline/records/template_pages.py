"""Draw the two tabs that are read and not filled: ``read me`` and ``example``."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter

from pipeline.records.template_plan import Tab, example_rows, kind_rows
from pipeline.records.template_style import (
    CONFIDENTIAL,
    alignment,
    column_width,
    ink,
    set_up_print,
    style_heading,
)
from pipeline.records.template_tabs import NUMBER_FORMATS
from pipeline.reference import load

SENTENCES = (
    "Fill the tabs after the example, one row for each line of your record.",
    "A bold, darker heading is needed in every row; a column not needed may stay empty.",
    "Point at a heading to read what it means; a + above the headings opens more columns.",
    "The plan may be filled in weeks before surgery; leave the rest empty until then.",
    "Tabs needed together share the same case_id for the same treated jaw.",
    f"This workbook {CONFIDENTIAL}.",
)
INVENTED = (
    "Invented rows from an invented clinic, to look at. This tab is never loaded."
)
READ_ME_WIDTHS = (26, 44, 60)


def draw_read_me(tab: Any, kinds: Sequence[str], plan: Sequence[Tab]) -> None:
    """Write the first tab: six sentences, what goes with what, what a row holds.

    Args:
        tab: an empty worksheet.
        kinds: the record kinds asked for.
        plan: their tabs.
    """
    for letter, width in zip("ABC", READ_ME_WIDTHS, strict=True):
        tab.column_dimensions[letter].width = width
    tab.sheet_view.showGridLines = False
    tab["A1"] = "Records for the audit"
    tab["A1"].font = ink(size=16, bold=True)
    for number, sentence in enumerate(SENTENCES, start=1):
        tab.cell(row=number + 2, column=1, value=f"{number}.  {sentence}")
        tab.cell(row=number + 2, column=1).font = ink(bold=sentence is SENTENCES[-1])
    _table(
        tab, ("record", "tabs needed together", "add if you have it"), _together(kinds)
    )
    one_row = [(one.sheet, f"{one.meaning}.") for one in plan]
    _table(tab, ("tab", "one row holds"), one_row)
    if any(one.sheet == "events" for one in plan):
        kinds_of_event = [(row["event"], row["meaning"]) for row in load.rows("events")]
        _table(tab, ("event", "what it means"), kinds_of_event)
    set_up_print(tab, total_width=sum(READ_ME_WIDTHS), has_heading_row=False)


def _together(kinds: Sequence[str]) -> list[tuple[str, str, str]]:
    """Return a row per kind: its name, the tabs it needs, the tabs it may have."""
    rows = kind_rows(kinds)

    def sheets(kind: str, needed: str) -> str:
        return " + ".join(
            row["sheet"]
            for row in rows
            if row["record_kind"] == kind and row["is_needed"] == needed
        )

    return [
        (kind.replace("_", " "), sheets(kind, "yes"), sheets(kind, ""))
        for kind in dict.fromkeys(kinds)
    ]


def _table(tab: Any, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Write a small table below what the tab already holds."""
    top = tab.max_row + 2
    for column in range(1, len(READ_ME_WIDTHS) + 1):
        cell = tab.cell(row=top, column=column)
        cell.value = headings[column - 1] if column <= len(headings) else None
        style_heading(cell, is_required=True)
    for down, row in enumerate(rows, start=1):
        for column, text in enumerate(row, start=1):
            cell = tab.cell(row=top + down, column=column, value=text)
            cell.font = ink(bold=column == 1)
            cell.alignment = Alignment(vertical="top")


def draw_example(tab: Any, plan: Sequence[Tab]) -> None:
    """Write the example tab: for each sheet its name, headings and invented rows.

    The columns are those a person sees before opening a fold, in the same order.

    Args:
        tab: an empty worksheet.
        plan: the tabs that were asked for.
    """
    tab["A1"] = INVENTED
    tab["A1"].font = ink(italic=True)
    widths: dict[int, float] = {}
    for one in plan:
        rows = example_rows(one.sheet)
        fields = [column.field for column in one.columns if not column.is_folded]
        top = tab.max_row + 2
        tab.cell(row=top, column=1, value=one.sheet).font = ink(size=12, bold=True)
        for number, field in enumerate(fields, start=1):
            width = column_width(field.field, field.codes)
            widths[number] = max(widths.get(number, 0), width)
            heading = tab.cell(row=top + 1, column=number, value=field.field)
            style_heading(heading, kind=field.kind, is_required=field.is_required)
            for down, row in enumerate(rows, start=2):
                _write(tab.cell(row=top + down, column=number), field, row)
    for number, width in widths.items():
        tab.column_dimensions[get_column_letter(number)].width = width
    set_up_print(tab, total_width=sum(widths.values()), has_heading_row=False)


def _write(cell: Any, field: load.Field, row: dict[str, str]) -> None:
    """Write one example value as its kind, the way a person's own cell would hold it."""
    text = row.get(field.field, "")
    values: dict[str, Any] = {"number": float, "whole": int, "date": date.fromisoformat}
    if text:
        cell.value = values.get(field.kind, str)(text)
    cell.number_format = NUMBER_FORMATS.get(field.kind, "General")
    cell.alignment = alignment(field.kind)
    cell.font = ink()
