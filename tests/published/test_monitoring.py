"""Running scores of cases against published limits, and against counting every outcome."""

from itertools import product
from math import exp, log

import numpy as np
import pytest

from pipeline.statistics.monitoring import (
    Chart,
    Rates,
    chance_of_signal,
    learning_chart,
    performance_chart,
    run_chart,
    too_few_planned,
)
from pipeline.statistics.risk_adjusted import adjusted_limit, run_adjusted, weights


def test_learning_score_shows_competence_as_often_as_its_published_example_says():
    """LC-CUSUM of Biau & Porcher 2010 (doi 10.1002/sim.3947), acceptable .10, unacceptable
    .25, limit 1.25, 50 cases. Chances from an exact recursion of others, reproduced by
    simulation (.8947 and .9997)."""
    rates = Rates(0.10, 0.25, 50, 0.05)
    assert rates.on_success == pytest.approx(0.1823215568, abs=1e-10)
    assert rates.on_failure == pytest.approx(0.9162907319, abs=1e-10)
    at_limit = (rates.on_success, rates.on_failure, 1.25)
    assert chance_of_signal(*at_limit, 0.75, 50) == pytest.approx(0.8921632, abs=1e-7)
    assert chance_of_signal(*at_limit, 0.90, 50) == pytest.approx(0.9996416, abs=1e-7)


def test_limit_is_the_published_one_of_a_score_of_ten_cases():
    """Exact limit for failure rate .1, odds doubled (2/11), 10 cases, chance .05: a signal
    when the score exceeds 1.41227 (limit printed by another program's example,
    checked by counting all 1,024 outcomes); the next score that can occur is our limit."""
    chart = performance_chart(Rates(0.1, 2 / 11, 10, 0.05))
    below = [3 * log(20 / 11) - k * log(1.1) for k in range(40)]
    assert min(abs(score - 1.41227) for score in below) < 5e-6
    assert chart.limit == pytest.approx(1.41227 + log(1.1), abs=5e-6)
    assert chart.false_alarm < 0.05


@pytest.mark.parametrize("is_learning", [False, True])
def test_chance_of_a_signal_equals_counting_every_outcome_of_twelve_cases(is_learning):
    rates = Rates(0.2, 0.5, 12, 0.10)
    chart = (learning_chart if is_learning else performance_chart)(rates)
    at_rate = rates.unacceptable if is_learning else rates.acceptable
    counted = 0.0
    for failures in product((False, True), repeat=12):
        if any(point.is_signal for point in run_chart(chart, failures)):
            failed = sum(failures)
            counted += at_rate**failed * (1 - at_rate) ** (12 - failed)
    assert chart.false_alarm == pytest.approx(counted, abs=1e-12)
    assert counted <= rates.false_alarm


@pytest.mark.parametrize(
    ("acceptable", "unacceptable", "false_alarm", "power", "to_false", "to_signal"),
    [
        (0.05, 0.15, 0.050, 0.59, 403, 32),
        (0.05, 0.20, 0.047, 0.80, 466, 21),
        (0.10, 0.25, 0.044, 0.66, 399, 28),
        (0.10, 0.30, 0.047, 0.83, 459, 20),
        (0.15, 0.30, 0.048, 0.58, 369, 33),
        (0.20, 0.40, 0.046, 0.70, 402, 26),
    ],
)
def test_thirty_cases_signal_as_often_as_an_independent_reckoning_says(
    acceptable, unacceptable, false_alarm, power, to_false, to_signal
):
    """From an exact recursion made by other hands; it took a limit next to ours where two
    scores that can occur lie close together, so the last digits may differ."""
    chart = performance_chart(Rates(acceptable, unacceptable, 30, 0.05))
    assert chart.false_alarm == pytest.approx(false_alarm, abs=0.005)
    assert chart.power == pytest.approx(power, abs=0.012)
    assert chart.cases_to_false_signal == pytest.approx(to_false, rel=0.02)
    assert chart.cases_to_signal == pytest.approx(to_signal, rel=0.05)


@pytest.mark.parametrize(
    ("acceptable", "unacceptable", "false_alarm", "power"),
    [
        (0.05, 0.15, 0.049, 0.42),
        (0.05, 0.20, 0.050, 0.69),
        (0.10, 0.20, 0.046, 0.34),
        (0.10, 0.25, 0.046, 0.57),
        (0.10, 0.30, 0.041, 0.72),
        (0.20, 0.40, 0.047, 0.65),
    ],
)
def test_thirty_cases_show_competence_as_often_as_an_independent_reckoning_says(
    acceptable, unacceptable, false_alarm, power
):
    """From the same independent recursion."""
    chart = learning_chart(Rates(acceptable, unacceptable, 30, 0.05))
    assert chart.false_alarm == pytest.approx(false_alarm, abs=0.001)
    assert chart.power == pytest.approx(power, abs=0.012)


def test_mean_run_length_agrees_with_playing_cases_out():
    chart = performance_chart(Rates(0.2, 0.4, 30, 0.05))
    rng = np.random.default_rng(5)
    lengths = [_cases_to_signal(chart, rng, 0.4) for _ in range(3000)]
    error = np.std(lengths) / np.sqrt(len(lengths))
    assert abs(np.mean(lengths) - chart.cases_to_signal) < 4 * error


def _cases_to_signal(chart: Chart, rng: np.random.Generator, rate: float) -> int:
    score, n = 0.0, 0
    while score < chart.limit - 1e-9:
        step = chart.rises if rng.random() < rate else -chart.falls
        score, n = max(0.0, score + step), n + 1
    return n


def test_competence_cannot_be_shown_in_fewer_cases_than_the_chance_allows():
    """ln(.05) / ln(1 - rate): 19 cases at .15, 14 at .20, 11 at .25, 9 at .30."""
    for rate, needed in ((0.15, 19), (0.20, 14), (0.25, 11), (0.30, 9)):
        assert too_few_planned(Rates(0.01, rate, needed - 1, 0.05)) == needed
        assert too_few_planned(Rates(0.01, rate, needed, 0.05)) is None
    with pytest.raises(ValueError, match="19 planned cases"):
        learning_chart(Rates(0.05, 0.15, 10, 0.05))


def test_so_many_failures_in_a_row_signal_at_once_and_the_score_starts_again():
    chart = performance_chart(Rates(0.2, 0.4, 30, 0.05))
    points = run_chart(chart, [True] * (chart.least_cases + 1))
    signals = [point.is_signal for point in points]
    assert signals == [False] * (chart.least_cases - 1) + [True, False]
    assert points[-1].score == pytest.approx(chart.rises)


def test_a_score_never_falls_below_nothing():
    chart = performance_chart(Rates(0.2, 0.4, 30, 0.05))
    assert [point.score for point in run_chart(chart, [False] * 3)] == [0.0] * 3


@pytest.mark.parametrize(
    ("acceptable", "unacceptable", "n_planned", "chance"),
    [(0.4, 0.2, 30, 0.05), (0.0, 0.2, 30, 0.05), (0.1, 0.2, 0, 0.05), (0.1, 0.2, 9, 1)],
)
def test_rates_that_are_no_question_are_refused(
    acceptable, unacceptable, n_planned, chance
):
    with pytest.raises(ValueError, match=r"needed|at least one case"):
        Rates(acceptable, unacceptable, n_planned, chance)


@pytest.mark.parametrize(
    ("acceptable", "unacceptable", "slope"),
    [
        (0.10, 0.20, 0.1452443543),
        (0.05, 0.15, 0.0919343268),
        (0.05, 0.10, 0.0723583768),
        (0.20, 0.40, 0.2933049474),
        (0.01, 0.10, 0.0397474322),
    ],
)
def test_a_case_counts_as_in_the_sequential_charts_of_trainees(
    acceptable, unacceptable, slope
):
    """The step of Williams and others, BMJ 1992;304:1359-1361, and Bolsin & Colson, Int J
    Qual Health Care 2000;12:433-438: s = Q / (P + Q) (formulas from memory, digits by own
    sums with 30 digits). The last row is the slope .0397 of the sequential plan in the
    NIST/SEMATECH handbook, 6.2.3.2."""
    rates = Rates(acceptable, unacceptable, 30, 0.05)
    whole = rates.on_failure + rates.on_success
    assert rates.on_success / whole == pytest.approx(slope, abs=1e-10)


@pytest.mark.parametrize(
    ("rates", "alpha", "beta", "low", "high"),
    [
        ((0.10, 0.20), 0.10, 0.10, 2.709511291, 2.709511291),
        ((0.10, 0.20), 0.05, 0.05, 3.630940025, 3.630940025),
        ((0.05, 0.10), 0.05, 0.20, 2.085271127, 3.710566493),
        ((0.01, 0.10), 0.05, 0.10, 0.9388616, 1.2053786),
    ],
)
def test_the_boundaries_of_a_sequential_test_are_in_the_same_steps(
    rates, alpha, beta, low, high
):
    """h0 = ln((1-alpha)/beta)/(P+Q), h1 = ln((1-beta)/alpha)/(P+Q), as above; the last row
    is .939 and 1.205 of the NIST/SEMATECH handbook. The program sets no limit this way:
    within 30 cases they signal falsely two to six times as often as said."""
    chosen = Rates(*rates, 30, 0.05)
    whole = chosen.on_failure + chosen.on_success
    assert log((1 - alpha) / beta) / whole == pytest.approx(low, rel=1e-7)
    assert log((1 - beta) / alpha) / whole == pytest.approx(high, rel=1e-7)


@pytest.mark.parametrize(
    ("at", "odds_ratio", "risk", "met", "failed", "digits"),
    [
        ((-3.68, 0), 2, 0.025, -0.024, 0.669, 3),
        ((-3.68, 50), 2, 0.542, -0.433, 0.26, 3),
        ((-3.68, 0), 1 / 2, 0.025, 0.012, -0.681, 3),
        ((-3.68, 50), 1 / 2, 0.542, 0.316, -0.377, 3),
        ((-3.67, 19), 2, 0.09912, -0.0945, 0.5986, 4),
        ((-3.67, 19), 1 / 2, 0.09912, 0.05083, None, 4),
    ],
)
def test_a_case_moves_the_adjusted_score_as_in_the_published_example(
    at, odds_ratio, risk, met, failed, digits
):
    """Heart surgery, logit p = -3.68 + .077 x Parsonnet score: Steiner and others,
    Biostatistics 2000;1:441-452, and Steiner 2014, as the example of the R package vlad
    prints them; the last two rows after Rigdon & Fricker with -3.67. That example prints
    -.0954 for -.0945: two digits changed places."""
    intercept, score = at
    chance = 1 / (1 + exp(-(intercept + 0.077 * score)))
    assert chance == pytest.approx(risk, abs=6e-4)
    on_failure, on_success = weights(chance, odds_ratio)
    assert on_success == pytest.approx(met, abs=0.51 * 10**-digits)
    if failed is not None:
        assert on_failure == pytest.approx(failed, abs=0.51 * 10**-digits)


def test_chance_of_an_adjusted_signal_equals_counting_every_outcome_of_unlike_cases():
    risks = [0.05, 0.4, 0.15, 0.6, 0.25, 0.1, 0.33, 0.2, 0.5, 0.08]
    found = adjusted_limit(risks, 2.5, 0.08)
    counted = {"expected": 0.0, "raised": 0.0, "next lower": 0.0}
    for failures in product((False, True), repeat=len(risks)):
        like = raised = 1.0
        for risk, failed in zip(risks, failures, strict=True):
            high = 2.5 * risk / (1 - risk + 2.5 * risk)
            like *= risk if failed else 1 - risk
            raised *= high if failed else 1 - high
        if any(p.is_signal for p in run_adjusted(risks, failures, 2.5, found.limit)):
            counted["expected"] += like
            counted["raised"] += raised
        lower = run_adjusted(risks, failures, 2.5, found.limit - 0.001)
        if any(point.is_signal for point in lower):
            counted["next lower"] += like
    assert found.false_alarm == pytest.approx(counted["expected"], abs=1e-12)
    assert found.power == pytest.approx(counted["raised"], abs=1e-12)
    assert counted["expected"] <= 0.08 < counted["next lower"]


def test_with_cases_alike_the_adjusted_score_does_what_the_plain_one_does():
    """Odds 2.667 times as high take a failure rate of .2 to .4."""
    plain = performance_chart(Rates(0.2, 0.4, 30, 0.05))
    adjusted = adjusted_limit([0.2] * 30, 8 / 3, 0.05)
    assert adjusted.false_alarm == pytest.approx(plain.false_alarm, abs=1e-9)
    assert adjusted.power == pytest.approx(plain.power, abs=1e-9)


def test_an_adjusted_signal_that_cannot_come_is_refused():
    assert adjusted_limit([0.3, 0.3], 2, 0.05) is None
    with pytest.raises(ValueError, match="odds ratio other than 1"):
        weights(0.2, 1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        weights(0.0, 2)
