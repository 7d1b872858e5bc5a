"""What a reader can rely on in a verdict and in the number of patients it needs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.statistics.means import ClusteredMean, clustered_mean
from pipeline.statistics.verdicts import (
    WILL_NOT_DECIDE,
    cases_needed,
    compare_with_band,
)


def a_mean(
    mean: float, low: float | None, high: float | None, n: int = 20, se: float = 0.1
) -> ClusteredMean:
    return ClusteredMean(n, 2 * n, mean, 0.5, se, low, high, 1.2, "Copied values.")


@pytest.mark.parametrize(
    ("low", "high", "word"),
    [
        (1.71, 2.10, "worse"),
        (1.70, 2.10, "too few to say"),
        (1.00, 1.71, "too few to say"),
        (1.00, 1.70, "inside"),
        (0.50, 1.00, "inside"),
        (0.50, 0.93, "inside"),
        (0.50, 0.92, "better"),
        (0.50, 2.00, "too few to say"),
    ],
)
def test_the_whole_interval_decides_the_word(
    low: float, high: float, word: str
) -> None:
    verdict = compare_with_band(
        a_mean((low + high) / 2, low, high), 1.23, 1.4, 0.3, unit="mm"
    )
    assert verdict.word == word
    assert verdict.edge_low == pytest.approx(0.93)
    assert verdict.edge_high == pytest.approx(1.70)
    assert verdict.sentence.lower().startswith(word)
    if word != "too few to say":
        assert verdict.n_more == 0


def test_a_sentence_names_the_interval_and_the_edge_with_their_unit() -> None:
    verdict = compare_with_band(a_mean(2, 1.75, 2.25), 1.23, 1.4, 0.3, unit="mm")
    assert verdict.sentence == (
        "Worse: all of the interval, 1.75 mm to 2.25 mm, lies above 1.70 mm, the upper"
        " edge of the published means."
    )
    plain = compare_with_band(a_mean(2, 1.75, 2.25), 1.23, 1.4, 0.3)
    assert "1.75 to 2.25," in plain.sentence


def test_under_eight_patients_there_is_no_verdict_and_at_least_eight_are_asked() -> (
    None
):
    verdict = compare_with_band(a_mean(0.5, 0.4, 0.6, n=5), 1.23, 1.4, 0.3)
    assert verdict.word == "too few to say"
    assert verdict.n_more == 3
    assert "5 patients; a verdict needs at least 8" in verdict.sentence


def test_under_five_patients_the_number_needed_is_not_foretold() -> None:
    mean = clustered_mean([1.0, 2.0, 3.0], [1, 2, 3])
    verdict = compare_with_band(mean, 1.23, 1.4, 0.3)
    assert (verdict.word, verdict.n_more) == ("too few to say", None)
    assert "cannot be foretold" in verdict.sentence


def test_without_values_there_are_too_few_to_say() -> None:
    verdict = compare_with_band(clustered_mean([], []), 1.23, 1.4, 0.3)
    assert (verdict.word, verdict.n_more) == ("too few to say", None)
    assert "0 patients" in verdict.sentence


def test_copied_values_never_give_a_verdict() -> None:
    mean = clustered_mean([1.0] * 20, range(20))
    verdict = compare_with_band(mean, 5.0, 6.0, 0.1)
    assert (verdict.word, verdict.n_more) == ("too few to say", None)
    assert "copied" in verdict.sentence


def test_the_lower_edge_alone_never_leaves_a_verdict_open() -> None:
    """Inside means not worse, so a mean at the lower edge needs few more patients."""
    verdict = compare_with_band(a_mean(0.93, 0.1, 1.8, n=8, se=0.35), 1.23, 1.4, 0.3)
    assert verdict.word == "too few to say"
    assert verdict.n_more is not None
    assert verdict.n_more < 10


def test_a_mean_on_the_edge_will_not_decide() -> None:
    verdict = compare_with_band(a_mean(1.7, 1.5, 1.9), 1.23, 1.4, 0.3)
    assert verdict.n_more is None
    assert WILL_NOT_DECIDE in verdict.sentence


def test_the_number_named_is_the_first_with_an_80_percent_chance() -> None:
    """Against scipy's t distribution, one k at a time."""
    mean, edges = a_mean(1.5, 1.29, 1.71), [0.9, 1.68]
    n, s = 20, 0.1 * np.sqrt(20)

    def chance(k: int) -> float:
        reach = stats.t.ppf(0.975, n + k - 1) * s / np.sqrt(n + k)
        future = stats.t(n - 1, loc=1.5, scale=s * np.sqrt(k / (n * (n + k))))
        return 1 - sum(future.cdf(e + reach) - future.cdf(e - reach) for e in edges)

    needed = cases_needed(mean, edges)
    assert needed.n_more is not None
    assert needed.chance == pytest.approx(chance(needed.n_more))
    assert needed.chance >= 0.80
    assert all(chance(k) < 0.80 for k in range(1, needed.n_more))


def test_edges_close_together_are_not_counted_twice() -> None:
    """Where both edges are too near the future mean, that is one way to stay open."""
    mean = a_mean(1.5, 1.29, 1.71)
    one = cases_needed(mean, [1.65])
    twin = cases_needed(mean, [1.65, 1.65])
    assert one == twin
    near = cases_needed(mean, [1.66, 1.65])
    assert near.n_more is not None
    assert one.n_more is not None
    assert near.n_more >= one.n_more


def test_a_prediction_comes_true_as_often_as_it_says() -> None:
    """Future audits drawn from the predictive distribution are decided as foretold."""
    mean, edge = a_mean(1.5, 1.29, 1.71), 1.68
    needed = cases_needed(mean, [edge])
    assert needed.n_more is not None
    n, k, s = 20, needed.n_more, 0.1 * np.sqrt(20)
    rng = np.random.default_rng(8)
    # one draw: the truth given our audit, then the mean of k more patients
    scale = s * np.sqrt((n - 1) / rng.chisquare(n - 1, 200_000))
    truth = rng.normal(1.5, scale / np.sqrt(n))
    future = (n * 1.5 + k * rng.normal(truth, scale / np.sqrt(k))) / (n + k)
    reach = stats.t.ppf(0.975, n + k - 1) * s / np.sqrt(n + k)
    assert np.mean(np.abs(future - edge) > reach) == pytest.approx(
        needed.chance, abs=0.005
    )


def test_no_smaller_number_than_asked_for_is_named() -> None:
    mean = a_mean(0.5, 0.3, 0.7)
    assert cases_needed(mean, [3.0]).n_more == 1
    assert cases_needed(mean, [3.0], fewest=4).n_more == 4


@pytest.mark.parametrize(
    "band", [(2.0, 1.0, 0.1), (1.0, 2.0, -0.1), (float("nan"), 2.0, 0.1)]
)
def test_a_band_that_makes_no_sense_is_refused(
    band: tuple[float, float, float],
) -> None:
    with pytest.raises(ValueError, match="lowest_mean <= highest_mean"):
        compare_with_band(a_mean(1, 0.9, 1.1), *band)
