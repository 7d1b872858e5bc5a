"""Sums tell the same as rows: mean, interval, spread, correlation, share."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.statistics.aggregates import (
    Totals,
    icc_of_totals,
    mean_of_totals,
    quantile_of_bins,
    share_of_totals,
    together,
    totals_of,
)
from pipeline.statistics.clustering import intraclass_correlation
from pipeline.statistics.means import clustered_mean, signed_mean
from pipeline.statistics.shares import clustered_share

NEAR = {"rel": 1e-12, "abs": 1e-12}


@st.composite
def audits(draw, is_signed=False):
    """Draw values of some patients, one or two each, and the centre of each patient."""
    n = draw(st.integers(5, 60))
    seed = draw(st.integers(0, 2**32 - 1))
    dice = np.random.default_rng(seed)
    sizes = dice.integers(1, 3, n)
    patients = np.repeat(np.arange(n), sizes)
    common = dice.gamma(2, 0.5, n)
    values = common[patients] + dice.gamma(2, 0.3, patients.size)
    if is_signed:
        values -= 1.5
    return values, patients, dice.integers(0, 3, n)[patients]


def of_centres(values, patients, centres, counted_from):
    return together(
        totals_of(values[centres == c], patients[centres == c], counted_from)
        for c in np.unique(centres)
    )


def told(found):
    return [getattr(found, name) for name in type(found).__slots__]


def same(one, other):
    for mine, theirs in zip(told(one), told(other), strict=True):
        if isinstance(mine, float):
            assert mine == pytest.approx(theirs, **NEAR)
        else:
            assert mine == theirs


@given(audits())
@settings(max_examples=60, deadline=None)
def test_the_mean_of_an_error_and_its_limits_are_those_of_the_rows(audit):
    values, patients, centres = audit
    totals = of_centres(values, patients, centres, 2.0)
    same(mean_of_totals(totals, is_error=True), clustered_mean(values, patients))


@given(audits(is_signed=True))
@settings(max_examples=60, deadline=None)
def test_a_signed_mean_and_its_limits_are_those_of_the_rows(audit):
    values, patients, centres = audit
    totals = of_centres(values, patients, centres, 0.0)
    same(mean_of_totals(totals, is_error=False), signed_mean(values, patients))


@given(audits())
@settings(max_examples=60, deadline=None)
def test_the_correlation_of_two_implants_is_that_of_the_rows(audit):
    values, patients, centres = audit
    totals = of_centres(np.sqrt(values), patients, centres, 1.0)
    same(
        icc_of_totals(totals),
        intraclass_correlation(values, patients, is_error=True),
    )


@given(audits(), st.floats(0.5, 4.0))
@settings(max_examples=60, deadline=None)
def test_a_share_and_its_limits_are_those_of_the_rows(audit, limit):
    values, patients, centres = audit
    is_met = (values <= limit).astype(float)
    totals = of_centres(is_met, patients, centres, 0.0)
    same(share_of_totals(totals), clustered_share(is_met, patients))


@given(audits(), st.sampled_from([0.1, 0.5, 0.9, 0.95]), st.sampled_from([0.1, 0.5]))
@settings(max_examples=60, deadline=None)
def test_a_quantile_from_bins_lies_within_a_width_of_that_from_rows(audit, p, width):
    values, _, _ = audit
    places, counts = np.unique(np.floor(values / width).astype(int), return_counts=True)
    bins = dict(zip(places.tolist(), counts.tolist(), strict=True))
    found = quantile_of_bins(bins, width, p)
    assert found == pytest.approx(np.quantile(values, p), abs=width)


def test_the_printed_example_of_the_clustered_mean_comes_out_of_sums():
    # three patients of five have two implants; by hand: N = 8, mean 2.0,
    # squares 12 - the rows are 1 1 | 2 3 | 3 | 1 | 3 2
    values = np.array([1.0, 1, 2, 3, 3, 1, 3, 2])
    patients = np.array([0, 0, 1, 1, 2, 3, 4, 4])
    found = mean_of_totals(totals_of(values, patients, 1.0), is_error=True)
    assert (found.n_clusters, found.n_values, found.mean) == (5, 8, 2.0)
    assert found.sd == pytest.approx(np.sqrt(6 / 7))
    # s_i - m_i mean: -2, 1, 1, -1, 1; se2 = 5/4 * 8 / 64
    assert found.se == pytest.approx(np.sqrt(10 / 64))


def test_equal_patients_give_no_interval_from_sums_either():
    totals = totals_of([1.7] * 12, np.repeat(np.arange(6), 2), 2.0)
    found = mean_of_totals(totals, is_error=True)
    assert found.low is None
    assert "do not differ at all" in found.warning


def test_no_patient_at_all_gives_no_figure():
    assert mean_of_totals(Totals(2.0, {}), is_error=True).mean is None
    assert share_of_totals(Totals(0.0, {})).share is None
    with pytest.raises(ValueError, match="no values"):
        quantile_of_bins({}, 0.1, 0.5)


def test_sums_counted_from_different_numbers_are_never_added():
    one = totals_of([1.0, 2.0], [0, 1], 2.0)
    with pytest.raises(ValueError, match="same number"):
        together([one, totals_of([1.0, 2.0], [0, 1], 1.5)])
