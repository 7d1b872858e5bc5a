"""What is expected of a case: fitted as by another library, refused where data are few."""

import numpy as np
import pytest
from scipy.optimize import minimize

from pipeline.statistics.learning import Covariate
from pipeline.statistics.risk_adjusted import case_mix


def cases(n, *, intercept, seed=3):
    """Return failures of invented cases that go with a low jaw, and both covariates."""
    rng = np.random.default_rng(seed)
    height, full = rng.normal(18, 4, n), (rng.random(n) < 0.5).astype(float)
    risk = 1 / (1 + np.exp(-(intercept - 0.2 * (height - 18) - 0.8 * full)))
    failed = rng.random(n) < risk
    return failed, Covariate("bone_height_mm", height), Covariate("guidance", full)


def test_expected_risks_are_those_of_the_largest_likelihood():
    """Found again by scipy.optimize.minimize on the likelihood itself."""
    failed, height, full = cases(160, intercept=-0.3)
    found = case_mix(failed, (height, full))
    design = np.column_stack([np.ones(160), height.values - 18, full.values])
    sign = np.where(failed, 1, -1)
    best = minimize(
        lambda b: np.logaddexp(0, -sign * (design @ b)).sum(), np.zeros(3), tol=1e-10
    )
    assert found.why_not is None
    assert found.covariates == ("bone_height_mm", "guidance")
    assert found.risks == pytest.approx(1 / (1 + np.exp(-design @ best.x)), abs=1e-5)
    assert found.risks.sum() == pytest.approx(failed.sum())


def test_a_coefficient_needs_ten_failed_cases_and_the_less_wanted_stays_out():
    failed, height, full = cases(60, intercept=-1.0)
    assert 10 <= failed.sum() < 20
    assert case_mix(failed, (height, full)).covariates == ("bone_height_mm",)


@pytest.mark.parametrize(
    ("n", "intercept", "said"),
    [
        (0, 0.0, "Too few to say: 0 of the 40 judged cases needed."),
        (1, 0.0, "Too few to say: 1 of the 40 judged cases needed."),
        (39, 0.0, "Too few to say: 39 of the 40 judged cases needed."),
        (60, -9.0, "Too few to say: 0 failed and 60 met cases; 10 of each are needed."),
        (60, 12.0, "Too few to say: 60 failed and 0 met cases; 10 of each are needed."),
    ],
)
def test_few_cases_or_few_failures_are_refused_with_the_reason(n, intercept, said):
    failed, height, full = cases(n, intercept=intercept)
    found = case_mix(failed, (height, full))
    assert found.why_not == said
    assert found.risks.size == 0


def test_what_is_not_known_in_every_case_or_never_differs_is_no_case_mix():
    failed, height, _ = cases(80, intercept=0.0)
    height.values[5] = np.nan
    alike = Covariate("guidance", np.ones(80))
    why = case_mix(failed, (height, alike)).why_not
    assert why is not None
    assert why.startswith("Cannot be said: nothing that makes a case hard")


def test_a_covariate_that_parts_failed_from_met_cases_is_refused():
    height = np.linspace(10.0, 25.0, 60)
    found = case_mix(height < 15, (Covariate("bone_height_mm", height),))
    assert found.why_not is not None
    assert "part failed from met cases wholly" in found.why_not
