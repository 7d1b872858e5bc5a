"""Cells of the workbook of rows to correct: shown, typed over, read back."""

from datetime import date
from fnmatch import fnmatchcase
from pathlib import Path

import pytest

from pipeline.checked.cells_meant import DIFFERING, cells_of
from pipeline.checked.checks import all_checks
from pipeline.checked.held_rows import Mark
from pipeline.checked.held_texts import what_to_do
from pipeline.checked.held_workbook import broken
from pipeline.records import held_words
from pipeline.records.headings import plain_heading
from pipeline.records.held_cells import as_read, as_received, digest_of, shown
from pipeline.records.held_words import Answer, answer_of, next_name
from pipeline.records.store import fields_of
from pipeline.reference import load

FIELD = {field.field: field for field in load.fields("implants")}


@pytest.mark.parametrize(
    ("field", "text", "sign", "value"),
    [
        ("planned_length_mm", "10", ".", 10),
        ("planned_length_mm", " 1.20 ", ".", 1.2),
        ("planned_length_mm", "1,20", ",", 1.2),
        ("planned_length_mm", "1,20", ".", "1,20"),
        ("planned_length_mm", "1.20", ",", "1.20"),
        ("planned_length_mm", "3.2 approx", ".", "3.2 approx"),
        ("planned_length_mm", "1e5", ".", "1e5"),
        ("measured_date", "2025-03-14", ".", date(2025, 3, 14)),
        ("measured_date", "2025-02-30", ".", "2025-02-30"),
        ("measured_date", "14.03.2025", ".", "14.03.2025"),
        ("tooth", "33", ".", "33"),
        ("case_id", "0017", ".", "0017"),
        ("deliberate_change", "=1+1", ".", "=1+1"),
    ],
)
def test_a_cell_is_shown_as_what_it_is_and_never_guessed(field, text, sign, value):
    got = shown(text, FIELD[field], sign)
    assert (got, type(got)) == (value, type(value))


@pytest.mark.parametrize("text", ["10", "1.20", "-0.5", "3.2 approx", "", "7-8"])
def test_a_cell_nobody_touched_reads_back_as_it_was_shown(text):
    value = shown(text, FIELD["planned_length_mm"], ".")
    assert as_read(value) == as_read(
        shown(as_read(value), FIELD["planned_length_mm"], ".")
    )


def test_a_corrected_figure_is_written_as_its_file_writes_figures():
    length, tooth = FIELD["planned_length_mm"], FIELD["tooth"]
    assert as_received("1.4", length, ",") == "1,4"
    assert as_received("1.4", length, ".") == "1.4"
    assert as_received("n.k.", length, ",") == "n.k."
    assert as_received("3.3", tooth, ",") == "3.3"


def test_a_row_has_one_hash_whatever_empty_fields_a_later_version_adds():
    assert digest_of({"a": "1"}) == digest_of({"a": "1", "b": ""})
    assert digest_of({"a": "1"}) != digest_of({"b": "1"})


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("", None),
        (" Corrected ", Answer.CORRECTED),
        ("LEAVE  OUT.", Answer.LEAVE_OUT),
        ("right as it is", Answer.RIGHT),
    ],
)
def test_an_answer_is_known_however_it_is_typed(text, answer):
    assert answer_of(text) is answer


@pytest.mark.parametrize("text", ["yes", "correct", "left out"])
def test_another_word_is_no_answer(text):
    with pytest.raises(ValueError, match=text):
        answer_of(text)


def test_a_new_workbook_takes_the_number_after_the_highest_anywhere():
    paths = [
        Path("rows_to_correct_2.xlsx"),
        Path("records/Rows_to_correct_11 (1).xlsx"),
    ]
    assert next_name([]) == "rows_to_correct_1.xlsx"
    assert next_name(paths) == "rows_to_correct_12.xlsx"


@pytest.mark.parametrize("name", sorted({f.field for f in load.fields()}))
def test_a_heading_over_several_lines_is_known_again(name):
    assert plain_heading(broken(name)) == name


def test_no_field_is_named_like_a_column_of_answers():
    own = {held_words.NUMBER, held_words.CAME_FROM, held_words.WRONG, held_words.TO_DO}
    own |= {held_words.WHY, held_words.ANSWER}
    assert not own & {field.field for field in load.fields()}


SILENT = [
    check
    for check in all_checks()
    if check.sets_aside and not check.field and check.reach in {"row", "case"}
]


@pytest.mark.parametrize("check", SILENT, ids=lambda check: check.check_id)
def test_a_check_of_no_single_field_names_the_cells_to_look_at(check):
    """So that a cell is coloured for whatever sets a row aside: check_cells.csv."""
    sheets = [check.sheet] if check.level != "case" else load.sheets()
    named = [name for sheet in sheets for name in cells_of(check.check_id, sheet)]
    assert named


@pytest.mark.parametrize("row", load.rows("check_cells"), ids=lambda r: r["check_id"])
def test_the_cells_to_look_at_are_fields_of_the_checks_sheet(row):
    checks = [c for c in all_checks() if fnmatchcase(c.check_id, row["check_id"])]
    assert checks
    for pattern in row["fields"].split("|"):
        if pattern != DIFFERING:
            names = {n for sheet in load.sheets() for n in fields_of(sheet)}
            assert any(fnmatchcase(name, pattern) for name in names), pattern


def mark(suggestion, **more):
    given = {"other_tab": "", **more}
    return Mark("f", "c", "hold", "", (), "", "Wrong.", suggestion, **given)


def test_a_suggestion_that_two_findings_share_is_said_once():
    text = what_to_do([mark("Swap them. Check the scan."), mark("Swap them. Look up.")])
    assert text == "– Swap them. Check the scan.\n– Look up."


def test_a_row_set_aside_with_its_case_is_sent_to_the_tab_to_mend():
    assert "tab implants" in what_to_do([mark("Swap.", other_tab="implants")])
