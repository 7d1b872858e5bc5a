"""The values a summary is made of: one measure, one source, with its groups.

Figures of different sources are not merged unless the settings say so: a summary of a
measure uses the source that most implants have; the others stand apart under the
grouping by source. Films are for screening: they never share a mean with anything else,
and they are no headline while there is another source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipeline.reference import load

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.warehouse import Warehouse

SOURCE = "source_words"
NOT_KNOWN = "not known"
KEPT = (
    "case_key",
    "patient_key",
    "side",
    "jaw",
    "centre_code",
    "surgery_date",
    "is_deliberate_change",
    "guide_used",
)
"""Columns a summary needs beside the measures and the groups."""


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


def _is_screening(source_words: str) -> bool:
    """Tell whether a source is one to screen with, such as a film."""
    return source_words in {
        f"{row['basis']}, {row['achieved_source']}"
        for row in load.rows("source_order")
        if row["grade"] == "screening"
    }


class _Table:
    """A summarised table as arrays: words and keys as small integers with their names."""

    def __init__(self, frame: pd.DataFrame) -> None:
        self.frame = frame
        self.codes: dict[str, NDArray[np.intp]] = {}
        self.names: dict[str, NDArray[Any]] = {}

    def coded(self, column: str) -> tuple[NDArray[np.intp], NDArray[Any]]:
        """Return each row's integer for a word column, and the words by integer."""
        if column not in self.codes:
            words = self.frame[column].astype(object).fillna(NOT_KNOWN)
            codes, names = words.factorize(sort=True)
            self.codes[column], self.names[column] = codes, np.asarray(names)
        return self.codes[column], self.names[column]

    def numbers(self, column: str) -> NDArray[np.float64]:
        """Return a column of numbers, NaN where null."""
        return self.frame[column].to_numpy(dtype=np.float64, na_value=np.nan)


def _different(codes: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the different codes in order; small integers, so counting beats sorting."""
    return np.flatnonzero(np.bincount(codes))


@dataclass(frozen=True)
class Values:
    """Values of one measure that may share a mean.

    Attributes:
        measure: the measure.
        table: the table its rows stand in.
        index: the rows, shape (n,).
        sources: basis and source in words.
    """

    measure: Measure
    table: _Table
    index: NDArray[np.intp]
    sources: str

    @property
    def is_empty(self) -> bool:
        """There is no value."""
        return not len(self.index)

    @property
    def numbers(self) -> NDArray[np.float64]:
        """The values, shape (n,)."""
        return self.table.numbers(self.measure.measure)[self.index]

    @property
    def patients(self) -> NDArray[np.intp]:
        """An integer label of the patient of each value, shape (n,)."""
        return self.table.coded("patient_key")[0][self.index]

    @property
    def n_cases(self) -> int:
        """Number of treated jaws."""
        return len(_different(self.table.coded("case_key")[0][self.index]))

    @property
    def n_patients(self) -> int:
        """Number of persons."""
        return len(_different(self.patients))

    @property
    def rows(self) -> pd.DataFrame:
        """The rows of the table with a column ``value``."""
        return self.table.frame.iloc[self.index].assign(value=self.numbers)

    def where(self, keep: NDArray[np.bool_]) -> Values:
        """Return the values to keep, given one flag a value."""
        return Values(self.measure, self.table, self.index[keep], self.sources)

    def having(self, column: str, words: list[str]) -> Values:
        """Return the values whose word in a column is one of ``words``."""
        codes, names = self.table.coded(column)
        return self.where(np.isin(names, words)[codes[self.index]])

    def words(self, column: str) -> list[str]:
        """Return the different words of a column, sorted."""
        codes, names = self.table.coded(column)
        return [str(names[i]) for i in _different(codes[self.index])]

    def by(self, column: str) -> Iterator[tuple[str, Values]]:
        """Yield (word, values) for each word of a column, sorted."""
        codes, names = self.table.coded(column)
        own = codes[self.index]
        for i in _different(own):
            yield str(names[i]), self.where(own == i)


class Audited:
    """All values that count in a run, by measure and source.

    Args:
        warehouse: the audit being made, measured.
        merge_sources: figures of different sources may share a mean.
        of_last_cycle: those of the cycle before instead.
    """

    def __init__(
        self, warehouse: Warehouse, *, merge_sources: bool, of_last_cycle: bool = False
    ) -> None:
        self._tables = {}
        start = "last_" if of_last_cycle else ""
        for place in ("implants", "pairs"):
            name = f"summarised.{start}{place.removesuffix('s')}_values"
            wanted = {*KEPT, *(row["measure"] for row in load.rows("measures"))}
            for drives in ("groupings", "factors"):
                wanted |= {row["column"] for row in load.rows(drives)}
            columns = [
                column for column, _ in warehouse.columns(name) if column in wanted
            ]
            frame = warehouse.frame(
                f"select {', '.join(columns)},"
                f" basis || ', ' || achieved_source as {SOURCE} from {name}"
                " order by case_key, basis, achieved_source"
            )
            self._tables[place] = _Table(frame)
        self._merge = merge_sources

    def all_sources(self, measure: Measure) -> Values:
        """Return every value of a measure, whatever its source."""
        table = self._tables[measure.place]
        index = np.flatnonzero(~np.isnan(table.numbers(measure.measure)))
        values = Values(measure, table, index, "")
        return Values(measure, table, index, "; ".join(values.words(SOURCE)))

    def of(self, measure: Measure) -> Values:
        """Return the values that may share a mean: one source, or all if merged.

        Films come in only where there is nothing else, and then one kind alone.
        """
        direct = self.comparable(measure)
        if not direct.is_empty:
            return direct
        everything = self.all_sources(measure)
        return everything if everything.is_empty else self._most_frequent(everything)

    def comparable(self, measure: Measure) -> Values:
        """Return the same without films, which are never set against published means."""
        everything = self.all_sources(measure)
        kept = [w for w in everything.words(SOURCE) if not _is_screening(w)]
        direct = everything.having(SOURCE, kept)
        direct = Values(measure, direct.table, direct.index, "; ".join(kept))
        if self._merge or direct.is_empty:
            return direct
        return self._most_frequent(direct)

    @staticmethod
    def _most_frequent(values: Values) -> Values:
        words, most = max(values.by(SOURCE), key=lambda pair: len(pair[1].index))
        return Values(values.measure, most.table, most.index, words)

    def by_source(self, measure: Measure) -> Iterator[tuple[str, Values]]:
        """Yield each source apart, sorted by its words."""
        for words, values in self.all_sources(measure).by(SOURCE):
            yield words, Values(measure, values.table, values.index, words)

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
            elif column in values.table.frame:
                for word, group in values.by(column):
                    yield name, word, group
