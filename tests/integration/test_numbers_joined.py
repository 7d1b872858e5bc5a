"""Lists that carry the practice's or the laboratory's number reach their case."""

import pytest

from pipeline import audit as audits
from tests.audits import audit_of, fill, invoke, opened, quiet, records_of

CASES = (
    "case_id,patient_id,surgery_date,delivery_date,attachment\n"
    "C1,,2025-03-04,2025-06-03,stud\n"
    "C2,PX-20020,2025-05-13,2025-08-12,ball\n"
    "C3,PX-30030,2025-05-20,2025-08-19,ball\n"
    "C4,PX-30030,2025-05-27,2025-08-26,ball\n"
)
NUMBERS = "case_id,practice_no,job_no\nC1,0076543,JB-40562\nC2,,JB-40570\n"
VISITS = (
    "practice_no,visit_date,attended\n"
    "0076543,2025-09-02,yes\n"
    "PX-20020,2025-09-09,yes\n"
    "PX-30030,2025-09-10,yes\n"
    "990001,2025-09-11,yes\n"
    "990002,2025-09-11,yes\n"
)
EVENTS = "practice_no,event_date,event,side\n0076543,2025-09-02,insert_renewed,left\n"
DENTURES = "practice_no,denture_no,delivery_date\n0076543,1,2025-06-03\n"
SLIPS = (
    "guide_id,kind,job_no,hole_diameter_mm,hole_length_mm,drill_diameter_mm\n"
    "G-1,surgical,JB-40562,2.2,10,2.0\n"
    "G-2,surgical,JB-40999,2.2,10,2.0\n"
)
FILES = {
    "cases.csv": CASES,
    "numbers.csv": NUMBERS,
    "visits.csv": VISITS,
    "events.csv": EVENTS,
    "dentures.csv": DENTURES,
    "guides.csv": SLIPS,
}
WRITTEN = (
    "0076543",
    "PX-20020",
    "PX-30030",
    "990001",
    "990002",
    "JB-40562",
    "JB-40570",
    "JB-40999",
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    # events.csv comes before numbers.csv by name and is loaded after it all the same
    return audit_of(tmp_path_factory.mktemp("numbers") / "a", FILES, up_to="reported")


def keys_of_cases(audit):
    dates = audit.run("select surgery_date::text, case_key from staged.cases")
    return dict(dates)


def test_a_list_with_practice_numbers_reaches_its_cases(folder):
    with opened(folder) as audit:
        case = keys_of_cases(audit)
        visits = audit.run(
            "select visit_date::text, case_key from staged.visits order by 1"
        )
        events = audit.run("select case_key from staged.events")
        dentures = audit.run("select case_key from staged.dentures")
        counted = audit.run("select case_key from measured.attachment_events")
    c1, c2 = case["2025-03-04"], case["2025-05-13"]
    assert visits == [("2025-09-02", c1), ("2025-09-09", c2), ("2025-09-10", None)]
    assert events == dentures == counted == [(c1,)]


def test_rows_of_other_patients_are_counted_and_not_stored(folder):
    with records_of(folder) as records:
        kept = records.value("select count(*) from visits")
        left_out = records.value(
            "select count_left_out from loads where sheet = 'visits'"
        )
    assert (kept, left_out) == (3, 2)


def test_a_number_of_two_cases_sets_the_row_aside_and_says_so(folder):
    with opened(folder) as audit:
        found = audit.run(
            "select severity, sentence, row_number from checked.findings"
            " where check_id = 'visits-number-of-several'"
        )
        held = audit.value("select count(*) from checked.held where sheet = 'visits'")
    sentence = (
        "Row 4: the practice's number of the patient leads to more than one case, so"
        " nobody can tell which jaw it is about."
    )
    assert found == [("hold", sentence, 4)]
    assert held == 1


def test_a_slip_with_a_job_number_reaches_its_case_and_its_play(folder):
    with opened(folder) as audit:
        case = keys_of_cases(audit)
        slips = audit.run("select case_key from staged.guides order by row_number")
        play = audit.run(
            "select case_key from measured.play where tilt_deg is not null"
        )
        found = audit.run(
            "select check_id from checked.findings where sheet = 'guides'"
        )
    c1 = case["2025-03-04"]
    assert slips == [(c1,), (None,)]
    assert play == [(c1,)]
    assert found == [("guides-job-unknown",)]


def test_no_number_of_practice_or_laboratory_is_in_tables_reports_or_talk(
    tmp_path, capsys
):
    folder = audits.create_folder(tmp_path / "a").folder
    fill(folder, FILES)
    code, out, said = invoke(capsys, "run", folder)
    assert (code, [n for n in WRITTEN if n in out + said]) == (0, [])
    made = [folder / "audit.duckdb", folder / "records.duckdb"]
    made += [path for path in (folder / "reports").rglob("*") if path.is_file()]
    assert len(made) > 3
    for path in made:
        content = path.read_bytes()
        assert [n for n in WRITTEN if n.encode() in content] == [], path.name


def test_a_list_of_nobody_in_the_audit_is_said_and_read_when_the_numbers_come(tmp_path):
    from pipeline import commands

    files = {"cases.csv": CASES, "visits.csv": VISITS.replace("PX-", "QX-")}
    folder = audit_of(tmp_path / "a", files, up_to="checked")
    with opened(folder) as audit:
        found = audit.run(
            "select check_id, sentence from checked.findings where sheet = 'visits'"
        )
    assert found == [
        (
            "visits-of-nobody",
            (
                "None of the 5 row(s) of visits in this file is of a patient in the audit;"
                " they were counted and not stored."
            ),
        )
    ]
    fill(folder, {"numbers.csv": NUMBERS})
    commands.run(folder, "checked", commands.Wishes(), quiet)
    with opened(folder) as audit:
        rows = audit.run("select visit_date::text from staged.visits")
        found = audit.run(
            "select check_id from checked.findings where sheet = 'visits'"
        )
    assert rows == [("2025-09-02",)]
    assert found == []


def test_next_months_list_amends_the_same_row(tmp_path):
    from pipeline import commands

    folder = audit_of(tmp_path / "a", FILES, up_to="checked")
    later = EVENTS.replace("left", "right").replace(
        "2025-09-02,insert_renewed", "2025-09-02,relined"
    )
    fill(folder, {"visits.csv": VISITS.replace("09-02,yes", "09-02,no")})
    fill(folder, {"events.csv": EVENTS + later.splitlines()[1] + "\n"})
    commands.run(folder, "checked", commands.Wishes(), quiet)
    with records_of(folder) as records:
        changed = records.run(
            "select sheet, field, old_value, new_value from amendments"
        )
    with opened(folder) as audit:
        events = audit.run("select event, side from staged.events order by all")
    assert changed == [("visits", "attended", "yes", "no")]
    assert events == [("insert_renewed", "left"), ("relined", "right")]
