"""A million implants take each estimator well under a second."""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import numpy as np
import pytest

from pipeline.statistics.clustering import intraclass_correlation
from pipeline.statistics.means import clustered_mean, signed_mean
from pipeline.statistics.quantiles import clustered_quantile
from pipeline.statistics.shares import clustered_share
from pipeline.statistics.tolerance import tolerance_bound
from pipeline.statistics.verdicts import compare_with_band

VALUES = np.random.default_rng(1).rayleigh(size=1_000_000)
PATIENTS = np.repeat(np.arange(500_000), 2)
TEXT_LABELS = PATIENTS.astype(str).astype(object)

ESTIMATORS: dict[str, Callable[[], object]] = {
    "mean": lambda: clustered_mean(VALUES, PATIENTS),
    "mean by text labels": lambda: clustered_mean(VALUES, TEXT_LABELS),
    "signed mean": lambda: signed_mean(VALUES, PATIENTS),
    "share": lambda: clustered_share(VALUES <= 1, PATIENTS),
    "quantile": lambda: clustered_quantile(VALUES, PATIENTS, 0.95),
    "correlation": lambda: intraclass_correlation(VALUES, PATIENTS, is_error=True),
    "tolerance": lambda: tolerance_bound(VALUES, PATIENTS),
    "verdict": lambda: compare_with_band(
        clustered_mean(VALUES, PATIENTS), 1.0, 1.25, 0.0
    ),
}


@pytest.mark.parametrize("estimate", ESTIMATORS.values(), ids=ESTIMATORS)
def test_a_million_values_take_under_a_second(estimate: Callable[[], object]) -> None:
    """Best of two; measured 0.01 to 0.1 s, 0.4 s with text labels, on two cores."""
    seconds = []
    for _ in range(2):
        start = perf_counter()
        estimate()
        seconds.append(perf_counter() - start)
    assert min(seconds) < 1.0
