"""plumbpost held, as a person types it."""

import re

import pytest

from tests.audits import fill, invoke

GOOD = "case_id,side,entry_3d_mm,angle_deg\nA1,left,1.2,3\nA1,right,1.4,4\n"
LARGE = GOOD + "A2,left,99,2\n"
CELL = "case_id,surgery_date\nA1,1066-10-14\n"


@pytest.fixture
def folder(tmp_path, capsys):
    place = tmp_path / "my audit ü"
    invoke(capsys, "start", place, "--records", "ready")
    return place


def test_help_names_start_run_and_held_first(capsys):
    _, out, _ = invoke(capsys, "--help")
    first = out.partition("Three commands first")[2].partition("More")[0]
    assert re.findall(r"^\s+(\w+)  ", first, re.MULTILINE) == ["start", "run", "held"]
    assert "show" in out.partition("More")[2]


def test_before_any_run_it_says_how_to_make_one(folder, capsys):
    code, out, err = invoke(capsys, "held", folder)
    assert (code, out) == (2, "")
    assert "plumbpost run" in err


def test_with_nothing_set_aside_it_says_so_and_writes_nothing(folder, capsys):
    fill(folder, {"deviations.csv": GOOD})
    invoke(capsys, "check", folder)
    code, _, err = invoke(capsys, "held", folder)
    assert code == 0
    assert "No row is set aside" in err
    assert list((folder / "to_correct").iterdir()) == []


def test_it_says_how_many_rows_of_how_many_cases_and_where(folder, capsys):
    fill(folder, {"deviations.csv": LARGE})
    code, _, err = invoke(capsys, "check", folder)
    assert f"1 row set aside for you to correct: plumbpost held {folder}" in err
    code, out, err = invoke(capsys, "held", folder)
    assert (code, out) == (0, "")
    path = folder / "to_correct" / "rows_to_correct_1.xlsx"
    assert f"1 row of 1 case to correct: {path}" in err
    assert path.is_file()
    assert "do not circulate" in err
    assert "audit.toml does not say who leads the audit" in err, (
        "before it is filled in"
    )


def test_a_row_with_one_cell_set_aside_is_written_too(folder, capsys):
    fill(folder, {"deviations.csv": GOOD, "cases.csv": CELL})
    _, _, err = invoke(capsys, "check", folder)
    assert "1 row with a cell set aside for you to correct" in err
    assert "1 row of 1 case" in invoke(capsys, "held", folder)[2]


def test_rows_loaded_after_the_last_check_are_pointed_out(folder, capsys):
    fill(folder, {"deviations.csv": LARGE})
    invoke(capsys, "check", folder)
    fill(folder, {"cases.csv": CELL})
    invoke(capsys, "load", folder)
    assert "loaded after the last check" in invoke(capsys, "held", folder)[2]


def test_the_workbook_is_the_persons_own(folder, capsys):
    fill(folder, {"deviations.csv": LARGE})
    invoke(capsys, "check", folder)
    invoke(capsys, "held", folder)
    path = folder / "to_correct" / "rows_to_correct_1.xlsx"
    assert path.stat().st_mode & 0o077 == 0, "nobody else on this computer reads it"


def test_without_the_key_it_says_which_key_is_missing(folder, capsys):
    from pipeline import audit as audits

    fill(folder, {"deviations.csv": LARGE})
    invoke(capsys, "check", folder)
    audits.open_folder(folder).settings().key_file.unlink()
    code, _, err = invoke(capsys, "held", folder)
    assert code == 2
    assert "key" in err
