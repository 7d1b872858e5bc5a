"""Event rates of a small clinic, counted by hand."""

from __future__ import annotations

import pytest

from pipeline.statistics.rates import garwood_limits
from tests.audits import opened
from tests.integration.follow_up_tables import clinic, keys  # noqa: F401


@pytest.fixture(scope="module")
def rates(tmp_path_factory, keys):  # noqa: F811
    """Run six dentures of six patients, each seen for three years."""
    names = [f"c{number}" for number in range(6)]
    kinds = ["stud"] * 5 + ["magnet"]
    folder = clinic(
        tmp_path_factory.mktemp("six") / "audit",
        up_to="summarised",
        cases=[
            f"{name},,2020-01-01,2020-04-01,{kind},2023-04-01,active"
            for name, kind in zip(names, kinds, strict=True)
        ],
        events=[
            "c0,2020-09-01,insert_renewed,both,wear,",
            "c0,2021-09-01,insert_renewed,left,wear,",
            "c1,2022-09-01,screw_loose,left,,",
            "c1,2022-09-01,sore_spot,,,",
            "c2,2020-04-10,retention_adjusted,left,,",
            "c3,2021-09-01,insert_renewed,left,planned,",
            "c5,2021-03-01,magnet_detached,left,,",
        ],
    )
    with opened(folder) as audit:
        found = audit.frame("select * from summarised.event_rates")
    return found.set_index(["event_group", "attachment", "period"])


@pytest.mark.parametrize(
    ("cell", "count"),
    [
        (("attachment", "all", "all"), 5),
        (("attachment", "all", "0-12"), 3),
        (("attachment", "all", "12-60"), 2),
        (("attachment", "all", "settling_in"), 1),
        (("insert_renewed", "stud", "all"), 3),
        (("retention", "stud", "all"), 3),
        (("implant_side", "stud", "12-60"), 1),
        (("denture_side", "magnet", "all"), 1),
        (("mucosa", "all", "all"), 1),
        (("planned", "stud", "12-60"), 1),
        (("denture", "all", "all"), 0),
    ],
)
def test_events_are_counted_in_their_group_kind_and_period(rates, cell, count):
    assert rates.loc[cell, "count_events"] == count


def test_the_time_is_that_of_the_dentures_not_their_number(rates):
    days = {"settling_in": 30, "0-12": 365.25 - 30, "12-60": 1096 - 365.25}
    for period, of_one in days.items():
        row = rates.loc[("attachment", "all", period)]
        assert row["exposure_years"] == pytest.approx(6 * of_one / 365.25)
        assert row["count_dentures"] == 6
    whole = rates.loc[("attachment", "all", "all")]
    assert whole["exposure_years"] == pytest.approx(6 * (1096 - 30) / 365.25)
    assert whole["rate_per_100"] == pytest.approx(500 / whole["exposure_years"])
    assert whole["rate_low"] < whole["rate_per_100"] < whole["rate_high"]


def test_without_events_the_upper_limit_is_the_exact_one(rates):
    row = rates.loc[("denture", "all", "all")]
    assert (row["rate_per_100"], row["rate_low"]) == (0, 0)
    upper = 100 * garwood_limits(0)[1] / row["exposure_years"]
    assert row["rate_high"] == pytest.approx(upper)


def test_a_kind_with_one_patient_has_no_interval_and_says_why(rates):
    row = rates.loc[("denture_side", "magnet", "all")]
    assert row["rate_per_100"] > 0
    assert row["rate_high"] != row["rate_high"]
    assert row["note"].startswith("No interval: 1 patient")


def test_a_period_nobody_has_reached_is_left_out(rates):
    assert ("attachment", "all", "60+") not in rates.index
