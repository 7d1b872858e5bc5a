"""Amendments, rows that are gone and files that are older: asked about, answered, kept."""

import csv
import os
from datetime import datetime

import pytest

from tests.audits import audit_of, invoke, opened, records_of

HEAD = "case_id,side,achieved_source,entry_3d_mm,angle_deg\n"
NEW = HEAD + "A,left,cbct,1.2,3.1\nA,right,cbct,0.9,2.2\nB,left,cbct,1.1,4.0\n"
OLD = HEAD + "A,left,cbct,1.7,3.1\nA,right,cbct,0.9,2.2\n"
WITHOUT_B = HEAD + "A,left,cbct,1.2,3.1\nA,right,cbct,0.9,2.2\n"


@pytest.fixture
def folder(tmp_path):
    made = audit_of(tmp_path / "a", {"deviations.csv": NEW}, up_to="checked")
    lead(made, "quality lead")
    return made


def lead(folder, name):
    settings = folder / "audit.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('lead = ""', f'lead = "{name}"'), encoding="utf-8")


def write(folder, text, *, day=None):
    path = folder / "records" / "deviations.csv"
    path.write_text(text, encoding="utf-8")
    if day:
        stamp = datetime.fromisoformat(day).timestamp()
        os.utime(path, (stamp, stamp))


def run(capsys, folder, *, up_to="check"):
    code, _, said = invoke(capsys, up_to, folder)
    assert code == 0, said
    return said


def findings(folder, check_id):
    with opened(folder) as audit:
        return audit.run(
            "select finding_id, sentence, row_number from checked.findings"
            " where check_id = $check_id order by row_number",
            {"check_id": check_id},
        )


def used(folder):
    with opened(folder) as audit:
        return audit.run(
            "select side, entry_3d_mm from staged.deviations order by case_key, side, 2"
        )


def decided(folder):
    path = folder / "decisions.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def test_a_corrected_row_is_an_amendment_that_show_prints(capsys, folder):
    write(folder, NEW.replace("1.2,3.1", "1.3,3.1"))
    run(capsys, folder)
    code, out, _ = invoke(
        capsys, "show", folder, "records.amendments", "--format", "csv"
    )
    (row,) = csv.DictReader(out.splitlines())
    assert code == 0
    assert (row["field"], row["old_value"], row["new_value"]) == (
        "entry_3d_mm",
        "1.2",
        "1.3",
    )
    assert (row["changed_by"], row["why"]) == (
        "quality lead",
        "the file was loaded again",
    )


def test_a_row_that_is_gone_is_used_until_somebody_says_otherwise(capsys, folder):
    write(folder, WITHOUT_B)
    run(capsys, folder)
    ((name, sentence, row),) = findings(folder, "deviations-no-longer-there")
    assert row == 4
    assert "is no longer in it; the row is still used" in sentence
    assert len(used(folder)) == 3
    code, _, said = invoke(
        capsys, "accept", folder, name, "--why", "entered by mistake"
    )
    assert (code, "decisions.csv" in said) == (0, True)
    run(capsys, folder)
    assert len(used(folder)) == 2
    assert findings(folder, "deviations-no-longer-there") == []
    (line,) = decided(folder)
    assert (line["who"], line["why"], line["about"]) == (
        "quality lead",
        "entered by mistake",
        name,
    )
    assert line["old"] == "in use: deviations.csv, deviations, row 4"
    assert line["new"] == "not in use"


def test_a_row_that_comes_back_is_used_again(capsys, folder):
    write(folder, WITHOUT_B)
    run(capsys, folder)
    ((name, _, _),) = findings(folder, "deviations-no-longer-there")
    invoke(capsys, "accept", folder, name, "--why", "entered by mistake")
    write(folder, NEW + "\n")
    run(capsys, folder)
    assert len(used(folder)) == 3
    assert findings(folder, "deviations-no-longer-there") == []


def test_an_older_file_does_not_win_until_somebody_says_so(capsys, folder):
    write(folder, OLD, day="2020-01-01")
    said = run(capsys, folder)
    assert "2 rows held: the file is older" in said
    ((name, sentence, _),) = findings(folder, "deviations-older-file")
    assert "older than what was loaded from it before" in sentence
    assert ("left", 1.2) in used(folder)
    code, _, said = invoke(capsys, "accept", folder, name, "--why", "the right copy")
    assert code == 0, said
    run(capsys, folder)
    assert findings(folder, "deviations-older-file") == []
    assert ("left", 1.7) in used(folder)
    assert ("left", 1.2) not in used(folder)
    # the row that the older file does not have is asked about in its turn
    assert len(findings(folder, "deviations-no-longer-there")) == 1
    with records_of(folder) as records:
        amended = records.run(
            "select field, old_value, new_value, changed_by, why from amendments"
        )
    assert amended == [("entry_3d_mm", "1.2", "1.7", "quality lead", "the right copy")]
    (line,) = decided(folder)
    assert (
        line["new"]
        == "2 rows, 0 new, 1 changed, 1 as before, 1 no longer there (still used until you answer)"
    )


def test_a_newer_file_put_back_settles_the_question(capsys, folder):
    write(folder, OLD, day="2020-01-01")
    run(capsys, folder)
    ((name, _, _),) = findings(folder, "deviations-older-file")
    write(folder, NEW)
    run(capsys, folder, up_to="load")
    code, _, said = invoke(capsys, "accept", folder, name, "--why", "too late")
    assert code == 2
    assert "settled already" in said
    run(capsys, folder)
    assert findings(folder, "deviations-older-file") == []
    assert ("left", 1.2) in used(folder)


def test_a_figure_that_is_wrong_has_no_mend_to_accept(capsys, folder):
    write(folder, NEW.replace("1.1,4.0", "-1.1,4.0"))
    run(capsys, folder)
    ((name, _, _),) = findings(folder, "deviations-entry-3d-negative")
    code, _, said = invoke(capsys, "accept", folder, name, "--why", "so it is")
    assert code == 2
    assert f"No mend is proposed for {name}." in said
    assert not (folder / "decisions.csv").exists()


def test_answers_are_all_given_or_none(capsys, folder):
    write(folder, WITHOUT_B.replace("0.9,2.2", "-0.9,2.2"))
    run(capsys, folder)
    ((gone, _, _),) = findings(folder, "deviations-no-longer-there")
    ((other, _, _),) = findings(folder, "deviations-entry-3d-negative")
    code, _, _ = invoke(capsys, "accept", folder, gone, other, "--why", "both")
    assert code == 2
    with records_of(folder) as records:
        assert records.value("select count(*) from decisions") == 0
        because = records.run("select distinct because from rows_not_in_use")
    assert because == [("replaced",)]


def test_an_unknown_finding_gets_near_names(capsys, folder):
    write(folder, WITHOUT_B)
    run(capsys, folder)
    ((name, _, _),) = findings(folder, "deviations-no-longer-there")
    code, _, said = invoke(capsys, "accept", folder, f"{name[:-1]}!", "--why", "x")
    assert code == 2
    assert name in said


@pytest.mark.parametrize(
    ("why", "name", "said"),
    [("  ", "quality lead", "needs its reason"), ("so", "", "needs a name")],
)
def test_a_decision_needs_a_reason_and_a_name(capsys, tmp_path, why, name, said):
    folder = audit_of(tmp_path / "b", {"deviations.csv": NEW}, up_to="checked")
    lead(folder, name)
    code, _, told = invoke(capsys, "accept", folder, "abc", "--why", why)
    assert code == 2
    assert said in told
