"""Applying a layout: cells in our terms, nothing lost, doubtful cells left as they are."""

import json

import numpy as np
import pytest

from pipeline.errors import UnreadableSheet
from pipeline.records.header_rows import joined_headings
from pipeline.records.layout_fit import Fit, NoFit
from tests.unit.laying import applied, column, fitted, ready_layout

SHEET = "Case,Site,Entry,Depth\nP1,33,1.2,0.1\nP1,43,0.9,-0.2\n"


def notes(done) -> str:
    return " ".join(done.notes)


# headings


def test_titles_merged_over_their_columns_are_repeated_over_each():
    rows = [
        ["Case", "Planned", "", "Achieved", ""],
        ["", "entry", "apex", "entry", "apex"],
    ]
    assert joined_headings(rows, range(1, 6)) == (
        "Case", "Planned entry", "Planned apex", "Achieved entry", "Achieved apex",
    )  # fmt: skip


def test_a_heading_merged_down_does_not_spread_to_its_neighbour():
    assert joined_headings([["Case", ""], ["", "Site"]], [1, 2]) == ("Case", "Site")


def test_three_rows_of_headings_are_joined():
    rows = [["Plan", "", ""], ["entry", "", "apex"], ["x", "y", "x"]]
    assert joined_headings(rows, [1, 2, 3]) == (
        "Plan entry x",
        "Plan entry y",
        "Plan apex x",
    )


def test_headings_alike_are_numbered_and_none_is_its_letter():
    assert joined_headings([["a", "A", ""]], [1, 2, 4]) == ("a", "A (2)", "column D")


def test_the_headings_are_found_below_a_title_and_rows_above_are_no_records():
    done = applied(
        "Our figures,,,\n,,,\n" + SHEET, ready_layout('entry_3d_mm = "Entry"')
    )
    assert column(done, "entry_3d_mm") == ["1.2", "0.9"]
    assert done.sheets[0].incoming.rows["row_number"].tolist() == [4, 5]


def test_a_row_of_headings_above_ours_is_not_lost():
    layout = """
needs = ["Case", "Result entry_3d_mm"]
header_rows = 2
[[rows]]
sheet = "deviations"
[rows.fields]
case_id = "Case"
side = { always = "left" }
entry_3d_mm = "Result entry_3d_mm"
angle_deg = "Result angle_deg"
"""
    # the reader takes the second row for the headings, for two of ours stand there
    done = applied("Case,Result,\n,entry_3d_mm,angle_deg\nP1,1.2,3\n", layout)
    assert column(done, "angle_deg") == ["3"]
    assert done.tally.received == 1


# cells


@pytest.mark.parametrize(
    ("cells", "field", "expected"),
    [
        (["0.32", "0.3"], 'entry_3d_mm = { heading = "X", unit = "cm" }', ["3.2", "3"]),
        (["0.3 cm", "3"], 'entry_3d_mm = "X"', ["3", "3"]),
        (["3;2", ""], 'entry_3d_mm = "X"', ["3;2", ""]),
        (["0.3", "-0.1"], 'depth_mm = { heading = "X", sign = "reversed" }', ["-0.3", "0.1"]),
        (["yes", "Ja"], 'is_signed = { heading = "X", words = { ja = "yes" } }', ["yes", "yes"]),
        (["CBCT scan", "cbct"], 'achieved_source = { heading = "X", words = { "cbct scan" = "cbct" } }', ["cbct", "cbct"]),
        (["n/k", "2"], 'reading = "X"', ["n/k", "2"]),
        (["4.0 x 10", "3.5 x 8"], "planned_length_mm = { heading = 'X', pattern = '[\\d.]+ x ([\\d.]+)' }", ["10", "8"]),
        (["10", "4.0 x"], "planned_length_mm = { heading = 'X', pattern = '[\\d.]+ x ?([\\d.]*)' }", ['"10"', ""]),
    ],
)  # fmt: skip
def test_cells_come_out_in_our_terms(cells, field, expected):
    text = "Case,Site,X\n" + "".join(f"P{n},33,{c}\n" for n, c in enumerate(cells))
    name = field.split(" ")[0]
    assert column(applied(text, ready_layout(field)), name) == expected


def test_a_decimal_point_in_a_column_of_commas_is_not_taken_for_a_figure():
    done = applied(
        "Case;Site;Entry\nP1;33;1,2\nP1;43;1.2\n",
        ready_layout('entry_3d_mm = "Entry"', 'decimal_sign = ","'),
    )
    assert column(done, "entry_3d_mm") == ["1.2", '"1.2"']
    assert (
        "Not written as the layout says in 'Entry', left as it is: row 3." in done.notes
    )


def test_a_number_that_became_a_date_is_named_with_its_row():
    text = "Case,Site,Entry\nP1,33,2026-07-08\nP1,43,8-Jul\nP2,33,1.2\n"
    done = applied(text, ready_layout('entry_3d_mm = "Entry"'))
    assert column(done, "entry_3d_mm") == ["2026-07-08", "8-Jul", "1.2"]
    said = next(note for note in done.notes if "turned a number into a date" in note)
    assert "rows 2-3" in said
    assert "7-8" in said


def test_units_found_in_cells_are_counted():
    text = "Case,Site,Entry\nP1,33,1.2 mm\nP1,43,0.1cm\nP2,33,0.2cm\n"
    done = applied(text, ready_layout('entry_3d_mm = "Entry"'))
    assert column(done, "entry_3d_mm") == ["1.2", "1", "2"]
    assert "Units read from the cells of 'Entry': cm 2, mm 1." in done.notes


def test_a_planned_range_keeps_half_its_width_beside_the_row():
    layout = """
needs = ["Case"]
[[rows]]
sheet = "cast_readings"
[rows.fields]
case_id = "Case"
side = { always = "left" }
state = { always = "planned" }
midline_mm = { heading = "Midline", range = "middle" }
"""
    done = applied("Case,Midline\nP1,7-8\nP2,8\n", layout)
    assert column(done, "midline_mm") == ["7.5", "8"]
    others = column(done, "other_cells")
    assert json.loads(others[0]) == {"midline_mm half-width": "0.5"}
    assert others[1] == ""


def test_numbers_cut_in_two_at_their_comma_are_put_together_again():
    text = "Case;Site;Entry;\nP1;33;1;2\nP1;43;0;95\nP2;33;3;\nP2;43;about;4\n"
    layout = ready_layout(
        'entry_3d_mm = { heading = "Entry", decimals_in = "column D" }',
        'decimal_sign = ","',
    )
    found = column(applied(text, layout), "entry_3d_mm")
    assert found == ["1.2", "0.95", "3", "about 4"]


def test_cells_pushed_aside_by_a_cut_number_are_refused_with_their_rows():
    text = "Case,Site,Entry,Angle\nP1,33,1,2,3\nP1,43,2,3\n"
    with pytest.raises(
        UnreadableSheet, match=r"row 2 has more cells than headings.*comma"
    ):
        applied(text, ready_layout('entry_3d_mm = "Entry"'))


def test_universal_numbers_and_quadrants_become_fdi():
    for notation, sites in (("universal", "22 27 33"), ("quadrant", "LL3 LR3 33")):
        text = "Case,Site,Entry\n" + "".join(f"P1,{s},1\n" for s in sites.split())
        layout = ready_layout(
            f'tooth = {{ heading = "Site", notation = "{notation}" }}\n'
            'entry_3d_mm = "Entry"'
        )
        # 33 is no number of either, and must not pass for FDI
        assert column(applied(text, layout), "tooth") == ["33", "43", '"33"']


def test_letters_fill_the_side_of_the_pair_only():
    text = "Case,Site,Entry\nP1,B,1\nP1,d,1\nP1,C,1\n"
    layout = ready_layout(
        'side = { heading = "Site", notation = "letters", first_letter = "right" }\n'
        'entry_3d_mm = "Entry"'
    )
    assert column(applied(text, layout), "side") == ["right", "left", '"C"']


def test_days_follow_the_order_of_their_own_column():
    text = "Case,Made,Seen\nP1,3.4.2026,3/4/2026 2:30 PM\n"
    layout = """
needs = ["Case"]
[[rows]]
sheet = "cases"
[rows.fields]
case_id = "Case"
surgery_date = { heading = "Made", date_order = "d.m.y" }
delivery_date = { heading = "Seen", date_order = "m/d/y" }
"""
    done = applied(text, layout)
    assert column(done, "surgery_date") == ["2026-04-03"]
    assert column(done, "delivery_date") == ["2026-03-04"]


# rows


def test_totals_are_skipped_by_the_whole_text_of_a_cell():
    text = SHEET + "Mean,,1.05,\nMeanwell,33,1,0\n"
    top = '[[skip]]\nheading = "Case"\npattern = "mean|sd"\nwhy = "totals"'
    done = applied(text, ready_layout('entry_3d_mm = "Entry"', top))
    assert column(done, "case_id") == ["P1", "P1", "Meanwell"]
    assert "Left out as totals: row 4." in done.notes
    assert done.tally.is_whole
    assert done.tally.skipped == 1


def test_merged_cells_are_filled_down_but_never_over_a_gap():
    text = "Case,Site,Entry\nP1,33,1\n,43,2\n\n,33,3\nP2,33,4\n ,43,5\n"
    done = applied(text, ready_layout('entry_3d_mm = "Entry"', 'fill_down = ["Case"]'))
    assert column(done, "case_id") == ["P1", "P1", "", "P2", "P2"]
    assert "Filled down 2 empty cells of the column 'Case'." in done.notes


def test_one_row_gives_a_row_for_each_side_that_holds_anything():
    text = "Case,33 entry,43 entry\nP1,1.2,0.9\nP2,,1.1\nP3,,\n"
    layout = """
needs = ["Case", "33 entry"]
[[rows]]
sheet = "deviations"
each = [{ "<s>" = "33", side = "left" }, { "<s>" = "43", side = "right" }]
[rows.fields]
case_id = "Case"
entry_3d_mm = "<s> entry"
"""
    done = applied(text, layout)
    rows = done.sheets[0].incoming.rows
    assert rows[["case_id", "side", "entry_3d_mm"]].to_numpy().tolist() == [
        ["P1", "left", "1.2"], ["P1", "right", "0.9"], ["P2", "right", "1.1"],
    ]  # fmt: skip
    assert len(set(rows["place"])) == 3
    assert (done.tally.mapped, done.tally.empty) == (2, 1)
    assert done.tally.is_whole
    assert done.sheets[0].field_cells[1]["entry_3d_mm"] == (0, "C")


def test_distinct_gives_the_case_once_and_keeps_what_contradicts_itself():
    text = "Case,Site,Lab\nP1,33,A\nP1,43,A\nP2,33,A\nP2,43,B\n"
    layout = """
needs = ["Case"]
[[rows]]
sheet = "cases"
distinct = true
[rows.fields]
case_id = "Case"
guide_lab = "Lab"
"""
    done = applied(text, layout)
    assert column(done, "case_id") == ["P1", "P2", "P2"]
    assert done.tally.mapped == 4


def test_plan_and_result_in_rows_of_their_own_become_one_row():
    text = (
        "Case,Site,State,Entry\nP1,33,plan,1\nP1,33,placed,2\nP1,43,placed,3\n"
        "P2,33,plan,4\n"
    )
    layout = """
needs = ["Case", "State"]
[[join]]
name = "plan"
on = ["Case", "Site"]
only = { heading = "State", pattern = "plan" }
[[rows]]
sheet = "implants"
[rows.fields]
case_id = "Case"
tooth = "Site"
achieved_entry_x_mm = "Entry"
planned_entry_x_mm = "plan: Entry"
"""
    done = applied(text, layout)
    assert column(done, "planned_entry_x_mm") == ["1", ""]
    assert column(done, "achieved_entry_x_mm") == ["2", "3"]
    assert done.tally.partners == 2
    assert done.tally.is_whole
    assert "Row 4 without a row in plan." in done.notes
    assert "Row 5 of plan belongs to no row here and was left unread." in done.notes
    numbers = done.sheets[0].received.row_numbers
    assert np.array_equal(numbers, [[3, 2], [4, 0]])


def test_two_partners_for_one_row_are_refused_with_their_rows():
    text = "Case,Site,State,Entry\nP1,33,plan,1\nP1,33,plan,2\nP1,33,placed,2\n"
    layout = """
needs = ["Case", "State"]
[[join]]
name = "plan"
on = ["Case", "Site"]
only = { heading = "State", pattern = "plan" }
[[rows]]
sheet = "implants"
[rows.fields]
case_id = "Case"
tooth = "Site"
planned_entry_x_mm = "plan: Entry"
"""
    with pytest.raises(UnreadableSheet, match="rows 2-3 of 'plan' carry the same Case"):
        applied(text, layout)


def test_a_heading_the_sheet_lacks_leaves_its_field_empty_and_is_named():
    done = applied(SHEET, ready_layout('entry_3d_mm = "Entry"\nangle_deg = "Angle"'))
    assert column(done, "angle_deg") == ["", ""]
    assert "Not in this sheet, so left empty: 'Angle'." in done.notes


# phrases

LIST = """
needs = ["Pat", "Reason"]
[[rows]]
sheet = "visits"
[rows.fields]
case_id = "Pat"
visit_date = "Day"
attended = { heading = "Status", words = { done = "yes", DNA = "no" } }
[[rows]]
sheet = "events"
phrases = "Reason"
[rows.fields]
case_id = "Pat"
event_date = "Day"
[phrases]
"Both rings changed" = ["insert_renewed both", "retention_adjusted"]
"clips fine" = []
"sore spot LL" = ["sore_spot left"]
"""


def test_whole_phrases_become_events_and_parts_of_phrases_never():
    text = (
        "Pat,Day,Status,Reason\n"
        "P1,2026-01-05,done,both rings  changed.\n"
        "P2,2026-01-06,done,clips fine\n"
        "P3,2026-01-07,DNA,\n"
        'P4,2026-01-08,late,"both rings changed, sore spot LL"\n'
        "P5,2026-01-09,done,no sore spot LL\n"
    )
    done = applied(text, LIST)
    assert column(done, "event", "events") == ["insert_renewed", "retention_adjusted"]
    assert column(done, "side", "events") == ["both", ""]
    assert column(done, "case_id", "events") == ["P1", "P1"]
    assert column(done, "attended", "visits") == ["yes", "yes", "no", "late", "yes"]
    unknown = [bool(cell) for cell in column(done, "other_cells", "visits")]
    assert unknown == [False, False, True, True, True]
    assert "Content unknown in 3 of 5 rows: 2 different phrases" in notes(done)
    assert done.tally.mapped == 5


def test_two_events_of_one_row_have_places_of_their_own():
    done = applied(
        "Pat,Day,Status,Reason\nP1,2026-01-05,done,both rings changed\n", LIST
    )
    events = done.sheets[1].incoming.rows
    assert len(set(events["place"])) == 2
    assert events["row_number"].tolist() == [2, 2]
    assert done.sheets[1].field_cells[1]["event"] == (0, "D")


# which layout fits


def test_a_layout_that_lacks_a_heading_says_which():
    found = fitted("Case,Entry\nP1,1\n", ready_layout('entry_3d_mm = "Entry"'))
    assert isinstance(found, NoFit)
    assert found.because == "needs the heading 'Site'"


@pytest.mark.parametrize(
    ("top", "heading"),
    [
        ('fill_down = ["Chart"]', "Chart"),
        ('[[skip]]\nheading = "Remark"\npattern = "mean"', "Remark"),
    ],
)
def test_a_layout_does_not_fit_where_rows_would_be_read_wrongly(top, heading):
    found = fitted(SHEET, ready_layout('entry_3d_mm = "Entry"', top))
    assert isinstance(found, NoFit)
    assert found.because == f"needs the heading '{heading}'"


def test_a_layout_does_not_fit_without_what_every_row_needs():
    layout = ready_layout('entry_3d_mm = "Entry"').replace(
        '["Case", "Site"]', '["Entry"]'
    )
    found = fitted("Site,Entry\n33,1\n", layout)
    assert isinstance(found, NoFit)
    assert found.because == "needs the heading 'Case'"


def test_capitals_spaces_and_line_ends_in_headings_do_not_matter():
    found = fitted(
        '"case ",SITE,"Entry\n(mm)"\nP1,33,1\n',
        ready_layout('entry_3d_mm = "Entry (mm)"'),
    )
    assert isinstance(found, Fit)


@pytest.mark.parametrize(
    ("top", "source", "fits"),
    [
        ('files = ["result*.csv"]', "2026/results_may.csv", True),
        ('files = ["2026/*.csv"]', "2026/results_may.csv", True),
        ('files = ["plan*.csv"]', "2026/results_may.csv", False),
        ('tab = "Positions"', "a.csv", False),
    ],
)
def test_a_layout_can_be_for_files_and_tabs_of_a_name(top, source, fits):
    found = fitted(SHEET, ready_layout('entry_3d_mm = "Entry"', top), source=source)
    assert isinstance(found, Fit) is fits


def test_the_same_file_and_layout_give_the_same_rows():
    layout = ready_layout('entry_3d_mm = { heading = "Entry", unit = "cm" }')
    first, again = (applied(SHEET, layout).sheets[0].incoming.rows for _ in range(2))
    assert first.equals(again)
