"""Pooled means against printed meta-analyses and against statsmodels."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from pipeline.statistics.pooling import METHODS, Method, pooled_mean

# Trials of BCG vaccine: cases and others among the vaccinated, then among controls
# (Colditz et al., JAMA 1994;271:698-702)
BCG = [
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619),
    (33, 5036, 47, 5761), (180, 1361, 372, 1079), (8, 2537, 10, 619),
    (505, 87886, 499, 87892), (29, 7470, 45, 7232), (17, 1699, 65, 1600),
    (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
]  # fmt: skip
# Days in hospital, two kinds of care: n, mean, SD, twice (Normand, Stat Med
# 1999;18:321-359, table II)
STAYS = [
    (155, 55, 47, 156, 75, 64), (31, 27, 7, 32, 29, 4), (75, 64, 17, 71, 119, 29),
    (18, 66, 20, 18, 137, 48), (8, 14, 8, 13, 18, 11), (57, 19, 7, 52, 18, 4),
    (34, 52, 45, 33, 41, 34), (110, 21, 16, 183, 31, 27), (60, 30, 27, 52, 23, 20),
]  # fmt: skip
# What teachers expect of pupils: difference and its variance (Raudenbush 1985, in
# Cooper, Hedges & Valentine, Handbook of Research Synthesis, 2nd ed. 2009, table 16.1)
TEACHERS = [
    (0.03, 0.0156), (0.12, 0.0216), (-0.14, 0.0279), (1.18, 0.1391), (0.26, 0.1362),
    (-0.06, 0.0106), (-0.02, 0.0106), (-0.32, 0.0484), (0.27, 0.0269), (0.8, 0.063),
    (0.54, 0.0912), (0.18, 0.0497), (-0.02, 0.0835), (0.23, 0.0841), (-0.18, 0.0253),
    (-0.06, 0.0279), (0.3, 0.0193), (0.07, 0.0088), (-0.07, 0.0303),
]  # fmt: skip
# Nine laboratories' means and variances (Kacker, Metrologia 2004;41:132-136)
LABORATORIES = (
    [61.00, 61.40, 62.21, 62.30, 62.34, 62.60, 62.70, 62.84, 65.90],
    [0.2025, 1.21, 0.09, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225],
)

# Trials of a drug against placebo after infarction: events and patients, treated then
# controls (DerSimonian & Kacker, Contemp Clin Trials 2007;28:105-114)
INFARCTIONS = [
    (5, 156, 8, 74), (5, 303, 17, 303), (12, 565, 9, 477), (69, 1570, 94, 1565),
    (9, 103, 11, 105), (313, 4659, 352, 4650),
]  # fmt: skip


def odds(trials: list[tuple[int, int, int, int]]) -> tuple[list[float], list[float]]:
    """Logarithm of the odds ratio and its variance; events and others, both arms."""
    means = [log(a * d / (b * c)) for a, b, c, d in trials]
    return means, [1 / a + 1 / b + 1 / c + 1 / d for a, b, c, d in trials]


def infarctions() -> tuple[list[float], list[float]]:
    return odds([(a, n - a, c, m - c) for a, n, c, m in INFARCTIONS])


def bcg_risks() -> tuple[list[float], list[float]]:
    """Logarithm of the relative risk and its variance."""
    means = [log(a / (a + b)) - log(c / (c + d)) for a, b, c, d in BCG]
    variances = [1 / a - 1 / (a + b) + 1 / c - 1 / (c + d) for a, b, c, d in BCG]
    return means, variances


def stays() -> tuple[list[float], list[float]]:
    """Difference of two means and its variance from the pooled SD."""
    means, variances = [], []
    for n, mean, sd, n2, mean2, sd2 in STAYS:
        both = ((n - 1) * sd**2 + (n2 - 1) * sd2**2) / (n + n2 - 2)
        means.append(float(mean - mean2))
        variances.append(both * (1 / n + 1 / n2))
    return means, variances


def teachers() -> tuple[list[float], list[float]]:
    return [y for y, _ in TEACHERS], [v for _, v in TEACHERS]


SETS = {"risks": bcg_risks(), "odds": odds(BCG), "infarctions": infarctions(), "stays": stays(), "teachers": teachers(), "laboratories": LABORATORIES}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "method", "tau2", "mean"),
    # printed with the data sets of the metafor package's documentation and, for the
    # laboratories, in the tests of statsmodels (after Kacker)
    [
        ("risks", "DerSimonian-Laird", 0.3088, -0.7141),
        ("risks", "REML", 0.3132, -0.7145),
        ("odds", "DerSimonian-Laird", 0.3663, -0.7474),
        # printed as tau: 0.2323 and 0.1843
        ("infarctions", "DerSimonian-Laird", 0.2323**2, -0.3240),
        ("infarctions", "REML", 0.1843**2, -0.2980),
        ("stays", "DerSimonian-Laird", 218.7216, -14.0972),
        ("stays", "REML", 685.1965, -15.1217),
        ("teachers", "DerSimonian-Laird", 0.0259, 0.0893),
        ("teachers", "REML", 0.0188, 0.0837),
        ("laboratories", "DerSimonian-Laird", 0.288049246973751, 62.3901386044504),
    ],
)
def test_tau2_and_mean_are_the_printed_ones(
    name: str, method: Method, tau2: float, mean: float
) -> None:
    found = pooled_mean(*SETS[name], method)
    assert found.tau2 == pytest.approx(tau2, rel=1e-6, abs=6e-5)
    assert found.mean == pytest.approx(mean, abs=6e-5)


@pytest.mark.parametrize(
    ("name", "method", "low", "high"),
    # Handbook of Research Synthesis, table 16.3, Hartung-Knapp rows (printed to four
    # places from differences rounded to two); laboratories as above
    [
        ("teachers", "DerSimonian-Laird", -0.0442, 0.2229),
        ("teachers", "REML", -0.0457, 0.2131),
        ("laboratories", "DerSimonian-Laird", 61.710383798052, 63.0698934108488),
    ],
)
def test_the_interval_of_the_mean_is_hartung_and_knapps(
    name: str, method: Method, low: float, high: float
) -> None:
    found = pooled_mean(*SETS[name], method)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-5)


def test_spread_between_studies_is_the_printed_one() -> None:
    """Kacker's laboratories: Q and I2 as the tests of statsmodels print them."""
    found = pooled_mean(*LABORATORIES)
    assert found.q == pytest.approx(24.801897741835)
    assert found.i2 == pytest.approx(0.67744403741711)


def test_one_further_study_lies_where_higgins_formula_says() -> None:
    """0.0837 -+ t(0.975, 17 df) = 2.110 times sqrt(0.0188 + 0.0516²), printed inputs."""
    found = pooled_mean(*SETS["teachers"])
    half = 2.110 * (0.0188 + 0.0516**2) ** 0.5
    assert found.prediction_low == pytest.approx(0.0837 - half, abs=4e-4)
    assert found.prediction_high == pytest.approx(0.0837 + half, abs=4e-4)


@pytest.mark.parametrize("name", sorted(SETS))
def test_moments_and_interval_agree_with_statsmodels(name: str) -> None:
    means, variances = (np.asarray(part) for part in SETS[name])
    theirs = combine_effects(means, variances, method_re="dl")
    ours = pooled_mean(means, variances, "DerSimonian-Laird")
    assert ours.mean == pytest.approx(theirs.mean_effect_re)
    assert ours.se == pytest.approx(theirs.sd_eff_w_re)
    assert ours.tau2 == pytest.approx(theirs.tau2)
    half = stats.t.ppf(0.975, len(means) - 1) * theirs.sd_eff_w_re_hksj
    assert ours.high == pytest.approx(theirs.mean_effect_re + half)


@pytest.mark.parametrize("name", sorted(SETS))
def test_no_other_tau2_is_likelier(name: str) -> None:
    """The restricted likelihood written out once more, searched on a fine grid."""
    y, v = (np.asarray(part) for part in SETS[name])

    def likelihood(tau2: float) -> float:
        w = 1 / (v + tau2)
        around = y - w @ y / w.sum()
        return float(-0.5 * (np.log(v + tau2).sum() + np.log(w.sum()) + w @ around**2))

    found = pooled_mean(y, v).tau2
    assert found is not None
    best = likelihood(found)
    for other in np.linspace(0, 4 * found + float(v.max()), 4000):
        assert likelihood(float(other)) <= best + 1e-9


@pytest.mark.parametrize("method", METHODS)
def test_studies_that_agree_have_no_spread_between_them(method: Method) -> None:
    found = pooled_mean([1.0, 1.1, 0.9], [0.25, 0.25, 0.25], method)
    assert found.tau2 == 0
    assert found.i2 == 0
    assert found.mean == pytest.approx(1.0)


def test_two_studies_are_refused_with_the_reason() -> None:
    found = pooled_mean([1.0, 2.0], [0.1, 0.1])
    assert found.mean is None
    assert found.tau2 is None
    assert found.warning is not None
    assert "2 studies" in found.warning


@pytest.mark.parametrize("variances", [[0.1, 0.1, 0.0], [0.1, 0.1], [0.1, 0.1, -1.0]])
def test_a_mean_without_a_standard_error_is_no_study(variances: list[float]) -> None:
    with pytest.raises(ValueError, match="variance above 0"):
        pooled_mean([1.0, 2.0, 3.0], variances)
