"""How often an event rate's interval holds the planted rate.

`python -m tests.calibration.rates` draws the follow-up of invented clinics with the same
functions as the demo clinic (planted rates a denture-year, a gamma factor a patient) and
gives their counts and years to the function the reports use.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, TextIO

import click
import numpy as np

from pipeline.statistics.rates import event_rate
from synthetic_data.follow_up import draw
from synthetic_data.truths import EventTruth, Truths

RESULTS = Path(__file__).with_name("results") / "rates.csv"
TRUTHS = Truths()
KIND = "stud"
EVENTS = ("sore_spot", "insert_renewed", "screw_loose")
PERIODS = ("first_year", "later")
DENTURES = (8, 12, 24, 60)
VARIANCES = (0.0, TRUTHS.frailty_variance, 2.0)
LOWEST = {12: 0.91, 24: 0.92, 60: 0.93}
"""Target of the coverage by dentures drawn; of twelve, some never reach the later time."""
FIRST_DAY, LAST_DAY = np.datetime64("2020-01-01"), np.datetime64("2025-12-31")


@dataclass(frozen=True, slots=True)
class Cell:
    """One row of the table: a planted rate, and how its intervals fared."""

    event: str
    period: str
    rate: float
    frailty_variance: float
    n_dentures: int
    count_audits: int
    count_refused: int
    coverage: float
    below: float
    above: float
    median_high: float
    is_within: bool | None


def planted(event: str) -> EventTruth:
    """Return the planted rates of an event of that kind of attachment."""
    return next(t for t in TRUTHS.events if t.event == event and KIND in t.attachments)


def settings() -> Iterator[tuple[str, float, int]]:
    """Yield event, variance between patients and dentures of every cell."""
    for event in EVENTS:
        for variance in VARIANCES:
            for n_dentures in DENTURES:
                yield event, variance, n_dentures


def try_out(
    event: str, variance: float, n_dentures: int, count_audits: int, seed: int
) -> list[Cell]:
    """Draw many clinics and count how often the interval holds the planted rate.

    Returns:
        A cell for the first year and one for later.
    """
    truth = planted(event)
    truths = replace(TRUTHS, events=(truth,), frailty_variance=variance)
    rng = np.random.default_rng([seed, EVENTS.index(event), n_dentures])
    drawn = draw(_cases(n_dentures * count_audits, rng), truths, rng)
    dentures, events = drawn["dentures"], drawn["events"]
    cells = []
    for period, rate in zip(
        PERIODS, (truth.rate_first_year, truth.rate_later), strict=True
    ):
        rows = events["case_row"][events["period"] == period]
        counts = np.bincount(rows, minlength=n_dentures * count_audits)
        years = dentures[f"years_{period}"]
        found = [
            event_rate(e, x, range(n_dentures))
            for e, x in zip(
                counts.reshape(count_audits, -1),
                years.reshape(count_audits, -1),
                strict=True,
            )
        ]
        limits = np.array(
            [(f.low, f.high) for f in found if f.low is not None], dtype=float
        )
        below = float(np.mean(limits[:, 1] < rate))
        above = float(np.mean(limits[:, 0] > rate))
        coverage = round(1 - below - above, 4)
        cells.append(
            Cell(
                event,
                period,
                rate,
                variance,
                n_dentures,
                count_audits,
                count_audits - len(limits),
                coverage,
                round(below, 4),
                round(above, 4),
                round(float(np.median(limits[:, 1])), 4),
                coverage >= LOWEST[n_dentures] if n_dentures in LOWEST else None,
            )
        )
    return cells


def _cases(n: int, rng: np.random.Generator) -> dict[str, Any]:
    span = int((LAST_DAY - FIRST_DAY).astype(int))
    return {
        "case_id": np.arange(n),
        "surgery_day": FIRST_DAY + rng.integers(0, span, n).astype("timedelta64[D]"),
        "attachment": np.full(n, KIND),
        "exit_status": np.where(rng.uniform(size=n) < 0.1, "died", "active"),
    }


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
    cells: list[Cell] = []
    for event, variance, n_dentures in settings():
        cells += try_out(event, variance, n_dentures, count_audits, seed)
    command = f"python -m tests.calibration.rates --audits {count_audits}"
    with to.open("w", encoding="utf-8", newline="") as table:
        write(cells, table, command, seed)
    outside = sum(cell.is_within is False for cell in cells)
    judged = sum(cell.is_within is not None for cell in cells)
    click.echo(f"{outside} of {judged} judged cells below their target")


if __name__ == "__main__":
    sys.exit(main())
