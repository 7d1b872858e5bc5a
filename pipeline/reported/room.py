"""How much the first printed side has room for, so that it stays one side.

Heights are those of the A4 print in pixels (96 to the inch), measured in a browser with
a wide font; a narrower font leaves some room free. What does not fit is counted in a
line and stands in full under "more".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SIDE = 1020
HEADINGS = 215
"""Header, completeness and the space between sections."""
PLOTS = 322
CRITERIA_HEAD = 66
CRITERION = 32
CRITERION_WRAPPED = 43
DISCUSS_HEAD = 80
DISCUSS_LINE = 19
HARM_HEAD = 74
HARM_LINE = 17

MOST_HARM = 12
MOST_CRITERIA = 6
FEWEST_CRITERIA = 3
FEWEST_LINES = 3
WRAPS_AT = 52
"""Letters of a criterion after which it takes a second line."""
LINE_LETTERS = 92
"""Letters of one line of a case for discussion."""


@dataclass(frozen=True)
class Room:
    """What fits the first side.

    Attributes:
        harm: entries of the box for the treating clinician.
        criteria: lines of the criteria table.
        discuss: lines of cases for discussion.
    """

    harm: int
    criteria: int
    discuss: int


def first_side(
    *, harm_by_kind: Sequence[int], criteria: Sequence[str], has_plots: bool
) -> Room:
    """Share out the first side: harm first, then criteria, then cases for discussion.

    Args:
        harm_by_kind: entries of each kind of harm.
        criteria: names of the criteria, in their order.
        has_plots: the pair plots are drawn.
    """
    left = SIDE - HEADINGS - CRITERIA_HEAD - DISCUSS_HEAD - (PLOTS if has_plots else 0)
    if harm_by_kind:
        lines = sum(-(-count // 2) for count in harm_by_kind)
        left -= HARM_HEAD + HARM_LINE * min(lines, MOST_HARM // 2 + len(harm_by_kind))
    kept = FEWEST_LINES * DISCUSS_LINE
    count = 0
    for name in criteria[:MOST_CRITERIA]:
        height = CRITERION_WRAPPED if len(name) > WRAPS_AT else CRITERION
        if count >= FEWEST_CRITERIA and left - height < kept:
            break
        left -= height
        count += 1
    return Room(MOST_HARM, count, max(FEWEST_LINES, left // DISCUSS_LINE))


def lines_of(letters: int) -> int:
    """Return how many lines a text of that many letters takes in the list of cases."""
    return max(1, -(-letters // LINE_LETTERS))
