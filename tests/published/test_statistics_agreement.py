"""Analysis of variance within and between subjects against printed examples."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from pipeline.statistics.clustering import (
    f_limits,
    intraclass_correlation,
    mean_squares,
    typical_size,
)
from pipeline.statistics.patients import group_by_patient

# Shrout & Fleiss, Psychol Bull 1979;86:420-428, table 2: six targets, four judges
TARGETS = [
    (9, 2, 5, 8),
    (6, 1, 3, 2),
    (8, 4, 6, 8),
    (7, 1, 2, 6),
    (10, 5, 6, 9),
    (6, 2, 4, 7),
]

# Bland & Altman, Lancet 1986;i:307-310: peak flow of 17 subjects, two readings each of
# the Wright meter and of the mini meter
WRIGHT = (
    [
        494,
        395,
        516,
        434,
        476,
        557,
        413,
        442,
        650,
        433,
        417,
        656,
        267,
        478,
        178,
        423,
        427,
    ],
    [
        490,
        397,
        512,
        401,
        470,
        611,
        415,
        431,
        638,
        429,
        420,
        633,
        275,
        492,
        165,
        372,
        421,
    ],
)
MINI = (
    [
        512,
        430,
        520,
        428,
        500,
        600,
        364,
        380,
        658,
        445,
        432,
        626,
        260,
        477,
        259,
        350,
        451,
    ],
    [
        525,
        415,
        508,
        444,
        500,
        625,
        460,
        390,
        642,
        432,
        420,
        605,
        227,
        467,
        268,
        370,
        443,
    ],
)


def test_one_way_correlation_and_limits_are_shrout_and_fleisss() -> None:
    """ICC(1,1) 0.17; limits -0.13 to 0.72 as printed by the pingouin documentation.

    Mean squares between 11.24 and within 6.26 as printed in the paper (from memory).
    """
    values, patients = group_by_patient(np.ravel(TARGETS), np.repeat(range(6), 4))
    between, within = mean_squares(values, patients)
    assert (round(between, 2), round(within, 2)) == (11.24, 6.26)
    size = typical_size(patients)
    assert size == pytest.approx(4)
    ratio = between / within
    assert (ratio - 1) / (ratio + size - 1) == pytest.approx(0.17, abs=0.005)
    low, high = f_limits(ratio, 5, 18, size)
    assert (round(low, 2), round(high, 2)) == (-0.13, 0.72)


@pytest.mark.parametrize(
    ("readings", "within_sd"),
    # twice the within-subject SD is printed as the repeatability: 43.2 and 56.4 from
    # rounded figures; without rounding the SD is 15.307 and 19.911
    [(WRIGHT, 15.3), (MINI, 19.9)],
    ids=["Wright", "mini"],
)
def test_spread_within_subjects_is_bland_and_altmans(
    readings: tuple[list[int], list[int]], within_sd: float
) -> None:
    flat, subjects = np.ravel(readings), np.tile(range(17), 2)
    values, patients = group_by_patient(flat, subjects)
    between, within = mean_squares(values, patients)
    assert round(sqrt(within), 1) == within_sd
    result = intraclass_correlation(flat, subjects, is_error=False)
    assert result.icc == pytest.approx((between - within) / (between + within))
    assert result.warning is None
