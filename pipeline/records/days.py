"""Days as people write them, and which order of day and month a column can have."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

ISO, DAY_FIRST, MONTH_FIRST = "iso", "d.m.y", "m/d/y"
ORDERS = (ISO, DAY_FIRST, MONTH_FIRST)

LAST_YEAR_OF_2000 = 68
"""Two-digit years up to here are 20xx, later ones 19xx, as POSIX strptime reads them."""

_MONTHS = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
_TIME = r"(?:[T ,]+(?:(?P<hour>\d{1,2})(?::\d{2}){1,2}(?:\.\d+)?\s*(?P<half>[ap]\.?m\.?)?)(?:Z|[+-]\d{2}:?\d{2})?)?"
_YEAR_FIRST = re.compile(
    rf"(\d{{4}})([-./])(\d{{1,2}})\2(\d{{1,2}}){_TIME}", re.IGNORECASE
)
_NUMBERS = re.compile(
    rf"(\d{{1,2}})([-./ ])(\d{{1,2}})\2(\d{{4}}|\d{{2}}){_TIME}", re.IGNORECASE
)
_WITHOUT_YEAR = re.compile(
    r"\d{1,2}[-. ](?P<month>[a-z]{3,9})|(?P<month2>[a-z]{3,9})[-. ]\d{1,2}",
    re.IGNORECASE,
)
_NAMED = re.compile(
    rf"(?:(?P<day>\d{{1,2}})[-. ]*(?P<month>[a-z]{{3,9}})|(?P<month2>[a-z]{{3,9}})[-. ]*(?P<day2>\d{{1,2}}))"
    rf"[-., ]+(?P<year>\d{{4}}|\d{{2}}){_TIME}",
    re.IGNORECASE,
)


def iso_day(text: str, order: str) -> str | None:
    """Return a day as ISO 8601, or None where the text is no day in this order.

    A day that begins with its year, or names its month, can be read in one way only
    and is understood in every order. A time of day is left out.

    >>> iso_day("3/4/2026 2:30 PM", "m/d/y"), iso_day("3.4.26", "d.m.y")
    ('2026-03-04', '2026-04-03')
    """
    tidy = text.replace("\u00a0", " ").strip()
    certain = _certain_day(tidy)
    if certain is not None:
        return certain.isoformat()
    found = _NUMBERS.fullmatch(tidy)
    if found is None or order == ISO or not _is_time(found):
        return None
    first, second, year = int(found[1]), int(found[3]), _year(found[4])
    day, month = (first, second) if order == DAY_FIRST else (second, first)
    found_day = _day(year, month, day)
    return None if found_day is None else found_day.isoformat()


def is_certain_day(text: str) -> bool:
    """Tell whether a text is a day that can be read in one way only."""
    return _certain_day(text.replace("\u00a0", " ").strip()) is not None


def is_day_like(text: str) -> bool:
    """Tell whether a text is what a spreadsheet makes of a number it takes for a date.

    >>> is_day_like("8-Jul"), is_day_like("2026-07-08"), is_day_like("12 deg")
    (True, True, False)
    """
    found = _WITHOUT_YEAR.fullmatch(text.strip())
    if found is None:
        return is_certain_day(text)
    return len(_months(found["month"] or found["month2"])) == 1


def _months(name: str) -> list[int]:
    """Return the months whose name begins so."""
    return [
        number
        for number, month in enumerate(_MONTHS, 1)
        if month.startswith(name.casefold())
    ]


def _certain_day(text: str) -> date | None:
    found = _YEAR_FIRST.fullmatch(text)
    if found is not None:
        if not _is_time(found):
            return None
        return _day(int(found[1]), int(found[3]), int(found[4]))
    found = _NAMED.fullmatch(text)
    if found is None or not _is_time(found):
        return None
    months = _months(found["month"] or found["month2"])
    if len(months) != 1:
        return None
    day = int(found["day"] or found["day2"])
    return _day(_year(found["year"]), months[0], day)


def _is_time(found: re.Match[str]) -> bool:
    """Tell whether the time of day, where there is one, can be."""
    if found["hour"] is None:
        return True
    hour = int(found["hour"])
    return 1 <= hour <= 12 if found["half"] else hour <= 24


def _year(text: str) -> int:
    year = int(text)
    if len(text) == 4:
        return year
    return year + (2000 if year <= LAST_YEAR_OF_2000 else 1900)


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


@dataclass(frozen=True, slots=True)
class DayEvidence:
    """How the cells of a column can be read as days.

    Attributes:
        certain: in one way only: the year stands first or the month is named.
        day_first: only with the day first, such as 31/12/2025.
        month_first: only with the month first.
        either: both ways, to two different days.
        same: both ways, to the same day.
        with_dots: of the last four, those written with points.
        neither: not as a day.
    """

    certain: int
    day_first: int
    month_first: int
    either: int
    same: int
    with_dots: int
    neither: int

    @property
    def count_days(self) -> int:
        """Cells that are a day in some order."""
        return (
            self.certain + self.day_first + self.month_first + self.either + self.same
        )

    @property
    def is_open(self) -> bool:
        """Whether the cells leave the order open, or contradict each other."""
        if self.day_first and self.month_first:
            return True
        return bool(self.either + self.same) and not self.day_first + self.month_first


def evidence_of_days(cells: Iterable[str]) -> DayEvidence:
    """Count how the cells of a column can be read; empty cells do not count."""
    counts: Counter[str] = Counter()
    for cell in cells:
        if not cell.strip():
            continue
        counts[_reading_of(cell)] += 1
        counts["dots"] += bool(re.match(r"\s*\d{1,2}\.\d{1,2}\.\d", cell))
    return DayEvidence(
        *(counts[kind] for kind in (ISO, DAY_FIRST, MONTH_FIRST, "either", "same", "dots", "")),
    )  # fmt: skip


def _reading_of(cell: str) -> str:
    if is_certain_day(cell):
        return ISO
    days = [iso_day(cell, order) for order in (DAY_FIRST, MONTH_FIRST)]
    if days[0] and days[1]:
        return "same" if days[0] == days[1] else "either"
    if days[0]:
        return DAY_FIRST
    return MONTH_FIRST if days[1] else ""
