"""The commands, as a person types them: what they print, write and return."""

import csv
import io
import json
import sys

import pytest

from pipeline.reference import load
from tests.audits import fill, invoke, plumbpost

READY = (
    "case_id,side,entry_3d_mm,depth_mm,angle_deg,is_signed\n"
    "A1,left,1.2,0.3,3,yes\nA1,right,1.4,-0.2,4,yes\nA2,left,0.9,0.1,2,yes\n"
)


@pytest.fixture
def folder(tmp_path, capsys):
    place = tmp_path / "my audit ü"
    code, _, _ = invoke(capsys, "start", place, "--records", "ready")
    assert code == 0
    return place


def test_start_writes_settings_criteria_actions_and_only_the_tabs_asked_for(folder):
    import openpyxl

    for name in (
        "audit.toml",
        "criteria.csv",
        "actions.csv",
        "requirements.csv",
        "records/records.xlsx",
    ):
        assert (folder / name).is_file(), name
    book = openpyxl.load_workbook(folder / "records" / "records.xlsx")
    visible = [s.title for s in book if s.sheet_state == "visible"]
    assert visible == ["read me", "example", "cases", "deviations"] or set(visible) == {
        "read me",
        "example",
        "cases",
        "deviations",
    }


def test_start_says_where_the_key_is_and_what_to_keep_safe(tmp_path, capsys):
    _, out, err = invoke(capsys, "start", tmp_path / "b")
    assert out == ""
    assert "key" in err
    assert "patient records" in err
    assert "plumbpost run" in err


def test_a_fresh_folder_has_nothing_to_read_and_says_what_to_do(folder, capsys):
    code, _, err = invoke(capsys, "run", folder)
    assert code == 3
    assert "Fill in the workbook" in err


def test_a_run_writes_a_report_and_says_where(folder, capsys):
    fill(folder, {"deviations.csv": READY})
    code, out, err = invoke(capsys, "run", folder)
    assert code == 0
    assert out == "", "standard output is for data"
    assert str(folder / "reports") in err
    assert list((folder / "reports").glob("*.html"))


def test_show_gives_the_columns_of_the_contract_as_csv(folder, capsys):
    fill(folder, {"deviations.csv": READY})
    invoke(capsys, "measure", folder)
    code, out, _ = invoke(
        capsys, "show", folder, "measured.implants", "--format", "csv"
    )
    assert code == 0
    names = [
        r["column"] for r in load.rows("columns") if r["table"] == "measured.implants"
    ]
    rows = list(csv.DictReader(io.StringIO(out)))
    assert list(rows[0]) == names
    assert sorted(float(row["entry_3d_mm"]) for row in rows) == [0.9, 1.2, 1.4]


def test_show_gives_json_and_a_table_too(folder, capsys):
    fill(folder, {"deviations.csv": READY})
    invoke(capsys, "measure", folder)
    _, out, _ = invoke(capsys, "show", folder, "measured.implants", "--format", "json")
    assert len(json.loads(out)) == 3
    _, out, _ = invoke(capsys, "show", folder, "measured.cases")
    assert out.splitlines()[0].startswith("case_key")


def test_show_writes_parquet_to_standard_output(folder, capsys, tmp_path):
    import subprocess

    import pandas as pd

    fill(folder, {"deviations.csv": READY})
    invoke(capsys, "measure", folder)
    words = ["show", str(folder), "measured.implants", "--format", "parquet"]
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", *words], capture_output=True, check=True
    )
    assert done.stdout[:4] == b"PAR1"
    assert pd is not None


def test_show_of_rows_as_received(folder, capsys):
    fill(folder, {"deviations.csv": READY})
    invoke(capsys, "load", folder)
    code, out, _ = invoke(
        capsys, "show", folder, "records.deviations", "--format", "csv"
    )
    assert code == 0
    assert len(out.splitlines()) == 4


def test_show_of_an_unknown_table_names_near_ones(folder, capsys):
    fill(folder, {"deviations.csv": READY})
    invoke(capsys, "measure", folder)
    code, _, err = invoke(capsys, "show", folder, "measured.implant")
    assert code == 2
    assert "measured.implants" in err


def test_show_before_any_run_says_how_to_make_it(folder, capsys):
    code, _, err = invoke(capsys, "show", folder, "measured.implants")
    assert code == 2
    assert "plumbpost run" in err


@pytest.mark.parametrize(
    ("command", "has", "has_not"),
    [
        ("check", "checked.findings", "measured.implants"),
        ("measure", "measured.implants", "summarised.accuracy"),
        ("summarise", "summarised.accuracy", None),
    ],
)
def test_each_stage_is_a_run_stopped_early(folder, capsys, command, has, has_not):
    fill(folder, {"deviations.csv": READY})
    assert invoke(capsys, command, folder)[0] == 0
    assert invoke(capsys, "show", folder, has)[0] == 0
    if has_not:
        assert invoke(capsys, "show", folder, has_not)[0] == 2


def test_rows_set_aside_are_counted_and_strict_makes_them_an_error(folder, capsys):
    fill(folder, {"deviations.csv": READY + "A3,left,-5,0,2,yes\n"})
    code, _, err = invoke(capsys, "run", folder)
    assert code == 0
    assert "1 row" in err
    assert invoke(capsys, "run", folder, "--strict")[0] == 1


def test_one_unreadable_file_among_others_is_an_error_only_when_strict(folder, capsys):
    fill(folder, {"deviations.csv": READY, "old.xlsx": b"plain text"})
    code, _, err = invoke(capsys, "run", folder)
    assert code == 0
    assert "old.xlsx" in err
    assert invoke(capsys, "run", folder, "--strict")[0] == 3


def test_a_cycle_counts_only_the_cases_operated_in_it(folder, capsys):
    cases = "case_id,surgery_date\nA1,2025-03-01\nA2,2025-09-01\n"
    fill(folder, {"deviations.csv": READY, "cases.csv": cases})
    settings = folder / "audit.toml"
    more = '\n[[cycle]]\nname = "h1"\nfrom = 2025-01-01\nto = 2025-06-30\n'
    settings.write_text(settings.read_text(encoding="utf-8") + more, encoding="utf-8")
    invoke(capsys, "summarise", folder, "--cycle", "h1")
    _, out, _ = invoke(
        capsys, "show", folder, "summarised.cases_used", "--format", "csv"
    )
    assert len(out.splitlines()) == 2
    code, _, err = invoke(capsys, "summarise", folder, "--cycle", "h9")
    assert code == 2
    assert "h1" in err


def test_a_wrong_criterion_names_row_and_allowed_measures(folder, capsys):
    fill(folder, {"deviations.csv": READY})
    path = folder / "criteria.csv"
    head = path.read_text(encoding="utf-8").splitlines()[0]
    path.write_text(f"{head}\nEntry,entry,2,90,,,,me,\n", encoding="utf-8")
    code, _, err = invoke(capsys, "run", folder)
    assert code == 2
    assert "criteria.csv, row 2" in err
    assert "entry_3d_mm" in err


def test_definitions_of_one_number_and_of_all(capsys):
    code, out, _ = invoke(capsys, "definitions", "pair_rotation_deg")
    assert code == 0
    assert "pair_rotation_deg" in out
    assert len(invoke(capsys, "definitions")[1]) > len(out)
    code, _, err = invoke(capsys, "definitions", "pair_rotatio")
    assert code == 2
    assert "pair_rotation_deg" in err


def test_a_lost_key_is_said_and_what_was_loaded_can_still_be_shown(folder, capsys):
    from pipeline import audit as audits

    fill(folder, {"deviations.csv": READY})
    invoke(capsys, "run", folder)
    audits.open_folder(folder).settings().key_file.unlink()
    code, _, err = invoke(capsys, "run", folder)
    assert code == 2
    assert "key of this audit is missing" in err
    assert invoke(capsys, "show", folder, "measured.implants")[0] == 0


def test_a_damaged_database_gets_a_sentence_and_no_traceback(folder, capsys):
    fill(folder, {"deviations.csv": READY})
    invoke(capsys, "run", folder)
    (folder / "audit.duckdb").write_bytes(b"x" * 5000)
    code, _, err = invoke(capsys, "show", folder, "measured.implants")
    assert code == 4
    assert "damaged" in err
    assert "Traceback" not in err
    assert invoke(capsys, "run", folder)[0] == 0, "the next run makes it again"


def test_help_is_quick_to_import_and_teaches():
    done = plumbpost("--help")
    assert done.returncode == 0
    assert "Three commands first" in done.stdout
    assert "not a medical device" in " ".join(done.stdout.split())


def test_a_trainee_who_is_not_there_is_one_sentence_and_exit_code_2(folder, capsys):
    fill(folder, {"deviations.csv": READY})
    code, _, err = invoke(capsys, "report", folder, "--trainee", "nobody")
    assert code == 2
    assert "No student or resident has the code 'nobody'" in err
    assert "Traceback" not in err
