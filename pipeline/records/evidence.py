"""What the cells of a foreign sheet say of how they are written.

Each function returns a guess with its reason; where two readings fit, the guess is
empty or marked for a person to confirm, and the reason says why.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pipeline.records.days import (
    DAY_FIRST,
    ISO,
    MONTH_FIRST,
    evidence_of_days,
)
from pipeline.records.layout_model import same_heading
from pipeline.records.numbers_written import COMMA, EITHER, POINT
from pipeline.records.phrases import counted
from pipeline.records.site_notation import (
    FDI,
    LETTERS,
    QUADRANT,
    UNIVERSAL,
    fdi_of,
    is_lower,
    side_of_fdi,
)
from pipeline.records.units import unit_written
from pipeline.reference import load


@dataclass(frozen=True, slots=True)
class Guess:
    """How something is written, as far as the cells tell.

    Attributes:
        value: the guess; '' where the cells leave it open.
        reason: why, in a sentence without cells.
        ask: what a person must confirm; '' where only one reading fits.
        choices: the readings there are.
        is_free: other readings than these are possible.
    """

    value: str
    reason: str
    ask: str = ""
    choices: tuple[str, ...] = ()
    is_free: bool = False


_COMMA = re.compile(r"^[\s<>~+\-−]*\d+,\d+\D*$")
_POINT = re.compile(r"^[\s<>~+\-−]*\d+\.\d+\D*$")
_THREE_AFTER = re.compile(r"^[\s+\-−]*\d{1,3}[.,]\d{3}\D*$")
_BOTH = re.compile(r"^[\s+\-−]*\d{1,3}(?P<first>[.,' ])\d{3}(?P<second>[.,])\d+\D*$")


def given(cells: Iterable[str]) -> list[str]:
    """Return the cells that hold anything."""
    return [cell.strip() for cell in cells if cell.strip()]


def signs_of(columns: Sequence[Sequence[str]]) -> tuple[Guess, str]:
    """Return the decimal sign of columns of figures, and their thousands sign."""
    cells = [cell for column in columns for cell in given(column)]
    both = [found for found in map(_BOTH.match, cells) if found]
    if both:
        seconds = Counter(found["second"] for found in both)
        firsts = Counter(found["first"] for found in both)
        sign, thousands = seconds.most_common(1)[0][0], firsts.most_common(1)[0][0]
        if len(seconds) == 1 and sign != thousands:
            reason = (
                f"{counted(len(both), 'figure')} with {thousands!r} between thousands "
                f"and {sign!r} before decimals"
            )
            return Guess(sign, reason), thousands
    commas = [cell for cell in cells if _COMMA.match(cell)]
    points = [cell for cell in cells if _POINT.match(cell)]
    words = f"{len(commas)} figures with a comma, {len(points)} with a point"
    if not commas:
        return Guess(POINT, words), ""
    if points:
        ask = "some figures have a decimal comma, some a decimal point; are both decimals?"
        return Guess(EITHER, words, ask, (EITHER, COMMA, POINT)), ""
    if all(_THREE_AFTER.match(cell) for cell in commas):
        ask = (
            "every comma is followed by three digits: is it the decimal sign, or does it "
            "part the thousands?"
        )
        return Guess("", words, ask, (COMMA, POINT)), ""
    return Guess(COMMA, words), ""


def day_order_of(heading: str, cells: Sequence[str]) -> Guess:
    """Return the order of day, month and year in a column."""
    seen = evidence_of_days(cells)
    open_ways = seen.either + seen.same
    choices = (DAY_FIRST, MONTH_FIRST)
    if seen.day_first and seen.month_first:
        return Guess(
            "",
            f"{seen.day_first} days fit only day first, {seen.month_first} only month first",
            f"both orders occur in {heading!r}; which one is meant where either fits?",
            choices,
        )
    if seen.day_first or seen.month_first:
        value = DAY_FIRST if seen.day_first else MONTH_FIRST
        sure = seen.day_first or seen.month_first
        return Guess(value, f"{counted(sure, 'day')} can be read in this order only")
    if not open_ways:
        return Guess(ISO, f"all {seen.certain} begin with the year or name the month")
    ask = (
        f"day/month or month/day in {heading!r}? {open_ways} days can be read both ways"
    )
    is_dotted = seen.with_dots == open_ways
    return Guess(
        DAY_FIRST if is_dotted else "",
        "days with points are mostly written day first"
        if is_dotted
        else "no day has a number over 12",
        ask,
        choices,
    )  # fmt: skip


def place_of(heading: str, cells: Sequence[str]) -> tuple[str, Guess]:
    """Return which field a place column fills, and how its places are written.

    Returns:
        tooth, side or site, and the notation; '' as notation where it is ours.
    """
    different = {same_heading(cell) for cell in given(cells)}
    sides = {word for row in load.rows("clinic_words") if row["field"] == "side"
             for word in [row["ours"], *row["words"].split("|")]}  # fmt: skip
    if different and different <= sides:
        return "side", Guess("", "words for left and right")
    if different and all(re.fullmatch(r"[a-e]", one) for one in different):
        return "side", Guess(
            LETTERS,
            "letters A to E",
            f"at which end of the jaw does A stand in {heading!r}: the patient's right "
            "(common practice) or left?",
            ("right", "left"),
        )
    if different and all(fdi_of(one, QUADRANT) for one in different):
        return "tooth", Guess(QUADRANT, "quadrant and tooth, such as LL3")
    return "tooth", number_notation(heading, different)


def number_notation(where: str, numbers: Iterable[str]) -> Guess:
    """Tell FDI from Universal numbers, where that can be told."""
    known = set(numbers)
    fdi = {one: fdi_of(one, FDI) for one in known}
    universal = {one: fdi_of(one, UNIVERSAL) for one in known}
    count_fdi = sum(map(bool, fdi.values()))
    count_universal = sum(map(bool, universal.values()))
    choices = (FDI, UNIVERSAL)
    if not count_fdi and not count_universal:
        return Guess(
            "", "no tooth numbers", f"what do the places in {where!r} mean?", choices
        )
    if count_fdi > count_universal:
        return Guess(FDI, "numbers over 32 exist in FDI only")
    as_universal = sorted(one for one in universal.values() if one)
    as_fdi = sorted(one for one in fdi.values() if one)
    is_pair = len({side_of_fdi(one) for one in as_universal}) == 2
    is_upper = not any(map(is_lower, as_fdi))
    shown = "/".join(sorted(known)[:4])
    if is_pair and is_upper and all(map(is_lower, as_universal)):
        return Guess(
            UNIVERSAL,
            f"as FDI {shown} would lie in the upper jaw",
            f"{shown} in {where!r} read as Universal numbers = "
            f"{'/'.join(as_universal[:4])} in FDI?",
            choices,
        )
    return Guess(
        "",
        "both notations have these numbers",
        f"FDI or Universal numbers in {where!r}? {shown} exist in both",
        choices,
    )


def units_in_cells(cells: Iterable[str]) -> Counter[str]:
    """Count the units that stand in the cells of a column; '' for none."""
    found: Counter[str] = Counter()
    for cell in given(cells):
        tail = re.fullmatch(r"[\s+\-−\d.,½¼¾/]*\d\s*([^\d\s][^\d]*)", cell)
        unit = unit_written(tail[1]) if tail else None
        found[unit.name if unit else ""] += 1
    return found


def unit_of_lengths(size: float, usual: tuple[float, float], what: str) -> Guess:
    """Guess the unit of lengths from how large they are.

    Args:
        size: a middle value of the column.
        usual: between which millimetres such a value lies.
        what: what was measured, for the sentence.
    """
    choices = ("mm", "cm", "µm", "inch")
    low, high = usual
    if low <= size <= high:
        return Guess("mm", f"{what} of {size:.3g} is usual in millimetres")
    factors = {"cm": 10.0, "µm": 0.001, "inch": 25.4}
    fits = [unit for unit, factor in factors.items() if low <= size * factor <= high]
    ask = f"{what} is {size:.3g}: in which unit are the lengths?"
    if len(fits) == 1:
        return Guess(fits[0], f"{what} of {size:.3g} is not in mm", ask, choices)
    return Guess("", f"{what} of {size:.3g} fits no unit alone", ask, choices)
