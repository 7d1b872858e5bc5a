"""What the clinic review says of the years after delivery."""

from __future__ import annotations

import html
import re

import pytest

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.sections import attachment_trouble, years_after
from pipeline.warehouse import Warehouse
from tests.audits import opened
from tests.integration import report_tables as tables_of


def section_of(tables, content):
    with Warehouse() as warehouse:
        tables_of.fill(warehouse, tables)
        return content(AuditTables(warehouse, tables_of.WRITTEN_AT))


@pytest.fixture(scope="module")
def page(demo):
    written = (demo / "reports" / "clinic_review.html").read_text(encoding="utf-8")
    plain = re.sub(r"<(script|style).*?</\1>", "", written, flags=re.DOTALL)
    text = html.unescape(re.sub(r"<[^>]+>", " ", plain))
    return re.sub(r"\s+", " ", text)


def test_the_second_side_gives_the_rate_with_its_interval_chair_time_and_recalls(
    page, demo
):
    with opened(demo) as audit:
        rates = audit.frame(
            "select * from summarised.event_rates where event_group = 'attachment'"
            " and attachment = 'all'"
        ).set_index("period")
        minutes = audit.value(
            "select minutes_per_year from summarised.chair_time where attachment = 'all'"
        )
        overdue, in_use = audit.run(
            "select count_overdue, count_in_use from summarised.recalls"
        )[0]
    first, later = rates.loc["0-12"], rates.loc["12-60"]
    assert (
        f"First year: {first['rate_per_100']:.0f} events per 100 denture-years"
        f" (95 % {first['rate_low']:.0f} to {first['rate_high']:.0f});"
        f" years 2 to 5: {later['rate_per_100']:.0f}"
    ) in page
    assert f"Chair: {minutes:.0f} minutes a denture-year." in page
    assert f"Recalls overdue: {overdue} of {in_use}." in page


def test_no_follow_up_leaves_both_parts_out():
    tables = {
        name: rows
        for name, rows in tables_of.clinic().items()
        if name != "summarised.event_rates"
    }
    assert section_of(tables, attachment_trouble.content) is None
    assert section_of(tables, years_after.content) is None


def test_charts_wait_for_enough_dentures():
    full = section_of(tables_of.clinic(), years_after.content)
    assert [figure.name for figure in full.figures] == [
        "years-raster",
        "years-mean-count",
        "years-first-event",
    ]
    few = section_of(tables_of.clinic(4, has_harm=False), years_after.content)
    assert few.figures == ()
    assert [wait.what for wait in few.waits] == ["raster", "curves"]


def test_the_caption_of_the_raster_counts_what_it_draws():
    found = section_of(tables_of.clinic(), years_after.content)
    events = found.tables["denture_events"]
    with_event = len({row["place"] for row in events})
    said = found.figures[0].told.caption.replace("\u00a0", " ")
    assert f"{len(events)} events of trouble in {with_event} dentures" in said


def test_numbers_at_risk_are_those_just_before_the_next_step():
    found = section_of(tables_of.clinic(), years_after.content)
    points = {row["years"]: row["count"] for row in found.tables["first_at_risk"]}
    n = len(found.tables["denture_lines"])
    assert points[0.0] == str(n - 1)  # the first step of the invented table
    assert points[0.5] == str(n - 2)


def test_published_figures_stand_one_a_study_with_what_contradicts(page):
    assert "Zenziper et al. 2022" in page
    assert "stud against ball: worse (Matthys et al. 2019" in page
    assert "stud against ball: better (Brandt et al. 2021" in page


def test_association_is_never_worded_as_a_cause(page):
    assert "not shown to depend on how parallel the implants stand" in page
