"""A cell of a record as the workbook of rows to correct shows it, and read back.

A figure becomes a number and an ISO day becomes a day, so that the spreadsheet treats
them as such; everything else stays the text it is. What comes back is compared with what
was shown, so that a cell nobody touched is never taken for a correction.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from datetime import date

from pipeline.records.neutral import for_workbook
from pipeline.records.workbook_cells import text_of
from pipeline.reference.load import Field

Shown = str | int | float | date

_FIGURE = re.compile(r"[+-]?\d{1,12}(\.\d{1,12})?")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def shown(text: str, field: Field, decimal_sign: str) -> Shown:
    """Return a cell as received as the value that the workbook shows.

    Args:
        text: the cell as received; an identity led back to the clinic's own number.
        field: its field.
        decimal_sign: of the load the cell came with.
    """
    trimmed = text.strip()
    if field.kind in {"number", "whole"}:
        plain = trimmed
        if decimal_sign == ",":
            plain = "" if "." in plain else plain.replace(",", ".")
        if _FIGURE.fullmatch(plain):
            return float(plain) if "." in plain else int(plain)
    if field.kind == "date" and _DAY.fullmatch(trimmed):
        try:
            return date.fromisoformat(trimmed)
        except ValueError:
            pass
    return for_workbook(text)


def as_read(value: Shown) -> str:
    """Return the text that a reader of workbooks gives for a shown value."""
    return plain(text_of(value))


def plain(text: str) -> str:
    """Return a cell as two of them are compared: blanks around and between even."""
    return " ".join(text.split())


def as_received(text: str, field: Field, decimal_sign: str) -> str:
    """Return a corrected cell as a cell of the file it belongs to.

    Workbooks give figures with a point; the file may write them with a comma.
    """
    kept = plain(text)
    if field.kind in {"number", "whole"} and decimal_sign == ",":
        return kept.replace(".", ",") if _is_figure(kept) else kept
    return kept


def _is_figure(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def digest_of(cells: Mapping[str, str]) -> str:
    """Return a hash of a row as received, the same however many empty fields it has."""
    full = sorted((name, cell) for name, cell in cells.items() if cell)
    return hashlib.sha256(repr(full).encode()).hexdigest()[:16]
