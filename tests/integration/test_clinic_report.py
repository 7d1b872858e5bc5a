"""What a quality lead can rely on when the clinic review is opened."""

import html
import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import clinic_page, write_clinic_report
from pipeline.reported.page import chart_library
from pipeline.reported.section import places
from pipeline.reported.wording import measures
from pipeline.warehouse import Warehouse
from tests.integration import report_tables as tables_of

Tables = dict[str, list[dict[str, Any]]]


@pytest.fixture(scope="module")
def library_folder(tmp_path_factory):
    return tmp_path_factory.mktemp("library")


@pytest.fixture(scope="module")
def page_of(library_folder) -> Callable[[Tables], str]:
    """Write the page of an audit."""

    def page(tables: Tables) -> str:
        with Warehouse() as warehouse:
            tables_of.fill(warehouse, tables)
            audit = AuditTables(warehouse, tables_of.WRITTEN_AT)
            return clinic_page(audit, cache_folder=library_folder)

    return page


@pytest.fixture(scope="module")
def clinic(page_of) -> str:
    return page_of(tables_of.clinic())


def without_scripts(page: str) -> str:
    return re.sub(r"<(script|style).*?</\1>", "", page, flags=re.DOTALL)


def text_of(page: str) -> str:
    """Return what a person reads, spaces made plain."""
    plain = html.unescape(re.sub(r"<[^>]+>", " ", without_scripts(page)))
    return re.sub(r"\s+", " ", plain)


def data_of(page: str, name: str) -> Any:
    found = re.search(rf'id="{name}">(.*?)</script>', page, re.DOTALL)
    assert found
    return json.loads(found[1])


def test_parts_stand_in_the_order_of_the_meeting(clinic):
    headings = [
        "For the treating clinician now", "Clinic review", "Cases and completeness",
        "Criteria", "Are the two implants still parallel?", "Cases for discussion",
        "Each case, in date order", "Against published figures", "Data quality",
        "Actions due", "More: figures", "Distributions", "Cautions",
    ]  # fmt: skip
    body = without_scripts(clinic).partition("<main>")[2]
    places_found = [body.index(heading) for heading in headings]
    assert places_found == sorted(places_found)


def test_no_harm_leaves_no_box(page_of):
    page = page_of(tables_of.clinic(has_harm=False))
    assert "For the treating clinician" not in text_of(page)


def test_harm_names_case_codes_and_the_local_duty(clinic):
    box = without_scripts(clinic).split('class="harm"')[1].split("</section>")[0]
    assert "follow your local reporting duty" in box
    assert "Not for the meeting" in box
    assert 'data-case="QJLEQMGGU4YK"' in box
    assert "by 2.4\u00a0mm" in box


def test_header_says_frozen_time_run_and_confidence(clinic):
    text = text_of(clinic)
    assert "data frozen at 12 Mar 2026, 07:30 UTC" in text
    assert "run 7f3a9c21" in text
    assert "Confidential - quality review; check local peer-review rules" in text
    assert "not a medical device" in text


def test_completeness_names_its_denominator(clinic):
    text = text_of(clinic)
    assert "37 of 40 operated" in text
    assert "Denominator: the list you gave." in text
    assert "7 rows set aside" in text


def test_criteria_show_n_of_n_interval_and_patients(clinic):
    text = text_of(clinic)
    assert "68 of 74" in text
    assert "interval allowing for two implants in one mouth" in text
    assert "31 of 37" in text


def test_an_example_criterion_is_never_judged(clinic):
    row = next(
        row
        for row in without_scripts(clinic).split("<tr>")
        if "Example: Angle to plan" in row
    )
    assert "example, not signed by your clinic" in row
    assert "not judged" in row
    assert "not reached" not in row


def test_verdicts_say_patients_beside_implants_and_provisional(clinic):
    text = text_of(clinic)
    assert "48 implants in 24 patients" in text
    assert "13 pairs in 13 patients" in text
    assert "Provisional: this set rests on figures still to be read in full." in text
    assert "stand-in, from bridges between teeth" in text


def test_a_better_verdict_is_not_for_advertising(page_of):
    tables = tables_of.clinic()
    tables["summarised.verdicts"] = [
        {**row, "verdict": "better"} for row in tables["summarised.verdicts"]
    ]
    text = text_of(page_of(tables))
    assert text.count("Not for advertising or for comparing colleagues.") == 3


@pytest.mark.parametrize("has_harm", [True, False])
def test_changes_on_purpose_are_listed_apart(page_of, has_harm):
    """In a table of their own; where the side has no room, in a line that says where."""
    tables = tables_of.clinic(has_harm=has_harm)
    first = tables["summarised.discuss"][0]
    changed = tables_of.code(3)
    tables["summarised.discuss"].append(
        {**first, "case_key": changed, "is_deliberate_change": True}
    )
    page = without_scripts(page_of(tables))
    side, more = page.split('id="side-2"')
    listed = side if not has_harm else more
    discussed, _, apart = listed.partition("Departed from the plan on purpose")
    assert f'data-case="{changed}"' in apart.split("</table>")[0]
    assert f'data-case="{changed}"' not in discussed.rpartition("<table")[2]
    if has_harm:
        assert "1\u00a0case departed from the plan on purpose" in side


def test_a_figure_just_over_its_limit_never_looks_like_the_limit(page_of):
    tables = tables_of.clinic()
    row = {**tables["summarised.discuss"][0], "value": 2.504, "limit_value": 2.5}
    tables["summarised.discuss"] = [row]
    assert "2.504 mm (limit 2.5 mm)" in text_of(page_of(tables))


def test_data_box_gives_reasons_in_sentences_without_row_texts(clinic):
    text = text_of(clinic)
    assert "4 rows: The length from achieved entry to achieved apex differs" in text
    assert "surgery_date (cases): 36 of 40 rows" in text
    assert "planted" not in clinic


def test_equally_common_reasons_keep_their_order_on_every_run(page_of):
    """Also in another process, where sets are walked in another order."""
    text = text_of(page_of(tables_of.crowded())).split("What was set aside, and why")[1]
    sentences = ("The parts do not add up", "The length from achieved", "The length from planned", "The angle between")  # fmt: skip
    found = [text.index(sentence) for sentence in sentences]
    assert found == sorted(found)  # by check: deviations-, implants-achieved-, ...


def test_the_records_in_full_say_what_came_was_mended_and_what_it_means(clinic):
    page = text_of(clinic).split("The records: what came")[1]
    assert "36 of 37 operated cases of this review have a figure" in page
    assert "by up to 2.7 percentage points either way" in page  # 1 of 37
    assert "leaves out the cases that do not say" in page
    assert "operator_level 12" in page
    assert "3 changes: corrected (who answers for the audit)" in page
    assert "Columns that no row gives: implants: site." in page
    assert "planted" not in page


def test_the_second_side_leads_to_the_records_in_full(clinic):
    body = without_scripts(clinic)
    box = body.split('class="data-box"')[1].split("</section>")[0]
    assert 'href="#records"' in box
    assert body.count('id="records"') == 1


def test_no_person_guide_or_laboratory_code_is_on_the_page(clinic):
    assert not re.search(r"OPERATOR\d|GUIDE\d|LAB\d", clinic)


def test_actions_show_role_day_and_what_is_overdue(clinic):
    text = text_of(clinic)
    assert "surgeon · by 1 Feb 2026 · overdue" in text
    assert "quality lead · by 1 May 2026 · open" in text
    assert "done 20 Oct 2025" in text


def test_without_actions_one_line_says_how_to_add_them(page_of):
    tables = tables_of.clinic()
    del tables["reference.actions"]
    assert "Write one line each into actions.csv" in text_of(page_of(tables))


def test_all_twelve_cautions_are_there(clinic):
    cautions = without_scripts(clinic).split("<ol")[1].split("</ol>")[0]
    assert cautions.count("<li>") == 12
    assert "No exposure for an audit" in cautions


def test_every_measure_is_defined_on_the_page(clinic):
    text = text_of(clinic)
    for known in measures().values():
        assert known.label in text
        assert known.sentence in text


def test_sources_say_what_was_seen_and_what_is_from_memory(clinic):
    sources = text_of(clinic).split("Sources of the published figures")[1]
    assert "from memory" in sources
    assert "doi 10.3390/ma15041462" in sources  # Carosi 2022, as published_accuracy.csv


PLANTED = "<script>alert('planted')</script>=HYPERLINK(\"x\")"


def test_text_of_records_is_escaped_everywhere(page_of):
    """A planted script stays text, in the HTML and in the data of the charts."""
    tables = tables_of.clinic()
    name_of = {case["case_key"]: case["case_key"] for case in tables["measured.cases"]}
    first = next(iter(name_of))
    for rows in tables.values():
        for row in rows:
            if row.get("case_key") == first:
                row["case_key"] = PLANTED
    for row in tables["summarised.criteria"]:
        row["criterion"] = PLANTED
    for row in tables["summarised.verdicts"]:
        row["sentence"] = PLANTED
    for row in tables["reference.actions"]:
        row["action"] = PLANTED
        row["role"] = PLANTED
    tables["audit.run"][0]["cycle"] = PLANTED
    page = page_of(tables)
    assert "<script>alert" not in page
    assert PLANTED in data_of(page, "tables")["pairs"]["case"]
    assert html.escape(PLANTED, quote=True).replace("&#x27;", "&#39;").replace(
        "&quot;", "&#34;"
    ) in without_scripts(page)


def test_nothing_on_the_page_has_an_outside_address(clinic, library_folder):
    own = clinic.replace(chart_library(library_folder), "")
    assert "http" not in own.replace("http-equiv", "")
    assert not re.search(r'(src|action)=|href="(?!#)', own)
    assert "@import" not in own
    assert "url(" not in own


def test_policy_of_the_page_forbids_every_request(clinic):
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', clinic)
    assert policy
    assert "default-src 'none'" in html.unescape(policy[1])
    assert "connect-src" not in policy[1]


def test_the_library_opens_no_editor(library_folder):
    assert "vega.github.io/editor" not in chart_library(library_folder)


def test_an_empty_audit_gives_a_page_without_charts(page_of):
    page = page_of(tables_of.empty())
    text = text_of(page)
    assert "No case has been loaded yet." in text
    assert "Nothing has been measured yet." in text
    assert "No comparison with published figures is possible yet." in text
    assert 'class="chart"' not in page
    assert len(page) < 60_000


def test_three_cases_give_a_table_and_one_line_of_what_waits(page_of):
    page = page_of(tables_of.clinic(3, has_harm=False))
    side_2 = page.split('id="side-2"')[1]
    text = text_of(side_2)
    assert 'class="chart"' not in page
    assert "Waiting for more cases: the plot of planned against achieved angle" in text
    assert "from 5 pairs on (now 2)" in text
    assert "distributions of 12 measures from 5 implants on" in text
    assert f'data-case="{tables_of.code(0)}"' in side_2.split("Against published")[0]


def test_a_cycle_shows_only_its_own_cases(page_of):
    first, last = date(2025, 1, 1), date(2025, 6, 30)
    tables = tables_of.clinic(cycle="2025 first half", cycle_from=first, cycle_to=last)
    page = page_of(tables)
    inside = {
        case["case_key"]
        for case in tables["measured.cases"]
        if case["surgery_date"] and first <= case["surgery_date"] <= last
    }
    assert set(data_of(page, "tables")["pairs"]["case"]) == inside
    assert "2025 first half (1 Jan 2025 to 30 Jun 2025)" in text_of(page)


def test_bench_cases_are_not_shown_among_patients(page_of):
    tables = tables_of.clinic()
    tables["measured.cases"][4]["setting"] = "bench"
    cases = data_of(page_of(tables), "tables")["pairs"]["case"]
    assert tables["measured.cases"][4]["case_key"] not in cases


def test_charts_read_tables_the_page_holds(clinic):
    tables, specs = data_of(clinic, "tables"), data_of(clinic, "specs")
    assert specs
    for spec in specs.values():
        assert set(spec["tables"]) <= set(tables)


def _axes(node: Any) -> Any:
    if isinstance(node, dict):
        for name in ("x", "y"):
            encoding = node.get("encoding", {}).get(name)
            if isinstance(encoding, dict) and encoding.get("axis"):
                yield encoding["axis"]
        for part in node.values():
            yield from _axes(part)
    elif isinstance(node, list):
        for part in node:
            yield from _axes(part)


def test_every_figure_has_a_sentence_a_description_and_axes_with_units(clinic):
    specs = data_of(clinic, "specs")
    captions = re.findall(r"<figcaption>([^<]+)", clinic)
    assert len(captions) == len(specs)
    assert all(caption.strip() for caption in captions)
    for name, figure in specs.items():
        spec = figure["spec"]
        assert len(spec["description"]) > 40, name
        titles = [axis["title"] for axis in _axes(spec) if axis.get("title")]
        assert titles, name
        assert all(
            re.search(r"(mm|degrees)$|\byears\b|\bdentures?\b|^share of", title)
            for title in titles
        ), titles


def test_left_and_right_differ_by_more_than_colour(clinic):
    layers = data_of(clinic, "specs")["strip-entry-3d-mm"]["spec"]["layer"]
    shapes = next(
        layer["encoding"]["shape"]["scale"]
        for layer in layers
        if "shape" in layer.get("encoding", {})
    )
    signs = dict(zip(shapes["domain"], shapes["range"], strict=True))
    assert signs["left"] != signs["right"] != signs["purpose"]


def test_bands_are_those_of_the_matching_comparison_set(clinic):
    bands = data_of(clinic, "tables")["strip_entry_3d_mm_bands"]
    assert list(zip(bands["low"], bands["high"], strict=True)) == [
        (1.13, 3.0),
        (1.23, 1.4),
    ]
    assert bands["end"][0] < bands["start"][1]


def test_sources_share_no_median_in_a_sentence(clinic):
    for caption in re.findall(r"<figcaption>([^<]+)", clinic):
        if re.search("[Hh]alf|median", caption):
            assert "scan" in caption


@pytest.fixture(scope="module")
def large(page_of) -> str:
    return page_of(tables_of.clinic(1700))


def test_too_many_dots_become_counts_in_cells(large):
    text = json.dumps(data_of(large, "specs")["strip-entry-3d-mm"])
    assert '"bin"' in text
    assert '"type": "point"' not in text


def test_a_large_audit_shows_its_latest_cases_and_says_so(large):
    """Figures cover all cases; dots and lists only as many as a page can carry."""
    text = text_of(large)
    assert "Charts show the latest 1 500 of 1 700 cases" in text
    assert "1 700 cases of 1 700 patients" in text
    drawn = set(data_of(large, "tables")["pairs"]["case"])
    assert len(drawn) == 1500
    assert tables_of.code(0) not in drawn
    assert len(large) < 4_000_000


def test_the_same_audit_gives_the_same_page(page_of, clinic):
    assert page_of(tables_of.clinic()) == clinic


def test_the_file_carries_the_cycle_and_replaces_the_old_one(tmp_path, library_folder):
    tables = tables_of.clinic(
        cycle="1/2025: wiosna", cycle_from=date(2025, 1, 1), cycle_to=date(2025, 6, 30)
    )
    with Warehouse() as warehouse:
        tables_of.fill(warehouse, tables)
        now = datetime(2026, 3, 12, tzinfo=UTC)
        for title in ("First <try>", "Second & last"):
            path = write_clinic_report(
                AuditTables(warehouse, now, title=title),
                tmp_path / "reports",
                cache_folder=library_folder,
            )
    assert path.name == "clinic_review_1_2025_wiosna.html"
    assert [file.name for file in path.parent.iterdir()] == [path.name]
    assert "<h1>Second &amp; last</h1>" in path.read_text(encoding="utf-8")


def test_a_damaged_copy_of_the_library_is_made_again(tmp_path):
    chart_library.cache_clear()
    good = chart_library(tmp_path)
    kept = next(tmp_path.glob("charts-*.js"))
    kept.write_text("// 0\nalert('another script')", encoding="utf-8")
    chart_library.cache_clear()
    assert chart_library(tmp_path) == good


@pytest.mark.parametrize("n_cases", [40, 1700])
def test_every_chart_passes_the_check_of_the_library(n_cases):
    """A page is written without that check, to be quick; here it is made."""
    with Warehouse() as warehouse:
        tables_of.fill(warehouse, tables_of.clinic(n_cases))
        audit = AuditTables(warehouse, tables_of.WRITTEN_AT)
        figures = [
            figure
            for place in places("clinic")
            if (section := audit.once(place.content))
            for figure in section.figures
        ]
    assert len(figures) >= 20


def test_every_section_has_its_own_number():
    numbers = [place.number for place in places("clinic")]
    assert len(numbers) == len(set(numbers))


def test_an_open_criterion_says_how_many_more_patients_would_tell(page_of):
    tables = tables_of.clinic()
    open_ones = [r for r in tables["summarised.criteria"] if r["reached"] == "too few to say" and not r["is_example"]]  # fmt: skip
    for row, n_more in zip(open_ones, (27, None), strict=False):
        row["n_more"] = n_more
    text = text_of(page_of(tables))
    assert open_ones
    assert "about 27 more patients would tell" in text
    open_ones[0]["n_more"] = None
    assert "over 200 more patients: will not decide" in text_of(page_of(tables))


def test_a_bound_for_nearly_all_implants_is_given_or_says_how_many_more_it_needs(
    page_of,
):
    """59 patients: Wilks, Ann Math Stat 1941;12:91-96, ln 0.05 / ln 0.95 = 58.4."""
    few = text_of(page_of(tables_of.clinic(40)))
    assert re.search(r"A bound for 95 % of all implants needs more patients: \d+", few)
    table = few.partition("All measures in figures")[2]
    assert re.search(r"\b\d+ more\b", table)
    tables = tables_of.clinic(40)
    for row in tables["summarised.accuracy"]:
        if "tolerance_bound" in row:
            row |= {"tolerance_bound": 3.21, "tolerance_n_more": 0}
    enough = text_of(page_of(tables))
    assert "With 95 % confidence, 95 % of all implants" in enough
    assert "lie at or below 3.2 mm" in enough
    assert "needs" not in enough.partition("Distributions")[2].partition("Which way")[0]
