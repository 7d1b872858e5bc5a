"""The signatures of causes, as the rows of ``causes.csv`` and its companions state them."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

from pipeline.reference import load


@dataclass(frozen=True, slots=True)
class Move:
    """A row of ``cause_patterns.csv``: one way in which a pattern can move the pair.

    Attributes:
        side: pair, left, right, both or mirrored (each toward the midline).
        move: one of the ten numbers of a pair, or a move of one implant.
        about: what a lean turns about: entry, hole, or empty for the implant's middle.
        is_in_guide: the guide as made would show it as well.
    """

    side: str
    move: str
    about: str
    is_in_guide: bool


@dataclass(frozen=True, slots=True)
class Fact:
    """A row of ``cause_facts.csv``: what a record other than the positions says.

    Attributes:
        fact: its name in summarised.cause_facts.
        speaks: for, against or excludes.
        weight: what it adds to the score, or takes off it; 0 where it excludes.
        words: the fact, for people.
    """

    fact: str
    speaks: str
    weight: float
    words: str


@dataclass(frozen=True, slots=True)
class Cause:
    """A row of ``causes.csv`` with its patterns and facts.

    Attributes:
        cause: its name in the tables.
        short: a few words that follow "consistent with".
        words: the cause in full.
        settled_by: records that would settle it, none of which needs radiation.
        settled_short: the first of them, for the printed side.
        image: an image that would settle it if there is one already; else empty.
        action: what is done about it.
        patterns: the moves of each pattern by its name.
        facts: what else speaks for or against it.
    """

    cause: str
    short: str
    words: str
    settled_by: str
    settled_short: str
    image: str
    action: str
    patterns: dict[str, tuple[Move, ...]] = field(hash=False)
    facts: tuple[Fact, ...]

    @property
    def settling(self) -> str:
        """Everything that would settle it, the records without radiation first."""
        return "; ".join(filter(None, (self.settled_by, self.image)))


@cache
def causes() -> tuple[Cause, ...]:
    """Return the causes in their reading order."""
    ordered = sorted(load.rows("causes"), key=lambda row: int(row["place_in_order"]))
    return tuple(
        Cause(
            row["cause"],
            row["short"],
            row["words"],
            row["settled_by"],
            row["settled_short"],
            row["image"],
            row["action"],
            _patterns(row["cause"]),
            _facts(row["cause"]),
        )
        for row in ordered
    )


def _patterns(cause: str) -> dict[str, tuple[Move, ...]]:
    found: dict[str, tuple[Move, ...]] = {}
    for row in load.rows("cause_patterns"):
        if row["cause"] == cause:
            move = Move(
                row["side"], row["move"], row["about"], row["is_in_guide"] == "yes"
            )
            found[row["pattern"]] = (*found.get(row["pattern"], ()), move)
    return found


def _facts(cause: str) -> tuple[Fact, ...]:
    return tuple(
        Fact(row["fact"], row["speaks"], float(row["weight"] or 0), row["words"])
        for row in load.rows("cause_facts")
        if row["cause"] == cause
    )
