"""Shares and their limits against printed tables."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from pipeline.statistics.means import clustered_mean
from pipeline.statistics.shares import clustered_share, wilson_limits
from pipeline.statistics.tolerance import chance_beyond

# Newcombe RG, Two-sided confidence intervals for the single proportion, Stat Med
# 1998;17:857-872, table I: count, n, method 3 (Wilson), method 5 (Clopper-Pearson)
NEWCOMBE = [
    (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
    (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
    (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
    (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
]

# Weil CS, Food Cosmet Toxicol 1970;8:177-182, table 1: pups alive at 21 days / at 4 days,
# a litter each; the data are also printed by Williams, Biometrics 1975;31:949-952
CONTROL = (
    "13/13 12/12 9/9 9/9 8/8 8/8 12/13 11/12 9/10 9/10 8/9 11/13 4/5 5/7 7/10 7/10"
)
TREATED = "12/12 11/11 10/10 9/9 10/11 9/10 9/10 8/9 8/9 4/5 7/9 4/7 5/10 3/6 3/10 0/7"


@pytest.mark.parametrize(("count", "n", "wilson", "exact"), NEWCOMBE)
def test_wilson_limits_are_newcombes(
    count: int, n: int, wilson: tuple[float, float], exact: tuple[float, float]
) -> None:
    assert wilson_limits(count / n, n) == pytest.approx(wilson, abs=6e-5)


@pytest.mark.parametrize(("count", "n", "wilson", "exact"), NEWCOMBE)
def test_rank_probabilities_give_clopper_and_pearsons_limits(
    count: int, n: int, wilson: tuple[float, float], exact: tuple[float, float]
) -> None:
    """At an exact limit the count or worse has probability 0.025.

    The same function chooses the ranks of tolerance bounds. The limits are printed to
    four places, so the probability is known to about one part in ten.
    """
    low, high = exact
    if count:
        assert chance_beyond(n, count, 1 - low) == pytest.approx(0.025, rel=0.1)
    assert 1 - chance_beyond(n, count + 1, 1 - high) == pytest.approx(0.025, rel=0.1)


def test_none_of_twenty_patients_is_newcombes_none_of_twenty() -> None:
    """All alike, the effective number is the number of patients, so 0/20 is printed."""
    result = clustered_share([0] * 40, np.arange(40) // 2)
    assert (result.low, result.high) == pytest.approx((0, 0.1611), abs=6e-5)


@pytest.mark.parametrize(
    ("litters", "survival", "design_effect"),
    # Rao & Scott, Biometrics 1992;48:577-585, use these data as their first example;
    # design effects as printed by rsb() in the documentation of the R package PF
    [(CONTROL, 142 / 158, 1.232495), (TREATED, 112 / 145, 3.952861)],
    ids=["control", "treated"],
)
def test_design_effect_of_litters_is_rao_and_scotts(
    litters: str, survival: float, design_effect: float
) -> None:
    counts = [tuple(map(int, litter.split("/"))) for litter in litters.split()]
    is_alive = np.concatenate([np.arange(n) < alive for alive, n in counts])
    litter = np.repeat(np.arange(len(counts)), [n for _, n in counts])
    result = clustered_share(is_alive, litter)
    assert result.share == pytest.approx(survival)
    assert result.n_effective is not None
    assert result.n_values / result.n_effective == pytest.approx(
        design_effect, abs=5e-7
    )
    # the same standard error by the mean of zeros and ones
    se = sqrt(survival * (1 - survival) / result.n_effective)
    assert clustered_mean(is_alive, litter).se == pytest.approx(se)
