"""How often the interval of the learning slope holds the planted one, on invented cohorts.

`python -m tests.calibration.learning` draws cohorts of trainees with levels and slopes of
their own, fits the model of the page and counts how often the interval for twice as many
own cases holds the planted ratio, and how often it speaks of learning where there is none.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import click
import numpy as np

from pipeline.statistics.learning import learning

RESULTS = Path(__file__).with_name("results") / "learning.csv"
COHORTS = tuple(
    (n_trainees, most_cases, ratio, spread)
    for n_trainees in (6, 10, 20)
    for most_cases in (6, 20)
    for ratio in (1.0, 0.85)
    for spread in (0.0, 0.15)
)
"""Trainees, most cases of one, ratio after twice as many, sd of trainees' own slopes."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One row of the table."""

    n_trainees: int
    most_cases: int
    ratio: float
    spread: float
    count_cohorts: int
    covered: float
    spoke: float


def cohort(
    rng: np.random.Generator, n_trainees: int, most: int, ratio: float, spread: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return case means, own case numbers and trainees of one invented cohort."""
    counts = rng.integers(3, most + 1, size=n_trainees)
    who = np.repeat(np.arange(n_trainees), counts)
    number = np.concatenate([np.arange(1, n + 1) for n in counts]).astype(float)
    level = rng.normal(0.3, 0.25, n_trainees)[who]
    slope = rng.normal(np.log(ratio), spread, n_trainees)[who]
    logs = level + slope * np.log2(number) + rng.normal(0, 0.4, who.size)
    return np.exp(logs), number, who


def try_out(cell: tuple[int, int, float, float], count: int, seed: int) -> Cell:
    """Count over many cohorts of one kind."""
    rng = np.random.default_rng([seed, *(int(1000 * part) for part in cell)])
    held = spoke = 0
    for _ in range(count):
        found = learning(*cohort(rng, *cell))
        assert found.low is not None
        assert found.high is not None
        held += found.low <= cell[2] <= found.high
        spoke += not found.low <= 1 <= found.high
    return Cell(*cell, count, held / count, spoke / count)


def all_cells(count: int, seed: int) -> Iterator[Cell]:
    """Yield every kind of cohort."""
    for cell in COHORTS:
        yield try_out(cell, count, seed)


@click.command()
@click.option("--cohorts", default=2000, show_default=True)
@click.option("--seed", default=1, show_default=True)
def main(cohorts: int, seed: int) -> None:
    """Write the table, dated, with the command that made it."""
    said = (
        f"# {datetime.now(UTC).date()}, python -m tests.calibration.learning"
        f" --cohorts {cohorts} --seed {seed}, numpy {version('numpy')}"
    )
    with RESULTS.open("w", encoding="utf-8", newline="") as lines:
        lines.write(said + "\n")
        writer = csv.DictWriter(
            lines, [one.name for one in fields(Cell)], lineterminator="\n"
        )
        writer.writeheader()
        for cell in all_cells(cohorts, seed):
            row = asdict(cell)
            writer.writerow(
                row | {name: round(row[name], 4) for name in ("covered", "spoke")}
            )


if __name__ == "__main__":
    main()
