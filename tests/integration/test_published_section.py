"""The clinic review shows what a band is made of, what was refused, and a forest."""

import html
import json
import re

import pytest

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import clinic_page
from pipeline.reported.sections.published import content
from pipeline.warehouse import Warehouse
from tests.audits import opened
from tests.integration import report_tables as tables_of


@pytest.fixture
def section_of():
    def section(tables):
        with Warehouse() as warehouse:
            tables_of.fill(warehouse, tables)
            return content(AuditTables(warehouse, tables_of.WRITTEN_AT))

    return section


@pytest.fixture(scope="module")
def text(tmp_path_factory) -> str:
    with Warehouse() as warehouse:
        tables_of.fill(warehouse, tables_of.clinic())
        audit = AuditTables(warehouse, tables_of.WRITTEN_AT)
        page = clinic_page(audit, cache_folder=tmp_path_factory.mktemp("library"))
    plain = re.sub(r"<(script|style).*?</\1>", "", page, flags=re.DOTALL)
    more = plain.partition("Sources of the published figures")[2]
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", more)))


def comparison(section, measure, name):
    table = f"forest_{name}_{measure}"
    rows = {row["kind"]: [] for row in section.tables[table]}
    for row in section.tables[table]:
        rows[row["kind"]].append(row)
    return rows, section.tables[f"{table}_band"][0]


def test_the_forest_holds_the_band_the_studies_the_pooled_mean_and_ours(section_of):
    section = section_of(tables_of.clinic())
    rows, band = comparison(section, "entry_3d_mm", "lower_mucosa_full")
    # Carosi 2022 and Vercruyssen 2014, as published_accuracy.csv
    assert [row["mean"] for row in rows["band"]] == [1.23, 1.4]
    assert (band["low"], band["high"]) == (1.23, 1.4)
    assert len(rows["study"]) == 3
    assert len(rows["pooled"]) == len(rows["ours"]) == 1
    assert rows["band"][0]["low"] == 0.97
    assert rows["band"][1]["low"] is None  # printed without an interval


def test_nothing_is_drawn_below_zero_nor_past_the_edge(section_of):
    for name, rows in section_of(tables_of.clinic()).tables.items():
        for row in rows if not name.endswith("_band") else ():
            ends = (row["low"], row["high"], row["ahead_low"], row["ahead_high"])
            assert all(0 <= end <= row["top"] for end in ends if end is not None)


def test_without_an_interval_there_is_no_forest_but_a_word_that_it_waits(section_of):
    tables = tables_of.clinic()
    for row in tables["summarised.verdicts"]:
        row |= {"mean_low": None, "mean_high": None, "n_patients": 3}
    section = section_of(tables)
    assert section.figures == ()
    assert {(wait.what, wait.has, wait.needs) for wait in section.waits} == {
        ("forest", 3, 5)
    }
    assert all(c["drawing"] is None for c in section.context["comparisons"])


def test_refused_figures_stand_folded_away_with_the_reason(text):
    assert re.search(
        r"Published figures that are not in the band, and why \(\d+\)", text
    )
    assert "guidance: freehand instead of full" in text
    assert "statistic: largest value instead of mean" in text


def test_the_pooled_mean_is_given_by_both_estimators_and_not_used(text):
    said = text.partition("Pooled by random effects")[2]
    assert "never in a verdict" in text
    assert re.search(
        r"REML: mean \d\.\d\s?mm \(interval .*?; DerSimonian-Laird: mean", said
    )
    assert "jaw: upper instead of lower (3 of 3)" in said


def test_where_studies_are_too_few_the_page_says_so_instead(text):
    assert "Not pooled: 0 studies" in text


def test_the_demo_holds_a_row_for_each_published_figure_and_its_reason(demo):
    with opened(demo) as audit:
        refused = audit.run(
            "select count(*), count(*) filter (reason = '')"
            " from summarised.published_matches where not is_in_band"
        )[0]
        judged = audit.run("select count(*) from summarised.verdicts")[0][0]
        pooled = audit.run("select count(*) from summarised.pooled_published")[0][0]
    assert refused[0] > 100
    assert refused[1] == 0
    assert pooled == 2 * judged


def test_the_rows_of_a_forest_can_be_written_as_json(section_of):
    for rows in section_of(tables_of.clinic()).tables.values():
        assert json.loads(json.dumps(rows)) == rows


def test_a_choice_of_the_clinics_own_is_named_with_what_was_refused(section_of):
    tables = tables_of.clinic()
    for row in tables["summarised.pooled_published"]:
        row |= {"is_own_choice": True, "refused": "One <b> 2020, one_entry (no SD)"}
    said = section_of(tables).context["comparisons"][0]["pooled"]
    assert said.startswith(
        "Chosen by the clinic in audit.toml; of these not pooled: One"
    )
