"""How often the intervals of correlation and slope hold the truth (small runs)."""

from math import sqrt

import numpy as np
import pytest

from pipeline.statistics.together import together

COUNT_AUDITS = 2_000
SLOPE = 0.01
"""Millimetres an error grows with each use of the drills."""


def share(hits):
    """Share of audits, with room of three standard errors of counting either way."""
    return np.mean(hits), 3 * sqrt(0.95 * 0.05 / COUNT_AUDITS)


@pytest.mark.parametrize("n", [8, 15, 30])
def test_the_slopes_interval_covers_where_errors_spread_more_as_they_grow(n):
    """Gamma errors whose spread grows with their mean; measured 0.949 to 0.960."""
    draw = np.random.default_rng(n)
    hits = []
    for _ in range(COUNT_AUDITS):
        uses = draw.integers(0, 60, n).astype(float)
        errors = draw.gamma(3, (0.6 + SLOPE * uses) / 3)
        found = together(uses, errors, range(n))
        hits.append(found.slope_low <= SLOPE <= found.slope_high)
    covered, room = share(hits)
    assert 0.94 - room <= covered <= 0.965 + room


@pytest.mark.parametrize("n", [8, 15, 30])
def test_the_correlations_interval_covers_for_normal_figures(n):
    """Fisher's z; measured 0.944 to 0.957."""
    draw = np.random.default_rng(100 + n)
    both = draw.multivariate_normal([0, 0], [[1, 0.5], [0.5, 1]], (COUNT_AUDITS, n))
    hits = []
    for pair in both:
        found = together(pair[:, 0], pair[:, 1], range(n))
        hits.append(found.r_low <= 0.5 <= found.r_high)
    covered, room = share(hits)
    assert 0.945 - room <= covered <= 0.955 + room
