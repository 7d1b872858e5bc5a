"""What speaks for and against a cause, in sentences about the numbers of a pair."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import degrees
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from pipeline.reference import load
from pipeline.statistics.signatures import (
    MODES,
    NUMBERS,
    SEEN,
    Seen,
    locating_covariance,
)

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]

RIGID: Final = MODES[:6]
IN_MM: Final = tuple(
    row["number"] for row in load.rows("cause_numbers") if row["unit"] == "mm"
)
COLUMNS: Final = {row["number"]: row["column"] for row in load.rows("cause_numbers")}
MOST_SAID: Final = 3
"""Numbers named for or against one cause, the largest first."""


def seen_of(rows: pd.DataFrame) -> Seen:
    """Return what was seen of each case of summarised.cause_numbers.

    A pair known by its leans against each other alone has no length and no distance:
    they play no part in those, so 1 mm stands for them.
    """

    def column(name: str, *, is_angle: bool = False) -> Floats:
        values = rows[name].to_numpy(dtype=np.float64, na_value=np.nan)
        return np.radians(values) if is_angle else values

    def number(name: str, of: str = "{}") -> Floats:
        stem, _, unit = COLUMNS[name].rpartition("_")
        return column(of.format(stem) + f"_{unit}", is_angle=unit == "deg")

    n = len(rows)
    length = np.nan_to_num(column("planned_length_mm"), nan=1.0)
    spacing = np.nan_to_num(column("planned_spacing_mm"), nan=1.0)
    covariance = np.zeros((n, len(NUMBERS), len(NUMBERS)))
    covariance[:, : len(MODES), : len(MODES)] = locating_covariance(
        column("place_reading_sd_mm"),
        column("lean_reading_sd_deg", is_angle=True),
        np.stack([number(name, "{}_sd") for name in RIGID], axis=-1),
        length,
        spacing,
    )
    pair_lean = column("pair_lean_sd_deg", is_angle=True) ** 2 / 2
    for name in ("convergence", "sagittal"):
        at = NUMBERS.index(name)
        own = covariance[:, at, at]
        covariance[:, at, at] = np.where(np.isnan(pair_lean), own, pair_lean)
    for name in NUMBERS[len(MODES) :]:
        at = NUMBERS.index(name)
        is_lean = name not in IN_MM
        sd = "guide_lean_sd_deg" if is_lean else "guide_spacing_sd_mm"
        covariance[:, at, at] = column(sd, is_angle=is_lean) ** 2
    return Seen(
        np.stack([number(name) for name in NUMBERS], axis=-1),
        covariance,
        length,
        spacing,
        column("hole_above_entry_mm"),
    )


def numbers_said(
    numbers: Floats, times: Floats, which: NDArray[np.bool_]
) -> Iterable[str]:
    """Yield a sentence for each number that is seen, the clearest first.

    Args:
        numbers: the thirteen numbers of one pair, (13,), mm and radians.
        times: the same in units of their uncertainty, or what is left over of them.
        which: the numbers to be named where they are seen.
    """
    phrases = load.rows("cause_numbers")
    size = np.where(which, np.abs(np.nan_to_num(times)), 0.0)
    for at in np.argsort(-size, kind="stable")[:MOST_SAID]:
        if size[at] < SEEN:
            return
        row, value = phrases[at], float(numbers[at])
        amount = abs(value) if row["unit"] == "mm" else degrees(abs(value))
        unit = " mm" if row["unit"] == "mm" else "°"
        phrase = row["positive" if value > 0 else "negative"]
        yield phrase.format(size=f"{amount:.1f}{unit}")


def made_by(times: Floats, left_over: Floats) -> NDArray[np.bool_]:
    """Tell which numbers of one pair a pattern makes, at least by half, (13,).

    Args:
        times: the numbers in units of their uncertainty, 0 where not known.
        left_over: what the pattern leaves over of them.
    """
    made: NDArray[np.bool_] = (times - left_over) * np.sign(times) >= np.abs(times) / 2
    return made


def joined(sentences: Sequence[str]) -> str | None:
    """Return sentences in one cell; None where there are none."""
    return "; ".join(sentences) or None
