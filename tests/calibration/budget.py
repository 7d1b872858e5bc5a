"""How often the intervals of the error budget hold the truth.

`python -m tests.calibration.budget` draws 5,000 audits for every cell (planted share of
the guide, tails, pairs), gives them to the functions the reports use and writes the
table of coverages; a second table says how often the test of common motion speaks.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from dataclasses import astuple, dataclass, fields
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import click
import numpy as np
from numpy.typing import NDArray

from pipeline.statistics.budget import Budget, budget, common_share
from pipeline.statistics.common_motion import common_motion
from pipeline.statistics.pair_errors import PairErrors, Pairs
from tests.calibration.planted_pairs import (
    Planted,
    added,
    bad_guides,
    draw,
    drift,
    heavy,
    normal,
    one_batch,
)

RESULTS = Path(__file__).with_name("results")
COVERAGE = RESULTS / "budget.csv"
SPEAKS = RESULTS / "common_motion.csv"
COMMAND = "python -m tests.calibration.budget"
PAIRS = (8, 15, 30, 60)
JUDGED_FROM = 15
COUNT_LEAST = 5000
"""Audits a cell of the committed table."""
ALPHA = 0.05

PLANTED = (
    Planted("nothing common", 0.0, normal, normal, is_superimposed=False),
    Planted("play only", 0.0, normal, normal, is_superimposed=False, is_play=True),
    Planted("superimposition only", 0.0, normal, normal, is_superimposed=True),
    Planted("guide 25 %", 0.25, normal, normal, is_superimposed=True),
    Planted("guide 50 %", 0.5, normal, normal, is_superimposed=True),
    Planted("guide 75 %", 0.75, normal, normal, is_superimposed=True),
    Planted("guide 50 %, heavy tails", 0.5, heavy, heavy, is_superimposed=True),
    Planted("guide 50 %, a tenth bad", 0.5, normal, bad_guides, is_superimposed=True),
    Planted("guide 25 %, one bad batch", 0.25, normal, normal, True, one_batch),
    Planted("guide 25 %, drift", 0.25, normal, normal, True, drift),
)


@dataclass(frozen=True, slots=True)
class Cell:
    """One row of the table of coverages.

    Attributes:
        below: share of intervals that lie wholly below the truth.
        above: share that lie wholly above it.
        median_width: of the intervals, as standard deviations or shares.
        is_within: whether the coverage reaches its target; empty below 15 pairs.
    """

    estimate: str
    planted: str
    n_pairs: int
    count_audits: int
    truth: float
    coverage: float
    below: float
    above: float
    median_width: float
    target_low: float | None
    target_high: float | None
    is_within: bool | None


@dataclass(frozen=True, slots=True)
class Speaks:
    """How often the test of common motion gives p below 0.05."""

    planted: str
    n_pairs: int
    count_audits: int
    share_of_audits: float
    median_seen_share: float
    median_null_share: float


Limits = tuple[NDArray[np.float64], NDArray[np.float64]]


def target(estimate: str, planted: Planted) -> tuple[float, float]:
    """Return the coverage promised from 15 pairs; a part that is 0 has one tail only."""
    if estimate.startswith(("own", "common")):
        return 0.91, 1.0
    if estimate.startswith("fraction"):
        return 0.925, 1.0
    if planted.truths(JUDGED_FROM)[estimate] < 1e-9:
        return 0.95, 1.0
    return 0.925, 0.965


def limits(pairs: Pairs, superimposing: PairErrors) -> Iterator[tuple[str, Limits]]:
    """Yield each estimate's limits, one of each an audit."""
    found: Budget = budget(pairs)
    for name in ("left_right", "depth", "see_saw", "frontal_lean", "sagittal_lean"):
        words = name.replace("_", "-" if name in ("left_right", "see_saw") else " ")
        part = getattr(found, name)
        if part.own is not None:
            yield f"own {words}", (part.own.low, part.own.high)
        yield f"common {words}", (part.common.low, part.common.high)
    for name in ("left_right", "sagittal_lean"):
        words = name.replace("_", "-" if name == "left_right" else " ")
        share = found.fractions[name]
        yield f"fraction {words}", (share.low, share.high)
    beyond = common_share(pairs, superimposing)
    yield "share beyond the superimposition", (beyond.low, beyond.high)
    together = common_share(pairs)
    yield "share of both together", (together.low, together.high)


def try_out(planted: Planted, n_pairs: int, count_audits: int, seed: int) -> list[Cell]:
    """Draw the audits of one cell and count where the intervals lie."""
    rng = np.random.default_rng([seed, n_pairs, *planted.name.encode()])
    shape = (count_audits, n_pairs)
    pairs, superimposing = draw(planted, shape, rng), added(planted, shape)
    truths = planted.truths(n_pairs)
    cells = []
    for estimate, (low, high) in limits(pairs, superimposing):
        truth = truths[estimate]
        is_variance = estimate.startswith(("own", "common"))
        below = float(np.mean(high < truth - 1e-12))
        above = float(np.mean(low > truth + 1e-12))
        ends = [
            np.sqrt(np.maximum(end, 0)) if is_variance else end for end in (low, high)
        ]
        coverage = 1 - below - above
        aim = target(estimate, planted) if n_pairs >= JUDGED_FROM else None
        cells.append(
            Cell(
                estimate,
                planted.name,
                n_pairs,
                count_audits,
                round(float(truth), 6),
                round(coverage, 4),
                round(below, 4),
                round(above, 4),
                round(float(np.median(ends[1] - ends[0])), 5),
                aim[0] if aim else None,
                aim[1] if aim else None,
                aim[0] <= coverage <= aim[1] if aim else None,
            )
        )
    return cells


def speaks(planted: Planted, n_pairs: int, count_audits: int, seed: int) -> Speaks:
    """Count how often chance is ruled out, and the shares seen."""
    rng = np.random.default_rng([seed, n_pairs, *planted.name.encode(), 1])
    pairs = draw(planted, (count_audits, n_pairs), rng)
    names = [field.name for field in fields(PairErrors)]
    found = []
    for audit in range(count_audits):
        own = PairErrors(*(getattr(pairs.errors, name)[audit] for name in names))
        found.append(common_motion(Pairs(own, pairs.length_mm, pairs.spacing_mm)))
    return Speaks(
        planted.name,
        n_pairs,
        count_audits,
        round(float(np.mean([one.p <= ALPHA for one in found])), 4),
        round(float(np.median([one.seen_share for one in found])), 4),
        round(float(np.median([one.null_share for one in found])), 4),
    )


def write(rows: list[Any], to: Path, command: str, seed: int) -> None:
    """Write a table with a first line that says how it was made."""
    made = datetime.now(UTC).date().isoformat()
    versions = " ".join(
        f"{name} {version(name)}" for name in ("plumbpost", "numpy", "scipy")
    )
    with to.open("w", encoding="utf-8", newline="") as out:
        out.write(f"# {made}, {command}, seed {seed}, {versions}\n")
        table = csv.writer(out, lineterminator="\n")
        table.writerow([field.name for field in fields(rows[0])])
        table.writerows(astuple(row) for row in rows)


@click.command()
@click.option("--audits", "count_audits", default=5000, show_default=True)
@click.option("--tests", "count_tests", default=1000, show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--to", type=click.Path(path_type=Path), default=RESULTS)
def main(count_audits: int, count_tests: int, seed: int, to: Path) -> None:
    """Simulate every cell and write both tables."""
    cells, tests = [], []
    for planted in PLANTED:
        for n_pairs in PAIRS:
            cells += try_out(planted, n_pairs, count_audits, seed)
            tests.append(speaks(planted, n_pairs, count_tests, seed))
            click.echo(".", nl=False, err=True)
    click.echo(err=True)
    command = f"{COMMAND} --audits {count_audits} --tests {count_tests}"
    write(cells, to / COVERAGE.name, command, seed)
    write(tests, to / SPEAKS.name, command, seed)
    count_outside = sum(cell.is_within is False for cell in cells)
    count_judged = sum(cell.is_within is not None for cell in cells)
    click.echo(f"{count_outside} of {count_judged} judged cells outside their target")


if __name__ == "__main__":
    sys.exit(main())
