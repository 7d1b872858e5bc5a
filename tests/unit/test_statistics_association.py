"""When a rate ratio is refused, and what is said."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.statistics.association import rate_ratio

YEARS = np.linspace(1, 4, 20)
MEASURE = np.array([0.3, 2.1, 0.9, 1.7, 0.4, 3.2, 1.1, 0.8, 2.6, 1.9] * 2)
EVENTS = np.array([0, 3, 1, 2, 0, 4, 1, 1, 2, 3] * 2)


def ratio(events=EVENTS, measure=MEASURE, others=None, years=YEARS, clusters=None):
    owner = np.arange(len(events)) if clusters is None else clusters
    return rate_ratio(events, years, owner, measure, others)


def test_few_events_make_it_exploratory():
    found = ratio()
    assert found.count_events == 34
    assert found.low < found.ratio < found.high
    assert found.warning == "Exploratory: 34 events, fewer than 50."


def test_fifty_events_are_not_exploratory():
    assert ratio(events=EVENTS * 3).warning is None


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"events": EVENTS // 4}, "Too few to say: 2 events, fewer than 10."),
        ({"others": np.eye(20)[:, :4]}, "Too few to say: 34 events, fewer than 50."),
        ({"clusters": np.arange(20) % 7}, "Too few to say: 7 patients."),
        ({"measure": np.full(20, 4.0)}, "Cannot be said: it is the same in all."),
        (
            {"measure": np.where(EVENTS > 0, 1.0, MEASURE)},
            "Cannot be said: all that had events are alike in it.",
        ),
    ],
    ids=["events", "events a term", "patients", "no variation", "separated"],
)
def test_what_cannot_be_told_is_refused_with_the_reason(changed, said):
    found = ratio(**changed)
    assert (found.ratio, found.low, found.high) == (None, None, None)
    assert found.warning == said


@pytest.mark.parametrize(
    "changed",
    [{"years": YEARS * 0}, {"years": YEARS[:5]}, {"measure": MEASURE * np.nan}],
    ids=["no years", "too short", "missing"],
)
def test_numbers_that_cannot_be_are_an_error(changed):
    with pytest.raises(ValueError, match=r"exposures above 0|is missing"):
        ratio(**changed)


@pytest.mark.parametrize("frailty", [0.0, 0.8, 2.0])
def test_a_planted_ratio_is_held_about_as_often_as_stated(frailty):
    """24 dentures of 24 patients who differ (gamma), 200 clinics."""
    draw = np.random.default_rng(4)
    held = []
    for _ in range(200):
        measure = np.abs(draw.normal(0, 1.2, 24))
        years = draw.uniform(1, 5, 24)
        each = draw.gamma(1 / frailty, frailty, 24) if frailty else 1.0
        events = draw.poisson(0.6 * years * each * np.exp(0.3 * measure))
        found = rate_ratio(events, years, np.arange(24), measure)
        if found.ratio is not None:
            held.append(found.low <= np.exp(0.3) <= found.high)
    assert len(held) > 180
    assert np.mean(held) >= 0.92 - 4 * np.sqrt(0.08 * 0.92 / 200)
