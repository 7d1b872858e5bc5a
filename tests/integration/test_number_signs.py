"""Lost zeros and gaps are seen through the codes, and no number gets into the audit."""

from pipeline import commands
from pipeline.keys import key_home
from tests.audits import audit_of, implants_csv, opened, quiet
from tests.integration.staged_tables import implant

CASES = "case_id,surgery_date,operator\n" + "".join(
    f"{number},2025-03-04,{operator}\n"
    for number, operator in (
        ("00417", "Dr. Quarrowe"),
        ("A-1", "Quarrowe"),
        ("A-2", "Tormiddle"),
        ("A-3", "Tormiddle"),
        ("A-4", "Tormiddle"),
        ("A-6", "Tormiddle"),
        ("A-7", "Tormiddle"),
        ("A-8", "Tormiddle"),
        ("A-9", "Tormiddle"),
    )
)
IMPLANTS = implants_csv(
    [{"case_id": "417", **implant(side)} for side in ("left", "right")]
)
FILES = {"cases.csv": CASES, "implants.csv": IMPLANTS}


def found(folder):
    with opened(folder) as audit:
        return dict(
            audit.run(
                "select check_id, evidence from checked.findings where check_id in"
                " ('case-number-short-of-zeros', 'cases-numbers-absent',"
                " 'cases-names-alike')"
            )
        )


def test_a_lost_zero_a_gap_and_one_person_twice_are_found_through_the_codes(tmp_path):
    folder = audit_of(tmp_path / "audit", FILES, up_to="checked")
    assert found(folder) == {
        "case-number-short-of-zeros": 1.0,
        "cases-numbers-absent": 1.0,
        "cases-names-alike": 2.0,
    }


def test_no_number_and_no_name_gets_into_the_audit(tmp_path):
    folder = audit_of(tmp_path / "audit", FILES, up_to="checked")
    with opened(folder) as audit:
        for table in audit.tables():
            text = str(audit.run(f"select * from {table}"))
            for secret in ("00417", "Quarrowe", "Tormiddle"):
                assert secret not in text, table


def test_without_the_list_of_codes_nothing_is_said_and_nothing_breaks(tmp_path):
    folder = audit_of(tmp_path / "audit", FILES, up_to="checked")
    (known,) = key_home().rglob("codes.duckdb")
    known.unlink()
    commands.run(folder, "checked", commands.Wishes(), quiet)
    assert found(folder) == {}
