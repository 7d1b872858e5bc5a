"""The values a summary is made of: one measure, one source, with its groups.

Figures of different sources are not merged unless the settings say so: a summary of a
measure uses the source that most implants have; the others stand apart under the
grouping by source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.reference import load

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.warehouse import Warehouse


@dataclass(frozen=True, slots=True)
class Measure:
    """A measure, as reference/measures.csv states it."""

    measure: str
    place: str
    unit: str
    is_error: bool
    is_primary: bool
    label: str


def measures() -> tuple[Measure, ...]:
    """Return the measures in their order."""
    return tuple(
        Measure(
            row["measure"],
            row["place"],
            row["unit"],
            row["kind"] == "error",
            row["is_primary"] == "yes",
            row["label"],
        )
        for row in load.rows("measures")
    )


@dataclass(frozen=True)
class Values:
    """Values of one measure that may share a mean.

    Attributes:
        measure: the measure.
        rows: case_key, patient (integer label), value and the group columns.
        sources: basis and source in words.
    """

    measure: Measure
    rows: pd.DataFrame
    sources: str

    @property
    def numbers(self) -> np.ndarray[Any, np.dtype[np.float64]]:
        """The values, shape (n,)."""
        return self.rows["value"].to_numpy(dtype=np.float64)

    @property
    def patients(self) -> np.ndarray[Any, np.dtype[np.int64]]:
        """An integer label of the patient of each value, shape (n,)."""
        return self.rows["patient"].to_numpy(dtype=np.int64)

    @property
    def n_cases(self) -> int:
        """Number of treated jaws."""
        return int(self.rows["case_key"].nunique())

    @property
    def n_patients(self) -> int:
        """Number of persons."""
        return int(self.rows["patient"].nunique())

    def where(self, keep: Any) -> Values:
        """Return the values of the rows to keep."""
        return Values(self.measure, self.rows[keep], self.sources)


class Audited:
    """All values that count in a run, by measure and source.

    Args:
        warehouse: the audit being made, measured.
        merge_sources: figures of different sources may share a mean.
    """

    def __init__(self, warehouse: Warehouse, *, merge_sources: bool) -> None:
        self._frames = {
            "implants": warehouse.frame("select * from summarised.implant_values"),
            "pairs": warehouse.frame("select * from summarised.pair_values"),
        }
        for frame in self._frames.values():
            frame["patient"] = frame["patient_key"].factorize()[0]
            frame["source_words"] = frame["basis"] + ", " + frame["achieved_source"]
        self._merge = merge_sources

    def all_sources(self, measure: Measure) -> Values:
        """Return every value of a measure, whatever its source."""
        frame = self._frames[measure.place]
        rows = frame[frame[measure.measure].notna()]
        rows = rows.assign(value=rows[measure.measure])
        words = sorted(rows["source_words"].unique())
        return Values(measure, rows, "; ".join(words))

    def of(self, measure: Measure) -> Values:
        """Return the values that may share a mean: one source, or all if merged."""
        everything = self.all_sources(measure)
        if self._merge or everything.rows.empty:
            return everything
        counts = everything.rows["source_words"].value_counts()
        first = min(counts.index[counts == counts.max()])
        kept = everything.where(everything.rows["source_words"] == first)
        return Values(measure, kept.rows, first)

    def by_source(self, measure: Measure) -> Iterator[tuple[str, Values]]:
        """Yield each source apart."""
        everything = self.all_sources(measure)
        for words, rows in everything.rows.groupby("source_words"):
            yield str(words), Values(measure, rows, str(words))

    def groups(self, measure: Measure) -> Iterator[tuple[str, str, Values]]:
        """Yield (group_by, group_value, values) for every grouping of groupings.csv."""
        values = self.of(measure)
        for row in load.rows("groupings"):
            name, column = row["group_by"], row["column"]
            if not column:
                yield name, "all", values
            elif column == "achieved_source":
                for words, apart in self.by_source(measure):
                    yield name, words, apart
            elif column in values.rows:
                known = values.rows[column].fillna("not known")
                for group in sorted(known.unique()):
                    yield name, str(group), values.where(known == group)
