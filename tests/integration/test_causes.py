"""The causes of the invented clinic: what was planted is named, and no more is claimed."""

import re

import pytest

from pipeline import audit as audits
from pipeline.records.codes import Codebook
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.definitions import definitions_text
from pipeline.reported.sections import causes as section
from tests.audits import audit_of, opened


@pytest.fixture(scope="module")
def named(demo):
    book = Codebook(audits.open_folder(demo).settings())
    with opened(demo) as audit:
        rows = audit.frame("select * from summarised.case_causes order by rank")
    return lambda number: rows[
        rows["case_key"] == book.code_of("case", number)
    ].to_dict("records")


def test_the_lot_whose_tubes_were_not_parallel_is_consistent_with_that(demo):
    with opened(demo) as audit:
        rows = audit.frame(
            "select * from summarised.group_causes where group_by = 'guide_lot'"
        ).to_dict("records")
    found = {row["group_value"]: row["cause"] for row in rows if row["rank"] == 1}
    assert found["R-2407"] == "tubes"
    assert [lot for lot, cause in found.items() if isinstance(cause, str)] == ["R-2407"]


def test_the_implant_planted_three_millimetres_too_deep_stands_out_alone(named):
    assert {row["cause"] for row in named("K144")[:2]} == {"one_implant", "depth"}


def test_a_change_on_purpose_is_scored_apart(named):
    (row,) = named("K132")
    assert row["said"] == "changed on purpose"
    assert not isinstance(row["cause"], str)


def test_play_is_never_said_where_only_the_pilot_drill_was_guided(demo):
    with opened(demo) as audit:
        pilot = audit.run(
            "select p.said, count(*) from summarised.play_seen as p"
            " inner join measured.cases as c on p.case_key = c.case_key"
            " where c.guidance = 'pilot' group by all"
        )
        named_play = audit.run(
            "select count(*) from summarised.case_causes as r"
            " inner join measured.cases as c on r.case_key = c.case_key"
            " where r.cause = 'play' and c.guidance <> 'full'"
        )
    assert [said for said, _ in pilot] == ["not said: only the pilot drill was guided"]
    assert named_play == [(0,)]


def test_a_named_cause_has_its_evidence_and_what_would_settle_it(demo):
    with opened(demo) as audit:
        rows = audit.frame(
            "select * from summarised.case_causes where said = 'consistent with'"
        )
    assert len(rows) > 10
    assert (rows["score"] > 0).all()
    assert rows["settled_by"].notna().all()
    assert rows["evidence_for"].notna().all()


def test_operators_stand_in_the_table_and_on_no_page(demo):
    with opened(demo) as audit:
        operators = audit.run(
            "select group_value from summarised.group_causes where group_by = 'operator'"
        )
        tables = AuditTables(audit, audit.run("select current_timestamp")[0][0])
        assert operators
        assert "operator" not in {row["group_by"] for row in tables.group_causes}
        groups = section.content(tables).context["groups"]
    shown = {line["value"] for line in groups}
    assert not shown & {code for (code,) in operators}


ASKS = re.compile(
    r"\b(take|repeat|order|make|obtain|request|expose|get)\b[^.;|]{0,30}"
    r"\b(film|scan|cbct|radiograph|x-ray|exposure|tomogra)",
    re.IGNORECASE,
)


def test_nothing_that_people_read_asks_for_an_exposure(demo):
    """Words, definitions, causes, suggestions of checks and the demo's own pages."""
    from pipeline.bundled import folder
    from pipeline.reference import load

    texts = [(folder("reports") / "words" / "en.toml").read_text("utf-8")]
    texts.append(definitions_text())
    names = [path.stem for path in (load.FOLDER / "checks").glob("*.csv")]
    rows = [row for name in names for row in load.rows(f"checks/{name}")]
    for name in ("causes", "cause_facts", "cause_patterns", "cause_numbers"):
        rows += load.rows(name)
    texts += [" | ".join(row.values()) for row in rows]
    for page in (demo / "reports").rglob("*.html"):
        text = re.sub(
            r"<(script|style).*?</\1>", "", page.read_text("utf-8"), flags=re.DOTALL
        )
        texts.append(re.sub(r"<[^>]+>", " ", text))
    found = [match.group(0) for text in texts for match in ASKS.finditer(text)]
    assert found == []


ENTRY_ONLY = """case_id,side,planned_entry_x_mm,planned_entry_y_mm,planned_entry_z_mm,planned_apex_x_mm,planned_apex_y_mm,planned_apex_z_mm,achieved_entry_x_mm,achieved_entry_y_mm,achieved_entry_z_mm,achieved_apex_x_mm,achieved_apex_y_mm,achieved_apex_z_mm,achieved_source
C1,left,8,0,0,8,0,-10,8.05,0.04,0.06,8.11,0.02,-9.93,cbct
C1,right,-8,0,0,-8,0,-10,-7.97,0.06,0.02,-7.91,0.09,-9.98,cbct
C2,left,8,0,0,8,0,-10,8.02,0.03,-2.51,8.05,0.08,-12.52,cbct
C2,right,-8,0,0,-8,0,-10,-8.04,0.02,0.03,-8.02,0.06,-9.96,cbct
"""


def test_what_locating_cannot_tell_is_no_cause_and_a_depth_is_one(tmp_path):
    folder = audit_of(tmp_path / "a", {"implants.csv": ENTRY_ONLY}, up_to="summarised")
    with opened(folder) as audit:
        rows = audit.run(
            "select rank, said, cause, pattern from summarised.case_causes"
            " order by said desc, rank"
        )
    assert (1, "within what locating the implants can tell", None, None) in rows
    assert (1, "consistent with", "depth", "the left implant alone") in rows
    assert all(said != "caused by" for _, said, *_ in rows)


def test_an_audit_without_a_result_names_nothing(tmp_path):
    folder = audit_of(
        tmp_path / "a",
        {"cases.csv": "case_id,surgery_date\nC1,2025-03-04\n"},
        up_to="summarised",
    )
    with opened(folder) as audit:
        assert audit.run("select * from summarised.case_causes") == []
        assert audit.run("select * from summarised.group_causes") == []
