"""Staging and usable rows: what is read, what is null, what counts once."""

import pytest

from tests.audits import audit_of, opened

HEAD = "case_id,side,entry_3d_mm,depth_mm,reading\n"


def staged(tmp_path, cells, *, name="deviations.csv", head=HEAD):
    folder = audit_of(tmp_path / "a", {name: head + cells + "\n"}, up_to="checked")
    with opened(folder) as audit:
        row = audit.run("select entry_3d_mm, depth_mm, reading from staged.deviations")
        problems = audit.run("select field, problem from staged.problems order by all")
    return row[0], problems


@pytest.mark.parametrize(
    "written",
    [
        "inf",
        "-Infinity",
        "1_000",
        "0b11",
        "0x1A",
        "1e400",
        "true",
        "--1",
    ],
)
def test_what_only_looks_like_a_number_is_null_and_named(tmp_path, written):
    cell = f'"{written}"'
    (value, _, _), problems = staged(tmp_path, f"A1,left,{cell},0.1,1")
    assert value is None
    assert problems == [("entry_3d_mm", "not_a_number")]


@pytest.mark.parametrize(
    ("written", "meant"),
    [(" 2 ", 2.0), ("+1.5", 1.5), ("1e-1", 0.1), ("\u22120.5", -0.5), ("3\u00a0", 3.0)],
)
def test_a_number_is_read_however_it_is_spaced_or_signed(tmp_path, written, meant):
    (_, value, _), problems = staged(tmp_path, f"A1,left,1,{written},1")
    assert (value, problems) == (meant, [])


@pytest.mark.parametrize("written", ["1.7", "2.5"])
def test_a_broken_number_is_never_rounded_to_a_whole_one(tmp_path, written):
    (_, _, reading), problems = staged(tmp_path, f"A1,left,1,0.1,{written}")
    assert reading is None
    assert problems == [("reading", "not_whole")]


@pytest.mark.parametrize("written", ["n/a", "-", "not measured", "NaN"])
def test_words_for_no_value_are_told_apart_from_faults(tmp_path, written):
    (_, value, _), problems = staged(tmp_path, f"A1,left,1,{written},1")
    assert value is None
    assert problems == [("depth_mm", "said_missing")]


@pytest.mark.parametrize(
    "written", ["epoch", "infinity", "2024-02-30", "03/04/2024", "2024"]
)
def test_a_day_is_a_day_or_nothing(tmp_path, written):
    folder = audit_of(
        tmp_path / "a",
        {"cases.csv": f"case_id,surgery_date\nA1,{written}\n"},
        up_to="checked",
    )
    with opened(folder) as audit:
        assert audit.value("select surgery_date from staged.cases") is None
        problems = audit.run("select field, problem from staged.problems")
    assert problems == [("surgery_date", "not_a_day")]


def test_the_very_same_row_from_two_files_counts_once(tmp_path):
    files = {
        "deviations.csv": HEAD + "A1,left,1.0,0.1,1\nA1,right,1.2,0.2,1\n",
        "more/deviations.csv": HEAD + "A1,left,1.0,0.1,1\nA2,left,2.0,0.3,1\n",
    }
    folder = audit_of(tmp_path / "a", files)
    with opened(folder) as audit:
        counted = audit.run(
            "select side, count_readings, entry_3d_mm from measured.implants order by entry_3d_mm"
        )
        found = audit.run("select check_id, severity from checked.findings")
    assert counted == [("left", 1, 1.0), ("right", 1, 1.2), ("left", 1, 2.0)]
    assert ("deviations-copy-elsewhere", "warn") in found


def test_one_row_in_two_files_with_other_values_is_held_in_both(tmp_path):
    files = {
        "deviations.csv": HEAD + "A1,left,1.0,0.1,1\n",
        "more/deviations.csv": HEAD + "A1,left,1.4,0.1,1\n",
    }
    folder = audit_of(tmp_path / "a", files)
    with opened(folder) as audit:
        assert audit.value("select count(*) from measured.implants") == 0
        assert audit.value("select count(*) from checked.held") == 2


def test_a_case_still_being_planned_is_no_fault(tmp_path):
    head = "case_id,side,planned_entry_x_mm,planned_entry_y_mm,planned_entry_z_mm,"
    head += "planned_apex_x_mm,planned_apex_y_mm,planned_apex_z_mm\n"
    rows = "A1,left,8,0,0,8,0,-10\nA1,right,-8,0,0,-8,0,-10\n"
    folder = audit_of(tmp_path / "a", {"implants.csv": head + rows})
    with opened(folder) as audit:
        assert audit.value("select count(*) from checked.held") == 0
        assert audit.run(
            "select status, has_plan, has_achieved from measured.cases"
        ) == [("planned", True, False)]
        assert audit.run(
            "select planned_angle_deg, achieved_angle_deg from measured.pairs"
        ) == [(0.0, None)]
