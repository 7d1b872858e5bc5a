"""A plan written as a range or a vulgar fraction: read, or asked about once, never guessed."""

import csv

import pytest

from pipeline import audit as audits
from tests.audits import fill, invoke, opened

SHEET = """case_id,side,state,midline_mm,midline_how,tool
A,left,planned,7-8,from_point,ruler
A,right,planned,7 1/2,from_point,ruler
B,left,planned,7½,from_point,ruler
B,right,planned,2025-07-08,from_point,ruler
A,left,achieved,8.2,from_point,ruler
A,right,achieved,7-8,from_point,ruler
C,left,planned,about 8,from_point,ruler
"""


@pytest.fixture
def folder(tmp_path, capsys):
    made = audits.create_folder(tmp_path / "audit", lead="quality lead").folder
    fill(made, {"cast_readings.csv": SHEET})
    code, _, said = invoke(capsys, "measure", made)
    assert code == 0, said
    return made


def finding(folder, row_number):
    with opened(folder) as audit:
        return audit.value(
            "select finding_id from checked.findings where row_number = $row",
            {"row": row_number},
        )


def midlines(folder):
    with opened(folder) as audit:
        return audit.run(
            "select row_number, midline_mm from staged.cast_readings order by 1"
        )


def test_vulgar_fractions_are_read_as_they_stand(folder):
    assert midlines(folder)[1:3] == [(3, 7.5), (4, 7.5)]
    assert finding(folder, 3) is None
    assert finding(folder, 4) is None


def test_a_range_is_left_out_until_somebody_says_to_read_its_middle(folder, capsys):
    assert midlines(folder)[0] == (2, None)
    name = finding(folder, 2)
    code, _, said = invoke(
        capsys, "accept", folder, name, "--why", "the plan leaves room"
    )
    assert code == 0
    assert "midline_mm read as the middle of its range, half the width 0.5" in said
    invoke(capsys, "measure", folder)
    with opened(folder) as audit:
        (planned,) = audit.run(
            "select midline_mm from staged.cast_readings where state = 'planned'"
            " and side = 'left' and midline_mm is not null and row_id not in"
            " (select row_id from staged.cast_readings where row_number = 4)"
        )
        (shift,) = audit.run(
            "select mesial_mm from measured.implants where side = 'left'"
            " and mesial_mm is not null"
        )
    assert planned == (7.5,)
    # planned 7.5, achieved 8.2 from the midline: 0.7 mm away from it
    assert shift[0] == pytest.approx(-0.7)
    with (folder / "decisions.csv").open(encoding="utf-8") as file:
        (decided,) = csv.DictReader(file)
    assert (decided["old"], decided["new"]) == ("7-8", "7.5")
    assert decided["why"] == "the plan leaves room"


def test_what_was_read_as_a_middle_can_be_put_back(folder, capsys):
    name = finding(folder, 2)
    invoke(capsys, "accept", folder, name, "--why", "the plan leaves room")
    invoke(capsys, "measure", folder)
    code, _, said = invoke(
        capsys, "accept", folder, name, "--why", "ask again", "--mend", "none"
    )
    assert code == 0, said
    invoke(capsys, "measure", folder)
    assert finding(folder, 2) == name


def test_a_range_of_a_reading_is_never_read(folder, capsys):
    code, _, said = invoke(capsys, "accept", folder, finding(folder, 7), "--why", "x")
    assert code == 2
    assert "is a reading, not a plan" in said


def test_about_eight_is_no_range(folder, capsys):
    code, _, said = invoke(capsys, "accept", folder, finding(folder, 8), "--why", "x")
    assert code == 2
    assert "no range of two figures" in said


def test_a_range_that_became_a_day_says_what_it_may_have_been(folder):
    with opened(folder) as audit:
        sentence = audit.value(
            "select sentence from checked.findings where row_number = 5"
        )
    assert "8 July may have been 7-8" in sentence
