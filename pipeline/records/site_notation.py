"""Places in the jaw as different people write them.

FDI (ISO 3950): quadrant and tooth, 33 and 43 for the lower canines. Universal: 1 to 32
round both jaws from the upper right, 22 and 27 for the same two. Quadrant: LL3 and LR3.
Letters: A to E for the five places between the foramina, from one end to the other.
"""

from __future__ import annotations

import re
from functools import cache

from pipeline.reference import load

FDI, UNIVERSAL, QUADRANT, LETTERS = "fdi", "universal", "quadrant", "letters"
NOTATIONS = (FDI, UNIVERSAL, QUADRANT, LETTERS)
ENDS = ("right", "left")

FROM_THE_RIGHT = ("right_distal", "right", "middle", "left", "left_distal")
"""The five places between the foramina, from the patient's right to the left."""

_QUADRANTS = {"ur": "1", "ul": "2", "ll": "3", "lr": "4"}
_FDI = re.compile(r"(?:#|fdi)?\s*([1-4])[.]?([1-8])")
_UNIVERSAL = re.compile(r"(?:#|no\.?)?\s*(\d{1,2})")
_QUADRANT = re.compile(r"([ul][lr])\s*-?\s*([1-8])")
_LETTER = re.compile(r"([a-e])")


@cache
def _fdi_by_universal() -> dict[str, str]:
    return {row["universal"]: row["fdi"] for row in load.rows("tooth_numbers")}


def fdi_of(text: str, notation: str) -> str | None:
    """Return a tooth position in FDI numbers, or None where it is none.

    >>> fdi_of("#22", "universal"), fdi_of("LR 2", "quadrant"), fdi_of("4.3", "fdi")
    ('33', '42', '43')
    >>> fdi_of("33", "universal") is None
    True
    """
    tidy = text.strip().casefold()
    if notation == FDI:
        found = _FDI.fullmatch(tidy)
        return found[1] + found[2] if found else None
    if notation == UNIVERSAL:
        found = _UNIVERSAL.fullmatch(tidy)
        return _fdi_by_universal().get(str(int(found[1]))) if found else None
    found = _QUADRANT.fullmatch(tidy)
    return _QUADRANTS[found[1]] + found[2] if found else None


def site_of_letter(text: str, first_letter: str) -> str | None:
    """Return the place a letter stands for.

    Args:
        text: A to E.
        first_letter: the end of the jaw where A stands, the patient's right or left.

    >>> site_of_letter("b", "right"), site_of_letter("B", "left")
    ('right', 'left')
    """
    found = _LETTER.fullmatch(text.strip().casefold())
    if found is None:
        return None
    places = FROM_THE_RIGHT if first_letter == "right" else FROM_THE_RIGHT[::-1]
    return places["abcde".index(found[1])]


def side_of_fdi(fdi: str) -> str:
    """Return the patient's own side of an FDI position."""
    return "left" if fdi[0] in "23" else "right"


def is_lower(fdi: str) -> bool:
    """Tell whether an FDI position lies in the lower jaw."""
    return fdi[0] in "34"
