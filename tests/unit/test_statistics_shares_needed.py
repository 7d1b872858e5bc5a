"""What a reader can rely on when told how many more patients a target needs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from pipeline.statistics.shares import clustered_share
from pipeline.statistics.shares_needed import patients_needed
from pipeline.statistics.verdicts import WILL_NOT_DECIDE


def chance(met: float, n: float, more: int, target: float) -> float:
    """Chance of a decision, with scipy's beta-binomial and statsmodels' Wilson."""
    counts = np.arange(more + 1)
    low, high = proportion_confint(met + counts, n + more, method="wilson")
    weights = stats.betabinom.pmf(counts, more, met + 0.5, n - met + 0.5)
    return float(weights[(low >= target) | (high < target)].sum())


@pytest.mark.parametrize(
    ("met", "n", "target"),
    [(19, 20, 0.8), (13, 20, 0.8), (29, 30, 0.85)],
)
def test_the_number_named_is_the_first_with_an_80_percent_chance(
    met: int, n: int, target: float
) -> None:
    """One implant a patient: worth as many values as the spread between them tells."""
    share = clustered_share([True] * met + [False] * (n - met), range(n))
    assert share.n_effective == pytest.approx(n - 1)
    worth = share.n_effective
    seen = met / n * worth

    needed = patients_needed(share, target)
    assert needed.n_more is not None
    assert needed.chance == pytest.approx(
        chance(seen, worth, round(needed.n_more * worth / n), target)
    )
    assert needed.chance >= 0.80
    assert all(
        chance(seen, worth, round(k * worth / n), target) < 0.80
        for k in range(1, needed.n_more)
    )


def test_a_share_on_the_target_will_not_decide() -> None:
    share = clustered_share([True] * 16 + [False] * 4, range(20))
    needed = patients_needed(share, 0.8)
    assert (needed.n_more, needed.chance) == (None, None)
    assert WILL_NOT_DECIDE in needed.sentence


def test_patients_whose_two_implants_are_alike_count_once() -> None:
    single = clustered_share([True] * 19 + [False], range(20))
    twins = clustered_share(([True] * 19 + [False]) * 2, [*range(20), *range(20)])
    assert twins.n_values == 2 * single.n_values
    alike, alone = patients_needed(twins, 0.8), patients_needed(single, 0.8)
    assert alike.n_more is not None
    assert alike.n_more == pytest.approx(alone.n_more, abs=2)


def test_under_five_patients_no_number_is_named() -> None:
    needed = patients_needed(clustered_share([True] * 3, range(3)), 0.8)
    assert needed.n_more is None
    assert "cannot be foretold" in needed.sentence


def test_a_prediction_comes_true_as_often_as_it_says() -> None:
    """Truths drawn from what 10 of 10 leave likely, then the further patients."""
    share = clustered_share([True] * 10, range(10))
    needed = patients_needed(share, 0.85)
    assert needed.n_more is not None
    rng = np.random.default_rng(3)
    truth = rng.beta(10.5, 0.5, 200_000)
    met = 10 + rng.binomial(needed.n_more, truth)
    low, high = proportion_confint(met, 10 + needed.n_more, method="wilson")
    assert np.mean((low >= 0.85) | (high < 0.85)) == pytest.approx(
        needed.chance, abs=0.005
    )


@pytest.mark.parametrize("target", [0.0, -0.1, 1.1])
def test_a_target_that_is_no_share_is_refused(target: float) -> None:
    with pytest.raises(ValueError, match="a target is a share"):
        patients_needed(clustered_share([True] * 9, range(9)), target)
