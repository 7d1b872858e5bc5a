"""The mean cumulative count: how many events a denture has had by a time, on average.

Every event counts, not only the first, and a denture leaves the average when its
watching ends, not at its last event (Nelson, J Qual Technol 1988;20:24-35).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from pipeline.statistics.patients import UPPER_TAIL, Floats, as_numbers

Counts = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class MeanCumulative:
    """Mean count at some times, with its 95 % interval.

    Attributes:
        times: shape (m,), rising.
        count_at_risk: shape (m,), dentures still watched at that time.
        count_events: shape (m,), events up to and at that time.
        mean: shape (m,), events a denture.
        se: shape (m,), its robust standard error.
        low: shape (m,), lower limit.
        high: shape (m,), upper limit.
    """

    times: Floats
    count_at_risk: Counts
    count_events: Counts
    mean: Floats
    se: Floats
    low: Floats
    high: Floats


def mean_cumulative_count(
    ends: ArrayLike,
    event_units: ArrayLike,
    event_times: ArrayLike,
    clusters: NDArray[np.intp] | None = None,
    *,
    at: ArrayLike | None = None,
) -> MeanCumulative:
    """Mean cumulative count with the robust variance of Lawless & Nadeau.

    M(t) = sum over s <= t of d(s) / Y(s); its variance is the sum of squares over
    patients of sum Y_i(s)/Y(s) (dN_i(s) - d(s)/Y(s)) (Technometrics 1995;37:158-168).
    Limits M exp(-+ t se / M), t with one degree of freedom less than patients.

    Args:
        ends: shape (n,), years each denture was watched.
        event_units: shape (m,), the denture of each event, 0 to n - 1.
        event_times: shape (m,), years from delivery, not after the end of its denture.
        clusters: the patient of each denture, 0 and up; each its own when None.
        at: times wanted; every time of an event when None.

    Raises:
        ValueError: a number is missing, or an event lies after the end of its denture.
    """
    until, when = as_numbers(ends), as_numbers(event_times)
    units = np.asarray(event_units, dtype=np.intp)
    patients = np.arange(until.size) if clusters is None else np.asarray(clusters)
    if units.shape != when.shape or patients.shape != until.shape:
        raise ValueError("as many units as events, and as many patients as dentures")
    if (when > until[units]).any():
        raise ValueError("an event lies after the end of its denture")
    order = np.argsort(when, kind="stable")
    when, units = when[order], units[order]
    steps, counts = np.unique(when, return_counts=True)
    at_risk = _still_watched(until, steps)
    wanted = steps if at is None else np.unique(as_numbers(at))
    upto = np.searchsorted(steps, wanted, side="right")
    mean = _before(np.cumsum(counts / at_risk), upto)
    se = _robust_se(until, units, when, patients, (steps, counts, at_risk), wanted)
    n_patients = np.unique(patients).size
    low, high = _limits(mean, se, n_patients)
    return MeanCumulative(
        wanted,
        _still_watched(until, wanted),
        _before(np.cumsum(counts), upto).astype(np.intp),
        mean,
        se,
        low,
        high,
    )


def _still_watched(until: Floats, times: Floats) -> Counts:
    return until.size - np.searchsorted(np.sort(until), times, side="left")


def _before(cumulated: NDArray[np.generic], upto: Counts) -> Floats:
    """Return the cumulated value after so many steps, 0 after none."""
    return np.concatenate([[0.0], cumulated.astype(np.float64)])[upto]


def _robust_se(
    until: Floats,
    units: Counts,
    when: Floats,
    patients: NDArray[np.intp],
    steps_counts_risk: tuple[Floats, Counts, Counts],
    wanted: Floats,
) -> Floats:
    """Each patient's own sum, kept up from one wanted time to the next."""
    steps, counts, at_risk = steps_counts_risk
    n_patients = int(patients.max()) + 1 if patients.size else 0
    own = np.zeros(n_patients)
    weight = 1.0 / at_risk
    expected = np.concatenate([[0.0], np.cumsum(counts * weight**2)])
    weight_of_event = weight[np.searchsorted(steps, when)]
    upto_end = np.searchsorted(steps, until, side="right")
    event_upto = np.searchsorted(when, wanted, side="right")
    step_upto = np.searchsorted(steps, wanted, side="right")
    se = np.zeros(wanted.size)
    done = 0
    for place, (n_events, n_steps) in enumerate(
        zip(event_upto, step_upto, strict=True)
    ):
        fresh = slice(done, n_events)
        own += np.bincount(
            patients[units[fresh]], weight_of_event[fresh], minlength=n_patients
        )
        done = n_events
        off = own - np.bincount(
            patients, expected[np.minimum(upto_end, n_steps)], minlength=n_patients
        )
        se[place] = np.sqrt(off @ off)
    return se


def _limits(mean: Floats, se: Floats, n_patients: int) -> tuple[Floats, Floats]:
    if n_patients < 2:
        nothing = np.full(mean.size, np.nan)
        return nothing, nothing
    t = float(stdtrit(n_patients - 1, UPPER_TAIL))
    spread = np.exp(t * se / np.where(mean > 0, mean, 1.0))
    return mean / spread, mean * spread
