"""The rate ratio against printed figures, a second library route and its own definition."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from pipeline.statistics.association import count_model, rate_ratio
from pipeline.statistics.patients import group_by_patient

# Wave damage to cargo ships: months of service and incidents by type (A to E), years
# built (1960-64, 65-69, 70-74, 75-79) and years of service (1960-74, 75-79):
# McCullagh & Nelder, Generalized Linear Models, 2nd ed. 1989, table 6.2.
SERVICE = [127, 63, 1095, 1095, 1512, 3353, 0, 2244]
SERVICE += [44882, 17176, 28609, 20370, 7064, 13099, 0, 7117]
SERVICE += [1179, 552, 781, 676, 783, 1948, 0, 274]
SERVICE += [251, 105, 288, 192, 349, 1208, 0, 2051]
SERVICE += [45, 0, 789, 437, 1157, 2161, 0, 542]
INCIDENTS = [0, 0, 3, 4, 6, 18, 0, 11, 39, 29, 58, 53, 12, 44, 0, 18]
INCIDENTS += [1, 1, 0, 1, 6, 2, 0, 1, 0, 0, 0, 0, 2, 11, 0, 4, 0, 0, 7, 7, 5, 12, 0, 1]


def ships():
    place = np.arange(40)
    kind, built, period = place // 8, place % 8 // 2, place % 2
    columns = [np.ones(40)]
    columns += [kind == k for k in (1, 2, 3, 4)] + [built == b for b in (1, 2, 3)]
    design = np.column_stack([*columns, period]).astype(float)
    served = np.array(SERVICE) > 0
    return (
        np.array(INCIDENTS, float)[served],
        np.array(SERVICE, float)[served],
        design[served],
    )


def test_coefficients_are_those_printed_for_ship_damage():
    """McCullagh & Nelder 1989, table 6.3 (two decimals, the constant -6.41)."""
    events, months, design = ships()
    _, patients = group_by_patient(events, np.arange(events.size))
    model = count_model(events, months, patients, design)
    printed = [-6.41, -0.54, -0.69, -0.08, 0.33, 0.70, 0.82, 0.45, 0.38]
    assert model.coefficients == pytest.approx(printed, abs=0.0051)


def drawn(seed, n=40):
    draw = np.random.default_rng(seed)
    measure, other = draw.normal(size=(2, n))
    years = draw.uniform(0.5, 5, n)
    events = draw.poisson(years * draw.gamma(1, 1, n) * np.exp(0.3 * measure))
    return events.astype(float), years, measure, other


@pytest.mark.parametrize("seed", range(3))
def test_one_denture_a_patient_gives_the_hc3_errors_of_the_last_weighted_step(seed):
    """HC3 (MacKinnon & White 1985) of statsmodels' OLS on the weighted working values.

    Not its GLM.fit(cov_type="HC3"): statsmodels 0.15 takes the leverage without weights.
    """
    events, years, measure, other = drawn(seed)
    n = events.size
    design = np.column_stack([np.ones(n), measure, other])
    _, patients = group_by_patient(events, np.arange(n))
    found = count_model(events, years, patients, design)
    family, offset = sm.families.Poisson(), np.log(years)
    fit = sm.GLM(events, design, family=family, offset=offset).fit()
    root = np.sqrt(fit.mu)
    working = design @ fit.params + (events - fit.mu) / fit.mu
    last_step = sm.OLS(root * working, root[:, None] * design).fit()
    assert last_step.params == pytest.approx(found.coefficients)
    assert found.se_robust == pytest.approx(last_step.HC3_se * np.sqrt((n - 1) / n))
    assert found.se_chance == pytest.approx(fit.bse, rel=1e-6)


def test_two_dentures_of_a_patient_count_as_one_patient():
    """Each patient twice: the errors over patients stay, those by chance shrink."""
    events, years, measure, other = drawn(5)
    n = events.size
    once = rate_ratio(events, years, np.arange(n), measure, other[:, None])
    twice = rate_ratio(
        np.tile(events, 2),
        np.tile(years, 2),
        np.tile(np.arange(n), 2),
        np.tile(measure, 2),
        np.tile(other, 2)[:, None],
    )
    assert twice.n_clusters == n
    assert twice.ratio == pytest.approx(once.ratio)
    assert (twice.low, twice.high) == pytest.approx((once.low, once.high))


def test_errors_are_near_those_of_leaving_out_each_patient_in_turn():
    """The definition: fit again without each patient, and see how b moves."""
    events, years, measure, _ = drawn(7, n=60)
    owner = np.arange(60) // 2
    design = np.column_stack([np.ones(60), measure])
    _, patients = group_by_patient(events, owner)
    found = count_model(events, years, patients, design)
    without = []
    for one in range(30):
        kept = owner != one
        family, offset = sm.families.Poisson(), np.log(years[kept])
        fit = sm.GLM(events[kept], design[kept], family=family, offset=offset).fit()
        without.append(fit.params[1])
    spread = np.array(without) - found.coefficients[1]
    jackknife = np.sqrt(29 / 30 * (spread @ spread))
    assert found.se_robust[1] == pytest.approx(jackknife, rel=0.12)
