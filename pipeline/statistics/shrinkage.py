"""Means of several people, each drawn toward their common mean as far as chance goes.

The mean of few cases is mostly chance. Drawn toward the common mean by its share of
chance it is a better guess of what the person's next cases will be: shrunken = overall +
tau2 / (tau2 + se2) (own - overall), tau2 the variance of the true means between people by
moments (DerSimonian & Laird, Control Clin Trials 1986;7:177-188; the empirical Bayes
estimate of Morris, J Am Stat Assoc 1983;78:47-55). It carries no interval and no order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.statistics.patients import Floats, as_numbers
from pipeline.statistics.pooling import pooled_mean

FEWEST_PEOPLE = 5
"""Fewer people show no spread between people that could be relied on."""


@dataclass(frozen=True, slots=True)
class Shrunken:
    """Shrunken means, in the order given.

    Attributes:
        overall: the common mean; None when refused.
        tau2: variance of the true means between people; 0: no difference is visible.
        means: shape (n_people,); None when refused.
        warning: what to say beside; None when there is nothing.
    """

    overall: float | None
    tau2: float | None
    means: Floats | None
    warning: str | None


def shrunken_means(means: ArrayLike, standard_errors: ArrayLike) -> Shrunken:
    """Draw the mean of each person toward the common mean.

    Args:
        means: shape (n_people,), in one unit.
        standard_errors: of each mean, patients varying; above 0.

    Raises:
        ValueError: a value is missing, or a standard error is not above 0.
    """
    own, se = as_numbers(means), as_numbers(standard_errors)
    if own.size < FEWEST_PEOPLE:
        few = (
            f"Not shrunken: {own.size} with enough cases; fewer than {FEWEST_PEOPLE}"
            " cannot show how much people differ."
        )
        return Shrunken(None, None, None, few)
    pooled = pooled_mean(own, se**2, "DerSimonian-Laird")
    assert pooled.tau2 is not None  # noqa: S101 - three means are enough to pool
    assert pooled.mean is not None  # noqa: S101
    kept = pooled.tau2 / (pooled.tau2 + se**2)
    drawn = np.asarray(pooled.mean + kept * (own - pooled.mean), dtype=np.float64)
    warning = None if pooled.tau2 else "No difference between them is visible."
    return Shrunken(pooled.mean, pooled.tau2, drawn, warning)
