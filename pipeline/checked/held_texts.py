"""The sentences beside a row that is set aside: what is wrong, and what to do."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from math import ceil
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.checked.held_rows import Mark


def what_is_wrong(marks: Sequence[Mark]) -> str:
    """Return the sentences of a row, each once; what a case has wrong says where."""
    return _listed(
        f"Set aside with its case, see the tab {mark.other_tab}: {mark.sentence}"
        if mark.other_tab
        else mark.sentence
        for mark in marks
    )


def what_to_do(marks: Sequence[Mark]) -> str:
    """Return the suggestions of a row; a sentence that several share is said once."""
    shared: dict[str, None] = {}
    said = []
    for mark in marks:
        if mark.other_tab:
            here = f"Nothing here: once the tab {mark.other_tab} is mended, this row is used again."
            said.append(here)
            continue
        sentences = re.split(r"(?<=[.!?]) (?=[A-Z])", mark.suggestion)
        said.append(" ".join(one for one in sentences if one not in shared))
        shared |= dict.fromkeys(sentences)
    return _listed(one for one in said if one)


def _listed(sentences: Iterable[str]) -> str:
    each = list(dict.fromkeys(sentences))
    return each[0] if len(each) == 1 else "\n".join(f"– {one}" for one in each)


def lines_of(text: str, width: float) -> int:
    """Return how many lines a text takes in a column of so many characters."""
    return sum(max(1, ceil(len(line) / (width * 1.05))) for line in text.splitlines())
