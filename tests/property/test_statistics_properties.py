"""What holds for any audit: scale, order, textbook forms, two ways to one number."""

from __future__ import annotations

import warnings
from typing import NamedTuple

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint
from statsmodels.tools.sm_exceptions import ConvergenceWarning

from pipeline.statistics.clustering import (
    intraclass_correlation,
    mean_squares,
    typical_size,
)
from pipeline.statistics.means import ClusteredMean, clustered_mean, signed_mean
from pipeline.statistics.patients import group_by_patient
from pipeline.statistics.quantiles import clustered_quantile, rank_limits
from pipeline.statistics.shares import clustered_share
from pipeline.statistics.tolerance import largest_rank, tolerance_bound
from pipeline.statistics.verdicts import cases_needed, compare_with_band

steady = settings(deadline=None)  # a busy machine is not a fault

PROBABILITIES = st.sampled_from([0.1, 0.5, 0.9, 0.95])


class Audit(NamedTuple):
    """Errors of the implants of some patients."""

    values: np.ndarray
    clusters: np.ndarray


@st.composite
def audits(
    draw: st.DrawFn, fewest: int = 5, most: int = 30, largest_size: int = 3
) -> Audit:
    """Skewed errors of 5 to 30 patients, alike within a patient or not."""
    sizes = draw(st.lists(st.integers(1, largest_size), min_size=fewest, max_size=most))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    likeness = draw(st.sampled_from([0.0, 0.5, 0.95]))
    clusters = np.repeat(np.arange(len(sizes)), sizes)
    shared = rng.normal(size=len(sizes))[clusters]
    own = rng.normal(size=clusters.size)
    scale = draw(st.sampled_from([0.2, 0.6, 1.2]))
    values = np.exp(scale * (likeness * shared + (1 - likeness) * own))
    if draw(st.booleans()):
        values = np.round(values, 1)  # as read on a scale: ties, and 0
    assume(np.unique(values).size > 3)
    return Audit(values, clusters)


def limits(result: object) -> list[float | None]:
    return [getattr(result, name) for name in ("low", "high")]


@steady
@given(audits(), st.floats(1e-3, 1e3))
def test_a_change_of_unit_only_changes_the_unit(audit: Audit, factor: float) -> None:
    for estimate in (clustered_mean, signed_mean):
        one, other = estimate(*audit), estimate(audit.values * factor, audit.clusters)
        assume(one.low is not None)
        for name in ("mean", "sd", "se", "low", "high"):
            expected = getattr(one, name) * factor
            assert getattr(other, name) == pytest.approx(expected, abs=1e-9 * factor)
        assert other.design_effect == pytest.approx(one.design_effect)
    scaled = intraclass_correlation(
        audit.values * factor, audit.clusters, is_error=True
    )
    icc = intraclass_correlation(*audit, is_error=True).icc
    assert (scaled.icc is None) == (icc is None)
    assert icc is None or scaled.icc == pytest.approx(icc, abs=1e-9)


@steady
@given(audits(), st.floats(-1e3, 1e3))
def test_a_shift_of_signed_values_shifts_mean_and_limits(
    audit: Audit, shift: float
) -> None:
    one, other = signed_mean(*audit), signed_mean(audit.values + shift, audit.clusters)
    assume(one.low is not None)
    for name in ("mean", "low", "high"):
        assert getattr(other, name) == pytest.approx(getattr(one, name) + shift)
    assert other.se == pytest.approx(one.se, rel=1e-6)


@steady
@given(audits(), st.randoms(use_true_random=False), PROBABILITIES)
def test_neither_order_nor_names_of_patients_matter(
    audit: Audit, random: object, p: float
) -> None:
    order = np.arange(audit.values.size)
    random.shuffle(order)  # type: ignore[attr-defined]
    values = audit.values[order]
    names = [f"patient {code}" for code in audit.clusters[order]]
    is_met = audit.values <= 1
    for one, other in [
        (clustered_mean(*audit), clustered_mean(values, names)),
        (
            clustered_share(is_met, audit.clusters),
            clustered_share(is_met[order], names),
        ),
        (clustered_quantile(*audit, p), clustered_quantile(values, names, p)),
        (tolerance_bound(*audit, 0.6, 0.6), tolerance_bound(values, names, 0.6, 0.6)),
        (
            intraclass_correlation(*audit, is_error=True),
            intraclass_correlation(values, names, is_error=True),
        ),
    ]:
        for name in one.__slots__:
            expected = getattr(one, name)
            if isinstance(expected, float):
                expected = pytest.approx(expected, rel=1e-8, abs=1e-9)
            assert getattr(other, name) == expected


@steady
@given(audits(), PROBABILITIES)
def test_an_interval_holds_its_estimate(audit: Audit, p: float) -> None:
    is_met = audit.values <= 1
    correlation = intraclass_correlation(*audit, is_error=True)
    for estimate, result in [
        (clustered_mean(*audit).mean, clustered_mean(*audit)),
        (signed_mean(*audit).mean, signed_mean(*audit)),
        (is_met.mean(), clustered_share(is_met, audit.clusters)),
        (clustered_quantile(*audit, p).value, clustered_quantile(*audit, p)),
        (correlation.icc, correlation),
    ]:
        low, high = limits(result)
        if estimate is not None:
            assert low is None or low <= estimate
            assert high is None or high >= estimate
    share = clustered_share(is_met, audit.clusters)
    assert share.low is not None
    assert share.high is not None
    assert 0 <= share.low <= share.high <= 1


@steady
@given(audits(largest_size=1))
def test_one_implant_a_patient_gives_the_textbook_t_interval(audit: Audit) -> None:
    """scipy.stats.t.interval and ttest_1samp, one value a patient."""
    result = signed_mean(*audit)
    expected = stats.ttest_1samp(audit.values, 0).confidence_interval(0.95)
    assert limits(result) == pytest.approx([expected.low, expected.high])
    assert result.design_effect == pytest.approx(1)


@steady
@given(st.integers(5, 200), st.data())
def test_one_implant_a_patient_gives_wilson_on_one_fewer(
    n: int, data: st.DataObject
) -> None:
    """statsmodels proportion_confint; n itself when all or none are met."""
    count = data.draw(st.integers(0, n))
    result = clustered_share(np.arange(n) < count, range(n))
    worth = n if count in {0, n} else n - 1
    expected = proportion_confint(count / n * worth, worth, method="wilson")
    assert limits(result) == pytest.approx(list(expected), abs=1e-12)


@steady
@given(st.integers(1, 400), PROBABILITIES)
def test_ranks_of_independent_values_are_binomial(n: int, p: float) -> None:
    """The j-th smallest lies below the quantile when at least j of n values do."""
    chance_below = stats.binom.sf(np.arange(n), n, p)
    is_lower = np.flatnonzero(chance_below >= 0.975)
    is_upper = np.flatnonzero(1 - chance_below >= 0.975)
    lower, upper = rank_limits(n, n, p)
    assert lower == (is_lower[-1] + 1 if is_lower.size else None)
    assert upper == (is_upper[0] + 1 if is_upper.size else None)


@steady
@given(st.integers(0, 500), st.floats(0.5, 0.99), st.floats(0.5, 0.99))
def test_rank_of_a_tolerance_bound_is_binomial(
    n: int, coverage: float, confidence: float
) -> None:
    ranks = np.arange(1, n + 1)
    is_enough = stats.binom.sf(ranks - 1, n, 1 - coverage) >= confidence
    expected = int(ranks[is_enough].max()) if is_enough.any() else None
    assert largest_rank(n, coverage, confidence) == expected


@steady
@given(audits())
def test_implants_that_repeat_each_other_add_nothing(audit: Audit) -> None:
    """Every value written twice for the same patient leaves every limit as it was."""
    values = np.concatenate([audit.values, audit.values])
    clusters = np.concatenate([audit.clusters, audit.clusters])
    once, twice = clustered_mean(*audit), clustered_mean(values, clusters)
    assume(once.low is not None)
    assert (twice.mean, twice.se) == pytest.approx((once.mean, once.se))
    assert limits(twice) == pytest.approx(limits(once), abs=1e-9)
    is_met = values <= 1
    one_share = clustered_share(audit.values <= 1, audit.clusters)
    assert one_share.n_effective is not None
    # unless V was so small that the number of implants had to cap it
    assume(one_share.n_effective < audit.values.size * 0.999)
    two_share = clustered_share(is_met, clusters)
    assert limits(two_share) == pytest.approx(limits(one_share))


@settings(max_examples=40, deadline=None)
@given(audits())
def test_standard_error_is_that_of_a_cluster_robust_regression(audit: Audit) -> None:
    """statsmodels OLS on a constant with its small-sample factor n / (n - 1)."""
    fit = sm.OLS(audit.values, np.ones(audit.values.size)).fit(
        cov_type="cluster", cov_kwds={"groups": audit.clusters}
    )
    result = clustered_mean(*audit)
    assert result.mean == pytest.approx(fit.params[0])
    assert result.se == pytest.approx(fit.bse[0], abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(audits(fewest=8))
def test_variance_of_a_share_is_that_of_estimating_equations(audit: Audit) -> None:
    """statsmodels GEE, independence, sandwich, times sqrt(n / (n - 1))."""
    is_met = (audit.values <= np.median(audit.values)).astype(float)
    assume(0 < is_met.mean() < 1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)
        model = sm.GEE(is_met, np.ones(is_met.size), groups=audit.clusters)
        fit = model.fit()
    n = np.unique(audit.clusters).size
    result = clustered_share(is_met, audit.clusters)
    assert result.share is not None
    assert result.n_effective is not None
    assume(n / 2 < result.n_effective < is_met.size)
    variance = result.share * (1 - result.share) / result.n_effective
    assert np.sqrt(variance) == pytest.approx(fit.bse[0] * np.sqrt(n / (n - 1)))


@steady
@given(audits(fewest=8))
def test_variance_ratio_is_that_of_the_one_way_analysis(audit: Audit) -> None:
    """scipy.stats.f_oneway over the patients."""
    values, patients = group_by_patient(*audit)
    assume(patients.n_values - patients.n_patients >= 5)
    between, within = mean_squares(values, patients)
    assume(within > 1e-12)
    groups = [values[audit.clusters == code] for code in np.unique(audit.clusters)]
    assert between / within == pytest.approx(stats.f_oneway(*groups).statistic)
    sizes = np.array([group.size for group in groups])
    assert 1 <= typical_size(patients) <= sizes.max()


@steady
@given(audits(), PROBABILITIES)
def test_a_quantile_is_numpys_and_its_limits_are_measured_values(
    audit: Audit, p: float
) -> None:
    result = clustered_quantile(*audit, p)
    if result.value is not None:
        assert result.value == pytest.approx(np.quantile(audit.values, p))
    for limit in limits(result):
        assert limit is None or limit in audit.values


@steady
@given(audits(), PROBABILITIES)
def test_quantile_limits_follow_any_stretching_of_the_scale(
    audit: Audit, p: float
) -> None:
    """Limits are ranks, so a scale that keeps the order keeps the same values."""
    plain = clustered_quantile(*audit, p)
    cubed = clustered_quantile(audit.values**3, audit.clusters, p)
    for limit, other in zip(limits(plain), limits(cubed), strict=True):
        assert (limit is None) == (other is None)
        assert limit is None or other == pytest.approx(limit**3)


@steady
@given(audits(fewest=60, most=80))
def test_a_bound_of_all_implants_is_never_below_that_of_one_a_patient(
    audit: Audit,
) -> None:
    _, first = np.unique(audit.clusters, return_index=True)
    single = tolerance_bound(audit.values[first], audit.clusters[first])
    everyone = tolerance_bound(*audit)
    assert single.bound is not None
    assert everyone.bound is not None
    assert everyone.bound >= single.bound


@steady
@given(audits(), st.floats(0, 3), st.floats(0, 2), st.floats(0, 0.5))
def test_exactly_one_word_fits_and_open_means_more_patients(
    audit: Audit, lowest: float, width: float, floor: float
) -> None:
    mean = clustered_mean(*audit)
    assume(mean.low is not None and mean.n_clusters >= 8)
    verdict = compare_with_band(mean, lowest, lowest + width, floor)
    assert mean.low is not None
    assert mean.high is not None
    facts = {
        "worse": mean.low > verdict.edge_high,
        "better": mean.high < verdict.edge_low,
        "inside": verdict.edge_low <= mean.high <= verdict.edge_high,
        "too few to say": mean.low <= verdict.edge_high < mean.high,
    }
    assert [word for word, is_so in facts.items() if is_so] == [verdict.word]
    if verdict.word == "too few to say":
        assert verdict.n_more is None or 1 <= verdict.n_more <= 200
    else:
        assert verdict.n_more == 0


@steady
@given(st.floats(0.2, 5), st.floats(0.01, 0.5), st.integers(8, 60))
def test_an_edge_further_away_never_needs_more_patients(
    distance: float, se: float, n: int
) -> None:
    mean = ClusteredMean(n, n, 5.0, 1.0, se, 4.0, 6.0, 1.0, None)
    near = cases_needed(mean, [5 + distance]).n_more
    far = cases_needed(mean, [5 + 1.2 * distance]).n_more
    assert near is None or (far is not None and far <= near)
