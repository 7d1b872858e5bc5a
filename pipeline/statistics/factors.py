"""What deviations go with: ratios from a mixed model with the patient as cluster.

Deviations are skewed and their spread grows with their size, so the model is fitted to
logarithms and an estimate reads as a ratio: 1.20 is 20 % more than at the reference level.
It finds what goes together; cases were not drawn by lot, so it shows no cause.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtr, stdtrit

from pipeline.statistics.factor_design import Design, Factor, Term, design_of
from pipeline.statistics.mixed import (
    MixedModel,
    is_of_full_rank,
    leaves_nothing,
    moved_by_each,
    random_intercept,
    whitened,
)
from pipeline.statistics.patients import (
    UPPER_TAIL,
    Floats,
    Labels,
    Patients,
    group_by_patient,
)

LEAST = 0.05
"""Half of the last digit deviations are written with, in mm or degrees: smaller values
count as this much, since the logarithm of nothing is no number."""

KNOWN_SHARE = 0.8
"""A factor known in a smaller share of the values stays out of the joint model: every
value with a gap is left out of it. Common practice, no source."""

ALL_ALIKE = "Cannot be said: the values do not differ beyond it."

LITTLE_MOVED = 0.1
"""An estimate moved by less than this part of its standard error has not moved."""


@dataclass(frozen=True, slots=True)
class Effect:
    """What one level goes with, set against the reference level.

    Attributes:
        term: the level or step, with its counts and why it is not estimated.
        ratio: deviation at this level over that at the reference; None where refused.
        low: lower limit of its 95 % interval; None for the reference and where refused.
        high: upper limit; None for the reference and where refused.
        p: two-sided, of the ratio being 1; None for the reference and where refused.
    """

    term: Term
    ratio: float | None = None
    low: float | None = None
    high: float | None = None
    p: float | None = None


@dataclass(frozen=True, slots=True)
class Fragile:
    """The patient who moves an estimate most.

    Attributes:
        row: a value of that patient, by its place among those given.
        term: what is moved most, in standard errors.
        ratio: with everybody.
        ratio_without: without the patient.
        is_changed: the interval leaves 1 with the patient and holds it without, or the
            other way round.
    """

    row: int
    term: Term
    ratio: float
    ratio_without: float
    is_changed: bool


@dataclass(frozen=True, slots=True)
class FactorModel:
    """A fitted model, or why there is none.

    Attributes:
        n_patients: patients taken in.
        n_values: values taken in.
        effects: levels in the order of the factors.
        sd_between: standard deviation between patients, of logarithms; None if refused.
        sd_within: the same within patients; None if refused.
        skewness: of the residuals, freed of what a patient shares; None if refused.
        count_least: values below LEAST.
        fragile: the patient who moves an estimate most; None if nobody does.
        model: the fit itself; None if refused.
        why_not: why nothing is estimated; None when something is.
    """

    n_patients: int
    n_values: int
    effects: tuple[Effect, ...]
    sd_between: float | None = None
    sd_within: float | None = None
    skewness: float | None = None
    count_least: int = 0
    fragile: Fragile | None = None
    model: MixedModel | None = None
    why_not: str | None = None

    @property
    def icc(self) -> float | None:
        """Share of the variance that lies between patients; None with one value each."""
        if self.sd_between is None or self.sd_within is None:
            return None
        if self.n_values == self.n_patients:
            return None
        between = self.sd_between**2
        return between / (between + self.sd_within**2)


def factor_model(
    values: ArrayLike, clusters: Labels, factors: Sequence[Factor]
) -> FactorModel:
    """Fit what errors go with: a mixed model of their logarithms, REML.

    Every patient has a level of their own; intervals use t with patients less
    coefficients degrees of freedom.

    Args:
        values: shape (n,), errors, 0 or more.
        clusters: the patient of each value.
        factors: what is taken in, held alike against each other.

    Raises:
        ValueError: a value is missing or below 0.
    """
    numbers, patients = group_by_patient(values, clusters)
    if numbers.size and numbers.min() < 0:
        raise ValueError("an error cannot be below 0")
    design = design_of(factors, patients)
    kept, own = group_by_patient(numbers[design.kept], patients.index[design.kept])
    logs = np.log(np.maximum(kept, LEAST))
    why_not = design.why_not
    if why_not is None and leaves_nothing(logs, design.matrix):
        why_not = ALL_ALIKE
    if why_not is not None:
        refused = tuple(_refused(term, why_not) for term in design.terms)
        return FactorModel(own.n_patients, kept.size, refused, why_not=why_not)
    model = random_intercept(logs, own, design.matrix)
    residuals = logs - design.matrix @ model.coefficients
    free = whitened(model, residuals, own)
    effects = tuple(
        _effect(term, model, own.n_patients - design.matrix.shape[1])
        for term in design.terms
    )
    return FactorModel(
        own.n_patients,
        kept.size,
        effects,
        float(model.sd_between[0]),
        model.sd_within,
        _skewness(free),
        int(np.count_nonzero(kept < LEAST)),
        _fragile(design, model, logs, residuals, own),
        model,
    )


def can_join(factors: Sequence[Factor], patients: Patients) -> str | None:
    """Say why the last factor cannot join those before it; None when it can."""
    known = float(np.mean(factors[-1].is_known)) if patients.n_values else 0.0
    if known < KNOWN_SHARE:
        return f"Known in {known:.0%} of the implants; {KNOWN_SHARE:.0%} are needed."
    return design_of(factors, patients).why_not


def _refused(term: Term, why_not: str) -> Effect:
    return Effect(
        Term(
            term.factor,
            term.level,
            term.n_patients,
            term.n_values,
            None,
            term.why_not or why_not,
        )
    )


def _effect(term: Term, model: MixedModel, df: int) -> Effect:
    if term.column is None:
        return Effect(term, ratio=1.0 if term.is_reference else None)
    estimate, se = float(model.coefficients[term.column]), model.se(term.column)
    half = float(stdtrit(df, UPPER_TAIL)) * se
    p = 2 * float(stdtr(df, -abs(estimate) / se))
    return Effect(term, exp(estimate), exp(estimate - half), exp(estimate + half), p)


def _skewness(residuals: Floats) -> float:
    centred = residuals - residuals.mean()
    squared = centred * centred
    return float(np.mean(squared * centred) / np.mean(squared) ** 1.5)


def _fragile(
    design: Design,
    model: MixedModel,
    logs: Floats,
    residuals: Floats,
    patients: Patients,
) -> Fragile | None:
    """Leave out the patient who moves an estimate most, and fit again."""
    errors = np.sqrt(np.diag(model.covariance))
    moved = moved_by_each(model, residuals, patients, design.matrix) / errors
    moved[:, 0] = 0
    patient, column = np.unravel_index(np.argmax(np.abs(moved)), moved.shape)
    if abs(moved[patient, column]) < LITTLE_MOVED:
        return None
    others = patients.index != patient
    matrix = design.matrix[others]
    if not is_of_full_rank(matrix):
        return None
    left, left_patients = group_by_patient(logs[others], patients.index[others])
    without = random_intercept(left, left_patients, matrix)
    term = next(term for term in design.terms if term.column == column)
    effects = [
        _effect(term, fitted, count - matrix.shape[1])
        for fitted, count in (
            (model, patients.n_patients),
            (without, left_patients.n_patients),
        )
    ]
    speaks = [
        effect.p is not None and effect.p < 2 * (1 - UPPER_TAIL) for effect in effects
    ]
    row = int(np.flatnonzero(design.kept)[int(np.argmax(~others))])
    with_all, left_out = (effect.ratio or 0.0 for effect in effects)
    return Fragile(row, term, with_all, left_out, speaks[0] != speaks[1])
