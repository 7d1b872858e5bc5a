"""Words and numbers as people read them: every sentence comes from reports/words/.

A word is found by its key, such as ``pairs.caption``; slots in braces are filled in.
Numbers carry a true minus sign, their unit after a no-break space, and the decimals
that measures.csv gives them.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cache
from typing import Any

from pipeline.bundled import folder
from pipeline.reference import load

MINUS = "−"
NO_BREAK_SPACE = "\u00a0"
NOT_HELD = "–"
"""Printed where a figure is missing; the legend of each table says so."""


@dataclass(frozen=True)
class Measure:
    """One row of measures.csv, typed.

    Attributes:
        name: column name, such as ``entry_3d_mm``.
        place: implants or pairs.
        unit: mm or deg.
        is_signed: the sign means a direction.
        is_primary: a verdict is given for it.
        digits: decimals printed.
        short_label: a few words for axes.
        label: a heading.
        sentence: one clause of definition.
    """

    name: str
    place: str
    unit: str
    is_signed: bool
    is_primary: bool
    digits: int
    short_label: str
    label: str
    sentence: str


@cache
def measures() -> dict[str, Measure]:
    """Return the measures by name, in the order of measures.csv."""
    return {
        row["measure"]: Measure(
            name=row["measure"],
            place=row["place"],
            unit=row["unit"],
            is_signed=row["kind"] == "signed",
            is_primary=row["is_primary"] == "yes",
            digits=int(row["digits"]),
            short_label=row["short_label"],
            label=row["label"],
            sentence=row["sentence"],
        )
        for row in load.rows("measures")
    }


@cache
def _book(language: str) -> Mapping[str, Any]:
    path = folder("reports") / "words" / f"{language}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


@dataclass(frozen=True)
class Words:
    """The words of one language.

    Args:
        language: name of a file in reports/words/.
    """

    language: str = "en"
    used: set[str] = field(default_factory=set, compare=False, repr=False)

    def _found(self, key: str) -> Any:
        found: Any = _book(self.language)
        for part in key.split("."):
            found = found.get(part) if isinstance(found, Mapping) else None
        return found

    def has(self, key: str) -> bool:
        """Say whether the key names a word."""
        return isinstance(self._found(key), str)

    def __call__(self, key: str, /, **slots: object) -> str:
        """Return the word of that key with its slots filled.

        Raises:
            KeyError: there is no such word, or a slot is not filled.
        """
        found = self._found(key)
        if not isinstance(found, str):
            raise KeyError(key)
        self.used.add(key)
        return found.format(**slots)

    def listed(self, key: str) -> list[str]:
        """Return a list of sentences.

        Raises:
            KeyError: the key names no list.
        """
        found = self._found(key)
        if not isinstance(found, list):
            raise KeyError(key)
        self.used.add(key)
        return [str(item) for item in found]

    def table(self, key: str) -> dict[str, str]:
        """Return all words below a key, by the rest of their keys."""
        found = self._found(key)
        if not isinstance(found, Mapping):
            raise KeyError(key)
        self.used.add(key)
        return {name: str(word) for name, word in found.items()}

    def code(self, group: str, code: object) -> str:
        """Return the word for a code, or the code itself in readable form."""
        text = "" if code is None else str(code)
        if self.has(f"{group}.{text}"):
            return self(f"{group}.{text}")
        return text.replace("_", " ")

    def count(self, noun: str, n: int) -> str:
        """Return a number with its noun in the right form, such as 1 case, 12 cases."""
        form = "one" if n == 1 else "many"
        return f"{whole(n)}{NO_BREAK_SPACE}{self(f'count.{noun}.{form}')}"

    def named(self, noun: str, source: str) -> str:
        """Return a noun with how it was measured behind it, where that needs saying."""
        return self("number.of_source", noun=noun, source=source) if source else noun

    def counted(self, noun: str, n: int, source: str) -> str:
        """Return a number with its noun, and how they were measured if said."""
        return self.named(self.count(noun, n), source)

    def n_of(self, n: int, total: int) -> str:
        """Return ``n of N``."""
        return self("number.n_of", n=whole(n), total=whole(total))

    def sources(self, text: object) -> str:
        """Return basis and source in words, whatever joins the codes in the table."""
        known = self.table("source")
        parts = [
            known.get(part, part.replace("_", " "))
            for part in re.split(r"[^A-Za-z_]+|_and_", str(text or ""))
            if part
        ]
        return ", ".join(dict.fromkeys(part for part in parts if part))

    def value(self, measure: str, amount: float | None) -> str:
        """Return a figure with its unit, or a dash when it is not held."""
        known = measures()[measure]
        text = number(amount, known.digits, is_signed=known.is_signed)
        return text if amount is None else text + self.unit(known.unit)

    def size(self, measure: str, amount: float) -> str:
        """Return a size in the unit of a measure, never with a sign."""
        known = measures()[measure]
        return number(abs(amount), known.digits) + self.unit(known.unit)

    def unit(self, unit: str) -> str:
        """Return a unit as it stands behind a number."""
        return self(f"unit.{unit}") if unit else ""

    def interval(self, measure: str, low: float | None, high: float | None) -> str:
        """Return ``low to high`` with the unit, or a dash."""
        if low is None or high is None:
            return NOT_HELD
        known = measures()[measure]
        ends = [
            number(end, known.digits, is_signed=known.is_signed) for end in (low, high)
        ]
        return self("number.interval", low=ends[0], high=ends[1]) + self.unit(
            known.unit
        )

    def percent_interval(self, low: float | None, high: float | None) -> str:
        """Return two shares as ``low to high %``, or a dash."""
        if low is None or high is None:
            return NOT_HELD
        return self("number.interval", low=number(100 * low, 0), high=percent(high))

    def day(self, day: date | datetime | None) -> str:
        """Return a day as ``3 Mar 2026``."""
        if day is None:
            return NOT_HELD
        month = self.listed("calendar.months")[day.month - 1]
        return f"{day.day}{NO_BREAK_SPACE}{month}{NO_BREAK_SPACE}{day.year}"

    def moment(self, moment: datetime) -> str:
        """Return day and time of a moment."""
        return f"{self.day(moment)}, {moment:%H:%M}"


def number(amount: float | None, digits: int = 1, *, is_signed: bool = False) -> str:
    """Return a number with a true minus sign, a plus where the sign means a direction.

    A figure that rounds to zero carries no sign.
    """
    if amount is None:
        return NOT_HELD
    rounded = round(float(amount), digits)
    sign = ""
    if rounded < 0:
        sign = MINUS
    elif rounded > 0 and is_signed:
        sign = "+"
    return f"{sign}{abs(rounded):,.{digits}f}".replace(",", NO_BREAK_SPACE)


def limit(amount: float, digits: int = 1) -> str:
    """Return a limit as people set it: 10, not 10.0."""
    is_whole = float(amount).is_integer()
    return number(amount, 0 if is_whole else max(digits, 1))


def whole(n: int) -> str:
    """Return a whole number with thousands set apart."""
    return number(n, 0)


def percent(share: float | None) -> str:
    """Return a share between 0 and 1 as a whole percentage."""
    if share is None:
        return NOT_HELD
    return f"{number(100 * share, 0)}{NO_BREAK_SPACE}%"


def code_in_groups(code: str) -> list[str]:
    """Split a code into groups of four, so that it can be read aloud."""
    return re.findall(r".{1,4}", code)


def median_of(values: Sequence[float]) -> float:
    """Return the middle value; the mean of the two middle ones for an even number."""
    ordered = sorted(values)
    half = len(ordered) // 2
    return (
        (ordered[half] + ordered[-half - 1]) / 2
        if len(ordered) % 2 == 0
        else ordered[half]
    )
