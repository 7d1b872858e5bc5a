"""Figures as people write them: decimal comma, thousands, fractions, units, ranges.

A figure is either understood whole or not at all; ``<1`` and ``about 3`` are not
figures, and stay as they are for the checks to name.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from pipeline.records.units import Unit, in_ours, unit_written

POINT, COMMA, EITHER = ".", ",", "either"
DECIMAL_SIGNS = (POINT, COMMA, EITHER)
THOUSANDS_SIGNS = ("", ".", ",", "'", " ")

_TIDY = {0x2212: "-", 0xA0: " ", 0x202F: " ", 0x2009: " ", 0x2019: "'"}
_FRACTION_SIGNS = {
    "½": (1, 2),
    "⅓": (1, 3),
    "⅔": (2, 3),
    "¼": (1, 4),
    "¾": (3, 4),
    "⅛": (1, 8),
    "⅜": (3, 8),
    "⅝": (5, 8),
    "⅞": (7, 8),
}
_FRACTION = re.compile(
    rf"(?P<sign>[+-]?)(?P<whole>\d+)?\s*"
    rf"(?:(?P<mark>[{''.join(_FRACTION_SIGNS)}])|(?<![\d])(?P<above>\d{{1,2}})/(?P<below>2|3|4|8|16))"
)
_SPLIT_UNIT = re.compile(
    r"(?P<figure>.*?[\d.½⅓⅔¼¾⅛⅜⅝⅞])\s*(?P<unit>[^\d\s.,;:/\-][^\d]*)?"
)
_RANGE = re.compile(r"(?P<low>[^\-–—]+?)\s*(?:-|–|—|\.\.|\bto\b)\s*(?P<high>[^\-–—]+)")


@dataclass(frozen=True, slots=True)
class Style:
    """How the figures of a column are written.

    Attributes:
        decimal_sign: '.', ',' or 'either' (whichever stands in the cell).
        thousands_sign: what stands between groups of three digits; '' for nothing.
        unit: the unit of figures that carry none; None where there is no unit.
        is_reversed: the sign means the opposite of ours.
        is_range_read: ``7-8`` stands for its middle.
    """

    decimal_sign: str = POINT
    thousands_sign: str = ""
    unit: Unit | None = None
    is_reversed: bool = False
    is_range_read: bool = False


@dataclass(frozen=True, slots=True)
class Written:
    """A figure that was understood.

    Attributes:
        text: the figure in our unit and sign, with a decimal point.
        half_width: of a range, in our unit; '' otherwise.
        unit: name of the unit that stood in the cell; '' for none.
    """

    text: str
    half_width: str = ""
    unit: str = ""


def read_number(text: str, style: Style) -> Written | None:
    """Read one cell; None where it is no figure in this style.

    >>> read_number("3,2", Style(",")).text, read_number("7 1/2", Style()).text
    ('3.2', '7.5')
    >>> read_number("3.2", Style(",")) is None
    True
    """
    tidy = text.translate(_TIDY).strip()
    if not tidy:
        return None
    one = _one(tidy, style)
    if one is None:
        return _range(tidy, style) if style.is_range_read else None
    figure, unit = one
    return Written(_in_words(figure, unit, style), unit=unit.name if unit else "")


def looks_read(text: str) -> bool:
    """Tell whether a text would be taken for a figure with a decimal point as it is."""
    return bool(
        re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", text.strip(), re.IGNORECASE)
    )


def as_unread(text: str) -> str:
    """Return a cell so that nothing later takes it for a figure: in quotation marks."""
    return f'"{text.strip()}"'


def _one(text: str, style: Style) -> tuple[Decimal, Unit | None] | None:
    """Return a single figure as written and the unit in its cell."""
    figure = _figure(text, style)
    if figure is not None:
        return figure, None
    parts = _SPLIT_UNIT.fullmatch(text)
    if parts is None or not parts["unit"]:
        return None
    unit = unit_written(parts["unit"])
    if unit is None or style.unit is None or unit.family != style.unit.family:
        return None
    figure = _figure(parts["figure"], style)
    return None if figure is None else (figure, unit)


def _figure(text: str, style: Style) -> Decimal | None:
    if _plain(style.decimal_sign, style.thousands_sign).fullmatch(text):
        if style.thousands_sign:
            text = text.replace(style.thousands_sign, "")
        return Decimal(text.replace(",", "."))
    return _fraction(text)


@cache
def _plain(decimal_sign: str, thousands_sign: str) -> re.Pattern[str]:
    point = "[.,]" if decimal_sign == EITHER else re.escape(decimal_sign)
    whole = r"\d+"
    if thousands_sign:
        whole = rf"(?:\d{{1,3}}(?:{re.escape(thousands_sign)}\d{{3}})+|\d+)"
    exponent = "" if decimal_sign == COMMA else r"(?:[eE][+-]?\d{1,3})?"
    return re.compile(rf"[+-]?(?:{whole}(?:{point}\d*)?|{point}\d+){exponent}")


def _fraction(text: str) -> Decimal | None:
    found = _FRACTION.fullmatch(text)
    if found is None:
        return None
    if found["mark"]:
        above, below = _FRACTION_SIGNS[found["mark"]]
    else:
        above, below = int(found["above"]), int(found["below"])
    if above >= below:
        return None
    value = Decimal(found["whole"] or 0) + Decimal(above) / Decimal(below)
    return -value if found["sign"] == "-" else value


def _range(text: str, style: Style) -> Written | None:
    ends = _RANGE.fullmatch(text)
    if ends is None:
        return None
    low, high = (_one(ends[end].strip(), style) for end in ("low", "high"))
    if low is None or high is None:
        return None
    unit = high[1] or low[1]
    if low[1] not in {None, unit} or not 0 <= low[0] < high[0]:
        return None
    return Written(
        _in_words((low[0] + high[0]) / 2, unit, style),
        _in_words((high[0] - low[0]) / 2, unit, Style(unit=style.unit)),
        unit.name if unit else "",
    )


def _in_words(figure: Decimal, unit: Unit | None, style: Style) -> str:
    meant = unit or style.unit
    if meant is not None and not meant.is_ours:
        figure = in_ours(figure, meant)
    if style.is_reversed and figure:
        figure = -figure
    return format(figure, "f")
