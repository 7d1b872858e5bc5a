"""Do two figures of the same patients go together: correlation and slope.

The patient is the unit: a patient with several values counts with the means of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from pipeline.statistics.patients import (
    FEWEST_FOR_INTERVAL,
    UPPER_TAIL,
    Floats,
    Labels,
    doubt_about_count,
    group_by_patient,
)

_NO_SPREAD = 1e-12
"""A spread below this part of the largest size is rounding."""


@dataclass(frozen=True, slots=True)
class Together:
    """How the second figure goes with the first.

    Attributes:
        n_patients: patients with both.
        r: product-moment correlation, -1 to 1; None when refused.
        r_low: lower limit of its 95 % interval (Fisher's z); None when refused.
        r_high: upper limit of it.
        slope: change of the second for one unit of the first; None when refused.
        slope_low: lower limit of its 95 % interval; None when refused.
        slope_high: upper limit of it.
        warning: what to say beside the figures; None when there is nothing.
    """

    n_patients: int
    r: float | None
    r_low: float | None
    r_high: float | None
    slope: float | None
    slope_low: float | None
    slope_high: float | None
    warning: str | None

    @property
    def is_told(self) -> bool:
        """The correlation is told apart from none: its interval leaves 0 out."""
        low, high = self.r_low, self.r_high
        return low is not None and high is not None and not low <= 0 <= high


def together(first: ArrayLike, second: ArrayLike, clusters: Labels) -> Together:
    """How two figures go together over patients.

    Correlation with the limits of Fisher's z; slope by least squares, its standard error
    by HC3 (MacKinnon and White, J Econometrics 1985;29:305-325) because errors spread more
    where they are larger, with n - 2 degrees of freedom.

    Args:
        first: shape (n_values,), in one unit.
        second: shape (n_values,), in one unit, in the same order.
        clusters: the patient of each value.

    Raises:
        ValueError: a value or a label is missing, or the two are not equally long.
    """
    x_all, patients = group_by_patient(first, clusters)
    y_all, _ = group_by_patient(second, patients)
    counts = patients.totals(np.ones(patients.n_values))
    x, y = patients.totals(x_all) / counts, patients.totals(y_all) / counts
    n = patients.n_patients
    if n < FEWEST_FOR_INTERVAL:
        return _refused(n, doubt_about_count(n))
    if not (_spreads(x) and _spreads(y)):
        return _refused(n, "No comparison: one of the two figures is always the same.")
    r = float(np.clip(np.corrcoef(x, y)[0, 1], -1, 1))
    reach = float(ndtri(UPPER_TAIL)) / sqrt(n - 3)
    with np.errstate(divide="ignore"):
        low, high = (float(np.tanh(np.arctanh(r) + at)) for at in (-reach, reach))
    slope, se = _slope(x, y)
    far = float(stdtrit(n - 2, UPPER_TAIL)) * se
    return Together(
        n, r, low, high, slope, slope - far, slope + far, doubt_about_count(n)
    )


def _slope(x: Floats, y: Floats) -> tuple[float, float]:
    """Return the least-squares slope and its HC3 standard error."""
    centred = x - x.mean()
    square = float(centred @ centred)
    slope = float(centred @ y) / square
    left = y - y.mean() - slope * centred
    leverage = 1 / len(x) + centred**2 / square
    # a point alone at its place fits itself: nothing is left there to judge by
    scaled = np.where(leverage < 1 - 1e-9, left / np.maximum(1 - leverage, 1e-9), 0.0)
    return slope, sqrt(float((centred * scaled) @ (centred * scaled))) / square


def _spreads(values: Floats) -> bool:
    return float(np.ptp(values)) > _NO_SPREAD * max(1.0, float(np.abs(values).max()))


def _refused(n: int, why: str | None) -> Together:
    return Together(n, None, None, None, None, None, None, why)
