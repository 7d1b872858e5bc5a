"""Someone else's sheet goes in by its layout; what cannot be told is said and not loaded."""

import io
import os
import re

import openpyxl
import pytest

from pipeline import audit as audits
from pipeline import commands
from pipeline.errors import LayoutError, LayoutNotConfirmed, UnreadableSheet
from pipeline.records.loading import load_folder
from tests.audits import fill, opened, quiet, records_of

WIDE = "Case,Patient name,33 entry,43 entry\nP1,Ann Example,1.2,0.9\nP2,Bob Example,about 1,\n"
LAYOUT = """
needs = ["Case", "33 entry"]
[[rows]]
sheet = "deviations"
each = [{ "<s>" = "33", side = "left" }, { "<s>" = "43", side = "right" }]
[rows.fields]
case_id = "Case"
entry_3d_mm = "<s> entry"
"""
OURS = "case_id,side,entry_3d_mm\nQ1,left,1.1\n"


@pytest.fixture
def folder(tmp_path):
    return audits.create_folder(tmp_path / "a").folder


def put_layout(folder, text: str = LAYOUT, name: str = "wide") -> None:
    (folder / "layouts" / f"{name}.toml").write_text(text, encoding="utf-8")


def load(folder, files=None, at=None, say=quiet):
    if files:
        fill(folder, files)
    for name in files or {}:
        if at is not None:
            os.utime(folder / "records" / name, (at, at))
    audit = audits.open_folder(folder)
    return load_folder(audit, audit.settings(), say)


def in_use(folder, columns="side, entry_3d_mm", sheet="deviations"):
    with records_of(folder) as records:
        return records.run(
            f"select {columns} from {sheet} anti join rows_not_in_use using (row_id)"
            " order by all"
        )


def workbook(tabs) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in tabs.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


# which layout


def test_a_sheet_that_no_layout_fits_is_not_loaded_and_the_missing_heading_is_named(
    folder,
):
    put_layout(folder, LAYOUT.replace('"33 entry"]', '"33 entry", "Colour"]'))
    report = load(folder, {"theirs.csv": WIDE})
    (problem,) = report.problems
    assert isinstance(problem, UnreadableSheet)
    assert "layouts/wide.toml needs the heading 'Colour'" in str(problem)
    assert "plumbpost layout" in problem.hint


def test_a_sheet_that_two_layouts_fit_is_not_loaded_and_both_are_named(folder):
    put_layout(folder)
    put_layout(folder, name="other")
    (problem,) = load(folder, {"theirs.csv": WIDE}).problems
    assert "layouts/other.toml and layouts/wide.toml" in str(problem)


def test_a_layout_that_is_not_confirmed_is_not_used_and_its_points_are_named(folder):
    put_layout(folder, 'confirm = ["is 33 FDI?"]\n' + LAYOUT)
    report = load(folder, {"theirs.csv": WIDE, "deviations.csv": OURS})
    (problem,) = report.problems
    assert isinstance(problem, LayoutNotConfirmed)
    assert "is 33 FDI?" in problem.sentence
    assert in_use(folder) == [("left", "1.1")], "other files are loaded"


def test_a_layout_that_cannot_be_followed_stops_the_load_before_anything_is_read(
    folder,
):
    put_layout(folder, LAYOUT.replace("deviations", "deviation"))
    with pytest.raises(LayoutError):
        load(folder, {"deviations.csv": OURS})
    assert not (folder / "records.duckdb").exists()


def test_our_own_sheets_are_loaded_as_they_are_whatever_layouts_there_are(folder):
    layout = LAYOUT.replace('"33 entry"]', '"side"]').replace('"Case"', '"case_id"')
    put_layout(folder, layout)
    load(folder, {"deviations.csv": OURS})
    assert in_use(folder) == [("left", "1.1")]
    with records_of(folder) as records:
        assert records.run("select layout, field_cells from loads") == [("", "")]


def test_a_layout_that_names_a_file_is_used_even_where_the_headings_are_ours(folder):
    put_layout(
        folder,
        """
needs = ["case_id", "entry_3d_mm"]
files = ["deviations.csv"]
[[rows]]
sheet = "deviations"
[rows.fields]
case_id = "case_id"
side = "side"
entry_3d_mm = { heading = "entry_3d_mm", unit = "cm" }
""",
    )
    load(folder, {"deviations.csv": OURS})
    assert in_use(folder) == [("left", "11")]


# what is kept


def test_the_cells_behind_a_row_are_kept_as_received_under_their_headings(folder):
    put_layout(folder)
    load(folder, {"theirs.csv": WIDE})
    with records_of(folder) as records:
        rows = records.run(
            "select d.case_id, d.side, l.headings, r.cells, r.row_numbers from deviations as d"
            " inner join loads as l using (load_no)"
            " inner join received_rows as r using (row_id) order by d.row_id"
        )
    assert [row[1] for row in rows] == ["left", "left", "right"]
    for case, _, headings, cells, numbers in rows:
        assert headings == ["Case", "", "33 entry", "43 entry"]
        assert cells[0] == case
        assert cells[1] == "", "a name is dropped at the door"
        assert numbers in ([2], [3])
    assert rows[1][3][2] == "about 1"


def test_neither_names_nor_case_numbers_are_left_in_the_folder(folder):
    put_layout(folder)
    load(folder, {"theirs.csv": WIDE.replace("P1", "CHART-98765")})
    for path in folder.rglob("*"):
        if path.is_file() and path.parent.name != "records":
            content = path.read_bytes()
            assert b"CHART-98765" not in content, path.name
            assert b"Ann Example" not in content, path.name


def test_what_was_left_out_at_the_door_is_said(folder):
    put_layout(folder)
    load(folder, {"theirs.csv": WIDE})
    with records_of(folder) as records:
        notes = records.value("select notes from loads")
    assert "left out at the door: a name" in notes
    assert "Read by layouts/wide.toml: 2 rows of 2 gave 3 of deviations." in notes


def test_a_finding_names_the_cell_in_the_file_that_was_received(folder):
    put_layout(folder)
    fill(folder, {"theirs.csv": WIDE})
    commands.run(folder, "checked", commands.Wishes(), quiet)
    with opened(folder) as audit:
        found = audit.run(
            "select cell, as_written from checked.findings where field = 'entry_3d_mm'"
        )
    assert ("C3", "about 1") in found


def test_a_finding_in_a_joined_tab_names_the_tab(folder):
    book = workbook(
        {
            "Result": [["Case", "Site", "angle"], ["P1", 33, 3], ["P1", 43, 4]],
            "Plan": [["Case", "Site", "length"], ["P1", 43, 10], ["P1", 33, "ca. 12"]],
        }
    )
    layout = """
needs = ["Case", "Site", "angle"]
tab = "Result"
[[join]]
tab = "Plan"
on = ["Case", "Site"]
[[rows]]
sheet = "deviations"
[rows.fields]
case_id = "Case"
tooth = "Site"
angle_deg = "angle"
planned_length_mm = "Plan: length"
"""
    put_layout(folder, layout)
    fill(folder, {"theirs.xlsx": book})
    commands.run(folder, "checked", commands.Wishes(), quiet)
    with opened(folder) as audit:
        found = audit.run(
            "select cell from checked.findings where field = 'planned_length_mm'"
        )
    assert found == [("Plan!C3",)]


def test_rows_of_other_patients_are_counted_and_no_cell_of_them_is_stored(folder):
    put_layout(
        folder,
        """
needs = ["Pat", "Reason"]
[[rows]]
sheet = "visits"
[rows.fields]
case_id = "Pat"
visit_date = { heading = "Start", date_order = "m/d/y" }
attended = { heading = "Status", words = { Completed = "yes", DNA = "no" } }
[[rows]]
sheet = "events"
phrases = "Reason"
[rows.fields]
case_id = "Pat"
event_date = { heading = "Start", date_order = "m/d/y" }
[phrases]
"both rings changed" = ["insert_renewed both"]
"clips fine" = []
""",
        "appointments",
    )
    appointments = (
        "Pat,Start,Status,Reason\n"
        "Q1,3/4/2026 2:30 PM,Completed,Both rings changed\n"
        "Z9,3/4/2026 2:45 PM,Completed,gold crown on the upper left\n"
        "Q1,3/14/2026 9:00 AM,DNA,clips fine\n"
    )
    report = load(
        folder, {"all_appointments.csv": appointments, "deviations.csv": OURS}
    )
    assert report.counts.left_out == 1
    assert in_use(folder, "visit_date, attended", "visits") == [
        ("2026-03-04", "yes"), ("2026-03-14", "no"),
    ]  # fmt: skip
    assert in_use(folder, "event, side", "events") == [("insert_renewed", "both")]
    assert b"gold crown" not in (folder / "records.duckdb").read_bytes()
    with records_of(folder) as records:
        assert records.value("select count(*) from received_rows") == 3


# again


def test_the_same_file_and_layout_are_not_loaded_again(folder):
    put_layout(folder)
    load(folder, {"theirs.csv": WIDE})
    again = load(folder)
    assert (again.count_loaded, again.count_as_before) == (0, 1)


def test_a_layout_for_something_else_changes_nothing(folder):
    put_layout(folder)
    load(folder, {"theirs.csv": WIDE})
    put_layout(folder, LAYOUT.replace('"33 entry"]', '"Colour"]'), "other")
    again = load(folder)
    assert (again.count_loaded, again.count_as_before) == (0, 1)
    with records_of(folder) as records:
        assert records.value("select count(*) from loads") == 1


def test_a_second_layout_that_fits_is_said_though_the_file_was_loaded(folder):
    put_layout(folder)
    load(folder, {"theirs.csv": WIDE})
    put_layout(folder, name="other")
    assert "fits 2 layouts" in str(load(folder).problems[0])
    assert len(in_use(folder)) == 3, "what was loaded stays"


def test_a_changed_layout_reads_the_file_again_and_the_change_is_kept(folder):
    put_layout(folder)
    load(folder, {"theirs.csv": WIDE})
    put_layout(
        folder, LAYOUT.replace('"<s> entry"', '{ heading = "<s> entry", unit = "cm" }')
    )
    report = load(folder)
    assert (report.counts.changed, report.counts.gone) == (2, 0)
    assert in_use(folder) == [("left", "12"), ("left", "about 1"), ("right", "9")]
    with records_of(folder) as records:
        whys = records.run("select distinct why from amendments")
    assert whys == [("the same file was read by another layout",)]


def test_rows_that_another_layout_had_made_are_not_used_beside_the_new_ones(folder):
    put_layout(
        folder,
        LAYOUT.replace('"left"', '"?"')
        .replace('"right"', '"left"')
        .replace('"?"', '"right"'),
    )
    load(folder, {"theirs.csv": WIDE})
    put_layout(folder)
    said = []
    load(folder, say=said.append)
    assert in_use(folder) == [("left", "1.2"), ("left", "about 1"), ("right", "0.9")]
    put_layout(
        folder,
        LAYOUT.replace("deviations", "implants").replace("entry_3d_mm", "diameter_mm"),
    )
    report = load(folder, say=said.append)
    assert in_use(folder) == []
    assert len(in_use(folder, "diameter_mm", "implants")) == 3
    assert report.counts.gone == 0
    assert any("another layout" in line for line in said)


def test_next_months_file_by_the_same_layout_is_compared_row_by_row(folder):
    put_layout(folder)
    load(folder, {"theirs.csv": WIDE}, at=1_000_000)
    more = WIDE.replace("0.9", "1.0") + "P3,C,2,2\n"
    counts = load(folder, {"theirs.csv": more}, at=2_000_000).counts
    assert (counts.new, counts.changed, counts.same) == (2, 1, 2)


def test_monthly_tabs_of_one_layout_are_each_compared_with_themselves(folder):
    def book(january):
        head = ["Case", "33 entry", "43 entry"]
        return workbook(
            {"January": [head, ["P1", january, 0.9]], "February": [head, ["P2", 1, 1]]}
        )

    put_layout(folder)
    first = load(folder, {"theirs.xlsx": book(1.2)}, at=1_000_000)
    assert (first.counts.new, first.counts.gone) == (4, 0)
    again = load(folder, {"theirs.xlsx": book(1.3)}, at=2_000_000)
    counts = again.counts
    assert (counts.new, counts.changed, counts.same, counts.gone) == (0, 1, 3, 0)
    assert len(in_use(folder)) == 4


def test_a_new_layout_for_a_tab_that_was_left_unread_is_noticed(folder):
    book = workbook(
        {
            "deviations": [["case_id", "side", "entry_3d_mm"], ["Q1", "left", 1.1]],
            "Mine": [["Case", "33 entry", "43 entry"], ["P1", 1.2, 0.9]],
        }
    )
    assert not load(folder, {"theirs.xlsx": book}).problems
    assert len(in_use(folder)) == 1
    put_layout(folder)
    load(folder)
    assert len(in_use(folder)) == 3


def test_a_records_file_of_before_there_were_layouts_is_taken_over(folder):
    load(folder, {"deviations.csv": OURS})
    from pipeline.warehouse import Warehouse

    with Warehouse(folder / "records.duckdb", root=folder) as records:
        for column in ("layout", "layout_sha256", "field_cells", "looked_with"):
            records.run(f"alter table loads drop column {column}")
        records.run("drop table received_rows")
    put_layout(folder)
    report = load(folder, {"theirs.csv": WIDE})
    assert (report.count_loaded, report.count_as_before) == (1, 1)
    commands.run(folder, "measured", commands.Wishes(), quiet)


def test_no_message_shows_a_cell(folder):
    put_layout(folder, LAYOUT.replace('"33 entry"]', '"33 entry", "Colour"]'))
    said = []
    report = load(folder, {"theirs.csv": WIDE}, say=said.append)
    words = " ".join([*said, *map(str, report.problems)])
    assert not re.search(r"Example|P1\b|0\.9|about", words)
