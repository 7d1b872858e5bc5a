"""Two factors told apart where they changed partners, and the share of each."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf

from pipeline.statistics.crossed import crossed


def test_shares_are_the_sequential_sums_of_squares_of_a_reference_library():
    """statsmodels anova_lm, typ=1, the formula written both ways round."""
    rng = np.random.default_rng(8)
    data = pd.DataFrame({"a": rng.integers(0, 4, 60), "b": rng.integers(0, 3, 60)})
    data["y"] = 0.5 * data["a"] - 0.7 * data["b"] + rng.normal(0, 1, 60)
    found = crossed(data["y"], data["a"], data["b"])
    first = sm.stats.anova_lm(smf.ols("y ~ C(a) + C(b)", data).fit(), typ=1).sum_sq
    other = sm.stats.anova_lm(smf.ols("y ~ C(b) + C(a)", data).fit(), typ=1).sum_sq
    assert found.answer == "told"
    for share, name in ((found.one, "C(a)"), (found.other, "C(b)")):
        ends = sorted(table[name] / table.sum() for table in (first, other))
        assert (share.low, share.high) == pytest.approx(ends, abs=1e-10)
    assert found.one.by_chance == pytest.approx(3 / 59)


def test_chance_alone_takes_as_much_as_is_said():
    rng = np.random.default_rng(3)
    one, other = np.arange(60) % 5, np.arange(60) % 4
    shares = [crossed(rng.normal(size=60), one, other).one for _ in range(400)]
    assert np.mean([s.high for s in shares]) == pytest.approx(4 / 59, abs=0.008)
    assert shares[0].by_chance == pytest.approx(4 / 59)


HALVES = np.repeat([0, 1], 20)


@pytest.mark.parametrize(
    ("one", "other", "answer"),
    [
        (HALVES, HALVES, "other_in_one"),
        (HALVES, np.arange(40), "other_in_one"),
        (np.arange(40) // 5, HALVES, "one_in_other"),
        (np.zeros(40), HALVES, "one_level"),
        (
            2 * HALVES + np.arange(40) % 2,
            2 * HALVES + np.arange(40) // 2 % 2,
            "in_parts",
        ),
        (np.arange(40) // 2, np.roll(np.arange(40), 1) // 2, "no_rest"),
    ],
)
def test_factors_that_never_changed_partners_are_not_told_apart(one, other, answer):
    """The rank of the design by numpy says the same: free effects of each beside the other."""
    found = crossed(np.random.default_rng(1).normal(size=40), one, other)
    assert found.answer == answer
    assert found.one is None
    assert found.other is None
    if answer in {"one_in_other", "other_in_one", "in_parts"}:
        columns = [(part[:, None] == np.unique(part)) * 1.0 for part in (one, other)]
        rank = np.linalg.matrix_rank(np.hstack(columns))
        assert rank < found.n_one + found.n_other - 1


@pytest.mark.parametrize("n", [6, 29])
def test_below_thirty_cases_it_is_too_few_to_say_what_each_takes(n):
    found = crossed(np.linspace(0, 1, n), np.arange(n) % 2, np.arange(n) % 3)
    assert found.answer == "few"
    assert found.n_cases == n
    assert found.one is None


def test_cases_without_any_difference_share_nothing_out():
    assert crossed(np.ones(40), np.arange(40) % 2, np.arange(40) % 3).answer == "alike"


@pytest.mark.parametrize("n", [0, 1])
def test_one_case_or_none_tells_nothing_apart(n):
    assert crossed(np.ones(n), np.arange(n), np.arange(n)).answer == "one_level"
