"""Shares of several units against their common share: limits that widen for few cases.

The limits belong to the common share and a number of cases, never to the unit: a unit
inside them differs from the others by no more than chance explains. They are exact
binomial limits, interpolated between whole counts (Spiegelhalter, Stat Med
2005;24:1185-1202). Units often differ a little more than chance alone: phi, the mean of
the squared standardised differences with the tenth at each end drawn in, shows by how
much, and limits are widened by its root where it is clearly above 1. With few units phi
says nothing (of true phi 1.5 a tenth units find a quarter), so it is left alone then.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr, bdtrik

from pipeline.statistics.patients import Floats, as_numbers

FEWEST_UNITS = 3
"""With fewer units there is no common share to speak of."""

FEWEST_FOR_SPREAD = 10
"""With fewer units nothing is said about units differing more than chance."""

OUTER_TENTH = 0.1
INNER_TAIL, OUTER_TAIL = 0.025, 0.001
"""Chance beyond each limit: 95 % and 99.8 % of units lie inside by chance alone."""

_WHOLE = 1e-9
"""How far off a whole count a solved one may be by rounding."""


@dataclass(frozen=True, slots=True)
class Funnel:
    """Limits for each unit, in the order given.

    Attributes:
        target: the common share, 0 to 1; None when refused, and then no limits.
        phi: how much more than chance the units differ, 1 for chance; None below ten units.
        is_widened: whether the limits allow for it.
        limits: lower and upper limit that 95 % of units keep by chance, then those that
            99.8 % keep; each of shape (n_units,), not a number when refused.
        warning: what to say beside; None when there is nothing.
    """

    target: float | None
    phi: float | None
    is_widened: bool
    limits: tuple[Floats, ...]
    warning: str | None


def funnel(counts: ArrayLike, totals: ArrayLike) -> Funnel:
    """Limits for the shares of several units around their common share.

    Args:
        counts: shape (n_units,), cases with the property.
        totals: shape (n_units,), cases of each unit, 1 or more.

    Raises:
        ValueError: a value is missing, or a count is below 0 or above its total.
    """
    k, n = as_numbers(counts), as_numbers(totals)
    if k.size != n.size or (n < 1).any() or (k < 0).any() or (k > n).any():
        raise ValueError("each unit needs a count from 0 to its total of 1 or more")
    if k.size < FEWEST_UNITS:
        none = np.full(k.size, np.nan)
        few = f"No funnel: fewer than {FEWEST_UNITS} units have no common share."
        return Funnel(None, None, is_widened=False, limits=(none,) * 4, warning=few)
    target = float(k.sum() / n.sum())
    phi = None if k.size < FEWEST_FOR_SPREAD else dispersion(k, n, target)
    is_widened = phi is not None and phi > 1 + 2 * sqrt(2 / k.size)
    wider = sqrt(phi) if phi is not None and is_widened else 1.0
    limits = tuple(
        np.clip(target + wider * (share_limit(target, n, tail) - target), 0, 1)
        for tail in (INNER_TAIL, 1 - INNER_TAIL, OUTER_TAIL, 1 - OUTER_TAIL)
    )
    unjudged = (
        f"With fewer than {FEWEST_FOR_SPREAD} units it cannot be judged whether they"
        " differ more than chance in ways that have nothing to do with them."
    )
    return Funnel(target, phi, is_widened, limits, unjudged if phi is None else None)


def share_limit(target: float, n: ArrayLike, tail: float) -> Floats:
    """Return the share that a unit of n cases stays below with a given chance.

    With r the smallest count whose cumulated chance exceeds ``tail``, the limit is
    (r - (P(X <= r) - tail) / P(X = r)) / n; it may lie a little below 0 (Spiegelhalter
    2005, appendix).

    Args:
        target: the common share, 0 to 1.
        n: cases, shape (n_units,).
        tail: chance below the limit, above 0 and below 1.
    """
    cases = as_numbers(n)
    if target in {0.0, 1.0}:
        return np.full(cases.size, target)
    # the count, between whole ones, at which the cumulated chance is the tail
    r = np.maximum(0, np.ceil(bdtrik(tail, cases, target) - _WHOLE))
    whole = cases.astype(np.int64)
    reached = bdtr(r, whole, target)
    before = np.where(r > 0, bdtr(np.maximum(0, r - 1), whole, target), 0.0)
    beyond = (reached - tail) / (reached - before)
    return np.asarray((r - beyond) / cases, dtype=np.float64)


def dispersion(counts: Floats, totals: Floats, target: float) -> float:
    """Return phi: the mean squared standardised difference, its outer tenths drawn in.

    Args:
        counts: cases with the property.
        totals: cases.
        target: the common share.
    """
    if target in {0.0, 1.0}:
        return 0.0
    z = (counts / totals - target) / np.sqrt(target * (1 - target) / totals)
    low, high = np.quantile(z, [OUTER_TENTH, 1 - OUTER_TENTH])
    return float(np.mean(np.clip(z, low, high) ** 2))
