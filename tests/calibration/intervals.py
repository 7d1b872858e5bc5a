"""How often the 95 % intervals hold the truth: `python -m tests.calibration.intervals`.

Many invented audits are drawn for every cell (shape of the errors, likeness of the two
implants, patients, missing second implants) and given to the same functions the reports
use. The table tells how often the interval held the planted truth, and on which side it
missed. Shares and quantiles depend on the order of the errors only, so one shape stands
for all. The intraclass correlation is judged against the correlation of the square roots
that follows from the planted one.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, Protocol, TextIO

import click
import numpy as np
from scipy.special import ndtri

from pipeline.statistics.clustering import intraclass_correlation
from pipeline.statistics.means import clustered_mean, signed_mean
from pipeline.statistics.quantiles import clustered_quantile
from pipeline.statistics.shares import clustered_share
from tests.calibration.planted import (
    ERRORS,
    SCORES,
    SIGNED,
    Setting,
    Shape,
    audits,
    correlation_on_root_scale,
)

RESULTS = Path(__file__).with_name("results") / "intervals.csv"
LIKENESS = (0.0, 0.3, 0.6)
PATIENTS = (8, 15, 30, 60)
MISSING = (0.0, 0.2)
JUDGED_FROM = 15
"""Targets hold from this many patients."""


class Interval(Protocol):
    """What every estimator gives back."""

    @property
    def low(self) -> float | None:
        """Lower limit."""

    @property
    def high(self) -> float | None:
        """Upper limit."""


@dataclass(frozen=True, slots=True)
class Estimator:
    """An interval on trial.

    Attributes:
        name: printed in the table.
        p: the share or quantile planted, where there is one.
        shapes: the shapes of errors it is tried on.
        estimate: the function of values and patients.
        truth: the planted truth in a setting.
        target: the coverage promised from 15 patients, lower and upper end; none for
            a method tried for comparison.
        fewest_patients: cells with fewer are left out.
    """

    name: str
    p: float | None
    shapes: tuple[Shape, ...]
    estimate: Callable[[Any, Any], Interval]
    truth: Callable[[Setting], float]
    target: tuple[float, float] | None
    fewest_patients: int = 8


def _share(p: float) -> Estimator:
    limit = float(ndtri(p))
    return Estimator(
        "share",
        p,
        (SCORES,),
        lambda values, patients: clustered_share(values <= limit, patients),
        lambda _: p,
        (0.935, 1.0),
    )


def _quantile(p: float, fewest_patients: int) -> Estimator:
    return Estimator(
        "quantile",
        p,
        (SCORES,),
        lambda values, patients: clustered_quantile(values, patients, p),
        lambda _: float(ndtri(p)),
        (0.935, 1.0),
        fewest_patients,
    )


ESTIMATORS = (
    Estimator(
        "mean, skew-corrected",
        None,
        ERRORS,
        clustered_mean,
        lambda setting: setting.shape.mean,
        (0.935, 0.965),
    ),
    Estimator(
        "mean, plain t",
        None,
        ERRORS,
        signed_mean,
        lambda setting: setting.shape.mean,
        None,
    ),
    Estimator(
        "signed mean",
        None,
        SIGNED,
        signed_mean,
        lambda setting: setting.shape.mean,
        (0.935, 0.965),
    ),
    *(_share(p) for p in (0.5, 0.8, 0.95)),
    _quantile(0.5, 8),
    _quantile(0.9, 15),
    _quantile(0.95, 30),
    Estimator(
        "intraclass correlation",
        None,
        ERRORS,
        lambda values, patients: intraclass_correlation(
            values, patients, is_error=True
        ),
        lambda setting: correlation_on_root_scale(setting.shape, setting.icc),
        (0.925, 1.0),
    ),
)


@dataclass(frozen=True, slots=True)
class Cell:
    """One row of the table.

    Attributes:
        coverage: share of the intervals given that hold the truth; a limit that does
            not exist holds everything on its side.
        below: share that lie wholly below the truth.
        above: share that lie wholly above the truth.
        median_width: of the intervals with both limits; empty without any.
        is_within: whether the coverage reaches the target; empty without target.
    """

    estimator: str
    p: float | None
    shape: str
    icc: float
    n_patients: int
    missing: float
    count_audits: int
    count_refused: int
    coverage: float
    below: float
    above: float
    median_width: float | None
    target_low: float | None
    target_high: float | None
    is_within: bool | None


def settings_of(estimator: Estimator) -> Iterator[Setting]:
    """Every kind of audit an estimator is tried on."""
    for shape in estimator.shapes:
        for icc in LIKENESS:
            for n_patients in PATIENTS:
                for missing in MISSING:
                    if n_patients >= estimator.fewest_patients:
                        yield Setting(shape, icc, n_patients, missing)


def try_out(
    estimator: Estimator, setting: Setting, count_audits: int, seed: int
) -> Cell:
    """Draw the audits of one cell and count where the intervals lie.

    The draws depend on the seed and on the setting only, so two estimators tried on
    one setting see the same audits.
    """
    key = (int(10 * setting.icc), setting.n_patients, int(10 * setting.missing))
    rng = np.random.default_rng([seed, *key, *setting.shape.name.encode()])
    results = [
        estimator.estimate(values, patients)
        for values, patients in audits(setting, count_audits, rng)
    ]
    limits = np.array(
        [(result.low, result.high) for result in results], dtype=np.float64
    )
    low, high = limits.T
    is_given = ~(np.isnan(low) & np.isnan(high))
    truth = estimator.truth(setting)
    # a comparison with a limit that does not exist is false: no miss on that side
    below = float(np.mean(high[is_given] < truth))
    above = float(np.mean(low[is_given] > truth))
    widths = (high - low)[~np.isnan(high - low)]
    coverage = 1 - below - above
    target = estimator.target if setting.n_patients >= JUDGED_FROM else None
    return Cell(
        estimator=estimator.name,
        p=estimator.p,
        shape=setting.shape.name,
        icc=setting.icc,
        n_patients=setting.n_patients,
        missing=setting.missing,
        count_audits=count_audits,
        count_refused=int(np.count_nonzero(~is_given)),
        coverage=round(coverage, 4),
        below=round(below, 4),
        above=round(above, 4),
        median_width=round(float(np.median(widths)), 4) if widths.size else None,
        target_low=target[0] if target else None,
        target_high=target[1] if target else None,
        is_within=target[0] <= coverage <= target[1] if target else None,
    )


def write(cells: list[Cell], to: TextIO, command: str, seed: int) -> None:
    """Write the table with a first line that says how it was made."""
    made = datetime.now(UTC).date().isoformat()
    versions = " ".join(
        f"{name} {version(name)}" for name in ("plumbpost", "numpy", "scipy")
    )
    to.write(f"# {made}, {command}, seed {seed}, {versions}\n")
    names = list(Cell.__slots__)
    table = csv.writer(to, lineterminator="\n")
    table.writerow(names)
    table.writerows([getattr(cell, name) for name in names] for cell in cells)


@click.command()
@click.option("--audits", "count_audits", default=5000, show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--to", type=click.Path(path_type=Path), default=RESULTS)
def main(count_audits: int, seed: int, to: Path) -> None:
    """Simulate every cell and write the table of coverages."""
    cells = []
    for estimator in ESTIMATORS:
        for setting in settings_of(estimator):
            cells.append(try_out(estimator, setting, count_audits, seed))
            click.echo(".", nl=False, err=True)
    click.echo(err=True)
    command = f"python -m tests.calibration.intervals --audits {count_audits}"
    with to.open("w", encoding="utf-8", newline="") as table:
        write(cells, table, command, seed)
    count_outside = sum(cell.is_within is False for cell in cells)
    count_judged = sum(cell.is_within is not None for cell in cells)
    click.echo(f"{count_outside} of {count_judged} judged cells outside their target")


if __name__ == "__main__":
    sys.exit(main())
