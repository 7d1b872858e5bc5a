"""How often the interval of a change holds the truth: `python -m tests.calibration.changes`.

Two groups of other patients are drawn for every cell, the later one with errors three
quarters as large, and given to the functions the reports use: the difference of the means
by Welch, and their ratio on the log scale.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

from pipeline.statistics.change import Change, change_of_mean, ratio_of_means
from pipeline.statistics.means import clustered_mean
from tests.calibration.budget import RESULTS, write
from tests.calibration.planted import ERRORS, Setting, Shape, audits

TABLE = RESULTS / "changes.csv"
COMMAND = "python -m tests.calibration.changes"
LIKENESS = (0.0, 0.3, 0.6)
MISSING = (0.0, 0.2)
PATIENTS = ((6, 6), (6, 15), (15, 6), (15, 15), (30, 30))
"""Of the later group and of the one before."""
TIMES = 0.75
"""The later errors over the earlier ones."""
TARGETS = {"difference": (0.925, 0.97), "ratio": (0.925, 0.97)}


@dataclass(frozen=True, slots=True)
class Cell:
    """One row of the table.

    Attributes:
        below: share of intervals that lie wholly below the truth.
        above: share that lie wholly above it.
        is_within: whether the coverage reaches its target.
    """

    estimate: str
    shape: str
    icc: float
    n_now: int
    n_before: int
    missing: float
    count_audits: int
    truth: float
    coverage: float
    below: float
    above: float
    target_low: float
    target_high: float
    is_within: bool


def settings_of() -> Iterator[tuple[Shape, float, tuple[int, int], float]]:
    """Yield every cell: shape of the errors, likeness, patients, part missing."""
    for shape in ERRORS:
        for icc in LIKENESS:
            for patients in PATIENTS:
                for missing in MISSING:
                    yield shape, icc, patients, missing


def try_out(
    shape: Shape,
    icc: float,
    patients: tuple[int, int],
    missing: float,
    count_audits: int,
    seed: int,
) -> list[Cell]:
    """Draw the audits of one cell and count where both intervals lie."""
    key = (int(10 * icc), *patients, int(10 * missing))
    rng = np.random.default_rng([seed, *key, *shape.name.encode()])
    now, before = (
        audits(Setting(shape, icc, n, missing), count_audits, rng) for n in patients
    )
    found: dict[str, list[Change]] = {"difference": [], "ratio": []}
    for later, earlier in zip(now, before, strict=True):
        means = clustered_mean(TIMES * later[0], later[1]), clustered_mean(*earlier)
        found["difference"].append(change_of_mean(*means))
        found["ratio"].append(ratio_of_means(*means))
    truths = {"difference": (TIMES - 1) * shape.mean, "ratio": TIMES}
    cells = []
    for estimate, changes in found.items():
        limits = np.array([(one.low, one.high) for one in changes], dtype=np.float64)
        below = float(np.mean(limits[:, 1] < truths[estimate]))
        above = float(np.mean(limits[:, 0] > truths[estimate]))
        low, high = TARGETS[estimate]
        cells.append(
            Cell(
                estimate,
                shape.name,
                icc,
                *patients,
                missing,
                count_audits,
                round(truths[estimate], 6),
                round(1 - below - above, 4),
                round(below, 4),
                round(above, 4),
                low,
                high,
                low <= 1 - below - above <= high,
            )
        )
    return cells


@click.command()
@click.option("--audits", "count_audits", default=5000, show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--to", type=click.Path(path_type=Path), default=RESULTS)
def main(count_audits: int, seed: int, to: Path) -> None:
    """Simulate every cell and write the table."""
    cells = []
    for setting in settings_of():
        cells += try_out(*setting, count_audits, seed)
        click.echo(".", nl=False, err=True)
    click.echo(err=True)
    write(cells, to / TABLE.name, f"{COMMAND} --audits {count_audits}", seed)
    count_outside = sum(not cell.is_within for cell in cells)
    click.echo(f"{count_outside} of {len(cells)} cells outside their target")


if __name__ == "__main__":
    sys.exit(main())
