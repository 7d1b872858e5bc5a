"""Marks in headings that tell columns of one side, or of one reading, from the others.

``33 entry`` and ``43 entry`` are one kind of figure for two sides. A mark counts only
where the same heading exists with another mark in its place.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from pipeline.records.heading_meaning import matches, meaning_of
from pipeline.records.layout_model import same_heading
from pipeline.records.site_notation import (
    FDI,
    QUADRANT,
    UNIVERSAL,
    fdi_of,
    side_of_fdi,
)

SITE, READING = "<site>", "<n>"

_WORDS = {"left": "left", "right": "right", "l": "left", "r": "right",
          "lt": "left", "rt": "right", "lhs": "left", "rhs": "right"}  # fmt: skip
_SITE = re.compile(
    rf"(?<![^\W_])(?:[ul][lr]\s?[1-8]|(?:fdi|#)?\s?[1-4]\d|{'|'.join(_WORDS)})(?![^\W_])",
    re.IGNORECASE,
)
_READING_WORD = r"(?:reading|measurement|measure|meas\.?|trial|repeat|rep\.?|#|[mr])"
_READING = re.compile(r"(?<![\d.])\d(?:st|nd|rd)?(?![\d.])(?!d\b)", re.IGNORECASE)
_MARK_AND_WORD = re.compile(
    rf"\(?(?:(?<![^\W_]){_READING_WORD})?\s*<n>\s*(?:{_READING_WORD}(?![^\W_]))?\)?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Marked:
    """A heading and the marks in it.

    Attributes:
        heading: as written.
        template: the heading with a mark's name in place of each mark.
        marks: name of the mark -> what stands there in this heading.
    """

    heading: str
    template: str
    marks: dict[str, str] = field(default_factory=dict)

    @property
    def is_surely_a_reading(self) -> bool:
        """Whether a word, brackets or an ordinal say that the number counts readings."""
        return (
            len((_MARK_AND_WORD.search(self.template) or [""])[0].strip())
            > len(READING)
            or not self.marks.get(READING, "0").isdigit()
        )

    @property
    def bare(self) -> str:
        """The heading without its marks, to be understood by its words."""
        return _MARK_AND_WORD.sub(" ", self.template).replace(SITE, " ")


def marked(headings: Sequence[str]) -> list[Marked]:
    """Find the marks of a sheet's headings."""
    found = [Marked(heading, heading) for heading in headings]
    found = _with_marks(found, SITE, _SITE, _side_meant)
    return _with_marks(found, READING, _READING, lambda text: text)


def _with_marks(
    headings: list[Marked],
    name: str,
    pattern: re.Pattern[str],
    meant: Callable[[str], str],
) -> list[Marked]:
    """Put a mark in where the same heading exists with another one in its place."""
    candidates = [
        [
            (one.template[: found.start()] + name + one.template[found.end() :], found[0])
            for found in pattern.finditer(one.template)
        ]
        if _may_be_marked(one)
        else []
        for one in headings
    ]  # fmt: skip
    partners: dict[str, set[str]] = {}
    for possible in candidates:
        for template, text in possible:
            partners.setdefault(same_heading(template), set()).add(meant(text))
    result = []
    for one, possible in zip(headings, candidates, strict=True):
        chosen = [
            (template, text)
            for template, text in possible
            if len(partners[same_heading(template)] - {""}) > 1
        ]
        if chosen:
            template, text = chosen[0]
            marks = {**one.marks, name: text}
            result.append(replace(one, template=template, marks=marks))
        else:
            result.append(one)
    return result


def _may_be_marked(one: Marked) -> bool:
    # "left pad" is a heading of its own, and no mark with "pad" behind it
    known = matches(meaning_of(one.bare))
    return not any(match.count_unknown == 0 for match in known)


def _side_meant(text: str) -> str:
    """Return something that differs between two sides: a side, or a tooth number."""
    return _WORDS.get(text.casefold(), text.casefold())


def side_of_word(text: str) -> str:
    """Return the side a word such as L or right names; '' for a tooth."""
    return _WORDS.get(text.casefold(), "")


def notation_of_marks(marks: Iterable[str]) -> str:
    """Return the notation of tooth marks, '' where they are words for sides.

    >>> notation_of_marks(["33", "43"]), notation_of_marks(["22", "27"])
    ('fdi', 'universal')
    """
    found = list(marks)
    if any(side_of_word(mark) for mark in found):
        return ""
    if all(re.match(r"[ul][lr]", mark, re.IGNORECASE) for mark in found):
        return QUADRANT
    if any(fdi_of(mark, UNIVERSAL) is None for mark in found):
        return FDI
    sides = {side_of_fdi(mark) for mark in found if fdi_of(mark, FDI)}
    return (
        FDI if len(sides) > 1 and all(mark[0] in "34" for mark in found) else UNIVERSAL
    )
