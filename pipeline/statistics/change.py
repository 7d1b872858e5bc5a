"""The change from one group of cases to another, with its 95 % interval.

Two groups of different patients: this audit cycle and the last one, or the cases before
and after something was changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, sqrt

from scipy.special import stdtrit

from pipeline.statistics.means import ClusteredMean
from pipeline.statistics.patients import UPPER_TAIL
from pipeline.statistics.shares import ClusteredShare

FEWEST_FOR_CHANGE = 6
"""Patients each side needs: in simulated audits the intervals of the difference and of
the ratio hold the truth in 92.7 to 96.2 % from six on, in 93.7 to 95.6 % from fifteen on
each side, lowest with skewed errors and sides of unequal size
(`python -m tests.calibration.changes`)."""


@dataclass(frozen=True, slots=True)
class Change:
    """How much a figure changed.

    Attributes:
        value: now less before, in the unit of the figure, or now over before; None
            where one is missing.
        low: lower limit of the 95 % interval; None when no interval can be given.
        high: upper limit of the 95 % interval; None when no interval can be given.
        df: degrees of freedom of a mean's interval; None for shares and without one.
        warning: what to say beside the figure; None when there is nothing.
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    df: float | None = None
    warning: str | None = None


def change_of_mean(now: ClusteredMean, before: ClusteredMean) -> Change:
    """Change of a mean, the variances of the two groups not assumed equal.

    Welch's t interval (Biometrika 1947;34:28-35) on the variance between patients of
    each side, degrees of freedom by Satterthwaite (Biometrics Bull 1946;2:110-114).

    Args:
        now: the mean of one group of patients.
        before: the same of other patients.
    """
    if now.mean is None or before.mean is None:
        return Change(None, warning="Nothing to compare with.")
    value = now.mean - before.mean
    few = too_few(now.n_clusters, before.n_clusters)
    if few or now.se is None or before.se is None:
        return Change(value, warning=few)
    if not (now.se and before.se):
        return Change(
            value, warning="No interval: on one side the patients do not differ at all."
        )
    reach, df = _welch((now.se, now.n_clusters), (before.se, before.n_clusters))
    return Change(value, value - reach, value + reach, df)


def ratio_of_means(now: ClusteredMean, before: ClusteredMean) -> Change:
    """Ratio of two means of an error, with its interval on the log scale.

    ln(now / before) with the variance (se/mean)^2 of each side (delta method) and
    Welch's degrees of freedom; the limits are taken back by exp.

    Args:
        now: the mean of one group of patients, an error that is never below 0.
        before: the same of other patients.
    """
    if now.mean is None or before.mean is None:
        return Change(None, warning="Nothing to compare with.")
    if now.mean <= 0 or before.mean <= 0:
        return Change(None, warning="No ratio: a mean is not above 0.")
    value = now.mean / before.mean
    few = too_few(now.n_clusters, before.n_clusters)
    if few or not (now.se and before.se):
        return Change(value, warning=few)
    reach, df = _welch(
        (now.se / now.mean, now.n_clusters),
        (before.se / before.mean, before.n_clusters),
    )
    return Change(value, exp(log(value) - reach), exp(log(value) + reach), df)


def _welch(*sides: tuple[float, int]) -> tuple[float, float]:
    """Return reach and degrees of freedom from standard error and patients of each."""
    df = welch_df(*sides)
    return float(stdtrit(df, UPPER_TAIL)) * sqrt(sum(se**2 for se, _ in sides)), df


def welch_df(*sides: tuple[float, int]) -> float:
    """Return Satterthwaite's degrees of freedom of a difference.

    Args:
        sides: standard error, above 0, and patients of each side.
    """
    parts = [se**2 for se, _ in sides]
    spread = sum(part**2 / (n - 1) for part, (_, n) in zip(parts, sides, strict=True))
    return float(sum(parts) ** 2 / spread)


def change_of_share(now: ClusteredShare, before: ClusteredShare) -> Change:
    """Change of a share, from the limits of the two shares.

    Method 10 of Newcombe (Stat Med 1998;17:873-890), with limits that allow for two
    implants in one mouth.

    Args:
        now: the share of one group of patients.
        before: the same of other patients.
    """
    if now.share is None or before.share is None:
        return Change(None, warning="Nothing to compare with.")
    value = now.share - before.share
    few = too_few(now.n_clusters, before.n_clusters)
    limits = [
        limit
        for limit in (now.low, now.high, before.low, before.high)
        if limit is not None
    ]
    if few or len(limits) < 4:
        return Change(value, warning=few)
    low, high, low_before, high_before = limits
    below = sqrt((now.share - low) ** 2 + (high_before - before.share) ** 2)
    above = sqrt((high - now.share) ** 2 + (before.share - low_before) ** 2)
    return Change(value, value - below, value + above)


def too_few(*patients: int) -> str | None:
    """Say that a side has too few patients for an interval; None when none has."""
    if min(patients) >= FEWEST_FOR_CHANGE:
        return None
    return (
        f"Too few to say: {patients[0]} patients against {patients[1]}; a change takes"
        f" {FEWEST_FOR_CHANGE} on each side."
    )
