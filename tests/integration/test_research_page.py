"""The research summary: its numbers are those of the tables, its files those of the page."""

from __future__ import annotations

import csv
import io
import re
import shutil
from html import unescape

import pytest

from pipeline.reported.wording import NO_BREAK_SPACE
from tests.audits import audit_of, opened

CASES = "case_id,surgery_date,jaw,guide_method\n"
READY = "case_id,side,entry_3d_mm,angle_deg,achieved_source\n"


@pytest.fixture(scope="module")
def research(demo):
    return demo / "reports" / "research"


@pytest.fixture(scope="module")
def page(research):
    return (research / "research_summary.html").read_text(encoding="utf-8")


def rows(file):
    text = file.read_text(encoding="utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def of(folder, select):
    with opened(folder) as audit:
        return audit.run(select)


def test_every_case_and_every_implant_received_has_one_fate(demo, research):
    flow = rows(research / "tables" / "records.csv")
    *fates, total = flow
    for column in ("Cases", "Implants"):
        assert sum(int(row[column]) for row in fates) == int(total[column])
    ((cases,),) = of(demo, "select count(*) from measured.cases")
    assert int(total["Cases"]) == cases
    # measured implants are those whose figures are summarised, counted another way
    ((measured,),) = of(demo, "select count(*) from summarised.implant_values")
    (one,) = [row for row in fates if row["Fate"] == "Measured"]
    assert int(one["Implants"]) == measured


def test_an_implant_is_set_aside_only_where_a_row_of_it_is(demo):
    wrong = of(
        demo,
        "select f.case_key from summarised.implant_fates as f"
        " where f.fate = 'set aside' and f.case_key not in"
        " (select case_key from checked.findings where severity <> 'warn')",
    )
    assert wrong == []


def test_the_files_of_a_table_hold_the_cells_of_the_page(research, page):
    for file in sorted((research / "tables").glob("*.csv")):
        table = re.search(
            rf'<table class="printed" id="{file.stem}">.*?</table>', page, re.DOTALL
        )
        assert table, file.name
        lines = re.findall(r"<tr>(.*?)</tr>", table[0], re.DOTALL)[1:]
        cells = [
            [
                unescape(c).replace(NO_BREAK_SPACE, " ")
                for c in re.findall(r"<td[^>]*>(.*?)</td>", line, re.DOTALL)
            ]
            for line in lines
        ]
        found = list(csv.reader(io.StringIO(file.read_text(encoding="utf-8-sig"))))
        assert len(found) - 1 == len(cells), file.name
        for on_page, in_file in zip(cells, found[1:], strict=True):
            assert on_page[0] == in_file[0], file.name
        fragment = file.with_suffix(".html").read_text(encoding="utf-8")
        assert [unescape(c) for c in re.findall(r"<td[^>]*>(.*?)</td>", fragment, re.DOTALL)] == [
            unescape(c) for c in re.findall(r"<td[^>]*>(.*?)</td>", table[0], re.DOTALL)
        ]  # fmt: skip


def test_deviations_are_those_of_the_summary_to_the_printed_digits(demo, research):
    printed = {
        row["Measure"]: row for row in rows(research / "tables" / "deviations.csv")
    }
    ((mean, sd, low, high, q1, q3, n, patients),) = of(
        demo,
        "select mean, sd, mean_low, mean_high, q1, q3, n_implants, n_patients"
        " from summarised.accuracy where measure = 'entry_3d_mm' and group_by = 'overall'",
    )
    row = printed["Entry deviation"]
    assert (row["Mean"], row["SD"]) == (f"{mean:.2f}", f"{sd:.2f}")
    assert row["95 % interval: low"] == f"{low:.2f}"
    assert row["95 % interval: high"] == f"{high:.2f}"
    assert row["Middle half: first quartile"] == f"{q1:.2f}"
    assert row["Middle half: third quartile"] == f"{q3:.2f}"
    assert (row["Implants"], row["Patients"]) == (str(n), str(patients))


def test_every_figure_lies_beside_the_page_as_svg_and_png(research, page):
    shown = re.findall(r'href="figures/([^"]+)"', page)
    assert shown
    lying = {file.name for file in (research / "figures").iterdir()}
    assert set(shown) == lying
    for name in shown:
        start = (research / "figures" / name).read_bytes()[:8]
        assert start.startswith(b"\x89PNG" if name.endswith("png") else b"<svg")


def test_the_page_names_the_run_and_the_command_that_makes_it_again(demo, page):
    ((run_id,),) = of(demo, "select run_id from audit.run")
    assert run_id in page
    assert "plumbpost run DIR" in page


def test_files_of_a_table_no_longer_made_are_taken_away_and_others_left(demo, tmp_path):
    from datetime import UTC, datetime

    from pipeline.reported.audit_tables import AuditTables
    from pipeline.reported.research import write_research_report

    folder = tmp_path / "reports"
    tables = folder / "research" / "tables"
    tables.mkdir(parents=True)
    (tables / "gone.csv").write_text("old")
    (tables / "notes.docx").write_text("mine")
    with opened(demo) as audit:
        write_research_report(AuditTables(audit, datetime.now(UTC)), folder)
    assert not (tables / "gone.csv").exists()
    assert (tables / "notes.docx").exists()
    shutil.rmtree(folder)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_with_hardly_a_case_the_page_prints_numbers_and_no_figures(tmp_path, count):
    cases, ready = CASES, READY
    for n in range(count):
        cases += f"C{n},2026-01-0{n + 1},lower,printed\n"
        ready += f"C{n},left,1.{n}3,2.{n},cbct\nC{n},right,0.9{n},3.1{n},cbct\n"
    if not count:
        cases += "C9,,lower,printed\n"
    files = {"cases.csv": cases}
    if count:
        files["deviations.csv"] = ready
    folder = audit_of(tmp_path / "audit", files, up_to="reported")
    research = folder / "reports" / "research"
    text = (research / "research_summary.html").read_text(encoding="utf-8")
    if not count:
        assert "No case is measured" in text
        return
    (row,) = [
        row
        for row in rows(research / "tables" / "deviations.csv")
        if row["Measure"] == "Entry deviation"
    ]
    assert (row["Patients"], row["Implants"]) == (str(count), str(2 * count))
    assert row["Mean"] == ""
    assert "fewer than 3 patients only the numbers are printed" in text


def test_words_of_the_records_are_told_as_text(tmp_path):
    cases = CASES + 'C1,2026-01-02,lower,"<script>alert(1)</script>"\n'
    files = {"cases.csv": cases, "deviations.csv": READY + "C1,left,1.2,2.3,cbct\n"}
    folder = audit_of(tmp_path / "audit", files, up_to="reported")
    text = (folder / "reports" / "research" / "research_summary.html").read_text()
    assert "<script>alert(1)" not in text


def test_leaving_one_patient_out_gives_the_extremes_of_doing_it_by_hand(demo):
    with opened(demo) as audit:
        values = audit.frame(
            "select patient_key, entry_3d_mm as v from summarised.implant_values"
            " where basis || ', ' || achieved_source = (select sources from"
            " summarised.accuracy where measure = 'entry_3d_mm' and group_by = 'overall')"
            " and entry_3d_mm is not null"
        )
        told = dict(
            audit.run(
                "select variant, mean from summarised.sensitivity"
                " where measure = 'entry_3d_mm' and detail = ''"
            )
        )
    means = [
        values.v[values.patient_key != patient].mean()
        for patient in values.patient_key.unique()
    ]
    assert told["all"] == pytest.approx(values.v.mean())
    assert told["one patient less, smallest"] == pytest.approx(min(means))
    assert told["one patient less, largest"] == pytest.approx(max(means))


def test_the_methods_say_what_was_done_with_the_numbers_of_the_tables(demo, page):
    ((cases, implants),) = of(
        demo,
        "select sum(count_cases), sum(count_implants) from summarised.record_flow"
        " where fate = 'measured'",
    )
    text = unescape(page).replace(NO_BREAK_SPACE, " ")
    assert f"{cases} cases with {implants} implants have a figure" in text
    assert "Figures of different sources were not merged." in text
    assert "made again by: plumbpost run DIR" in text


def test_what_no_record_holds_is_left_to_the_authors(research):
    items = {
        row["Item"]: row["State"]
        for row in rows(research / "tables" / "reporting_items.csv")
    }
    assert items["Age and sex of the patients"] == "not recorded"
    assert items["Error of the method from repeat readings"] == "stated"
    assert items["Training of the operator"].startswith("given for ")


def test_a_published_figure_is_compared_with_or_refused_with_a_reason(demo, research):
    compared = rows(research / "tables" / "literature.csv")
    refused = rows(research / "tables" / "literature_refused.csv")
    counts = dict(
        of(
            demo,
            "select is_in_band, count(*) from summarised.published_matches group by 1",
        )
    )
    assert len(compared) == counts[True]
    assert sum(len(row["Values"].split("; ")) for row in refused) == counts[False]
    assert all(row["Why not"] for row in refused)
    assert all(row["Definition"] for row in (*compared, *refused))


def test_no_code_of_a_case_stands_on_the_page_or_in_its_files(demo, research):
    codes = [code for (code,) in of(demo, "select case_key from measured.cases")]
    texts = {
        path.name: path.read_text(encoding="utf-8-sig")
        for path in research.rglob("*")
        if path.suffix in {".html", ".csv", ".svg"}
    }
    assert len(texts) > 20
    named = [name for name, text in texts.items() if any(c in text for c in codes)]
    assert named == []


def test_every_level_of_a_factor_is_told_or_stands_with_its_reason(demo, research):
    told = rows(research / "tables" / "factors.csv")
    untold = rows(research / "tables" / "factors_untold.csv")
    counts = dict(
        of(
            demo,
            "select is_estimable, count(*) from summarised.factor_effects group by 1",
        )
    )
    assert (len(told), len(untold)) == (counts[True], counts[False])
    assert all(row["Why not"] for row in untold)
