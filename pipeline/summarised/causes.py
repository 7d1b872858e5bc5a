"""summarised.case_causes: what the deviations of a case are consistent with, and why.

A case is scored only where one of its numbers is seen beyond what locating the implants
can tell; one case shows what it is consistent with, never what caused it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from pipeline.reference.causes import Cause, Fact, causes
from pipeline.statistics.signatures import SEEN, Fit, Seen, fit
from pipeline.summarised.cause_evidence import joined, made_by, numbers_said, seen_of
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.case_causes"
MOST_CASES: Final = 2000
"""Cases scored one by one: those up for discussion, then the latest."""

CONSISTENT, WITHIN, NO_PATTERN, ON_PURPOSE, NOT_TOLD = (
    "consistent with",
    "within what locating the implants can tell",
    "no known pattern",
    "changed on purpose",
    "cannot be told from these records",
)


@dataclass(frozen=True, slots=True)
class Scored:
    """The best pattern of one cause for each of n cases.

    Attributes:
        score: with what the facts add, (n,); minus infinity where it is not named.
        fits: fit of each pattern.
        best: number of the best pattern, (n,).
    """

    score: NDArray[np.float64]
    fits: tuple[Fit, ...]
    best: NDArray[np.intp]


@makes(
    TABLE,
    reads=(
        "summarised.cause_numbers",
        "summarised.cause_facts",
        "summarised.discuss",
    ),
)
def make_case_causes(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.case_causes. Grain: case_key, rank."""
    chosen = (
        "select n.* from summarised.cause_numbers as n order by n.case_key in"
        " (select d.case_key from summarised.discuss as d) desc,"
        f" n.surgery_date desc nulls last, n.case_key limit {MOST_CASES}"
    )
    rows = warehouse.frame(chosen)
    facts: dict[str, set[str]] = {}
    for case, fact in warehouse.run(
        "select f.case_key, f.fact from summarised.cause_facts as f"
        f" semi join ({chosen}) as c on f.case_key = c.case_key"
    ):
        facts.setdefault(case, set()).add(fact)
    write_rows(warehouse, TABLE, list(_rows(rows, facts)) if len(rows) else [])


def scored(cause: Cause, seen: Seen, facts: list[set[str]]) -> Scored:
    """Score one cause for each case.

    Args:
        cause: the cause.
        seen: what was seen of n cases.
        facts: what other records say of each.
    """
    fits = tuple(fit(seen, moves) for moves in cause.patterns.values())
    patterns = np.array([one.score for one in fits])
    told = np.where(np.isfinite(patterns), patterns, -np.inf)
    best = told.argmax(axis=0)
    cases = np.arange(len(best))
    # having several patterns to choose from makes a chance fit likelier
    score = told[best, cases] - np.log(len(fits))
    score += np.array([_weight(cause, said) for said in facts])
    largest = np.array([one.largest for one in fits])[best, cases]
    return Scored(np.where(largest >= SEEN, score, -np.inf), fits, best)


def _weight(cause: Cause, facts: set[str]) -> float:
    """Return what the facts of a case add to a score, or take off it."""
    signs = {"for": 1.0, "against": -1.0}
    said = [fact for fact in cause.facts if fact.fact in facts]
    if any(fact.speaks == "excludes" for fact in said):
        return -np.inf
    return sum(signs[fact.speaks] * fact.weight for fact in said)


def _rows(rows: pd.DataFrame, facts: dict[str, set[str]]) -> Iterator[dict[str, Any]]:
    seen = seen_of(rows)
    of_cases = [facts.get(case, set()) for case in rows["case_key"]]
    found = {cause: scored(cause, seen, of_cases) for cause in causes()}
    for at, case in enumerate(rows.to_dict("records")):
        head = {
            "case_key": case["case_key"],
            "achieved_source": case["achieved_source"],
            "is_deliberate_change": bool(case["is_deliberate_change"]),
            "note": _note(case),
        }
        named = sorted(
            (cause for cause in found if found[cause].score[at] > 0),
            key=lambda cause: -found[cause].score[at],
        )
        if case["is_deliberate_change"]:
            yield {**head, "rank": 1, "said": ON_PURPOSE}
        elif not named:
            yield {**head, "rank": 1, "said": _without(seen, at)}
        for rank, cause in enumerate(named if not case["is_deliberate_change"] else ()):
            yield {
                **head,
                "rank": rank + 1,
                "said": CONSISTENT,
                **_named(cause, found[cause], seen, at, of_cases[at]),
            }


def _named(
    cause: Cause, found: Scored, seen: Seen, at: int, facts: set[str]
) -> dict[str, Any]:
    """Return one cause of one case with its evidence."""
    best = found.best[at]
    left_over = np.nan_to_num(found.fits[best].left_over[at])
    times = np.nan_to_num(seen.times[at])
    made = made_by(times, left_over)
    numbers = seen.numbers[at]
    return {
        "cause": cause.cause,
        "pattern": list(cause.patterns)[best],
        "score": float(found.score[at]),
        "evidence_for": joined(
            [*numbers_said(numbers, times, made), *_facts(cause, facts, "for")]
        ),
        "evidence_against": joined(
            [*numbers_said(numbers, left_over, ~made), *_facts(cause, facts, "against")]
        ),
        "settled_by": cause.settling,
    }


def _facts(cause: Cause, facts: set[str], speaks: str) -> list[str]:
    def is_said(fact: Fact) -> bool:
        return fact.speaks == speaks and fact.fact in facts

    return [fact.words for fact in cause.facts if is_said(fact)]


def _without(seen: Seen, at: int) -> str:
    """Say why nothing is named for a case."""
    times = seen.times[at]
    if not np.isfinite(times).any():
        return NOT_TOLD
    return NO_PATTERN if np.nanmax(np.abs(times)) >= SEEN else WITHIN


def _note(case: Mapping[Any, Any]) -> str | None:
    """Say what comes before any cause, and what the uncertainty leaves out."""
    notes = []
    if case["count_held_rows"]:
        notes.append("rows of this case are set aside: put them right first")
    # NaN is the one number that differs from itself
    is_known = case["shift_left_sd_mm"] == case["shift_left_sd_mm"]
    if case["shift_left_mm"] == case["shift_left_mm"] and not is_known:
        notes.append("the error of superimposing is not known")
    return joined(notes)
