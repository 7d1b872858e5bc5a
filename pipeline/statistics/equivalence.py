"""Is one kind of guide as good as another, within a margin chosen before looking.

"Not different" shows nothing; two one-sided tests do (Schuirmann, J Pharmacokinet Biopharm
1987;15:657-680): the difference is above minus the margin, and below the margin, each at
5 %, which is the same as its 90 % interval lying inside. The upper one alone shows "not
worse". The standard error of each side is the one between patients, degrees of freedom by
Satterthwaite as for a change.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, sqrt

from scipy.special import ndtri, stdtr, stdtrit

from pipeline.statistics.change import too_few, welch_df
from pipeline.statistics.means import ClusteredMean

LEVEL = 0.05
"""Chance of a false statement that each one-sided test allows."""

POWER = 0.80
"""Chance of showing it where the two are truly alike, that a planned size aims at."""


@dataclass(frozen=True, slots=True)
class Equivalence:
    """What two one-sided tests say.

    Attributes:
        difference: mean of the one less mean of the other; None when one is missing.
        low: lower limit of its 90 % interval; None when refused.
        high: upper limit; None when refused.
        p_above: one-sided, of the difference being at or below minus the margin.
        p_below: one-sided, of the difference being at or above the margin.
        df: degrees of freedom.
        warning: why it is refused; None when it is not.
    """

    difference: float | None
    low: float | None = None
    high: float | None = None
    p_above: float | None = None
    p_below: float | None = None
    df: float | None = None
    warning: str | None = None

    @property
    def is_not_worse(self) -> bool | None:
        """Not worse by the margin, where more is worse; None when refused."""
        return None if self.p_below is None else self.p_below < LEVEL

    @property
    def is_equivalent(self) -> bool | None:
        """Neither worse nor better by the margin; None when refused."""
        if self.p_above is None or self.p_below is None:
            return None
        return max(self.p_above, self.p_below) < LEVEL


def equivalence(one: ClusteredMean, other: ClusteredMean, margin: float) -> Equivalence:
    """Test whether two means lie within a margin of each other.

    Args:
        one: the mean that is to be shown as good.
        other: the mean it is compared with, of other patients.
        margin: largest difference that does not matter, above 0, same unit.

    Raises:
        ValueError: the margin is not above 0.
    """
    if not margin > 0:
        raise ValueError("a margin is above 0")
    if one.mean is None or other.mean is None:
        return Equivalence(None, warning="Nothing to compare with.")
    difference = one.mean - other.mean
    few = too_few(one.n_clusters, other.n_clusters)
    if few or not (one.se and other.se):
        return Equivalence(difference, warning=few or "The patients do not differ.")
    se = sqrt(one.se**2 + other.se**2)
    df = welch_df((one.se, one.n_clusters), (other.se, other.n_clusters))
    half = float(stdtrit(df, 1 - LEVEL)) * se
    return Equivalence(
        difference,
        difference - half,
        difference + half,
        float(stdtr(df, -(difference + margin) / se)),
        float(stdtr(df, (difference - margin) / se)),
        df,
    )


def patients_for_width(se: float, n_patients: int, width: float) -> int | None:
    """Patients for a 95 % interval of a mean as wide as wanted, patients varying as seen.

    (2 t s / width)^2 with s the standard deviation that a patient adds to the mean, s = se
    sqrt(n); t of the number found, so it is sought step by step.

    Args:
        se: standard error seen, patients varying.
        n_patients: behind it.
        width: of the whole interval, same unit, above 0.

    Returns:
        Patients in all, at least 3; None where the patients do not differ.
    """
    if not se > 0:
        return None
    spread = se * sqrt(n_patients)
    wanted = max(3, ceil((2 * float(ndtri(0.975)) * spread / width) ** 2))
    while 2 * float(stdtrit(wanted - 1, 0.975)) * spread / sqrt(wanted) > width:
        wanted += 1
    return wanted


def patients_for_margin(spread: float, margin: float) -> int | None:
    """Patients of each group to show "not worse" with a chance of 80 %, if truly alike.

    2 s^2 (z(0.975) + z(0.80))^2 / margin^2 for a one-sided test at 2.5 % (Chow, Shao &
    Wang, Sample Size Calculations in Clinical Research, 2nd ed. 2008, chapter 3).

    Args:
        spread: standard deviation between patients' means, as `patients_for_width`.
        margin: same unit, above 0.

    Returns:
        Patients of each group; None where the patients do not differ.
    """
    if not spread > 0:
        return None
    reach = float(ndtri(0.975)) + float(ndtri(POWER))
    return ceil(2 * (spread * reach / margin) ** 2)
