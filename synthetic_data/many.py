"""Write very many cases for benchmarks, in blocks, without a loop over rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from synthetic_data.allotment import COUNT_OPERATED, Columns
from synthetic_data.demo import GUIDE_METHODS, LEVELS
from synthetic_data.draw_clinic import make_clinic

CASES_A_BLOCK = 1000 * COUNT_OPERATED


def blocks(n_cases: int, seed: int) -> Iterator[dict[str, Columns]]:
    """Yield clinics of at most ``CASES_A_BLOCK`` cases that add up to ``n_cases``.

    Case numbers run on from block to block; each block has its own stream of draws.
    """
    seeds = np.random.SeedSequence(seed).generate_state(n_cases // CASES_A_BLOCK + 1)
    for number, first in enumerate(range(0, n_cases, CASES_A_BLOCK)):
        count = min(CASES_A_BLOCK, n_cases - first)
        tables = make_clinic(count, int(seeds[number]), with_follow_up=False)
        for table in tables.values():
            per_case = len(table["case_id"]) // count
            ids = np.char.add("K", (np.arange(count) + first + 1).astype(str))
            table["case_id"] = np.repeat(ids, per_case)
        yield tables


def write_coordinates_csv(path: Path, n_cases: int, seed: int) -> None:
    """Write an ``implants`` sheet with two implants a case, coordinates in one frame.

    Args:
        path: CSV file to write.
        n_cases: number of cases; half a million give a million implants.
        seed: the same seed gives the same file.
    """
    _write(path, n_cases, seed, _coordinates)


def write_cases_csv(path: Path, n_cases: int, seed: int) -> None:
    """Write the ``cases`` sheet that belongs to :func:`write_coordinates_csv`."""
    _write(path, n_cases, seed, _cases)


def _write(
    path: Path,
    n_cases: int,
    seed: int,
    columns_of: Callable[[dict[str, Columns]], Columns],
) -> None:
    # Here and not above: the generator itself does without it.
    import pandas as pd

    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as handle:
        for number, tables in enumerate(blocks(n_cases, seed)):
            frame = pd.DataFrame(columns_of(tables), copy=False)
            frame.to_csv(handle, index=False, header=number == 0, lineterminator="\n")


def _coordinates(tables: dict[str, Columns]) -> Columns:
    cases, implants, readings = tables["cases"], tables["implants"], tables["readings"]
    length = implants["planned_length_mm"].astype(np.int64)
    return {
        "case_id": implants["case_id"],
        "side": implants["side"],
        "tooth": implants["tooth"],
        **{name: column for name, column in implants.items() if _is_plan(name)},
        **{name: column for name, column in readings.items() if _is_achieved(name)},
        "achieved_source": np.repeat(cases["achieved_source"], 2),
        "planned_length_mm": length,
        "placed_length_mm": length,
        "diameter_mm": np.full(len(length), 4.0),
        "measured_date": np.repeat(cases["surgery_day"], 2).astype(str),
        "examiner": np.full(len(length), "Ristobel"),
        "reading": readings["reading"],
    }


def _cases(tables: dict[str, Columns]) -> Columns:
    cases = tables["cases"]
    guidance = cases["guidance"]
    guided = guidance != "freehand"
    return {
        "case_id": cases["case_id"],
        "surgery_date": cases["surgery_day"].astype(str),
        "operator": cases["operator"],
        "operator_level": _translated(cases["operator"], LEVELS),
        "guide_lab": cases["guide_lab"],
        "guide_method": _translated(guidance, GUIDE_METHODS),
        "guide_support": np.where(guided, "mucosa", "none"),
        "guidance": guidance,
        "attachment": cases["attachment"],
    }


def _translated(words: NDArray[Any], meaning: dict[str, str]) -> NDArray[Any]:
    found, place = np.unique(words, return_inverse=True)
    return np.array([meaning[word] for word in found])[place]


def _is_plan(name: str) -> bool:
    return name.startswith("planned_") and name != "planned_length_mm"


def _is_achieved(name: str) -> bool:
    return name.startswith("achieved_")
