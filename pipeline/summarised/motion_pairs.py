"""The pairs an error budget is made of: one a patient, one jaw, one way of measuring."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from pipeline.reference import load
from pipeline.statistics.pair_errors import Floats, PairErrors, Pairs
from pipeline.statistics.patients import counted
from pipeline.summarised.values import NOT_KNOWN

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.warehouse import Warehouse

IN_MM: Final = ("shift_left", "shift_back", "shift_up", "spacing")
COLUMNS: Final = {
    "shift_left": "shift_left_mm",
    "shift_back": "shift_back_mm",
    "shift_up": "shift_up_mm",
    "roll": "roll_deg",
    "pitch": "pitch_deg",
    "yaw": "yaw_deg",
    "spacing": "spacing_mm",
    "convergence": "frontal_convergence_deg",
    "sagittal": "sagittal_difference_deg",
    "contradiction": "contradiction_deg",
}
"""Column of each of the ten numbers, in the order of `PairErrors`."""

RIGID: Final = tuple(COLUMNS)[:6]


@dataclass(frozen=True)
class Group:
    """Pairs that may share a budget.

    Attributes:
        group_by: the grouping.
        group_value: the group.
        n_cases: cases of the group that were operated and have a result.
        rows: one row a pair.
        sources: how they were measured, in words.
        left_out: what was not used, in words.
    """

    group_by: str
    group_value: str
    n_cases: int
    rows: pd.DataFrame
    sources: str
    left_out: tuple[str, ...]

    @property
    def n_pairs(self) -> int:
        """How many pairs are used."""
        return len(self.rows)

    @cached_property
    def pairs(self) -> Pairs:
        """The ten numbers of each pair; radians for turns and leans."""
        numbers = (self._numbers(name, column) for name, column in COLUMNS.items())
        return Pairs(
            PairErrors(*numbers),
            float(self.rows["planned_length_mm"].mean()),
            float(self.rows["planned_spacing_mm"].mean()),
        )

    @cached_property
    def superimposing(self) -> PairErrors | None:
        """Variance the superimposition gives to each number; None unless all tell it."""
        if self.count_superimposed < self.n_pairs or not self.n_pairs:
            return None
        six = (self._numbers(name, _sd_column(COLUMNS[name])) ** 2 for name in RIGID)
        nothing = (np.zeros(self.n_pairs) for _ in range(len(COLUMNS) - len(RIGID)))
        return PairErrors(*six, *nothing)

    @property
    def count_superimposed(self) -> int:
        """Pairs whose superimposition was made here, so that its error is known."""
        return int(self.rows["shift_left_sd_mm"].notna().sum())

    def reading_variance(self, column: str) -> float | None:
        """Mean variance of reading, of ``place_..`` (mm2) or ``lean_..`` (degrees2)."""
        sd = self.rows[column].to_numpy(float)
        return None if np.isnan(sd).any() else float(np.mean(sd**2))

    @property
    def is_reading_published(self) -> bool:
        """The error of reading is a published one for some of the pairs."""
        return not self.rows["is_reading_from_repeats"].eq(other=True).all()

    def _numbers(self, name: str, column: str) -> Floats:
        values: Floats = self.rows[column].to_numpy(float)
        return values if name in IN_MM else np.radians(values)


def _sd_column(column: str) -> str:
    stem, _, unit = column.rpartition("_")
    return f"{stem}_sd_{unit}"


def groups(warehouse: Warehouse) -> Iterator[Group]:
    """Yield the pairs of each group of groupings.csv, the whole first."""
    every = warehouse.frame(
        "select * from summarised.motion_values order by case_key, achieved_source"
    )
    cases = warehouse.frame(
        "select * from summarised.cases_used where has_achieved order by case_key"
    )
    known = every[every[list(COLUMNS.values())].notna().all(axis=1)]
    if known.empty:
        yield Group("overall", "all", len(cases), known, "", ())
        return
    known = known.assign(
        words=known["basis"] + ", " + known["achieved_source"],
        patient=known["patient_key"].factorize()[0],
    )
    of_jaw = _commonest(known, "jaw")
    one_source = _commonest(of_jaw, "words")
    for row in load.rows("groupings"):
        column = row["column"]
        if not column:
            yield _group(row["group_by"], "all", len(cases), one_source, known)
        elif column == "achieved_source":
            for words, apart in of_jaw.groupby("words", sort=True):
                yield _group(row["group_by"], str(words), len(cases), apart, apart)
        elif column in one_source and column in cases:
            in_words = one_source[column].fillna(NOT_KNOWN)
            for word in sorted(in_words.unique()):
                own = one_source[in_words == word]
                of_group = int((cases[column].fillna(NOT_KNOWN) == word).sum())
                yield _group(row["group_by"], str(word), of_group, own, own)


def _commonest(rows: pd.DataFrame, column: str) -> pd.DataFrame:
    """Return the rows that hold the commonest word of a column."""
    counts = rows[column].fillna(NOT_KNOWN).value_counts().sort_index()
    return rows[rows[column].fillna(NOT_KNOWN) == counts.idxmax()]


def _group(
    group_by: str, value: str, n_cases: int, rows: pd.DataFrame, among: pd.DataFrame
) -> Group:
    """Leave out what was changed on purpose and second pairs of a patient."""
    as_planned = rows[~rows["is_deliberate_change"].astype(bool)]
    used = as_planned.drop_duplicates("patient")
    left_out = (
        (len(rows) - len(as_planned), "changed on purpose"),
        (len(as_planned) - len(used), "of a patient who has another"),
        (len(among) - len(rows), "of another jaw or measured another way"),
    )
    words = tuple(
        f"{counted(number, 'pair')} left out: {why}"
        for number, why in left_out
        if number
    )
    sources = "; ".join(sorted(used["words"].unique()))
    return Group(group_by, value, n_cases, used, sources, words)
