"""Which way coordinates grow, told from where two implants of a lower jaw lie.

The left implant lies to the left of the right one, and the tip below the head. That
gives two of the three directions; the third follows when the axes are right-handed,
which a mirror image is not, so that a person has to confirm all but our own convention.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from pipeline.records.axes import OURS, is_right_handed
from pipeline.records.evidence import Guess

if TYPE_CHECKING:
    from numpy.typing import NDArray

CHOICES = ("LPS", "RAS")

DIRECTIONS = {
    "left": "L",
    "right": "R",
    "back": "P",
    "backward": "P",
    "posterior": "P",
    "forward": "A",
    "front": "A",
    "anterior": "A",
    "labial": "A",
    "facial": "A",
    "up": "S",
    "upward": "S",
    "superior": "S",
    "height": "S",
    "down": "I",
    "downward": "I",
    "inferior": "I",
}


def letters_of_words(words: Sequence[str]) -> str:
    """Return the convention that the names of three columns state; '' for none.

    >>> letters_of_words(["forward", "up", "left"])
    'ASL'
    """
    letters = "".join(DIRECTIONS.get(word, "") for word in words)
    axes = {letter: axis for axis, pair in enumerate(("LR", "PA", "SI")) for letter in pair}  # fmt: skip
    return letters if len({axes[letter] for letter in letters}) == 3 else ""


def axes_of(
    what: str,
    entry: NDArray[np.float64],
    apex: NDArray[np.float64] | None,
    cases: Sequence[str],
    sides: Sequence[str],
) -> Guess:
    """Guess the axis convention of points.

    Args:
        what: planned or achieved, for the sentence.
        entry: shape (n, 3), the heads as the columns stand; NaN where not known.
        apex: shape (n, 3), the tips.
        cases: the case of each row.
        sides: left, right or '' for each row.
    """
    ask = f"which way do the {what} coordinates grow (LPS, RAS or other letters)?"
    if apex is None:
        return Guess(
            "",
            "without the tips up and down cannot be told",
            ask,
            CHOICES,
            is_free=True,
        )
    along = (entry - apex)[np.isfinite(entry - apex).all(axis=1)]
    across, count = _across(entry, cases, sides)
    if not count or not len(along):
        return Guess(
            "", "no case has a left and a right implant", ask, CHOICES, is_free=True
        )
    z = int(np.argmax(np.median(np.abs(along), axis=0)))
    spread = np.median(np.abs(across), axis=0)
    spread[z] = -1
    x = int(np.argmax(spread))
    count_left = int((across[:, x] > 0).sum())
    up = "S" if float(np.median(along[:, z])) > 0 else "I"
    told = (
        f"the left implant has the larger figure in column {x + 1} in {count_left} of "
        f"{count} cases, the head the {'larger' if up == 'S' else 'smaller'} one in "
        f"column {z + 1}"
    )
    if 0 < count_left < count:
        return Guess("", f"{told}: sides may be exchanged", ask, CHOICES, is_free=True)
    letters = _letters(x, z, "L" if count_left else "R", up)
    if letters == OURS:
        return Guess(letters, told)
    ask = f"do the {what} coordinates grow as {letters}? {told}"
    choices = tuple(dict.fromkeys([letters, *CHOICES]))
    return Guess(letters, told, ask, choices, is_free=True)


def _across(
    entry: NDArray[np.float64], cases: Sequence[str], sides: Sequence[str]
) -> tuple[NDArray[np.float64], int]:
    """Return left minus right of every case that has both, shape (m, 3)."""
    names, places = np.unique(np.asarray(cases, dtype=str), return_inverse=True)
    which = np.asarray(sides, dtype=str)
    middles = []
    for side in ("left", "right"):
        chosen = (which == side) & np.isfinite(entry).all(axis=1)
        sums = np.zeros((len(names), 3))
        np.add.at(sums, places[chosen], entry[chosen])
        counts = np.bincount(places[chosen], minlength=len(names))
        with np.errstate(invalid="ignore", divide="ignore"):
            middles.append(sums / counts[:, None])
    across = middles[0] - middles[1]
    across = across[np.isfinite(across).all(axis=1)]
    return across, len(across)


def _letters(x: int, z: int, left: str, up: str) -> str:
    """Return the right-handed convention with these two directions."""
    found = ["", "", ""]
    found[x], found[z] = left, up
    y = 3 - x - z
    for letter in "PA":
        found[y] = letter
        if is_right_handed("".join(found)):
            break
    return "".join(found)
