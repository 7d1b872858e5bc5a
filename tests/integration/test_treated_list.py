"""The list of the treated from outside is the denominator, where one was given."""

from pipeline import audit as audits
from pipeline import commands
from tests.audits import audit_of, fill, opened, quiet

CASES = (
    "case_id,patient_id,surgery_date,jaw,setting\n"
    "C1,P1,2025-03-04,lower,patient\n"
    "C2,,2025-05-13,lower,patient\n"
)
TREATED = (
    "practice_no,date\nP1,2025-03-04\n7002,2025-05-13\n7003,2025-06-17\n"
    "7003,2025-06-24\n7004,2025-09-02\n"
)
NUMBERS = "case_id,practice_no,job_no\nC2,7002,J2\n"


def test_the_treated_who_are_not_in_the_audit_are_counted(tmp_path):
    # by hand: P1 by its number, 7002 through the sheet numbers; 7003 (twice), 7004 not
    files = {"cases.csv": CASES, "treated.csv": TREATED, "numbers.csv": NUMBERS}
    folder = audit_of(tmp_path / "audit", files, up_to="reported")
    with opened(folder) as made:
        found = made.run(
            "select count_in_audit, count_treated, first_date::text, last_date::text"
            " from summarised.treated"
        )
    assert found == [(2, 4, "2025-03-04", "2025-09-02")]
    page = (folder / "reports" / "clinic_review.html").read_text(encoding="utf-8")
    assert "2 of 4 patients on the list of the treated are in the audit." in page
    assert "Denominator: the list you gave." not in page


def test_a_cycle_counts_the_treated_of_its_own_days_and_says_who_has_none(tmp_path):
    treated = TREATED + "7005,\n"
    folder = audits.create_folder(tmp_path / "audit").folder
    with (folder / "audit.toml").open("a", encoding="utf-8") as settings:
        settings.write(
            '[[cycle]]\nname = "first half"\nfrom = 2025-01-01\nto = 2025-06-20\n'
        )
    fill(folder, {"cases.csv": CASES, "treated.csv": treated, "numbers.csv": NUMBERS})
    wishes = commands.Wishes(cycle="first half")
    commands.run(folder, "reported", wishes, quiet)
    with opened(folder) as made:
        found = made.run(
            "select count_in_audit, count_treated, count_without_day, last_date::text"
            " from summarised.treated"
        )
    # by hand: P1, 7002 and 7003 (by its first day) were treated by 20 June; 7004 was not
    assert found == [(2, 3, 1, "2025-06-17")]
    page = (folder / "reports" / "clinic_review_first_half.html").read_text()
    assert "2 of 3 patients on the list of the treated are in the audit." in page
    assert "on that list: no day, so left out of this cycle." in page


def test_without_a_list_from_outside_the_report_says_what_its_denominator_is(tmp_path):
    folder = audit_of(tmp_path / "audit", {"cases.csv": CASES}, up_to="reported")
    with opened(folder) as made:
        assert made.run("select * from summarised.treated") == []
    page = (folder / "reports" / "clinic_review.html").read_text(encoding="utf-8")
    assert "Denominator: the list you gave." in page
