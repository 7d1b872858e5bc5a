"""How long each denture was under observation, and which events count."""

from __future__ import annotations

from datetime import date

import pytest

from tests.audits import opened
from tests.integration.follow_up_tables import clinic, code_of, keys  # noqa: F401

YEAR = 365.25


@pytest.fixture(scope="module")
def small(tmp_path_factory, keys):  # noqa: F811
    """Run seven patients whose follow-up ends in seven ways; returns facts by case."""
    folder = clinic(
        tmp_path_factory.mktemp("small") / "audit",
        cases=[
            "seen,,2020-01-01,2020-04-01,stud,,active",
            "told,,2020-01-01,2020-04-01,stud,2024-04-01,active",
            "never,,2020-01-01,2020-04-01,ball,,active",
            "dead,,2020-01-01,2020-04-01,ball,,died",
            "again,,2020-01-01,2020-04-01,stud,,active",
            "bar,,2020-01-01,2020-04-01,stud,,active",
            "missed,,2020-01-01,2020-04-01,stud,,active",
        ],
        dentures=[
            "again,1,2020-04-01,stud,,",
            "again,2,2022-04-01,stud,,",
            "dead,1,2020-04-01,ball,2022-06-01,died",
        ],
        visits=[
            "seen,2020-10-01,yes,yes,20,",
            "seen,2021-04-01,yes,yes,,",
            "dead,2021-04-01,yes,yes,15,",
            "again,2022-03-01,yes,yes,15,",
            "again,2023-04-01,yes,yes,15,",
            "missed,2020-10-01,yes,yes,10,",
            "missed,2021-10-01,yes,no,,",
        ],
        events=[
            "seen,2020-04-11,sore_spot,,,",
            "seen,2020-10-01,insert_renewed,both,wear,",
            "seen,2021-04-01,insert_renewed,left,planned,",
            "again,2022-03-01,housing_detached,left,,",
            "again,2022-04-01,denture_remade,,,",
            "again,2023-04-01,screw_loose,right,,",
            "bar,2021-04-01,attachment_changed,,,",
            "bar,2021-06-01,insert_renewed,left,,",
            "missed,2021-10-01,missed_recall,,,",
        ],
    )
    names = {
        code_of(folder, n): n
        for n in ("seen", "told", "never", "dead", "again", "bar", "missed")
    }
    with opened(folder) as audit:
        exposure = audit.frame("select * from measured.exposure")
        events = audit.frame("select * from measured.attachment_events")
    for frame in (exposure, events):
        frame["case"] = frame["case_key"].map(names)
    exposure["name"] = exposure["case"] + exposure["denture_no"].astype(str)
    return exposure.set_index("name"), events


@pytest.mark.parametrize(
    ("name", "end", "reason"),
    [
        ("seen1", "2021-04-01", "active"),  # the last visit attended
        ("told1", "2024-04-01", "active"),  # nothing but the case's own statement
        ("dead1", "2021-04-01", "died"),  # last seen before the death
        ("again1", "2022-04-01", "remade"),  # a new denture ends the first
        ("again2", "2023-04-01", "active"),
        ("bar1", "2021-04-01", "attachment_changed"),
        ("missed1", "2020-10-01", "active"),  # a missed recall observes nothing
    ],
)
def test_a_denture_is_observed_until_the_earliest_end(small, name, end, reason):
    row = small[0].loc[name]
    assert (str(row["end_date"].date()), row["end_reason"]) == (end, reason)
    days = date.fromisoformat(end) - row["start_date"].date()
    assert row["exposure_years"] == pytest.approx((days.days + 1) / YEAR)


def test_no_visit_at_all_is_unknown_and_gives_no_exposure(small):
    row = small[0].loc["never1"]
    assert row["end_reason"] == "never_seen"
    assert row["exposure_years"] == 0
    assert row["end_date"] is None or row["end_date"] != row["end_date"]


def test_the_parts_of_exposure_add_up(small):
    parts = ["years_settling_in", "years_0_12", "years_12_60", "years_60_on"]
    exposure = small[0]
    total = exposure[parts].sum(axis=1).to_numpy()
    assert total == pytest.approx(exposure["exposure_years"].to_numpy())
    told = exposure.loc["told1"]
    assert told["years_settling_in"] == pytest.approx(30 / YEAR)
    assert told["years_0_12"] == pytest.approx(1 - 30 / YEAR)


def test_two_parts_at_one_visit_are_two_rows_and_one_visit(small):
    events = small[1]
    both = events[(events["case"] == "seen") & (events["years_after_delivery"] > 0.4)]
    both = both[~both["is_planned"]]
    assert sorted(both["side"]) == ["left", "right"]
    assert both["visit_key"].nunique() == 1


def test_settling_in_and_renewals_on_schedule_are_kept_but_not_counted(small):
    events = small[1].set_index(["case", "event"])
    sore = events.loc[("seen", "sore_spot")]
    assert sore["is_settling_in"].all()
    assert not sore["is_counted"].any()
    renewed = events.loc[("seen", "insert_renewed")]
    assert sorted(zip(renewed["is_planned"], renewed["is_counted"], strict=True)) == [
        (False, True),
        (False, True),
        (True, False),
    ]


def test_an_event_belongs_to_the_denture_worn_that_day(small):
    events = small[1]
    again = events[events["case"] == "again"].set_index("event")["denture_no"]
    assert dict(again) == {"housing_detached": 1, "denture_remade": 1, "screw_loose": 2}


def test_an_event_after_the_end_of_exposure_is_left_out(small):
    events = small[1]
    assert set(events.loc[events["case"] == "bar", "event"]) == {"attachment_changed"}


def test_the_days_since_the_wearer_was_seen_bound_the_onset(small):
    events = small[1]
    first = events[(events["case"] == "seen") & (events["event"] == "sore_spot")]
    assert list(first["days_since_seen"]) == [10]
    found = events[(events["case"] == "again") & (events["event"] == "screw_loose")]
    assert list(found["days_since_seen"]) == [365]


def test_minutes_and_visits_are_those_while_under_observation(small):
    row = small[0].loc["seen1"]
    assert (row["count_visits"], row["count_timed_visits"], row["minutes"]) == (
        2,
        1,
        20,
    )
    assert small[0].loc["missed1", "count_missed"] == 0
