"""What the clinic review says of the years after delivery."""

from __future__ import annotations

import html
import re

import pytest

from pipeline.reference import load
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
        "years-rates",
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


def test_the_forest_draws_each_printed_rate_and_no_percentage():
    found = section_of(tables_of.clinic(), years_after.content)
    labels = [
        row["label"].replace("\u00a0", " ") for row in found.tables["forest_labels"]
    ]
    for row in load.rows("attachment_events_published"):
        of_it = [
            label
            for label in labels
            if row["citation"] in label and label.endswith(f": {row['event']}")
        ]
        shown = row["measure"] == "rate_per_100_years"
        drawn = {"attachment", "retention", "insert_renewed", "mucosa"}
        if row["event_group"] in drawn:
            assert bool(of_it) == shown
    assert any(x.startswith("Cepa et al. 2011, ball; 12 patients, 1 y") for x in labels)
    n_own = sum(row["whose"] == "own" for row in found.tables["forest_rates"])
    n_printed = len(found.tables["forest_rates"]) - n_own
    assert n_own >= 3
    assert n_printed == sum("; " in label for label in labels)


def test_nothing_stands_for_the_mean_of_what_is_printed():
    """The only places of printed rates are the printed values themselves."""
    found = section_of(tables_of.clinic(), years_after.content)
    values = {
        float(row["value"])
        for row in load.rows("attachment_events_published")
        if row["measure"] == "rate_per_100_years"
    }
    drawn = found.tables["forest_rates"]
    assert {row["rate"] for row in drawn if row["whose"] == "printed"} <= values


def test_angles_are_set_against_trouble_as_what_goes_together(page):
    assert "That is no proof of a cause, and evidence in print is mixed." in page
    assert "Exploratory: 17 events, fewer than 50." in page
    assert "no relation found with repairs and adjustments (Walton et al. 2001" in page


def test_no_rate_of_the_demo_divides_by_patients_or_dentures(demo):
    """Events over years, in every row of every table of rates."""
    with opened(demo) as audit:
        for table in ("event_rates", "rates_by_cut"):
            rows = audit.frame(f"select * from summarised.{table}")
            rows = rows[rows["exposure_years"] > 0]
            by_time = 100 * rows["count_events"] / rows["exposure_years"]
            assert rows["rate_per_100"].to_numpy() == pytest.approx(by_time.to_numpy())
            assert len(rows) > 0


def test_every_column_of_a_rate_has_its_time_beside_it():
    tables = {}
    for row in load.rows("columns"):
        tables.setdefault(row["table"], {})[row["column"]] = row["unit"]
    with_rate = {
        t: c for t, c in tables.items() if "per 100 denture-years" in c.values()
    }
    assert {"summarised.event_rates", "summarised.rates_by_cut"} <= set(with_rate)
    for columns in with_rate.values():
        assert columns["exposure_years"] == "years"


def test_the_tables_of_rates_on_the_page_print_events_and_years_beside_them():
    found = section_of(tables_of.clinic(), years_after.content)
    lines = [line for table in found.context["rates"] for line in table["lines"]]
    assert lines
    for line in lines:
        events, years = float(line["events"]), float(line["years"])
        assert float(line["rate"]) == pytest.approx(
            100 * events / years, rel=0.02, abs=1
        )
