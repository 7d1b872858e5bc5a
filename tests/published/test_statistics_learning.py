"""The learning model against the reference library, and what it refuses."""

import warnings

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy.stats import t

from pipeline.statistics.learning import Covariate, learning
from tests.calibration.learning import cohort


def test_the_slope_is_that_of_the_reference_library_and_its_interval_takes_t():
    means, number, who = cohort(np.random.default_rng(4), 12, 20, 0.85, 0.15)
    found = learning(means, number, who)
    x = np.log2(number)
    frame = pd.DataFrame({"y": np.log(means), "x": x, "c": x - x.mean(), "w": who})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        # statsmodels MixedLM, REML, a level and a slope for each trainee
        fitted = smf.mixedlm("y ~ x", frame, groups=frame.w, re_formula="~c").fit(
            reml=True
        )
    assert np.log(found.ratio) == pytest.approx(fitted.fe_params["x"], abs=2e-3)
    half = t.ppf(0.975, 10) * fitted.bse["x"]
    assert np.log(found.high / found.ratio) == pytest.approx(half, rel=0.03)


def test_five_trainees_are_too_few_and_so_are_those_with_two_cases():
    means, number, who = cohort(np.random.default_rng(1), 5, 20, 0.9, 0.0)
    assert "Too few to say: 5 with 3 cases or more" in (
        learning(means, number, who).why_not or ""
    )
    two = learning([1.0, 2.0] * 8, [1, 2] * 8, np.repeat(np.arange(8), 2))
    assert two.ratio is None
    assert "Too few to say: 0" in (two.why_not or "")


def test_a_covariate_joins_only_where_it_is_known_in_every_case():
    means, number, who = cohort(np.random.default_rng(2), 10, 20, 0.9, 0.1)
    rng = np.random.default_rng(3)
    height = rng.normal(20, 4, means.size)
    gaps = np.where(rng.random(means.size) < 0.1, np.nan, height)
    full = learning(means, number, who, (Covariate("height", height),))
    assert full.covariates == ("height",)
    assert learning(means, number, who, (Covariate("height", gaps),)).covariates == ()


def test_harder_cases_later_do_not_hide_what_was_learnt():
    rng = np.random.default_rng(8)
    _, number, who = cohort(rng, 12, 20, 1.0, 0.0)
    # cases get harder as trainees get on; the planted learning is 0.8 for twice as many
    hard = np.clip(number / 20 + rng.normal(0, 0.15, number.size), 0, 2)
    logs = np.log(0.8) * np.log2(number) + 0.9 * hard + rng.normal(0, 0.2, number.size)
    plain = learning(np.exp(logs), number, who)
    allowing = learning(np.exp(logs), number, who, (Covariate("hard", hard),))
    assert abs(np.log(allowing.ratio / 0.8)) < abs(np.log(plain.ratio / 0.8))
    assert allowing.low <= 0.8 <= allowing.high


def test_where_every_case_is_a_first_one_nothing_can_be_said():
    found = learning(np.ones(24), np.ones(24), np.repeat(np.arange(8), 3))
    assert "same number" in (found.why_not or "")


@pytest.mark.parametrize(("means", "number"), [([-1.0], [1]), ([1.0], [0])])
def test_what_cannot_be_is_refused(means, number):
    with pytest.raises(ValueError, match="0 or more"):
        learning(means, number, ["a"])


def test_deviations_that_are_all_alike_show_no_learning_and_no_error():
    found = learning(
        np.full(40, 1.5), np.tile(np.arange(1, 6), 8), np.repeat(np.arange(8), 5)
    )
    assert found.ratio is None
    assert "do not differ" in (found.why_not or "")
