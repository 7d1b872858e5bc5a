"""How a rate of events goes with a measure: a rate ratio with its 95 % interval.

A count model: log of the expected events = log of the years + b0 + b1 measure + others.
It finds what goes together, not what causes what. Patients differ more than chance, so
the interval is taken from how the patients scatter, not from the counts alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from pipeline.statistics.patients import (
    FEWEST_WITHOUT_CAUTION,
    UPPER_TAIL,
    Floats,
    Labels,
    Patients,
    counted,
    group_by_patient,
)

FEWEST_EVENTS_PER_TERM = 10
"""With fewer events a term, nothing is fitted (Peduzzi, J Clin Epidemiol 1996;49:1373)."""

FEWEST_NOT_EXPLORATORY = 50
"""With fewer events the result is exploratory: common practice, no source."""


@dataclass(frozen=True, slots=True)
class RateRatio:
    """What a step of the measure goes with, others held alike.

    Attributes:
        n_clusters: patients.
        count_events: events.
        exposure: years.
        ratio: rate a step further over the rate before it; None when refused.
        low: lower limit of its 95 % interval; None when refused.
        high: upper limit; None when refused.
        warning: why it was refused, or what to say beside it; None when nothing is.
    """

    n_clusters: int
    count_events: int
    exposure: float
    ratio: float | None
    low: float | None
    high: float | None
    warning: str | None


@dataclass(frozen=True, slots=True)
class CountModel:
    """A fitted count model.

    Attributes:
        coefficients: shape (k,), logarithms of rate ratios, the constant first.
        se_robust: shape (k,), their standard errors from the scatter of the patients.
        se_chance: shape (k,), those if counts came by chance alone.
        n_patients: patients.
    """

    coefficients: Floats
    se_robust: Floats
    se_chance: Floats
    n_patients: int


def rate_ratio(
    counts: ArrayLike,
    exposure: ArrayLike,
    clusters: Labels,
    measure: ArrayLike,
    others: ArrayLike | None = None,
) -> RateRatio:
    """Rate ratio for one step of a measure, with a 95 % interval over patients.

    The interval uses t with patients less terms degrees of freedom, and is never
    narrower than that of counts by chance alone.

    Args:
        counts: shape (n,), events of each denture.
        exposure: shape (n,), years of each, above 0.
        clusters: the patient of each denture.
        measure: shape (n,), in the steps the ratio is wanted for.
        others: shape (n, k), what is held alike; None when nothing is.

    Raises:
        ValueError: a number is missing, an exposure is not above 0, lengths differ.
    """
    events, patients = group_by_patient(counts, clusters)
    years = np.asarray(exposure, dtype=np.float64)
    if years.shape != events.shape or not (years > 0).all() or (events < 0).any():
        raise ValueError("counts are 0 or more, exposures above 0, as many of each")
    design = _design(measure, others, events.size)
    total = int(events.sum())
    head = (patients.n_patients, total, float(years.sum()))
    refused = doubt_about_fit(events, patients, design)
    if refused:
        return RateRatio(*head, None, None, None, refused)
    model = count_model(events, years, patients, design)
    b = float(model.coefficients[1])
    t = float(stdtrit(model.n_patients - design.shape[1], UPPER_TAIL))
    z = float(ndtri(UPPER_TAIL))
    half = max(t * float(model.se_robust[1]), z * float(model.se_chance[1]))
    warning = None
    if total < FEWEST_NOT_EXPLORATORY:
        warning = (
            f"Exploratory: {counted(total, 'event')}, fewer than"
            f" {FEWEST_NOT_EXPLORATORY}."
        )
    return RateRatio(*head, exp(b), exp(b - half), exp(b + half), warning)


def doubt_about_fit(events: Floats, patients: Patients, design: Floats) -> str | None:
    """Why no model can be fitted; None when one can.

    The likelihood of counts has its highest point at finite coefficients when the rows
    that have events already tell all coefficients apart; where they do not, one of them
    may run off to infinity.
    """
    count_terms = design.shape[1] - 1
    fewest = FEWEST_EVENTS_PER_TERM * count_terms
    if events.sum() < fewest:
        return (
            f"Too few to say: {counted(int(events.sum()), 'event')}, fewer than"
            f" {fewest}."
        )
    if patients.n_patients < FEWEST_WITHOUT_CAUTION + count_terms - 1:
        return f"Too few to say: {counted(patients.n_patients, 'patient')}."
    if np.ptp(design[:, 1]) == 0:
        return "Cannot be said: it is the same in all."
    if np.linalg.matrix_rank(design[events > 0]) < design.shape[1]:
        return "Cannot be said: all that had events are alike in it."
    return None


def count_model(
    events: Floats, years: Floats, patients: Patients, design: Floats
) -> CountModel:
    """Fit the count model, and take the scatter of its coefficients over patients.

    The covariance is what leaving out one patient at a time gives in one step,
    (n-1)/n sum d_i d_i' with d_i = B (I - A_i B)^-1 s_i, B the inverse information,
    A_i and s_i the information and the score of patient i (Mancl & DeRouen, Biometrics
    2001;57:126-134, who leave out the factor). The plain sandwich is too narrow with
    few patients.

    Args:
        events: shape (n,).
        years: shape (n,), above 0.
        patients: of each row.
        design: shape (n, k), the first column 1.
    """
    from statsmodels.genmod.families import Poisson
    from statsmodels.genmod.generalized_linear_model import GLM

    fitted = GLM(events, design, family=Poisson(), offset=np.log(years)).fit()
    expected = np.asarray(fitted.mu, dtype=np.float64)
    n, k = patients.n_patients, design.shape[1]
    bread = np.linalg.inv((design * expected[:, None]).T @ design)
    scores, information = np.zeros((n, k)), np.zeros((n, k, k))
    np.add.at(scores, patients.index, design * (events - expected)[:, None])
    squares = design[:, :, None] * design[:, None, :] * expected[:, None, None]
    np.add.at(information, patients.index, squares)
    left_out = np.linalg.solve(np.eye(k) - information @ bread, scores[:, :, None])
    moved = left_out[:, :, 0] @ bread
    covariance = (n - 1) / n * moved.T @ moved
    return CountModel(
        np.asarray(fitted.params, dtype=np.float64),
        np.sqrt(np.diag(covariance)),
        np.sqrt(np.diag(bread)),
        n,
    )


def _design(measure: ArrayLike, others: ArrayLike | None, n: int) -> Floats:
    columns = [np.ones(n), np.asarray(measure, dtype=np.float64)]
    if others is not None:
        columns += list(np.asarray(others, dtype=np.float64).T)
    design = np.column_stack(columns)
    if not np.isfinite(design).all():
        raise ValueError("a measure is missing: set missing values aside first")
    return design
