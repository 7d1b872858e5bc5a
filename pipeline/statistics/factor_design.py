"""What a factor model can estimate: levels with enough patients, columns told apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from pipeline.statistics.mixed import is_of_full_rank
from pipeline.statistics.patients import (
    FEWEST_FOR_INTERVAL,
    FEWEST_WITHOUT_CAUTION,
    Floats,
    Patients,
    counted,
)

PATIENTS_PER_TERM = 5
"""Patients a model needs for each coefficient. Two are enough for coefficients and
intervals without bias (Austin & Steyerberg, J Clin Epidemiol 2015;68:627-636); five leave
room for two implants a patient and for skew."""

MOST_PATIENTS = 2000
"""Patients of a level that a model takes in: with so many a ratio is known to 3 %."""

NOT_KNOWN = -1


@dataclass(frozen=True, slots=True)
class Words:
    """A factor of named levels.

    Attributes:
        name: what it is called in the tables.
        label: what it is called in a sentence.
        codes: shape (n,), the level of each value, NOT_KNOWN where it is not known.
        levels: the words by code.
    """

    name: str
    label: str
    codes: NDArray[np.intp]
    levels: tuple[str, ...]

    @property
    def is_known(self) -> NDArray[np.bool_]:
        """Which values have a level."""
        return np.asarray(self.codes != NOT_KNOWN)


@dataclass(frozen=True, slots=True)
class Number:
    """A factor that is measured.

    Attributes:
        name: what it is called in the tables.
        label: what it is called in a sentence.
        numbers: shape (n,), not a number where it is not known.
        step: the estimate is for one step of it.
        unit: of the step.
    """

    name: str
    label: str
    numbers: Floats
    step: float
    unit: str

    @property
    def is_known(self) -> NDArray[np.bool_]:
        """Which values have a number."""
        return np.asarray(np.isfinite(self.numbers))


Factor: TypeAlias = Words | Number


@dataclass(frozen=True, slots=True)
class Term:
    """One level of a factor, or the step of a number.

    Attributes:
        factor: its name.
        level: the word, or the step with its unit.
        n_patients: patients that have it.
        n_values: values that have it.
        column: its column in the design; None for the reference and what is left out.
        why_not: why it is not estimated; None where it is, and for the reference.
    """

    factor: str
    level: str
    n_patients: int
    n_values: int
    column: int | None = None
    why_not: str | None = None

    @property
    def is_reference(self) -> bool:
        """The level the others are set against."""
        return self.column is None and self.why_not is None


@dataclass(frozen=True, slots=True)
class Design:
    """What is fitted.

    Attributes:
        kept: shape (n,), the values taken in.
        matrix: shape (count kept, k), the constant first.
        terms: levels and steps, those left out among them.
        why_not: why no model can be fitted; None when one can.
    """

    kept: NDArray[np.bool_]
    matrix: Floats
    terms: tuple[Term, ...]
    why_not: str | None


def design_of(factors: Sequence[Factor], patients: Patients) -> Design:
    """Lay out the columns of a model, the commonest level of each factor the reference.

    Values with a factor not known are left out, and those of a level that fewer than
    five patients have.

    Args:
        factors: what the values may depend on.
        patients: of each value.
    """
    kept = np.ones(patients.n_values, dtype=bool)
    for factor in factors:
        kept &= factor.is_known
    few = _set_few_aside(factors, patients, kept)
    columns = [np.ones(patients.n_values)]
    terms: list[Term] = []
    for factor in factors:
        if isinstance(factor, Number):
            columns.append(factor.numbers / factor.step)
            level = f"per {factor.step:g} {factor.unit}"
            count = _count(patients, kept)
            terms.append(Term(factor.name, level, *count, len(columns) - 1))
        else:
            terms += _levels(factor, patients, kept, few, columns)
    matrix = np.empty((int(np.count_nonzero(kept)), len(columns)), order="F")
    for at, column in enumerate(columns):
        matrix[:, at] = column[kept]
    why_not = _doubt(factors, patients, kept, matrix, terms)
    return Design(kept, matrix, tuple(terms), why_not)


def enough_of_each(factors: Sequence[Factor], patients: Patients) -> NDArray[np.bool_]:
    """Choose values so that no level has more than MOST_PATIENTS patients without need.

    Of each level the patients that come first are taken, and a patient taken for one
    level counts for all. Choosing by factors leaves what depends on them as it is; where
    patients stand in the order of their codes, the choice is as good as drawn by lot.

    Returns:
        Shape (n,), the values of the patients taken.
    """
    if patients.n_patients <= MOST_PATIENTS:
        return np.ones(patients.n_values, dtype=bool)
    taken = np.zeros(patients.n_patients, dtype=bool)
    for factor in factors:
        codes = (
            factor.codes if isinstance(factor, Words) else factor.is_known.astype(int)
        )
        for code in range(int(codes.max()) + 1):
            has_it = patients.totals((codes == code).astype(np.float64)) > 0
            taken |= has_it & (np.cumsum(has_it) <= MOST_PATIENTS)
    return np.asarray(taken[patients.index])


def _set_few_aside(
    factors: Sequence[Factor], patients: Patients, kept: NDArray[np.bool_]
) -> dict[tuple[str, int], Term]:
    """Take values of levels with few patients out of ``kept``; return those levels."""
    few: dict[tuple[str, int], Term] = {}
    is_settled = False
    while not is_settled:
        is_settled = True
        for factor in factors:
            if isinstance(factor, Number):
                continue
            for code, level in enumerate(factor.levels):
                has_it = kept & (factor.codes == code)
                count, n_values = _count(patients, has_it)
                if 0 < count < FEWEST_FOR_INTERVAL:
                    why = (
                        f"Too few to say: {counted(count, 'patient')};"
                        f" {FEWEST_FOR_INTERVAL} are needed."
                    )
                    few[factor.name, code] = Term(
                        factor.name, level, count, n_values, None, why
                    )
                    kept &= ~has_it
                    is_settled = False
    return few


def _levels(
    factor: Words,
    patients: Patients,
    kept: NDArray[np.bool_],
    few: dict[tuple[str, int], Term],
    columns: list[Floats],
) -> list[Term]:
    """Return the levels of a factor, and add the column of each but the commonest."""
    counts = {
        code: _count(patients, kept & (factor.codes == code))
        for code in range(len(factor.levels))
    }
    present = [code for code, (count, _) in counts.items() if count]
    commonest = max(present, key=lambda code: counts[code], default=None)
    terms = []
    for code, level in enumerate(factor.levels):
        if (factor.name, code) in few:
            terms.append(few[factor.name, code])
        elif code in present:
            column = None
            if code != commonest:
                columns.append((factor.codes == code).astype(np.float64))
                column = len(columns) - 1
            terms.append(Term(factor.name, level, *counts[code], column))
    return terms


def _count(patients: Patients, chosen: NDArray[np.bool_]) -> tuple[int, int]:
    """Patients and values among the chosen."""
    of_patient = patients.totals(chosen.astype(np.float64))
    return int(np.count_nonzero(of_patient)), int(np.count_nonzero(chosen))


def _doubt(
    factors: Sequence[Factor],
    patients: Patients,
    kept: NDArray[np.bool_],
    matrix: Floats,
    terms: Sequence[Term],
) -> str | None:
    if not kept.any():
        return "Not known in any case that has a figure."
    for factor in factors:
        own = [term for term in terms if term.factor == factor.name]
        if isinstance(factor, Number):
            if np.ptp(factor.numbers[kept]) == 0:
                return f"Cannot be said: {factor.label} is the same in all."
        elif sum(term.why_not is None for term in own) < 2:
            alike = next((term.level for term in own if term.is_reference), "")
            return (
                f"Cannot be said: {factor.label} is {alike!r} in all that can be"
                " compared."
            )
    if len(matrix) >= matrix.shape[1] and not is_of_full_rank(matrix):
        return _aliased(factors, matrix, terms)
    n_patients, _ = _count(patients, kept)
    fewest = max(FEWEST_WITHOUT_CAUTION, PATIENTS_PER_TERM * matrix.shape[1])
    if n_patients < fewest:
        return (
            f"Too few to say: {counted(n_patients, 'patient')} for"
            f" {counted(matrix.shape[1] - 1, 'estimate')}; {fewest} are needed."
        )
    return None


def _aliased(factors: Sequence[Factor], matrix: Floats, terms: Sequence[Term]) -> str:
    """Name what the last factor cannot be told apart from."""

    def columns(name: str) -> list[int]:
        return [t.column for t in terms if t.factor == name and t.column is not None]

    last = factors[-1]
    for factor in factors[:-1]:
        both = [0, *columns(factor.name), *columns(last.name)]
        if not is_of_full_rank(matrix[:, both]):
            return (
                f"Cannot be told apart from {factor.label}: the one follows from the"
                " other in every case."
            )
    return f"Cannot be told apart: {last.label} follows from the other factors."
