"""Means, SDs and t intervals of single values against certified and printed figures."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pandas as pd
import pytest

from pipeline.statistics.means import clustered_mean, signed_mean
from pipeline.warehouse import Warehouse

# NIST Statistical Reference Datasets, univariate summary statistics, set Mavro
MAVRO = np.array(
    [
        "18",
        "17",
        "18",
        "19",
        "18",
        "17",
        "15",
        "14",
        "15",
        "15",
        "17",
        "18",
        "18",
        "19",
        "19",
        "21",
        "20",
        "16",
        "14",
        "13",
        "13",
        "15",
        "15",
        "16",
        "15",
        "14",
        "13",
        "14",
        "15",
        "14",
        "15",
        "16",
        "15",
        "16",
        "19",
        "20",
        "20",
        "21",
        "22",
        "23",
        "24",
        "25",
        "27",
        "26",
        "26",
        "26",
        "27",
        "26",
        "25",
        "24",
    ],
    dtype=float,
)


def alternating(middle: float, below: float, above: float) -> np.ndarray:
    return np.array([middle, *([below, above] * 500)])


# certified values; where the decimals cannot be held in binary the SD of any
# double-precision calculation keeps fewer digits
CERTIFIED = [
    (2 + MAVRO / 10_000, 2.001856, 0.000429123454003053, 11),
    (np.array([10000001.0, 10000003.0, 10000002.0]), 10000002.0, 1.0, 15),
    (alternating(1.2, 1.1, 1.3), 1.2, 0.1, 14),
    (alternating(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, 9),
    (alternating(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, 8),
]
SETS = ["Mavro", "NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"]


@pytest.mark.parametrize(("values", "mean", "sd", "digits"), CERTIFIED, ids=SETS)
def test_mean_and_sd_are_the_certified_ones(
    values: np.ndarray, mean: float, sd: float, digits: int
) -> None:
    for estimate in (clustered_mean, signed_mean):
        result = estimate(values, np.arange(values.size))
        assert result.mean == pytest.approx(mean, rel=1e-14)
        assert result.sd == pytest.approx(sd, rel=10.0**-digits)
        assert result.se == pytest.approx(sd / sqrt(values.size), rel=10.0**-digits)


@pytest.mark.parametrize(("values", "mean", "sd", "digits"), CERTIFIED, ids=SETS)
def test_the_database_gives_the_certified_mean_and_sd_as_well(
    values: np.ndarray, mean: float, sd: float, digits: int
) -> None:
    frame = pd.DataFrame({"value": values})
    with Warehouse() as warehouse, warehouse.registered("certified", frame):
        ((found, spread),) = warehouse.run(
            "select avg(value), stddev_samp(value) from certified"
        )
    assert found == pytest.approx(mean, rel=1e-12)
    assert spread == pytest.approx(sd, rel=10.0 ** -min(digits, 12))


def test_t_interval_of_five_patients_is_the_printed_one() -> None:
    """Bone height in five patients, zone 1: 16.38 (2.010), 13.88 to 18.87.

    Jayanandhini et al., J Maxillofac Oral Surg 2024, doi 10.1007/s12663-023-02098-w,
    tables 7 and 8; the upper limit is cut, not rounded (18.876).
    """
    result = signed_mean([17.5, 13.0, 18.2, 16.4, 16.8], range(5))
    assert result.mean == pytest.approx(16.38, abs=0.005)
    assert result.sd == pytest.approx(2.010, abs=0.0006)
    assert result.low == pytest.approx(13.88, abs=0.006)
    assert result.high == pytest.approx(18.87, abs=0.0101)
    assert result.warning is not None
    assert result.warning.startswith("Few")
