"""Curves and status of a small clinic, worked out by hand."""

from __future__ import annotations

import pytest

from tests.audits import opened
from tests.integration.follow_up_tables import clinic, keys  # noqa: F401

YEAR = 365.25


@pytest.fixture(scope="module")
def tables(tmp_path_factory, keys):  # noqa: F811
    """Run twelve dentures delivered on 1 April 2020; one is remade, one wearer dies."""
    names = [f"c{number:02}" for number in range(12)]
    last = {"c10": "2021-03-01", "c11": "2020-12-01"}
    exits = {"c10": "remade", "c11": "died"}
    folder = clinic(
        tmp_path_factory.mktemp("twelve") / "audit",
        up_to="summarised",
        cases=[
            f"{n},,2020-01-01,2020-04-01,stud,{last.get(n, '2023-04-01')},"
            f"{exits.get(n, 'active')}"
            for n in names
        ],
        visits=[f"{n},2023-03-01,yes,yes,10," for n in names[:8]],
        events=[
            "c00,2020-04-11,insert_renewed,left,wear,",
            "c00,2020-08-01,insert_renewed,left,wear,",
            "c00,2021-06-01,insert_renewed,both,wear,",
            "c01,2020-10-01,retention_adjusted,,,",
            "c02,2021-06-01,screw_loose,left,,",
        ],
    )
    with opened(folder) as audit:
        return {
            name: audit.frame(f"select * from summarised.{name}")
            for name in ("first_event", "mean_cumulative_count", "status")
        }


def curve(tables, name):
    found = tables["first_event"]
    of_all = (found["event_group"] == "attachment") & (found["attachment"] == "all")
    return found[of_all & (found["curve"] == name)].sort_values("years")


def test_the_first_event_counts_once_and_settling_in_does_not_count(tables):
    free = curve(tables, "free")
    days = (free["years"] * YEAR).round().astype(int)
    # c00 on day 122, c01 on day 183; the death and the remake end watching between;
    # then 8 remain of 9, fewer than ten, so c02 is not drawn
    assert list(days)[:2] == [122, 183]
    assert list(free["count_at_risk"])[:2] == [12, 11]
    assert list(free["share"])[:2] == pytest.approx([11 / 12, 10 / 12])
    assert (free["count_at_risk"] >= 10).all()


def test_other_ends_compete(tables):
    ended = curve(tables, "ended_before")
    # the death on day 244 of ten still watched without an event
    last = ended.iloc[-1]
    assert round(last["years"] * YEAR) == 245
    assert last["share"] == pytest.approx((10 / 12) * (1 / 10))


def test_every_event_counts_in_the_mean_and_two_parts_are_two(tables):
    found = tables["mean_cumulative_count"]
    of_all = (found["event_group"] == "attachment") & (found["attachment"] == "all")
    found = found[of_all].sort_values("years")
    assert list(found["count_events"]) == [1, 2, 5]
    assert list(found["count_at_risk"]) == [12, 12, 10]
    expected = [1 / 12, 2 / 12, 2 / 12 + 3 / 10]
    assert list(found["mean_count"]) == pytest.approx(expected)
    assert (found["mean_low"] < found["mean_count"]).all()
    assert (found["mean_count"] < found["mean_high"]).all()


def test_the_six_fields_add_up_to_the_dentures_due(tables):
    status = tables["status"]
    fields = ["success", "survived", "repaired", "failed", "died", "unknown"]
    total = sum(status[f"count_{name}"] for name in fields)
    assert list(total) == list(status["count_due"])


@pytest.mark.parametrize(
    ("years", "expected"),
    [
        # c00 renewed; c01 adjusted only; c08, c09 known in use but never seen again
        (1, (7, 2, 1, 1, 1, 0)),
        # seen last a month before; c02's screw is mended by then
        (3, (0, 8, 2, 1, 1, 0)),
        (5, (0, 0, 0, 1, 1, 10)),
    ],
)
def test_status_by_hand(tables, years, expected):
    status = tables["status"]
    of_all = (status["attachment"] == "all") & (status["years_after"] == years)
    row = status[of_all].iloc[0]
    fields = ["success", "survived", "repaired", "failed", "died", "unknown"]
    assert tuple(row[f"count_{name}"] for name in fields) == expected


def test_a_kind_with_fewer_than_ten_dentures_has_no_curve(tables):
    assert set(tables["first_event"]["attachment"]) == {"all", "stud"}
