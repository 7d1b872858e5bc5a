"""How the workbook looks: a calm palette that also survives a grey print."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import Any

from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

INK = "22313A"
HEADER_FILL = "E7EEF0"
REQUIRED_FILL = "CFE0E3"
RULE = "9FB4BA"

NARROWEST = 12
PAGE_CHARACTERS = 200  # what an A4 landscape line still holds readably
CONFIDENTIAL = "contains practice numbers: keep on the clinic's own computer"


def ink(*, size: int = 11, bold: bool = False, italic: bool = False) -> Font:
    """Return the one font of the workbook in the colour of ink."""
    return Font(name="Calibri", size=size, bold=bold, italic=italic, color=INK)


def alignment(kind: str) -> Alignment:
    """Return how a field of this kind stands in its cell: numbers right, others left."""
    if kind == "number":
        return Alignment(horizontal="right", vertical="center", indent=1)
    return Alignment(horizontal="left", vertical="center")


def style_heading(cell: Any, *, kind: str = "text", is_required: bool) -> None:
    """Style one heading; required ones are darker and bold."""
    cell.font = ink(bold=is_required)
    cell.fill = PatternFill(
        "solid", fgColor=REQUIRED_FILL if is_required else HEADER_FILL
    )
    cell.alignment = alignment(kind)
    cell.border = Border(bottom=Side("thin", color=RULE))


def column_width(name: str, words: Sequence[str] = ()) -> float:
    """Return a width, in characters, that shows the heading and the words allowed."""
    longest = max((len(word) for word in words), default=0)
    return max(NARROWEST, round(len(name) * 1.1 + 2, 1), longest + 2)


def set_up_print(tab: Any, *, total_width: float, has_heading_row: bool) -> None:
    """Set landscape A4, and as many pages across as keep the print readable.

    Args:
        tab: the worksheet.
        total_width: sum of the widths of its visible columns, in characters.
        has_heading_row: row 1 is a heading to repeat on every page.
    """
    tab.page_setup.orientation = "landscape"
    tab.page_setup.paperSize = tab.PAPERSIZE_A4
    tab.sheet_properties.pageSetUpPr.fitToPage = True
    tab.page_setup.fitToWidth = ceil(total_width / PAGE_CHARACTERS)
    tab.page_setup.fitToHeight = 0
    tab.page_margins.left = tab.page_margins.right = 0.4
    tab.page_margins.top = tab.page_margins.bottom = 0.8
    tab.page_margins.header = tab.page_margins.footer = 0.4
    tab.oddHeader.left.text = "&A"
    tab.oddFooter.left.text = CONFIDENTIAL
    tab.oddFooter.right.text = "&P / &N"
    tab.print_title_cols = "A:A"
    if has_heading_row:
        tab.print_options.gridLines = True
        tab.print_title_rows = "1:1"
