"""How long until the first event: free of it (Kaplan-Meier), and how many had it.

Two questions. The share free of an event, were nothing else to end the watching, is
Kaplan and Meier's. The share that has had it by a day, when a denture may also end before
(death, a new denture), is Aalen and Johansen's; one minus the first overstates it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from pipeline.statistics.patients import UPPER_TAIL, Floats, as_numbers

Counts = NDArray[np.intp]

FEWEST_AT_RISK = 10
"""A curve is cut where fewer remain (common practice, no source)."""

_ROUNDING = 1e-12
"""A share nearer to 0 or 1 is 0 or 1 but for rounding."""

_LARGEST_EXPONENT = 500.0


@dataclass(frozen=True, slots=True)
class Curve:
    """A share at every time something happened, with its 95 % interval.

    Attributes:
        times: shape (m,), distinct times of events (of any cause), rising.
        count_at_risk: shape (m,), watched and free of it just before that time.
        count_events: shape (m,), events of this curve at that time.
        share: shape (m,), 0 to 1.
        se: shape (m,), its standard error.
        low: shape (m,), lower limit.
        high: shape (m,), upper limit.
    """

    times: Floats
    count_at_risk: Counts
    count_events: Counts
    share: Floats
    se: Floats
    low: Floats
    high: Floats

    def until_few_remain(self, fewest: int = FEWEST_AT_RISK) -> Curve:
        """Return the curve up to the last time at which so many were at risk."""
        n = int(np.count_nonzero(self.count_at_risk >= fewest))
        return Curve(*(getattr(self, name)[:n] for name in Curve.__slots__))


@dataclass(frozen=True, slots=True)
class _Steps:
    """Counts at every time something happened."""

    times: Floats
    at_risk: Counts
    of_cause: NDArray[np.intp]

    @property
    def all_causes(self) -> Counts:
        return self.of_cause.sum(axis=0)


def kaplan_meier(times: ArrayLike, is_event: ArrayLike) -> Curve:
    """Share still free of the event (Kaplan & Meier, J Am Stat Assoc 1958;53:457-481).

    Greenwood's variance, limits on the log(-log) scale (Kalbfleisch & Prentice). Those
    whose watching ends at the time of an event count as at risk at it.

    Args:
        times: shape (n,), years to the first event or to the end of watching, 0 or more.
        is_event: shape (n,), whether the event ended it.

    Raises:
        ValueError: a time is missing or below 0, or the lengths differ.
    """
    steps = _steps(times, np.asarray(is_event).astype(np.intp), 1)
    d, y = steps.of_cause[0].astype(float), steps.at_risk.astype(float)
    share = np.cumprod(1 - d / y)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(d / (y * (y - d)))
        se = np.where(share > 0, share * np.sqrt(greenwood), 0.0)
    low, high = _log_log_limits(share, se)
    return Curve(steps.times, steps.at_risk, steps.of_cause[0], share, se, low, high)


def cumulative_incidence(
    times: ArrayLike, causes: ArrayLike, *, count_causes: int
) -> tuple[Curve, ...]:
    """Share that has had each cause by a time, the causes competing.

    Aalen & Johansen (Scand J Stat 1978;5:141-150), with the delta-method variance
    (Marubini & Valsecchi, Analysing Survival Data 1995, 10.3) and limits on the
    log(-log) scale.

    Args:
        times: shape (n,), years to the first of them or to the end of watching.
        causes: shape (n,), 0 while nothing ended it, else 1 to count_causes.
        count_causes: how many causes there are.

    Returns:
        A curve for each cause, in order, all at the same times.

    Raises:
        ValueError: a time is missing or below 0, a cause is unknown, or the lengths
            differ.
    """
    steps = _steps(times, np.asarray(causes).astype(np.intp), count_causes)
    y, d = steps.at_risk.astype(float), steps.all_causes.astype(float)
    free = np.cumprod(1 - d / y)
    before = np.concatenate([[1.0], free[:-1]])
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard = np.where(y > d, d / (y * (y - d)), 0.0)
    curves = []
    for d_k in steps.of_cause:
        share = np.cumsum(before * d_k / y)
        se = np.sqrt(np.maximum(_incidence_variance(share, before, hazard, y, d_k), 0))
        low, high = _log_log_limits(share, se)
        curves.append(Curve(steps.times, steps.at_risk, d_k, share, se, low, high))
    return tuple(curves)


def _incidence_variance(
    share: Floats, before: Floats, hazard: Floats, y: Floats, d_k: Counts
) -> Floats:
    """Sum over s <= t, the square and product with F(t) - F(s) multiplied out."""
    first = (
        share**2 * np.cumsum(hazard)
        - 2 * share * np.cumsum(share * hazard)
        + np.cumsum(share**2 * hazard)
    )
    second = np.cumsum(before**2 * (y - d_k) * d_k / y**3)
    step = before * d_k / y**2
    third = share * np.cumsum(step) - np.cumsum(share * step)
    variance: Floats = first + second - 2 * third
    return variance


def _steps(times: ArrayLike, causes: NDArray[np.intp], count_causes: int) -> _Steps:
    ends = as_numbers(times)
    if causes.shape != ends.shape:
        raise ValueError(f"{ends.size} times but {causes.size} causes")
    if (ends < 0).any():
        raise ValueError("times are 0 or more")
    if causes.size and not 0 <= causes.min() <= causes.max() <= count_causes:
        raise ValueError(f"causes run from 0 to {count_causes}")
    distinct, place = np.unique(ends, return_inverse=True)
    shape = (count_causes + 1, distinct.size)
    counts = np.bincount(
        causes * distinct.size + place, minlength=shape[0] * shape[1]
    ).reshape(shape)
    at_risk = ends.size - np.concatenate([[0], np.cumsum(counts.sum(axis=0))[:-1]])
    has_event = counts[1:].sum(axis=0) > 0
    return _Steps(
        distinct[has_event],
        at_risk[has_event].astype(np.intp),
        counts[1:, has_event].astype(np.intp),
    )


def _log_log_limits(share: Floats, se: Floats) -> tuple[Floats, Floats]:
    """Limits share ** exp(-+ z se / (share ln share)); the share itself at 0 and 1."""
    z = float(ndtri(UPPER_TAIL))
    inside = (share > _ROUNDING) & (share < 1 - _ROUNDING) & (se > 0)
    safe = np.where(inside, share, 0.5)
    exponent = z * np.where(inside, se, 0.0) / (safe * np.abs(np.log(safe)))
    spread = np.exp(np.minimum(exponent, _LARGEST_EXPONENT))
    low = np.where(inside, safe**spread, share)
    high = np.where(inside, safe ** (1 / spread), share)
    return low, high
