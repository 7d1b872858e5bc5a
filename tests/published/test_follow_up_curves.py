"""Curves of the years after, against published data and reference libraries.

The data are facts printed in the papers named; no values are ours except where said.
"""

from __future__ import annotations

import csv
import warnings
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from pipeline.statistics.first_event import cumulative_incidence, kaplan_meier
from pipeline.statistics.mean_cumulative import mean_cumulative_count

# Acute myelogenous leukaemia (Miller, Survival Analysis 1981): weeks of remission with
# and without maintenance; shares and errors as the R package survival prints them.
MAINTAINED = "9 13 13+ 18 23 28+ 31 34 45+ 48 161+"
NOT_MAINTAINED = "5 5 8 8 12 16+ 23 27 30 33 43 45"
# 6-MP against placebo (Freireich et al., Blood 1963;21:699-716): weeks of remission.
SIX_MP = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
CONTROL = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def weeks(text: str) -> tuple[np.ndarray, np.ndarray]:
    """Return times and whether each is an event; + marks the end of watching."""
    words = text.split()
    times = np.array([float(word.rstrip("+")) for word in words])
    return times, np.array([not word.endswith("+") for word in words])


@pytest.mark.parametrize(
    ("text", "shares", "errors", "digits"),
    [
        (
            MAINTAINED,
            [0.909, 0.818, 0.716, 0.614, 0.491, 0.368, 0.184],
            [0.0867, 0.1163, 0.1397, 0.1526, 0.1642, 0.1627, 0.1535],
            6e-4,
        ),
        (
            NOT_MAINTAINED,
            [0.8333, 0.6667, 0.5833, 0.4861, 0.3889, 0.2917, 0.1944, 0.0972, 0],
            [0.1076, 0.1361, 0.1423, 0.1481, 0.1470, 0.1387, 0.1219, 0.0919, 0],
            6e-5,
        ),
    ],
)
def test_leukaemia_curves_are_those_printed(text, shares, errors, digits):
    curve = kaplan_meier(*weeks(text))
    assert curve.share == pytest.approx(shares, abs=digits)
    assert curve.se == pytest.approx(errors, abs=6e-5)


def test_six_mp_shares_numbers_at_risk_errors_and_limits():
    curve = kaplan_meier(*weeks(SIX_MP))
    assert list(curve.times) == [6, 7, 10, 13, 16, 22, 23]
    assert list(curve.count_at_risk) == [21, 17, 15, 12, 11, 7, 6]
    shares = [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]
    assert curve.share == pytest.approx(shares, abs=6e-4)
    # the last four errors are recalled, not read
    errors = [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346]
    assert curve.se == pytest.approx(errors, abs=6e-5)
    low = [0.620, 0.563, 0.503, 0.432, 0.368, 0.268, 0.188]
    high = [0.952, 0.923, 0.889, 0.849, 0.805, 0.747, 0.680]
    assert curve.low == pytest.approx(low, abs=6e-4)
    assert curve.high == pytest.approx(high, abs=6e-4)


def test_six_mp_control_starts_as_printed():
    curve = kaplan_meier(*weeks(CONTROL))
    assert curve.share[0] == pytest.approx(0.9048, abs=6e-5)
    assert curve.se[0] == pytest.approx(0.0641, abs=6e-5)


def test_a_curve_is_cut_where_fewer_than_ten_remain():
    curve = kaplan_meier(*weeks(SIX_MP)).until_few_remain()
    assert list(curve.times) == [6, 7, 10, 13, 16]


def test_kaplan_meier_agrees_with_statsmodels():
    from statsmodels.duration.survfunc import SurvfuncRight

    rng = np.random.default_rng(2)
    times, is_event = np.ceil(rng.exponential(20, 200)), rng.uniform(size=200) < 0.6
    reference = SurvfuncRight(times, is_event.astype(int))
    curve = kaplan_meier(times, is_event)
    assert curve.times == pytest.approx(reference.surv_times)
    assert curve.share == pytest.approx(reference.surv_prob, abs=1e-12)
    # where nobody is left statsmodels gives no error, here it is 0
    errors = np.nan_to_num(reference.surv_prob_se)
    assert curve.se == pytest.approx(errors, abs=1e-12)


def test_with_one_cause_the_incidence_is_one_minus_the_curve():
    times, is_event = weeks(SIX_MP)
    (incidence,) = cumulative_incidence(times, is_event, count_causes=1)
    curve = kaplan_meier(times, is_event)
    assert incidence.share == pytest.approx(1 - curve.share)
    assert incidence.se == pytest.approx(curve.se)


def test_incidences_and_the_share_free_of_all_add_up():
    rng = np.random.default_rng(5)
    times, causes = np.ceil(rng.exponential(20, 300)), rng.integers(0, 4, 300)
    curves = cumulative_incidence(times, causes, count_causes=3)
    free = kaplan_meier(times, causes > 0)
    total = free.share + sum(curve.share for curve in curves)
    assert total == pytest.approx(np.ones(free.times.size))


def test_competing_incidence_and_its_variance_agree_with_lifelines():
    from lifelines import AalenJohansenFitter

    # distinct times: lifelines moves ties apart by chance
    rng = np.random.default_rng(3)
    times, causes = rng.exponential(5, 150), rng.integers(0, 3, 150)
    first, second = cumulative_incidence(times, causes, count_causes=2)
    for cause, ours in ((1, first), (2, second)):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fitted = AalenJohansenFitter().fit(times, causes, event_of_interest=cause)
        column = fitted.cumulative_density_.iloc[:, 0]
        assert ours.share == pytest.approx(column.loc[ours.times].to_numpy())
        variance = fitted.variance_.loc[ours.times].to_numpy()[:-1].ravel()
        assert ours.se[:-1] ** 2 == pytest.approx(variance, rel=1e-6)


def test_competing_incidence_by_hand():
    # 4 watched; event at 1, other end at 2, nothing at 3, event at 4:
    # 1/4, then 1/4 + 3/4 * 2/3 * 1/1
    times, causes = [1.0, 2.0, 3.0, 4.0], [1, 2, 0, 1]
    first, second = cumulative_incidence(times, causes, count_causes=2)
    assert first.share == pytest.approx([1 / 4, 1 / 4, 3 / 4])
    assert second.share == pytest.approx([0, 1 / 4, 1 / 4])


# Nelson's documented example of three systems that end at their last event
SYSTEMS = {0: (100, 300, 500), 1: (150, 400), 2: (50, 200, 350, 600)}


def test_three_systems_have_the_documented_mean_counts():
    units = [unit for unit, times in SYSTEMS.items() for _ in times]
    when = [float(time) for times in SYSTEMS.values() for time in times]
    ends = [float(times[-1]) for times in SYSTEMS.values()]
    found = mean_cumulative_count(ends, units, when)
    documented = [0.3333, 0.6667, 1, 1.3333, 1.6667, 2, 2.3333, 2.8333, 3.8333]
    assert found.mean == pytest.approx(documented, abs=6e-5)
    assert list(found.count_at_risk) == [3, 3, 3, 3, 3, 3, 3, 2, 1]


@pytest.fixture(scope="module")
def valve_seats():
    """Valve-seat replacements of 41 diesel engines (Nelson, Technometrics 1995;37:147)."""
    path = Path(__file__).with_name("valve_seats.csv")
    with path.open(encoding="utf-8") as handle:
        rows = [
            (r["engine"], float(r["days"]), r["is_repair"])
            for r in csv.DictReader(handle)
        ]
    engines = sorted({row[0] for row in rows})
    ends = np.array([max(t for e, t, _ in rows if e == engine) for engine in engines])
    repairs = [(engines.index(e), t) for e, t, repair in rows if repair == "1"]
    return ends, repairs


def test_the_valve_seat_data_are_those_described(valve_seats):
    ends, repairs = valve_seats
    counts = np.bincount([unit for unit, _ in repairs], minlength=41)
    # 41 engines, 17 without a repair and 9 with one were read; 48 repairs are recalled
    assert (ends.size, len(repairs)) == (41, 48)
    assert (np.sum(counts == 0), np.sum(counts == 1)) == (17, 9)


def test_valve_seat_mean_counts_and_robust_errors(valve_seats):
    ends, repairs = valve_seats
    units, when = zip(*repairs, strict=True)
    at = [61, 98, 202, 328, 497, 561, 653]
    found = mean_cumulative_count(ends, units, when, at=at)
    # exact fractions from the data by Nelson's formula; 653 holds two repairs of one engine
    exact = [
        sum(
            Fraction(when.count(s), int((ends >= s).sum()))
            for s in sorted(set(when))
            if s <= time
        )
        for time in at
    ]
    assert exact[4] == Fraction(663, 820)
    assert found.mean == pytest.approx([float(value) for value in exact], abs=1e-12)
    assert found.mean[-1] == pytest.approx(1051726657 / 681749640)
    # from an independent script of the same formula, regression values
    errors = [0.02409, 0.05520, 0.07899, 0.11491, 0.14925, 0.16175, 0.31166]
    assert found.se == pytest.approx(errors, abs=6e-6)


def test_two_dentures_of_one_patient_are_summed_before_they_are_squared(valve_seats):
    ends, repairs = valve_seats
    units, when = map(np.array, zip(*repairs, strict=True))
    alone = mean_cumulative_count(ends, units, when)
    # every engine twice, as two of one patient: as certain as once, not more
    twice = mean_cumulative_count(
        np.tile(ends, 2),
        np.concatenate([units, units + ends.size]),
        np.tile(when, 2),
        np.tile(np.arange(ends.size), 2),
    )
    assert twice.mean == pytest.approx(alone.mean)
    assert twice.se == pytest.approx(alone.se)


def test_an_event_after_the_end_is_refused():
    with pytest.raises(ValueError, match="after the end"):
        mean_cumulative_count([1.0], [0], [2.0])
    with pytest.raises(ValueError, match="0 or more"):
        kaplan_meier([-1.0], [True])
    with pytest.raises(ValueError, match="causes run"):
        cumulative_incidence([1.0], [3], count_causes=2)
