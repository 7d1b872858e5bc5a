"""Axis conventions by three letters, one a column: the way its numbers grow.

L and R are the patient's left and right, P and A back and front, S and I up and down.
Ours is LPS, the patient axes of DICOM: x to the left, y backward, z up.
"""

from __future__ import annotations

from dataclasses import dataclass

OURS = "LPS"
_PAIRS = ("LR", "PA", "SI")


@dataclass(frozen=True, slots=True)
class Axis:
    """Where one of our coordinates comes from.

    Attributes:
        place: 0, 1 or 2: the column of theirs that holds it.
        is_reversed: its sign is the other way round.
    """

    place: int
    is_reversed: bool


def axes_named(letters: str) -> tuple[Axis, Axis, Axis] | None:
    """Return where our x, y and z come from; None where the letters are no convention.

    >>> [(axis.place, axis.is_reversed) for axis in axes_named("RAS")]
    [(0, True), (1, True), (2, False)]
    """
    upper = letters.upper()
    if len(upper) != 3:
        return None
    found = []
    for pair in _PAIRS:
        places = [place for place, letter in enumerate(upper) if letter in pair]
        if len(places) != 1:
            return None
        found.append(Axis(places[0], upper[places[0]] == pair[1]))
    return found[0], found[1], found[2]


def is_right_handed(letters: str) -> bool:
    """Tell whether a convention keeps a right hand a right hand.

    >>> is_right_handed("RAS"), is_right_handed("LAS")
    (True, False)
    """
    axes = axes_named(letters)
    if axes is None:
        return False
    order = [axis.place for axis in axes]
    swaps = sum(order[i] > order[j] for i in range(3) for j in range(i + 1, 3))
    turned = sum(axis.is_reversed for axis in axes)
    return (swaps + turned) % 2 == 0
