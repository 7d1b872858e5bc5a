"""What a foreign heading may mean, by the words of ``reference/heading_words.csv``."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from pipeline.records.units import Unit, unit_written
from pipeline.reference import load

SHEETS = tuple(name for name in load.sheets() if name != "cases")

_WORD = re.compile(r"3d|2d|[^\W\d_]+|\d+", re.IGNORECASE)
_BRACKET = re.compile(r"[(\[{]\s*([^)\]}]*?)\s*[)\]}]")
_NOT_IN_NAMES = frozenset({"mm", "deg", "id", "no"})
_NO_UNIT_ALONE = frozenset({"in", "in."})


@dataclass(frozen=True, slots=True)
class Meaning:
    """The words of a heading.

    Attributes:
        tokens: what its known words mean.
        unknown: words that are not known here.
        unit: the unit it names, or None.
    """

    tokens: frozenset[str]
    unknown: tuple[str, ...]
    unit: Unit | None = None


@dataclass(frozen=True, slots=True)
class Match:
    """A field that a heading may stand for.

    Attributes:
        sheet: the record sheet.
        field: the field.
        count_unknown: words of the heading that are not known here.
    """

    sheet: str
    field: str
    count_unknown: int


@cache
def _known_phrases() -> dict[tuple[str, ...], tuple[str, ...]]:
    return {
        tuple(_words(row["words"])): tuple(row["tokens"].split())
        for row in load.rows("heading_words")
    }


def _words(text: str) -> list[str]:
    return [word.casefold() for word in _WORD.findall(text.replace("_", " "))]


def meaning_of(heading: str) -> Meaning:
    """Return what the words of a heading mean; the longest known phrases count first.

    >>> sorted(meaning_of("Post-op platform X [cm]").tokens)
    ['achieved', 'entry', 'x']
    """
    unit, bare = _unit_of(heading)
    words = _words(bare)
    known = _known_phrases()
    longest = max(map(len, known))
    tokens: list[str] = []
    unknown: list[str] = []
    place = 0
    while place < len(words):
        for size in range(min(longest, len(words) - place), 0, -1):
            phrase = tuple(words[place : place + size])
            if phrase in known:
                tokens += known[phrase]
                place += size
                break
        else:
            unknown.append(words[place])
            place += 1
    return Meaning(frozenset(tokens), tuple(unknown), unit)


def _unit_of(heading: str) -> tuple[Unit | None, str]:
    """Return the unit a heading names, in brackets or at its end, and the rest."""
    for found in _BRACKET.finditer(heading):
        unit = unit_written(found[1])
        if unit is not None:
            return unit, heading[: found.start()] + " " + heading[found.end() :]
    head, _, last = heading.strip().replace("_", " ").replace(",", " ").rpartition(" ")
    if head and last.casefold() not in _NO_UNIT_ALONE:
        unit = unit_written(last)
        if unit is not None:
            return unit, head
    return None, heading


@cache
def signatures() -> dict[frozenset[str], tuple[tuple[str, str], ...]]:
    """Return tokens -> (sheet, field), from the names of the fields and their aliases."""
    found: dict[frozenset[str], list[tuple[str, str]]] = {}
    for field in load.fields():
        named = meaning_of(" ".join(set_of_name(field.field)))
        tokens = named.tokens | set(named.unknown)
        if not tokens:
            # nothing but words such as "difference", which tell no columns apart
            continue
        found.setdefault(frozenset(tokens), []).append((field.sheet, field.field))
    for row in load.rows("heading_aliases"):
        key = frozenset(row["tokens"].split())
        found.setdefault(key, []).append((row["sheet"], row["field"]))
    return {key: tuple(dict.fromkeys(fields)) for key, fields in found.items()}


def set_of_name(field: str) -> list[str]:
    """Return the words of a field's name, its unit left out.

    >>> set_of_name("planned_entry_x_mm")
    ['planned', 'entry', 'x']
    """
    return [part for part in field.split("_") if part not in _NOT_IN_NAMES]


def matches(meaning: Meaning) -> tuple[Match, ...]:
    """Return the fields whose name says the same as a heading, one unknown word allowed."""
    if len(meaning.unknown) > 1 or not meaning.tokens | set(meaning.unknown):
        return ()
    # an unknown word may still be part of a field's own name
    whole = meaning.tokens | set(meaning.unknown)
    exact = signatures().get(frozenset(whole), ())
    if exact:
        return tuple(Match(sheet, field, 0) for sheet, field in exact)
    close = signatures().get(meaning.tokens, ()) if meaning.unknown else ()
    return tuple(Match(sheet, field, 1) for sheet, field in close)


def is_case(meaning: Meaning) -> bool:
    """Tell whether a heading is that of the case or chart number."""
    return bool(meaning.tokens) and meaning.tokens <= {"case", "patient", "practice"}


def is_place(meaning: Meaning) -> bool:
    """Tell whether a heading is that of the place in the jaw."""
    return meaning.tokens == {"place"} and not meaning.unknown


def count_known(headings: Iterable[str]) -> int:
    """Return how many headings are understood whole, to tell headings from rows."""
    count = 0
    for heading in headings:
        meaning = meaning_of(heading)
        if meaning.tokens and not meaning.unknown:
            count += 1 + (len(meaning.tokens) > 1)
    return count
