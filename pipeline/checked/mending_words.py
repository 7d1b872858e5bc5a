"""The sentence of a diagnosis: which mend, what it gains, what to look at."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from math import isnan
from typing import NamedTuple

from pipeline.geometry.mends import Mend
from pipeline.reference import load

TOLD_APART_DEG = 3.0
"""Leans that differ by less do not tell two mends apart: readings differ as much."""


class Gain(NamedTuple):
    """What a mend changes: larger entry distance and angle of both implants, mean lean.

    NaN where it is not known.
    """

    entry_before_mm: float
    entry_after_mm: float
    angle_before_deg: float
    angle_after_deg: float
    lean_forward_deg: float


Found = tuple[Mend, Gain]


@cache
def _words() -> dict[str, str]:
    return {row["key"]: row["words"] for row in load.rows("diagnosis_words")}


@cache
def _rows() -> dict[tuple[str, str], dict[str, str]]:
    return {(row["action"], row["state"]): row for row in load.rows("mends")}


@cache
def mends() -> tuple[Mend, ...]:
    """Return every mend that is tried, the commonest first, as mends.csv lists them."""
    return tuple(
        Mend(row["action"], row["state"], side, detail)
        for row in load.rows("mends")
        for side in row["sides"].split("|")
        for detail in row["details"].split("|")
    )


def mend_named(name: str) -> Mend:
    """Return a mend by its name."""
    return next(mend for mend in mends() if mend.name == name)


def clause(mend: Mend) -> str:
    """Return what the mend does, to follow "If I"."""
    return _filled("clause", mend)


def sentence(found: Sequence[Found], *, has_labels: bool, was_length: bool) -> str:
    """Return the sentence of one case.

    Args:
        found: the mends that do equally well, with their gains; empty for none.
        has_labels: whether the lengths of the implants are recorded.
        was_length: whether a length was broken before.
    """
    words = _words()
    if not found:
        return words["none"]
    clauses = [clause(mend) for mend, _ in found]
    gained = _gain(found[0][1], has_labels=has_labels, was_length=was_length)
    if len(found) == 1:
        return words["one"].format(
            clause=clauses[0], gain=gained, look_at=_filled("look_at", found[0][0])
        )
    return words["same"].format(
        clause=clauses[0],
        gain=gained,
        others=words["or"].join(clauses[1:]),
        tell_apart=_apart(found),
    )


def how_to_accept(found: Sequence[Mend], finding_id: str) -> str:
    """Return the sentence that names the command to apply a mend, to follow another.

    Args:
        found: the mends that do equally well; a shift, whose numbers are taken from the
            case, is no mend to apply.
        finding_id: a finding of the case.
    """
    possible = [mend.name for mend in found if not mend.is_fitted]
    if not possible:
        return ""
    words = _words()
    key = "accept_one" if len(possible) == 1 else "accept_same"
    first, *others = possible
    return " " + words[key].format(
        finding=finding_id, mend=first, others=words["or_name"].join(others)
    )


def _filled(column: str, mend: Mend) -> str:
    words = _words()
    return _rows()[mend.action, mend.state][column].format(
        of_side=words[f"of_{mend.side}"] if mend.side else "",
        factor=f"{float(mend.detail):.3g}" if mend.action == "scale" else "",
        unit=words.get(f"unit_{mend.detail}", ""),
        axis=words.get(f"axis_{mend.detail}", ""),
    )


def _gain(gain: Gain, *, has_labels: bool, was_length: bool) -> str:
    """Return what is better with a mend."""
    words = _words()
    entry_before, entry_after, angle_before, angle_after, _ = gain
    parts = []
    if was_length:
        parts.append(words["lengths_agree" if has_labels else "lengths_possible"])
    if not isnan(entry_after) and _shown(entry_before) != _shown(entry_after):
        parts.append(_of("error_drops", entry_before, entry_after))
    if angle_before - angle_after > 1:
        parts.append(_of("angle_drops", angle_before, angle_after))
    if parts:
        return ", ".join(parts[:-1]) + (" and " if len(parts) > 1 else "") + parts[-1]
    if isnan(entry_after):
        return words["ends_meet"]
    return _of("error_stays", entry_before, entry_after)


def _of(key: str, before: float, after: float) -> str:
    return _words()[key].format(before=_shown(before), after=_shown(after))


def _apart(found: Sequence[Found]) -> str:
    """Return how the first two mends differ, or that their figures do not tell."""
    words = _words()
    (first, gain), (second, other) = found[:2]
    leans = gain.lean_forward_deg, other.lean_forward_deg
    if abs(leans[0] - leans[1]) >= TOLD_APART_DEG:
        return words["by_lean"].format(
            lean=_leaning(leans[0]), other_lean=_leaning(leans[1])
        )
    return words["by_file"].format(
        look_at=_filled("look_at", first), other_look_at=_filled("look_at", second)
    )


def _leaning(lean_deg: float) -> str:
    key = "forward" if lean_deg >= 0 else "backward"
    return _words()[key].format(size=_shown(abs(lean_deg)))


def _shown(value: float) -> str:
    """Return a figure as a person would say it: 22, 1.2."""
    return f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.1f}"


def names(found: Iterable[Mend]) -> str:
    """Return the names of mends, joined as a table keeps them."""
    return "|".join(mend.name for mend in found)
