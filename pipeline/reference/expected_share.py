"""What share of implants published results would bring within a limit.

A criterion that most published work of the same kind would miss sets a clinic up to
fail; one that all of it meets says nothing. Both are seen before anybody signs.
"""

from __future__ import annotations

import math

from pipeline.reference import load


def expected_share(mean: float, sd: float, limit: float) -> float:
    """Return the share of implants at or below a limit, from a mean and an sd.

    Deviations are positive and skewed to the right, so a gamma shape with this mean
    and sd is taken: shape k = (mean/sd)², scale = sd²/mean, share = P(k, limit/scale)
    with P the regularised lower incomplete gamma function (DLMF 8.2.4).

    Args:
        mean: mean of the deviation, in the unit of the limit.
        sd: standard deviation between implants, same unit.
        limit: largest deviation that meets the criterion, same unit.

    Returns:
        A share between 0 and 1. Mean 2.0, sd 1.0, limit 2.0 gives 0.567: a mean that
        meets a limit leaves four implants in ten beyond it.

    Raises:
        ValueError: mean or sd is not a positive number, or the limit is negative.
    """
    if not (math.isfinite(mean) and math.isfinite(sd) and mean > 0 and sd > 0):
        raise ValueError("mean and sd must be positive numbers")
    if not limit >= 0:
        raise ValueError("the limit must not be negative")
    from scipy.special import gammainc

    return float(gammainc((mean / sd) ** 2, limit * mean / sd**2))


def published_shares(
    comparison_set: str, measure: str, limit: float, assumed_cv: float
) -> tuple[float, float]:
    """Return the lowest and highest share that the means of a named set would reach.

    Args:
        comparison_set: a name from ``comparison_sets.csv``.
        measure: the measure the limit is on.
        limit: largest deviation that meets the criterion.
        assumed_cv: sd over mean, for published means printed without an sd.

    Returns:
        Lowest and highest share over the rows that make the band.

    Raises:
        ValueError: the set has no band for this measure.
    """
    published = {row["key"]: row for row in load.rows("published_accuracy")}
    band = [
        published[row["key"]]
        for row in load.rows("comparison_members")
        if row["comparison_set"] == comparison_set
        and row["measure"] == measure
        and row["role"] == "band"
    ]
    if not band:
        raise ValueError(f"{comparison_set} has no band for {measure}")
    shares = [
        expected_share(
            float(row["value"]),
            float(row["sd"]) if row["sd"] else assumed_cv * float(row["value"]),
            limit,
        )
        for row in band
    ]
    return min(shares), max(shares)


def example_shares() -> dict[str, tuple[float, float]]:
    """Return, for each example criterion, the lowest and highest published share."""
    return {
        row["criterion"]: published_shares(
            row["comparison_set"],
            row["measure"],
            float(row["limit"]),
            float(row["assumed_cv"]),
        )
        for row in load.rows("criteria_examples")
    }
