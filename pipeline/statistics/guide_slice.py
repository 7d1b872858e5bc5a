"""How much of the scatter lay in the guide as made, and how much came after it.

Lab part = guide less plan, clinical part = result less guide, of one signed number a case.
The error of reading the guide stands in both with opposite sign, so it is taken off both
variances and added to their covariance; that of reading the result is taken off the
clinical part: with true variances 1 and 4 and reading sds 0.8 and 0.5 the parts as read
have variances 1.64 and 4.89 and a covariance of -0.64 that is not there. Unsigned angles
do not add up and have no place here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.statistics.budget import refusal
from pipeline.statistics.variances import (
    Variance,
    degrees_of_freedom,
    excess_kurtosis,
    sample_variance,
    with_limits,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GuideSlice:
    """The two parts of the scatter of a signed number.

    Attributes:
        n: cases, one a patient.
        lab: variance of the guide as made, error of reading taken off.
        clinical: variance of what came after it.
        covariance: of the two; below 0 where surgery undoes what the guide is off.
    """

    n: int
    lab: Variance
    clinical: Variance
    covariance: float

    @property
    def lab_share(self) -> float | None:
        """Share of the lab part in both, parts below 0 cut; None where both are 0."""
        lab, clinical = (
            max(0.0, float(part.value)) for part in (self.lab, self.clinical)
        )
        return lab / (lab + clinical) if lab + clinical > 0 else None


def guide_slice(
    lab: Floats,
    clinical: Floats,
    guide_reading_sd: float = 0.0,
    result_reading_sd: float = 0.0,
) -> GuideSlice:
    """Divide the scatter of a signed number at the guide as made.

    Args:
        lab: guide less plan, (n,), one a patient, n at least 8.
        clinical: result less guide, (n,), same order and unit.
        guide_reading_sd: standard deviation of one reading of the guide.
        result_reading_sd: of one reading of the result.

    Raises:
        ValueError: there are fewer than 8.
    """
    said = refusal(len(lab))
    if said:
        raise ValueError(said)
    of_guide, of_result = guide_reading_sd**2, result_reading_sd**2
    covariance = float(np.cov(lab, clinical)[0, 1]) + of_guide
    return GuideSlice(
        len(lab),
        _without(lab, of_guide),
        _without(clinical, of_guide + of_result),
        covariance,
    )


def _without(values: Floats, reading: float) -> Variance:
    """Return the variance with its limits, less a variance that is known."""
    df = degrees_of_freedom(values, excess_kurtosis(values))
    found = with_limits(sample_variance(values), df)
    return Variance(found.value - reading, found.low - reading, found.high - reading)
