"""How often the planted cause is named among the first two, and how often noise is.

`python -m tests.calibration.causes` draws 5,000 cases for every cell and gives them to
the scoring the audit uses.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np
import pandas as pd

from pipeline.reference.causes import causes
from pipeline.summarised.causes import scored
from pipeline.summarised.group_causes import causes_of_groups
from tests.calibration.budget import RESULTS, write
from tests.calibration.planted_causes import PLANTED, Planted, draw

TABLE = RESULTS / "causes.csv"
GROUPS_TABLE = RESULTS / "causes_of_groups.csv"
COMMAND = "python -m tests.calibration.causes"
LEAST_IN_TOP_TWO = 0.80
MOST_ON_NOISE = 0.03
"""Stated rate: share of cases of pure reading noise for which any cause is named."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One row of the table.

    Attributes:
        ground: clean (reading error only) or ordinary (own scatter as well).
        count_seen: cases planted strongly enough to be seen.
        in_top_two: share of those whose planted cause is named first or second.
        first: share of those whose planted cause is named first.
        named: share of all cases for which any cause is named.
    """

    planted: str
    cause: str
    ground: str
    count_cases: int
    count_seen: int
    in_top_two: float | None
    first: float | None
    named: float


def try_out(planted: Planted, count: int, seed: int, *, is_ordinary: bool) -> Cell:
    """Draw the cases of one cell, score them and count."""
    rng = np.random.default_rng([seed, int(is_ordinary), *planted.name.encode()])
    seen, is_strong = draw(planted, count, rng, is_ordinary=is_ordinary)
    facts = [set(planted.facts)] * count
    names = [cause.cause for cause in causes()]
    scores = np.array([scored(cause, seen, facts).score for cause in causes()])
    named = float((scores > 0).any(axis=0).mean())
    in_two = first = None
    if planted.cause and is_strong.any():
        own = scores[names.index(planted.cause)]
        rank = (scores > own).sum(axis=0)
        in_two = round(float(((rank < 2) & (own > 0))[is_strong].mean()), 4)
        first = round(float(((rank < 1) & (own > 0))[is_strong].mean()), 4)
    return Cell(
        planted.name,
        planted.cause,
        "ordinary" if is_ordinary else "clean",
        count,
        int(is_strong.sum()),
        in_two,
        first,
        round(named, 4),
    )


@dataclass(frozen=True, slots=True)
class GroupCell:
    """One row of the table of groups: audits of five lots of six pairs.

    Attributes:
        named: share of audits in which any lot is named with a cause.
        planted_first: share of audits in which the planted lot is named with tubes first.
    """

    planted: str
    count_audits: int
    named: float
    planted_first: float | None


LOTS, PAIRS_OF_LOT = 5, 6
MOST_ON_CHANCE = 0.05
"""Stated rate: share of audits without any bias in which a cause is named for a lot."""


def try_out_groups(*, is_bad: bool, count: int, seed: int) -> GroupCell:
    """Draw audits, one lot with bad tubes or none, and count what is named."""
    rng = np.random.default_rng([seed, int(is_bad), 7])
    bad = next(one for one in PLANTED if one.cause == "tubes")
    none = next(one for one in PLANTED if not one.cause)
    lots = np.repeat(np.arange(LOTS), PAIRS_OF_LOT)
    rows = pd.DataFrame({"group": lots.astype(str)})
    named = first = 0
    for _ in range(count):
        seen, _ = draw(none, len(lots), rng, is_ordinary=True)
        if is_bad:
            ill, _ = draw(bad, PAIRS_OF_LOT, rng, is_ordinary=True)
            seen.numbers[lots == 0] = ill.numbers
        found = list(causes_of_groups("guide_lot", rows, seen))
        causes_named = [row for row in found if row.get("cause")]
        named += bool(causes_named)
        first += any(
            row["group_value"] == "0" and row["rank"] == 1 and row["cause"] == "tubes"
            for row in causes_named
        )
    return GroupCell(
        "one bad lot of five" if is_bad else "no bias",
        count,
        round(named / count, 4),
        round(first / count, 4) if is_bad else None,
    )


@click.command()
@click.option("--cases", "count", default=5000, show_default=True)
@click.option("--audits", "count_audits", default=2000, show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--to", type=click.Path(path_type=Path), default=RESULTS)
def main(count: int, count_audits: int, seed: int, to: Path) -> None:
    """Simulate every cell and write both tables."""
    cells = [
        try_out(planted, count, seed, is_ordinary=is_ordinary)
        for planted in PLANTED
        for is_ordinary in ((False, True) if planted.cause else (False,))
    ]
    groups = [
        try_out_groups(is_bad=is_bad, count=count_audits, seed=seed)
        for is_bad in (False, True)
    ]
    command = f"{COMMAND} --cases {count} --audits {count_audits}"
    write(cells, to / TABLE.name, command, seed)
    write(groups, to / GROUPS_TABLE.name, command, seed)


if __name__ == "__main__":
    sys.exit(main())
