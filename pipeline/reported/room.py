"""How much the two printed sides have room for, so that they stay two.

Heights are those of the A4 print in pixels (96 to the inch), measured in a browser with
a wide font; a narrower font leaves some room free. What does not fit is counted in a
line and stands in full under "more".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

SIDE = 1024
HEADINGS = 218
"""Header, completeness and the space between sections of the first side."""
PLOTS = 248
PLOT_LINE = 12
HEADER_LINE = 16
CRITERIA_HEAD = 58
DISCUSS_HEAD = 68
DISCUSS_LINE = 18
HARM_HEAD = 72
HARM_LINE = 16

MOST_HARM = 6
"""Lines of the box for the treating clinician on the first side."""
MOST_CRITERIA = 6
FEWEST_LINES = 2

HARM_LETTERS = 38
"""Letters of an entry of harm of which two fit a line."""
CYCLE_LETTERS = 24
"""Letters of a cycle's name that leave the header on one line."""
PLOT_LETTERS = 62
"""Letters of a line under a plot."""
NAME_LETTERS, ABOUT_LETTERS = 39, 47
"""Letters of a line of a criterion's name, and of what stands under it."""
NOTE_LINE, NOTE_LETTERS = 14, 120
"""Height and letters of a line of the note under the criteria."""
DISCUSS_LETTERS = 92
BOX_LETTERS = 72

Item = TypeVar("Item")


@dataclass(frozen=True)
class Room:
    """What fits the first side.

    Attributes:
        criteria: entries of the criteria table.
        discuss: lines of cases for discussion.
    """

    criteria: int
    discuss: int


def first_side(
    *,
    harm_lines: int,
    criteria: Sequence[tuple[str, ...]],
    plot_lines: int,
    cycle: str = "",
    note: str = "",
) -> Room:
    """Share out the first side: harm first, then criteria, then cases for discussion.

    Args:
        harm_lines: lines of the box for the treating clinician; 0 without a box.
        criteria: name and explanation of each criterion, in their order, and what
            is said of the last cycle where there is one.
        plot_lines: lines under the pair plots; 0 where none are drawn.
        cycle: name of the cycle; a long one takes a second line of the header.
        note: what the note under the criteria says of the last cycle.
    """
    left = SIDE - HEADINGS - CRITERIA_HEAD - DISCUSS_HEAD
    if len(cycle) > CYCLE_LETTERS:
        left -= HEADER_LINE
    if note:
        left -= NOTE_LINE * lines_of(note, NOTE_LETTERS)
    if plot_lines:
        left -= PLOTS + PLOT_LINE * plot_lines
    if harm_lines:
        left -= HARM_HEAD + HARM_LINE * harm_lines
    count = 0
    for name, about, *of_last in criteria[:MOST_CRITERIA]:
        height = (
            9 + 13 * _clamped(name, NAME_LETTERS) + 11 * _clamped(about, ABOUT_LETTERS)
        )
        height += sum(11 * lines_of(text, ABOUT_LETTERS) for text in of_last)
        if count and left - height < FEWEST_LINES * DISCUSS_LINE:
            break
        left -= height
        count += 1
    return Room(count, max(FEWEST_LINES, left // DISCUSS_LINE))


def _clamped(text: str, letters: int) -> int:
    """Return the lines of a text that is cut after two."""
    return min(2, lines_of(text, letters))


def lines_of(text: str, letters: int) -> int:
    """Return how many lines of that many letters a text takes, at least one."""
    return max(1, -(-len(text) // letters))


def that_fit(items: Sequence[tuple[Item, int]], room: int) -> list[Item]:
    """Return items in their order while their lines fit, at least the first.

    Args:
        items: each item with the lines it takes.
        room: lines there are.
    """
    kept: list[Item] = []
    for item, lines in items:
        if kept and lines > room:
            break
        kept.append(item)
        room -= lines
    return kept
