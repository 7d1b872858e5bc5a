"""Csv files a person writes beside an audit: , or ; between cells, as spreadsheets save them."""

from __future__ import annotations

import csv


def reader_of(text: str) -> csv.DictReader[str]:
    """Return a reader of the rows by their headings.

    Args:
        text: the whole file; its first line says what stands between the cells.
    """
    first = text.partition("\n")[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
    return csv.DictReader(text.splitlines(), delimiter=delimiter)
