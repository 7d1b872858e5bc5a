"""Overdue recalls are a number in tables, a list with practice numbers in to_correct/."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tests.audits import opened
from tests.integration.follow_up_tables import clinic, keys  # noqa: F401

TODAY = datetime.now(UTC).date()


def ago(months: float) -> str:
    return str(TODAY - timedelta(days=round(months * 365.25 / 12)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory, keys):  # noqa: F811
    """Run five dentures delivered two years ago, seen last at different times."""
    names = ["K77-lately", "K77-due", "K77-overdue", "K77-never", "K77-moved"]
    exits = {"K77-moved": "transferred"}
    return clinic(
        tmp_path_factory.mktemp("five") / "audit",
        up_to="reported",
        cases=[
            f"{n},,{ago(26)},{ago(24)},stud,,{exits.get(n, 'active')}" for n in names
        ],
        visits=[
            f"K77-lately,{ago(2)},yes,yes,20,",
            f"K77-due,{ago(7)},yes,yes,40,",
            f"K77-due,{ago(6.5)},yes,no,,",
            f"K77-overdue,{ago(10)},yes,yes,,",
            f"K77-moved,{ago(20)},yes,yes,30,",
        ],
        events=[f"K77-lately,{ago(2)},nothing_needed,,,"],
    )


def test_the_numbers_of_recalls(folder):
    with opened(folder) as audit:
        row = audit.frame("select * from summarised.recalls").iloc[0].to_dict()
    assert row == {
        "count_in_use": 4,
        "count_due": 3,
        "count_overdue": 2,
        "count_never_seen": 1,
        "count_visits": 4,
        "count_missed": 0,  # the missed one lies after the last day observed
        "count_content_unknown": 3,
    }


def test_the_list_has_the_clinics_own_numbers_and_says_not_to_circulate(folder):
    path = folder / "to_correct" / "overdue_recalls.csv"
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    assert "do not circulate" in lines[0]
    assert lines[1].startswith("case_id,")
    assert [line.split(",")[0] for line in lines[2:]] == ["K77-never", "K77-overdue"]


def test_the_report_holds_no_number_of_the_list(folder):
    page = (folder / "reports" / "clinic_review.html").read_text(encoding="utf-8")
    assert "K77-" not in page


def test_minutes_a_denture_year_take_untimed_visits_as_the_others(folder):
    with opened(folder) as audit:
        row = audit.frame(
            "select * from summarised.chair_time where attachment = 'all'"
        ).iloc[0]
    assert (row["count_visits"], row["count_timed_visits"], row["minutes"]) == (
        4,
        3,
        90,
    )
    expected = 30 * 4 / row["exposure_years"]
    assert row["minutes_per_year"] == pytest.approx(expected)


def test_the_list_goes_when_nobody_is_overdue(tmp_path):
    from pipeline.reported.overdue import write_overdue_recalls
    from pipeline.warehouse import Warehouse

    old = tmp_path / "overdue_recalls.csv"
    old.write_text("old")
    with Warehouse() as warehouse:
        warehouse.make(
            "summarised.recalls_due",
            "select '' as denture_key, '' as case_key, 1 as denture_no, current_date"
            " as start_date, current_date as last_seen_date, 1 as days_since_seen,"
            " false as is_overdue",
        )
        assert write_overdue_recalls(warehouse, tmp_path, {}) == 0
    assert not old.exists()
