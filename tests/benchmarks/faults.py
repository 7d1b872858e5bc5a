"""The fault benchmark: how many faults of each kind are found, and named rightly.

Run as ``python -m tests.benchmarks.faults`` (``make faults``). Writes ``faults.csv``,
``faults_clean.csv`` and ``fault_kinds.csv`` into ``tests/benchmarks/results``.
"""

from __future__ import annotations

import csv
import logging
import sys
import warnings
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from time import perf_counter
from typing import Any

import click

from tests.benchmarks.fault_run import SERIOUS, Counts, Found, Outcome, benchmark

RESULTS = Path(__file__).with_name("results")
FAULTS, CLEAN, KINDS = "faults.csv", "faults_clean.csv", "fault_kinds.csv"

FOUND, DIAGNOSED, HELD = 0.95, 0.80, 1 / 200
"""What to reach: serious faults found, faults of points named rightly, clean cases held."""


def can_be_seen(one: Found) -> bool:
    """Whether any check could see a fault of this kind and strength."""
    return not one.kind.why_unseen[one.strength]


def share(found: Sequence[Found], name: str) -> float:
    """Return a count over all faults of some kinds."""
    return sum(getattr(one, name) for one in found) / sum(one.n for one in found)


def told(outcome: Outcome) -> dict[str, float]:
    """Return the figures that are to be reached."""
    serious = [
        one
        for one in outcome.found
        if one.kind.severity in SERIOUS and can_be_seen(one)
    ]
    of_points = [one for one in serious if one.kind.is_of_points]
    n_cases, count_held = (
        sum(pair) for pair in zip(*outcome.clean.values(), strict=True)
    )
    return {
        "serious_found": share(serious, "count_found"),
        "points_diagnosed": share(of_points, "count_diagnosed"),
        "points_alone": share(of_points, "count_alone"),
        "clean_held": count_held / n_cases,
    }


def write(outcome: Outcome, folder: Path, command: str, seed: int) -> None:
    """Write the three tables, each with a first line that says how it was made."""
    made = datetime.now(UTC).date().isoformat()
    versions = " ".join(f"{n} {version(n)}" for n in ("plumbpost", "duckdb", "numpy"))
    first = f"# {made}, {command}, seed {seed}, {versions}\n"
    _table(
        folder / FAULTS,
        first,
        ("kind", "severity", "strength", "n", "count_found", "count_diagnosed"),
        (
            (
                one.kind.name,
                one.kind.severity,
                one.strength + 1,
                one.n,
                one.count_found,
                one.count_diagnosed,
            )
            for one in outcome.found
        ),
    )
    _table(
        folder / CLEAN,
        first,
        ("shape", "n_cases", "count_held"),
        ((shape, *counts) for shape, counts in outcome.clean.items()),
    )
    _table(
        folder / KINDS,
        first,
        ("kind", "shape", "unit", "strength", "meaning", "count_alone", "why_unseen"),
        (
            (
                one.kind.name,
                one.kind.shape,
                "file" if one.kind.is_of_file else "case",
                one.strength + 1,
                one.kind.strengths[one.strength],
                one.count_alone if one.kind.is_of_points else "",
                one.kind.why_unseen[one.strength],
            )
            for one in outcome.found
        ),
    )


def _table(
    path: Path, first: str, names: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    with path.open("w", encoding="utf-8", newline="") as handle:
        handle.write(first)
        table = csv.writer(handle, lineterminator="\n")
        table.writerow(names)
        table.writerows(rows)


@click.command()
@click.option("--cases", "count_cases", default=40, show_default=True)
@click.option("--files", "count_files", default=12, show_default=True)
@click.option("--clean", "count_clean", default=960, show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--to", type=click.Path(path_type=Path), default=RESULTS)
def main(
    count_cases: int, count_files: int, count_clean: int, seed: int, to: Path
) -> None:
    """Plant every kind of fault, check all records in one run, write the tables."""
    logging.getLogger("great_expectations").setLevel(logging.ERROR)
    warnings.simplefilter("ignore", DeprecationWarning)
    start = perf_counter()
    outcome = benchmark(
        seed, Counts(cases=count_cases, files=count_files, clean=count_clean)
    )
    command = (
        f"python -m tests.benchmarks.faults --cases {count_cases}"
        f" --files {count_files} --clean {count_clean}"
    )
    to.mkdir(parents=True, exist_ok=True)
    write(outcome, to, command, seed)
    for name, value in told(outcome).items():
        click.echo(f"{name:18} {value:.4f}")
    for one in outcome.found:
        falls_short = one.count_found < FOUND * one.n and can_be_seen(one)
        is_misnamed = one.kind.is_of_points and one.count_diagnosed < DIAGNOSED * one.n
        if falls_short or (is_misnamed and can_be_seen(one)):
            counts = (
                f"{one.n} planted, {one.count_found} found, {one.count_diagnosed} named"
            )
            click.echo(f"short: {one.kind.name} {one.strength + 1}: {counts}")
    click.echo(f"{perf_counter() - start:.0f} s", err=True)


if __name__ == "__main__":
    sys.exit(main())
