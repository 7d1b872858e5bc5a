"""Turn the cells of a foreign column into what our field would hold.

A cell that cannot be read as the layout says is left as it is written, so that the
checks name it; where it would then be taken for something it is not, it is put in
quotation marks.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.records.days import is_day_like, iso_day
from pipeline.records.layout_model import Source, same_heading
from pipeline.records.numbers_written import (
    EITHER,
    POINT,
    Style,
    as_unread,
    looks_read,
    read_number,
)
from pipeline.records.site_notation import LETTERS, fdi_of, side_of_fdi, site_of_letter
from pipeline.records.units import units

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.reference.load import Field

OUR_UNITS = {"mm": "mm", "deg": "deg"}


@dataclass(frozen=True, slots=True)
class Read:
    """What became of one text.

    Attributes:
        text: what the field holds.
        half_width: of a range.
        unit: the unit that stood in the cell.
        is_unread: the text could not be read as the layout says.
        is_day: a day stands where a figure should.
    """

    text: str
    half_width: str = ""
    unit: str = ""
    is_unread: bool = False
    is_day: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class ReadColumn:
    """A column as our field holds it.

    Attributes:
        texts: shape (n,).
        half_widths: shape (n,), '' where no range was read; None where none was.
        units: unit found in a cell -> number of cells; empty unless some carry one.
        is_unread: shape (n,).
        is_day: shape (n,), a day where a figure should stand.
    """

    texts: NDArray[np.object_]
    half_widths: NDArray[np.object_] | None
    units: Counter[str]
    is_unread: NDArray[np.bool_]
    is_day: NDArray[np.bool_]


def read_column(cells: NDArray[np.object_], source: Source, field: Field) -> ReadColumn:
    """Read a column of cells for one field; each different text is looked at once."""
    reader = _reader(source, field)
    codes, different = pd.factorize(cells)
    known = [_read_one(text, source, reader) for text in different]

    counts = np.bincount(codes, minlength=len(known))
    units_seen: Counter[str] = Counter()
    for read, count in zip(known, counts.tolist(), strict=True):
        if read.unit:
            units_seen[read.unit] += count
    half_widths = None
    if any(read.half_width for read in known):
        half_widths = np.array([read.half_width for read in known], dtype=object)[codes]
    return ReadColumn(
        np.array([read.text for read in known], dtype=object)[codes],
        half_widths,
        units_seen,
        np.array([read.is_unread for read in known], dtype=bool)[codes],
        np.array([read.is_day for read in known], dtype=bool)[codes],
    )


def with_decimals(
    cells: NDArray[np.object_], decimals: NDArray[np.object_], sign: str
) -> NDArray[np.object_]:
    """Put together numbers that were cut in two columns at their decimal comma."""
    sign = POINT if sign == EITHER else sign
    return np.array(
        [
            f"{whole.strip()}{sign}{rest.strip()}"
            if re.fullmatch(r"\s*[+\-−]?\d+\s*", whole) and re.fullmatch(r"\s*\d+\s*", rest)
            else (f"{whole} {rest}".strip() if rest.strip() else whole)
            for whole, rest in zip(cells, decimals, strict=True)
        ],
        dtype=object,
    )  # fmt: skip


def _read_one(text: str, source: Source, reader: Callable[[str], Read]) -> Read:
    if not text.strip():
        return Read("")
    if source.pattern is not None:
        found = source.pattern.fullmatch(text.strip())
        if found is None:
            return _unread(text)
        text = found[1] or ""
        if not text:
            return Read("")
    return reader(text)


def _unread(text: str) -> Read:
    return Read(as_unread(text) if looks_read(text) else text, is_unread=True)


def _reader(source: Source, field: Field) -> Callable[[str], Read]:
    if field.kind in {"number", "whole"}:
        return _number_reader(source, field)
    if field.kind == "date":
        return lambda text: _day(text, source)
    if source.notation:
        return lambda text: _place(text, source, field)
    if source.words:
        return lambda text: _word(text, source)
    return Read


def _number_reader(source: Source, field: Field) -> Callable[[str], Read]:
    unit = source.unit or OUR_UNITS.get(field.unit, "")
    style = Style(
        source.decimal_sign,
        source.thousands_sign,
        units().get(unit),
        source.is_reversed,
        source.is_range_read,
    )

    def read(text: str) -> Read:
        found = read_number(text, style)
        if found is not None:
            return Read(found.text, found.half_width, found.unit)
        if is_day_like(text):
            return Read(text, is_unread=True, is_day=True)
        return _unread(text)

    return read


def _day(text: str, source: Source) -> Read:
    day = iso_day(text, source.date_order)
    return Read(text, is_unread=True) if day is None else Read(day)


def _word(text: str, source: Source) -> Read:
    words = source.words or {}
    return Read(words.get(same_heading(text), text))


def _place(text: str, source: Source, field: Field) -> Read:
    """Read a place in the jaw; a side or site may be given by a tooth number."""
    said = (source.words or {}).get(same_heading(text))
    if said is not None:
        return Read(said)
    if source.notation == LETTERS:
        site = site_of_letter(text, source.first_letter)
        fits = site is not None and site in field.codes
        return Read(site or "") if fits else Read(as_unread(text), is_unread=True)
    fdi = fdi_of(text, source.notation)
    if fdi is None:
        return Read(as_unread(text), is_unread=True)
    return Read(fdi if field.field == "tooth" else side_of_fdi(fdi))
