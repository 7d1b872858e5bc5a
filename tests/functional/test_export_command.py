"""`plumbpost export`: into a new folder, all of it or nothing; the list only when asked."""

import json
import shutil
import sys

import pytest

from pipeline import audit as audits
from pipeline.warehouse import Warehouse
from tests.audits import audit_of, invoke

IMPLANTS = """case_id,side,planned_entry_x_mm,planned_entry_y_mm,planned_entry_z_mm,\
planned_apex_x_mm,planned_apex_y_mm,planned_apex_z_mm,achieved_entry_x_mm,\
achieved_entry_y_mm,achieved_entry_z_mm,achieved_apex_x_mm,achieved_apex_y_mm,\
achieved_apex_z_mm,achieved_frame,achieved_source
A-1,left,9,-30,0,9,-30,-10,9.4,-30.3,0.2,9.7,-30.1,-9.8,plan,cbct
A-1,right,-9,-30,0,-9,-30,-10,-8.8,-30.5,-0.3,-9.1,-30.9,-10.2,plan,cbct
"""


@pytest.fixture
def one_case(tmp_path):
    return audit_of(
        tmp_path / "a", {"implants.csv": IMPLANTS}, up_to="summarised"
    ).resolve()


def test_what_was_written_and_who_could_be_recognised_is_said(demo, tmp_path, capsys):
    code, out, err = invoke(capsys, "export", demo, tmp_path / "out")
    assert code == 0
    assert out == ""
    assert "implants: 90 rows" in err
    assert "look at groups.csv" in err
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "READ_ME.md",
        "csv",
        "datapackage.json",
        "dictionary.csv",
        "groups.csv",
        "manifest.json",
        "parquet",
    ]


def test_one_case_alone_is_exported_with_tables_that_stay_empty(
    one_case, tmp_path, capsys
):
    code, _, err = invoke(capsys, "export", one_case, tmp_path / "out")
    assert code == 0
    assert "in a group of fewer than 5: 1 of 1 patient;" in err
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    assert manifest["rows"]["implants"] == 2
    assert manifest["rows"]["visits"] == 0
    events = (tmp_path / "out" / "csv" / "events.csv").read_text()
    assert events.startswith("denture_code,")
    assert events.count("\n") == 1


def test_nothing_is_written_over_and_nothing_into_the_audit_itself(
    one_case, tmp_path, capsys
):
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "a.txt").write_text("mine")
    for to, words in (
        (tmp_path / "there", "is there already and is not empty"),
        (tmp_path / "no" / "such", "There is no folder"),
        (one_case / "reports" / "out", "lies in the audit folder"),
        (one_case, "is not empty"),
    ):
        code, _, err = invoke(capsys, "export", one_case, to)
        assert (code, words in err) == (2, True), err
    assert [p.name for p in (tmp_path / "there").iterdir()] == ["a.txt"]


def test_an_empty_folder_may_be_named(one_case, tmp_path, capsys):
    (tmp_path / "out").mkdir()
    assert invoke(capsys, "export", one_case, tmp_path / "out")[0] == 0
    assert (tmp_path / "out" / "manifest.json").exists()


def test_an_audit_that_is_not_summarised_is_refused_with_what_to_do(tmp_path, capsys):
    audits.create_folder(tmp_path / "new")
    code, _, err = invoke(capsys, "export", tmp_path / "new", tmp_path / "out")
    assert (code, "plumbpost summarise" in err) == (2, True)
    half = audit_of(tmp_path / "half", {"implants.csv": IMPLANTS})
    code, _, err = invoke(capsys, "export", half, tmp_path / "out")
    assert (code, "stopped at measured" in err) == (2, True)
    assert not (tmp_path / "out").exists()


def test_a_run_of_another_version_is_refused_with_what_to_do(
    one_case, tmp_path, capsys
):
    with Warehouse(one_case / "audit.duckdb", root=one_case) as audit:
        audit.run("alter table measured.pairs drop column planned_angle_deg")
    code, _, err = invoke(capsys, "export", one_case, tmp_path / "out")
    assert (code, "another version of plumbpost" in err) == (2, True), err
    assert not (tmp_path / "out").exists()


def test_a_group_of_fewer_than_two_is_no_wish(one_case, tmp_path, capsys):
    assert invoke(capsys, "export", one_case, tmp_path / "out", "--k", "1")[0] == 2


def test_the_list_that_leads_back_is_written_only_when_asked_and_apart(
    one_case, tmp_path, capsys
):
    inside = tmp_path / "out" / "relink.csv"
    code, _, err = invoke(
        capsys, "export", one_case, tmp_path / "out", "--relink", inside
    )
    assert (code, "may not lie in the export" in err) == (2, True)
    assert not (tmp_path / "out").exists()
    apart = tmp_path / "relink.csv"
    code, _, err = invoke(
        capsys, "export", one_case, tmp_path / "out", "--relink", apart
    )
    assert (code, "never with the export" in err) == (0, True)
    assert apart.read_text().startswith("what,code_of_the_export,code_of_the_audit\n")
    if sys.platform != "win32":
        assert apart.stat().st_mode & 0o777 == 0o600
    code, _, err = invoke(
        capsys, "export", one_case, tmp_path / "out2", "--relink", apart
    )
    assert (code, "is there already" in err) == (2, True)


def test_no_half_export_stays_when_there_is_no_room(
    one_case, tmp_path, capsys, monkeypatch
):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "move", full)
    code, _, err = invoke(capsys, "export", one_case, tmp_path / "out")
    assert (code, "could not be written: No space left" in err) == (2, True)
    assert not (tmp_path / "out").exists()
    assert [p.name for p in tmp_path.iterdir()] == ["a"]
    assert not (one_case / "tmp" / "export").exists()
