"""A published per-implant table gives the published means and the worked intervals.

The rows and their source stand in upper_jaw_overdenture_template.csv and .md. The paper
prints means and SDs only; the limits below were worked out from its rows apart from this
code, when the methods were chosen, and those that a library offers are checked against it.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
import statsmodels.api as sm

from pipeline.statistics.clustering import intraclass_correlation
from pipeline.statistics.means import clustered_mean, signed_mean
from pipeline.statistics.quantiles import rank_limits
from pipeline.statistics.shares import clustered_share

TABLE = Path(__file__).with_name("upper_jaw_overdenture_template.csv")


class Measure(NamedTuple):
    """A column, what the paper prints for it and the corrected limits."""

    column: str
    printed_mean: float
    printed_sd: float
    decimals: int
    low: float
    high: float


MEASURES = [
    Measure("angular_deviation_deg", 7.24, 3.39, 2, 5.7636, 9.3822),
    Measure("global_deviation_mm", 1.1, 0.5, 1, 0.7972, 1.5179),
    Measure("lateral_deviation_mm", 0.8, 0.5, 1, 0.4999, 1.5382),
    Measure("depth_deviation_mm", 0.6, 0.4, 1, 0.4400, 0.8731),
]


def column(name: str) -> tuple[np.ndarray, list[str]]:
    with TABLE.open(encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if row[name] != "NA"]
    values = np.array([float(row[name]) for row in rows])
    return values, [row["patient_no"] for row in rows]


@pytest.mark.parametrize("measure", MEASURES, ids=lambda measure: measure.column)
class TestEveryMeasure:
    def test_mean_is_the_printed_one(self, measure: Measure) -> None:
        result = clustered_mean(*column(measure.column))
        assert (result.n_clusters, result.n_values) == (11, 23)
        assert result.mean is not None
        assert round(result.mean, measure.decimals) == measure.printed_mean

    def test_printed_sd_has_divisor_n_and_ours_n_less_one(
        self, measure: Measure
    ) -> None:
        """To one unit of the last printed digit (3.384 was printed 3.39)."""
        sd = clustered_mean(*column(measure.column)).sd
        assert sd is not None
        as_printed = sd * np.sqrt(22 / 23)
        assert as_printed == pytest.approx(
            measure.printed_sd, abs=1.05 * 10**-measure.decimals
        )

    def test_skew_corrected_limits(self, measure: Measure) -> None:
        result = clustered_mean(*column(measure.column))
        assert (result.low, result.high) == pytest.approx(
            (measure.low, measure.high), abs=6e-5
        )
        assert result.warning is None

    def test_standard_error_is_that_of_a_cluster_robust_regression(
        self, measure: Measure
    ) -> None:
        """statsmodels OLS on a constant, cov_type "cluster", t with n - 1 df."""
        values, patients = column(measure.column)
        groups = np.unique(patients, return_inverse=True)[1]
        fit = sm.OLS(values, np.ones(values.size)).fit(
            cov_type="cluster", cov_kwds={"groups": groups}, use_t=True
        )
        ours = signed_mean(values, patients)
        assert ours.se == pytest.approx(fit.bse[0])
        assert (ours.low, ours.high) == pytest.approx(tuple(fit.conf_int()[0]))


def test_t_limits_of_the_angle() -> None:
    result = signed_mean(*column("angular_deviation_deg"))
    assert result.mean == pytest.approx(7.2435, abs=6e-5)
    assert result.se == pytest.approx(0.7710, abs=6e-5)
    assert (result.low, result.high) == pytest.approx((5.5255, 8.9615), abs=6e-5)


@pytest.mark.parametrize(
    ("name", "limit", "share", "low", "high", "n_effective"),
    [
        ("angular_deviation_deg", 8, 0.5652, 0.3578, 0.7520, 20.525),
        ("lateral_deviation_mm", 1, 0.9130, 0.6161, 0.9857, 10.305),
    ],
)
def test_share_within_a_limit(
    name: str, limit: float, share: float, low: float, high: float, n_effective: float
) -> None:
    values, patients = column(name)
    result = clustered_share(values <= limit, patients)
    assert result.share == pytest.approx(share, abs=6e-5)
    assert (result.low, result.high) == pytest.approx((low, high), abs=6e-5)
    assert result.n_effective == pytest.approx(n_effective, abs=6e-4)


def test_ranks_of_high_quantiles_with_45_effective_of_60_values() -> None:
    assert rank_limits(60, 45, 0.90) == (48, 59)
    assert rank_limits(60, 45, 0.95) == (53, None)


@pytest.mark.parametrize(
    ("name", "icc", "low", "high", "is_told"),
    [
        ("lateral_deviation_mm", 0.7276, 0.3112, 0.9162, True),
        ("angular_deviation_deg", -0.0933, -0.5755, 0.4891, False),
    ],
)
def test_intraclass_correlation_on_the_root_scale(
    name: str, icc: float, low: float, high: float, is_told: bool
) -> None:
    result = intraclass_correlation(*column(name), is_error=True)
    assert result.icc == pytest.approx(icc, abs=6e-5)
    assert (result.low, result.high) == pytest.approx((low, high), abs=6e-5)
    assert (result.warning is None) == is_told
