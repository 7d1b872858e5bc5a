"""summarised.group_causes: what is the same each time in a laboratory, a lot, a site.

The mean of a group is set against the other cases, and what differs is scored like one
case. Bias says something systematic (laboratory, index, ridge, convention); what differs
from case to case stands in the error budget. Operators stand here by their codes and on
no page that circulates.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.special import ndtri

from pipeline.reference import load
from pipeline.reference.causes import Cause, causes
from pipeline.statistics.group_bias import FEWEST_DF, FEWEST_IN_GROUP, differences
from pipeline.statistics.signatures import MODES, SEEN, Seen, fit
from pipeline.summarised.cause_evidence import joined, made_by, numbers_said, seen_of
from pipeline.tables import makes, write_rows
from pipeline.warehouse import Warehouse

if TYPE_CHECKING:
    import pandas as pd

TABLE: Final = "summarised.group_causes"
NEVER_OF_MEANS: Final = ("play", "hand", "one_implant")
"""Causes that go another way each time: no mean shows them."""

MOST_PATIENTS: Final = 20_000
"""The latest patients that groups are made of: more would tell no more of a lot."""

CONSISTENT, NOTHING, TOO_FEW = (
    "consistent with",
    "no mean stands out from chance",
    "too few to say",
)
FEW: Final = (
    f"fewer than {FEWEST_IN_GROUP} pairs here or elsewhere, or fewer than {FEWEST_DF}"
    " degrees of freedom to tell the scatter from"
)
LEVEL: Final = 0.05
"""How often pure chance may name a cause in one grouping of one audit."""


@makes(TABLE, reads=("summarised.cause_numbers",))
def make_group_causes(warehouse: Warehouse, _: Mapping[str, Any]) -> None:
    """Make summarised.group_causes. Grain: group_by, group_value, rank."""
    every = warehouse.frame(
        "select * from summarised.cause_numbers where not is_deliberate_change"
        " qualify row_number() over"
        " (partition by patient_key order by surgery_date, case_key) = 1"
        " order by surgery_date desc nulls last, case_key"
        f" limit {MOST_PATIENTS}"
    )
    write_rows(warehouse, TABLE, list(_rows(every)) if len(every) else [])


def _rows(every: pd.DataFrame) -> Iterator[dict[str, Any]]:
    words = every["achieved_source"].fillna("") + every["jaw"].fillna("")
    counts = words[every["spacing_mm"].notna()].value_counts().sort_index()
    seen = seen_of(every)
    # results of one source and jaw; a guide's own reading does not hang on them
    if len(counts):
        seen.numbers[(words != counts.idxmax()).to_numpy(), : len(MODES)] = np.nan
    for grouping in load.rows("cause_groups"):
        column = grouping["column"]
        rows = every.assign(group=every[column] if column else "all")
        kept = rows["group"].notna().to_numpy()
        if kept.any():
            yield from causes_of_groups(
                grouping["group_by"], rows[kept], _only(seen, kept)
            )


def _only(seen: Seen, kept: Any) -> Seen:
    return Seen(
        seen.numbers[kept],
        seen.covariance[kept],
        seen.length_mm[kept],
        seen.spacing_mm[kept],
        seen.hole_above_entry_mm[kept],
    )


def causes_of_groups(
    group_by: str, rows: pd.DataFrame, seen: Seen
) -> Iterator[dict[str, Any]]:
    """Yield what the mean of each group of a grouping is consistent with.

    Args:
        group_by: the grouping.
        rows: one row a pair with its ``group``.
        seen: what was seen of the pairs, in the same order.
    """
    numbers, names = rows["group"].factorize(sort=True)
    sd = np.sqrt(np.diagonal(seen.covariance, axis1=1, axis2=2))
    difference, error = differences(seen.numbers, numbers, sd)
    means = _means(seen, numbers, difference, error)
    # each of the numbers of each group may stand out by chance
    limit = max(SEEN, -ndtri(LEVEL / 2 / max(1, np.isfinite(means.times).sum())))
    for at, name in enumerate(names):
        told = np.isfinite(means.times[at])
        head = {
            "group_by": group_by,
            "group_value": str(name),
            "n_patients": int((numbers == at).sum()),
            "n_pairs": int(np.isfinite(seen.numbers[numbers == at]).any(axis=1).sum()),
        }
        if not told.any():
            yield {**head, "rank": 1, "said": TOO_FEW, "note": FEW}
            continue
        named = list(_named(means, at, limit))
        if not named:
            yield {**head, "rank": 1, "said": NOTHING}
        for rank, one in enumerate(named):
            yield {**head, "rank": rank + 1, "said": CONSISTENT, **one}


def _means(seen: Seen, numbers: Any, difference: Any, error: Any) -> Seen:
    n = len(difference)
    count = np.maximum(np.bincount(numbers, minlength=n), 1)
    covariance = np.zeros((n, difference.shape[1], difference.shape[1]))
    at = np.arange(difference.shape[1])
    covariance[:, at, at] = error**2
    return Seen(
        difference,
        covariance,
        np.bincount(numbers, seen.length_mm, n) / count,
        np.bincount(numbers, seen.spacing_mm, n) / count,
        np.full(n, np.nan),
    )


def _named(means: Seen, at: int, limit: float) -> Iterator[dict[str, Any]]:
    """Yield the causes that the mean of one group is consistent with, the likeliest first."""
    one = _only(means, np.arange(len(means.numbers)) == at)
    found: list[tuple[float, Cause, str, Any]] = []
    for cause in causes():
        if cause.cause in NEVER_OF_MEANS:
            continue
        for pattern, moves in cause.patterns.items():
            tried = fit(one, moves)
            score = float(tried.score[0]) - np.log(len(cause.patterns))
            if tried.largest[0] >= limit and score > 0:
                found.append((score, cause, pattern, tried.left_over[0]))
    done: set[str] = set()
    times, numbers = np.nan_to_num(one.times[0]), one.numbers[0]
    for score, cause, pattern, left_over in sorted(found, key=lambda row: -row[0]):
        if cause.cause in done:
            continue
        done.add(cause.cause)
        made = made_by(times, left_over)
        yield {
            "cause": cause.cause,
            "pattern": pattern,
            "score": score,
            "evidence_for": joined(list(numbers_said(numbers, times, made))),
            "evidence_against": joined(list(numbers_said(numbers, left_over, ~made))),
            "settled_by": cause.settling,
        }
