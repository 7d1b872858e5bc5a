"""Row numbers and places, put in words short enough for one line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

SHOWN = 5


def listed(numbers: Iterable[int]) -> str:
    """Return numbers in order, neighbours joined, cut after a handful.

    >>> listed([5, 8, 9, 10, 30])
    '5, 8-10, 30'
    """
    runs: list[list[int]] = []
    ordered = sorted(numbers)
    for number in ordered:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    shown = [f"{low}" if low == high else f"{low}-{high}" for low, high in runs[:SHOWN]]
    rest = sum(high - low + 1 for low, high in runs[SHOWN:])
    return ", ".join(shown) + (f" and {rest} more" if rest else "")


def rows_named(numbers: Iterable[int]) -> str:
    """Return 'row 5' or 'rows 5, 8-10'."""
    known = list(numbers)
    return f"{'row' if len(known) == 1 else 'rows'} {listed(known)}"


def places_named(places: Sequence[str]) -> str:
    """Return places such as cell addresses, cut after a handful."""
    rest = len(places) - SHOWN
    return ", ".join(places[:SHOWN]) + (f" and {rest} more" if rest > 0 else "")


def counted(count: int, one: str, many: str = "") -> str:
    """Return '1 cell' or '3 cells'."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def column_letters(number: int) -> str:
    """Return the letters a spreadsheet shows above a column, A = 1.

    >>> column_letters(28)
    'AB'
    """
    letters = ""
    while number > 0:
        number, place = divmod(number - 1, 26)
        letters = chr(ord("A") + place) + letters
    return letters
