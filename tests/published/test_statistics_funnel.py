"""Funnel limits against published formulas, and shrunken means against a library."""

import numpy as np
import pytest
from scipy.stats import binom
from statsmodels.stats.meta_analysis import combine_effects

from pipeline.statistics.funnel import (
    FEWEST_FOR_SPREAD,
    dispersion,
    funnel,
    share_limit,
)
from pipeline.statistics.rates import garwood_limits
from pipeline.statistics.shrinkage import FEWEST_PEOPLE, shrunken_means


@pytest.mark.parametrize(
    ("tail", "expected"),
    [
        (0.025, [-0.0397184208, 0.0138629270, 0.0403805955, 0.0576907220]),
        (0.975, [0.2284676070, 0.1797227276, 0.1577186116, 0.1409717144]),
        (0.001, [-0.0495887368, -0.0161193496, 0.0141788650, 0.0378515074]),
        (0.999, [0.3351718217, 0.2401284188, 0.1983567185, 0.1685672639]),
    ],
)
def test_share_limits_are_the_interpolated_binomial_of_spiegelhalter(tail, expected):
    # Spiegelhalter, Stat Med 2005;24:1185-1202, formula from memory; values for a target
    # of 0.10 by an own sum of binomial terms with 30 digits (mpmath)
    assert share_limit(0.10, [20, 50, 100, 200], tail) == pytest.approx(
        expected, abs=1e-9
    )


def test_limits_of_a_count_over_its_expected_number_are_garwoods():
    # 95 % limits for 15, 20 and 30 expected, target 1, as the tests of the open R package
    # FunnelPlotR print them (tests/testthat/test-poisson_limits.R)
    for expected, low, high in [
        (15, 0.5596924, 1.649348),
        (20, 0.6108260, 1.544419),
        (30, 0.6746958, 1.427562),
    ]:
        limits = np.array(garwood_limits(expected)) / expected
        assert limits == pytest.approx([low, high], abs=1e-6)


def test_limits_of_a_funnel_hold_by_exact_counting():
    totals = np.array([10, 15, 30, 60, 120])
    counts = np.array([2, 3, 6, 12, 24])
    found = funnel(counts, totals)
    assert found.target == pytest.approx(0.2)
    for n, low, high in zip(totals, *found.limits[:2], strict=True):
        # interpolated: the counts on both sides of a limit enclose the tail
        assert (
            binom.cdf(np.ceil(low * n) - 1, n, 0.2)
            <= 0.025
            <= binom.cdf(np.ceil(low * n), n, 0.2)
        )
        assert (
            binom.sf(np.ceil(high * n), n, 0.2)
            <= 0.025
            <= binom.sf(np.floor(high * n), n, 0.2)
        )


def test_few_units_are_not_judged_for_spread():
    found = funnel([1] * (FEWEST_FOR_SPREAD - 1), [10] * (FEWEST_FOR_SPREAD - 1))
    assert found.phi is None
    assert not found.is_widened
    assert "cannot be judged" in (found.warning or "")


def test_many_units_that_differ_widen_the_limits_by_the_root_of_phi():
    counts = np.array([0, 0, 1, 1, 2, 5, 10, 12, 14, 15])
    totals = np.full(10, 20)
    found = funnel(counts, totals)
    plain = share_limit(found.target, totals, 0.975)
    assert found.is_widened
    # standardised by hand: target 60/200, sd sqrt(.3 .7 / 20), tenths at -2.928 and 3.074
    z = (counts / 20 - 0.3) / np.sqrt(0.3 * 0.7 / 20)
    drawn = np.clip(z, *np.quantile(z, [0.1, 0.9]))
    assert found.phi == pytest.approx(float(np.mean(drawn**2)))
    assert found.limits[1] == pytest.approx(
        np.minimum(1, 0.3 + np.sqrt(found.phi) * (plain - 0.3))
    )


def test_by_chance_alone_phi_is_about_one():
    rng = np.random.default_rng(5)
    totals = rng.integers(20, 80, size=4000).astype(float)
    counts = rng.binomial(totals.astype(int), 0.3).astype(float)
    # drawing in the outer tenths of a normal leaves 0.7 to 0.8 of its mean square
    assert 0.6 < dispersion(counts, totals, 0.3) < 0.9


@pytest.mark.parametrize("count", [0, 10])
def test_where_no_case_or_every_case_has_it_the_limits_are_that_share(count):
    found = funnel([count] * 4, [10] * 4)
    for limit in found.limits:
        assert limit == pytest.approx([count / 10] * 4)


def test_two_units_have_no_funnel():
    found = funnel([1, 2], [10, 10])
    assert found.target is None
    assert "No funnel" in (found.warning or "")


@pytest.mark.parametrize(("counts", "totals"), [([3], [2]), ([-1], [2]), ([0], [0])])
def test_counts_that_cannot_be_are_refused(counts, totals):
    with pytest.raises(ValueError, match="count"):
        funnel(counts, totals)


def test_shrunken_means_use_the_between_variance_of_the_reference_library():
    means = [1.1, 1.9, 0.8, 2.6, 1.4, 1.7]
    errors = np.array([0.2, 0.3, 0.25, 0.4, 0.15, 0.35])
    # statsmodels.stats.meta_analysis.combine_effects(method_re="dl"): tau2 and mean
    reference = combine_effects(np.array(means), errors**2, method_re="dl")
    found = shrunken_means(means, errors)
    assert found.tau2 == pytest.approx(reference.tau2)
    assert found.overall == pytest.approx(reference.mean_effect_re)
    kept = reference.tau2 / (reference.tau2 + errors**2)
    by_hand = reference.mean_effect_re + kept * (
        np.array(means) - reference.mean_effect_re
    )
    assert found.means == pytest.approx(by_hand)


def test_eight_coaching_schools_show_no_difference():
    # Rubin, J Educ Stat 1981;6:377-401: effects and standard errors of eight schools;
    # Q = 4.7 is below its 7 degrees of freedom, so the moment estimate of tau2 is 0
    effects = [28, 8, -3, 7, -1, 1, 18, 12]
    errors = [15, 10, 16, 11, 9, 11, 10, 18]
    found = shrunken_means(effects, errors)
    assert found.tau2 == 0
    assert found.overall == pytest.approx(7.7, abs=0.05)
    assert found.means == pytest.approx([found.overall] * 8)
    assert found.warning == "No difference between them is visible."


def test_four_people_are_not_shrunken():
    found = shrunken_means([1, 2, 3, 4], [1, 1, 1, 1])
    assert found.means is None
    assert f"fewer than {FEWEST_PEOPLE}" in (found.warning or "")
