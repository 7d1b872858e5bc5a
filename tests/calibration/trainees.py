"""How often the two scores of trainees speak on invented cohorts of trainees.

`python -m tests.calibration.trainees` draws cases of trainees who fail at the acceptable
rate, at the unacceptable one, and of learners who move from the one to the other, and sets
how often each chart gave a signal beside the chance it states.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import TextIO

import click
import numpy as np
from numpy.typing import NDArray

from pipeline.statistics.monitoring import (
    Chart,
    Rates,
    learning_chart,
    performance_chart,
    too_few_planned,
)

RESULTS = Path(__file__).with_name("results") / "trainees.csv"
QUESTIONS = tuple(
    Rates(acceptable, unacceptable, n, 0.05)
    for acceptable, unacceptable in ((0.05, 0.15), (0.1, 0.25), (0.1, 0.3), (0.2, 0.4))
    for n in (6, 10, 30)
)


@dataclass(frozen=True, slots=True)
class Cell:
    """One row of the table: a chart, a kind of trainee, how often it gave a signal."""

    chart: str
    acceptable: float
    unacceptable: float
    n_cases: int
    trainee: str
    count_trainees: int
    stated: float | None
    signalled: float


def at_rates(rates: Rates) -> dict[str, NDArray[np.float64]]:
    """Return each kind of trainee with the failure rate of every case."""
    steady = np.ones(rates.n_planned)
    share = np.linspace(1, 0, rates.n_planned)
    learning = rates.acceptable + (rates.unacceptable - rates.acceptable) * share
    return {
        "acceptable": rates.acceptable * steady,
        "unacceptable": rates.unacceptable * steady,
        "learning": learning,
    }


def share_signalled(chart: Chart, has_failed: NDArray[np.bool_]) -> float:
    """Return the share of trainees, (trainees, cases), with a signal in their cases."""
    steps = np.where(has_failed != chart.is_learning, chart.rises, -chart.falls)
    score = np.zeros(len(steps))
    has_signal = np.zeros(len(steps), dtype=bool)
    for step in steps.T:
        score = np.maximum(0, score + step)
        has_signal |= score >= chart.limit - 1e-9
    return float(has_signal.mean())


def try_out(rates: Rates, count: int, seed: int) -> Iterator[Cell]:
    """Yield each chart with each kind of trainee."""
    charts: dict[str, Callable[[Rates], Chart]] = {"performance": performance_chart}
    if too_few_planned(rates) is None:
        charts["learning"] = learning_chart
    for name, chart_of in charts.items():
        chart = chart_of(rates)
        by_rate = {"acceptable": chart.false_alarm, "unacceptable": chart.power}
        if chart.is_learning:
            by_rate = {"unacceptable": chart.false_alarm, "acceptable": chart.power}
        for trainee, chances in at_rates(rates).items():
            rng = np.random.default_rng(seed)
            has_failed = rng.random((count, rates.n_planned)) < chances
            stated = by_rate.get(trainee)
            yield Cell(
                name,
                rates.acceptable,
                rates.unacceptable,
                rates.n_planned,
                trainee,
                count,
                None if stated is None else round(stated, 4),
                round(share_signalled(chart, has_failed), 4),
            )


def write(cells: Iterator[Cell], stream: TextIO, command: str) -> None:
    """Write the table under the date and the command that made it."""
    versions = " ".join(f"{name} {version(name)}" for name in ("plumbpost", "numpy"))
    stream.write(f"# {datetime.now(UTC).date()}, {command}, {versions}\n")
    writer = csv.DictWriter(
        stream, [field.name for field in fields(Cell)], lineterminator="\n"
    )
    writer.writeheader()
    writer.writerows(asdict(cell) for cell in cells)


@click.command()
@click.option("--trainees", default=20_000, show_default=True)
@click.option("--seed", default=1, show_default=True)
def main(trainees: int, seed: int) -> None:
    """Write tests/calibration/results/trainees.csv."""
    command = (
        f"python -m tests.calibration.trainees --trainees {trainees} --seed {seed}"
    )
    with RESULTS.open("w", encoding="utf-8", newline="") as stream:
        write(
            (cell for rates in QUESTIONS for cell in try_out(rates, trainees, seed)),
            stream,
            command,
        )
    sys.stdout.write(f"{RESULTS}\n")


if __name__ == "__main__":
    main()
