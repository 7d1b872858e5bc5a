"""Days are read in the order a layout states; where both orders fit, that is told."""

from datetime import date, datetime, timedelta

import pytest

from pipeline.records.days import evidence_of_days, iso_day

FORMATS = {
    "d.m.y": ["%d.%m.%Y", "%d/%m/%Y", "%d-%m-%y", "%d.%m.%Y %H:%M"],
    "m/d/y": ["%m/%d/%Y", "%m-%d-%Y", "%m/%d/%y", "%m/%d/%Y %I:%M %p"],
    "iso": ["%Y-%m-%d", "%Y/%m/%d", "%Y-%m-%dT%H:%M:%S", "%d %b %Y", "%B %d, %Y"],
}


@pytest.mark.parametrize(
    ("order", "form"),
    [(order, form) for order, forms in FORMATS.items() for form in forms],
)
def test_every_day_of_two_years_comes_back_as_the_standard_library_wrote_it(
    order, form
):
    start = datetime(2024, 1, 1, 14, 30)  # noqa: DTZ001 - days have no zone
    for number in range(731):
        moment = start + timedelta(days=number)
        assert iso_day(moment.strftime(form), order) == moment.date().isoformat()


@pytest.mark.parametrize("order", ["iso", "d.m.y", "m/d/y"])
@pytest.mark.parametrize(
    "cell", ["2026-03-04", "4 Mar 2026", "Mar 4, 2026", "2026/3/4"]
)
def test_a_day_that_can_be_read_in_one_way_only_needs_no_order(order, cell):
    assert iso_day(cell, order) == "2026-03-04"


@pytest.mark.parametrize(
    ("cell", "order"),
    [
        ("31/12/2025", "m/d/y"),
        ("12/31/2025", "d.m.y"),
        ("3/4/2026", "iso"),
        ("30.02.2026", "d.m.y"),
        ("3.4-2026", "d.m.y"),
        ("3/4/2026 14:30 PM", "m/d/y"),
        ("45000", "iso"),
        ("3-Apr", "d.m.y"),
        ("4 Foo 2026", "iso"),
        ("8-7", "d.m.y"),
        ("", "iso"),
    ],
)
def test_what_is_no_day_in_this_order_is_not_read(cell, order):
    assert iso_day(cell, order) is None


def test_two_digit_years_are_those_of_posix():
    # POSIX strptime %y: 69 to 99 are 19xx, 00 to 68 are 20xx
    for year in (0, 26, 68, 69, 99):
        expected = datetime.strptime(f"{year:02}-03-04", "%y-%m-%d").date()  # noqa: DTZ007
        assert iso_day(f"4.3.{year:02}", "d.m.y") == expected.isoformat()


def test_the_order_is_open_only_where_both_fit():
    sure = evidence_of_days(["3/4/2026", "31/12/2025", ""])
    assert (sure.day_first, sure.either, sure.is_open) == (1, 1, False)
    both = evidence_of_days(["3/4/2026", "5/5/2026"])
    assert (both.either, both.same, both.is_open) == (1, 1, True)
    torn = evidence_of_days(["31/12/2025", "12/31/2025"])
    assert torn.is_open
    certain = evidence_of_days(["2026-03-04", "no day"])
    assert (certain.certain, certain.neither, certain.is_open) == (1, 1, False)
    assert certain.count_days == 1


def test_days_with_points_are_counted_apart():
    assert evidence_of_days(["3.4.2026", "3/4/2026"]).with_dots == 1


def test_the_day_of_a_leap_year_is_one():
    assert iso_day("29.2.2024", "d.m.y") == date(2024, 2, 29).isoformat()
    assert iso_day("29.2.2023", "d.m.y") is None
