"""The starting workbook as a spreadsheet program would find it."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook
from openpyxl.utils import get_column_letter, range_boundaries
from python_calamine import CalamineWorkbook

from pipeline.records.template import is_skipped_tab, record_kinds, write_template
from pipeline.records.template_plan import example_rows, tabs
from pipeline.reference import load

CHOICES = [*([kind] for kind in record_kinds()), list(record_kinds())]


@pytest.fixture(scope="module", params=CHOICES, ids="+".join)
def made(
    request: pytest.FixtureRequest, tmp_path_factory: Any
) -> tuple[list[str], Any]:
    """The kinds asked for, and the workbook opened again."""
    path = tmp_path_factory.mktemp("template") / "records.xlsx"
    write_template(path, request.param)
    return request.param, load_workbook(path)


def _record_tabs(workbook: Any) -> list[Any]:
    return [tab for tab in workbook if not is_skipped_tab(tab.title)]


def _columns(tab: Any) -> list[tuple[str, Any, load.Field]]:
    """Return letter, heading cell and field of each column of a record tab."""
    fields = {field.field: field for field in load.fields(tab.title)}
    return [(cell.column_letter, cell, fields[cell.value]) for cell in tab[1]]


def _rules(tab: Any) -> dict[str, Any]:
    """Return the one entry rule of each column that has one, by column letter."""
    rules: dict[str, Any] = {}
    for rule in tab.data_validations.dataValidation:
        (area,) = str(rule.sqref).split()
        first, top, last, bottom = range_boundaries(area)
        assert (first, top, bottom) == (last, 2, 2001)
        letter = get_column_letter(first)
        assert letter not in rules
        rules[letter] = rule
    return rules


def _allowed(workbook: Any, rule: Any) -> tuple[str, ...]:
    if rule.formula1.startswith('"'):
        return tuple(rule.formula1.strip('"').split(","))
    name, area = rule.formula1.rsplit("!", 1)
    cells = workbook[name.strip("'")][area.replace("$", "")]
    return tuple(cell.value for (cell,) in cells)


def test_only_the_tabs_asked_for_exist(made: tuple[list[str], Any]) -> None:
    kinds, workbook = made
    asked = [tab.sheet for tab in tabs(kinds)]
    lists = ["_lists"] if "events" in asked else []
    assert workbook.sheetnames == ["read me", "example", *asked, *lists]
    assert workbook.active.title == "read me"
    for name in lists:
        assert workbook[name].sheet_state == "hidden"


def test_headings_are_the_fields_with_the_required_ones_first(
    made: tuple[list[str], Any],
) -> None:
    for tab in _record_tabs(made[1]):
        headings = [cell.value for cell in tab[1]]
        fields = load.fields(tab.title)
        assert sorted(headings) == sorted(field.field for field in fields)
        required = [field.field for field in fields if field.is_required]
        assert headings[: len(required)] == required
        assert tab.max_row == 1


def test_required_headings_are_told_apart_in_colour_and_in_grey(
    made: tuple[list[str], Any],
) -> None:
    for tab in _record_tabs(made[1]):
        for _, cell, field in _columns(tab):
            assert cell.font.bold == field.is_required
            fill = cell.fill.fgColor.rgb[-6:]
            assert fill == ("CFE0E3" if field.is_required else "E7EEF0")
            assert _contrast(cell.font.color.rgb[-6:], fill) >= 7


def _contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours by WCAG 2.2; 7 is its level AAA."""
    light = []
    for colour in (one, other):
        parts = [int(colour[at : at + 2], 16) / 255 for at in (0, 2, 4)]
        linear = [
            part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
            for part in parts
        ]
        light.append(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2])
    return (max(light) + 0.05) / (min(light) + 0.05)


def test_each_coded_field_offers_exactly_its_words(
    made: tuple[list[str], Any],
) -> None:
    workbook = made[1]
    for tab in _record_tabs(workbook):
        rules = _rules(tab)
        for letter, _, field in _columns(tab):
            rule = rules.get(letter)
            if field.kind in ("code", "yes_no"):
                assert rule is not None
                assert rule.type == "list"
                assert _allowed(workbook, rule) == field.codes
                assert rule.errorStyle in (None, "stop")
                assert not rule.showDropDown  # set, it would hide the arrow
            else:
                assert rule is None or rule.type != "list"


def test_a_wrong_entry_is_answered_and_an_empty_cell_is_allowed(
    made: tuple[list[str], Any],
) -> None:
    """Lengths a spreadsheet takes: Microsoft [MS-OI29500] 2.1.613 c and d."""
    for tab in _record_tabs(made[1]):
        for rule in _rules(tab).values():
            assert rule.showErrorMessage
            assert rule.allow_blank
            assert 0 < len(rule.error) <= 224
            assert 0 < len(rule.errorTitle) <= 32


def test_dates_look_like_iso_8601_and_take_only_dates(
    made: tuple[list[str], Any],
) -> None:
    for tab in _record_tabs(made[1]):
        rules = _rules(tab)
        for letter, _, field in _columns(tab):
            if field.kind == "date":
                assert tab.column_dimensions[letter].number_format == "yyyy-mm-dd"
                assert rules[letter].type == "date"
                assert "2025-03-14" in rules[letter].error


def test_numbers_are_asked_for_with_a_warning_that_a_range_can_pass(
    made: tuple[list[str], Any],
) -> None:
    """A written range 7-8 turns into a date serial, far above the limit."""
    in_2025 = (date(2025, 8, 7) - date(1899, 12, 30)).days
    for tab in _record_tabs(made[1]):
        rules = _rules(tab)
        for letter, _, field in _columns(tab):
            if field.kind in ("number", "whole"):
                assert rules[letter].type == {"number": "decimal"}.get(
                    field.kind, "whole"
                )
                assert rules[letter].errorStyle == "warning"
                assert float(rules[letter].formula2) < in_2025


def test_numbers_of_cases_and_people_are_text_so_that_zeros_survive(
    made: tuple[list[str], Any],
) -> None:
    for tab in _record_tabs(made[1]):
        for letter, _, field in _columns(tab):
            is_text = tab.column_dimensions[letter].number_format == "@"
            assert is_text == (field.kind == "text"), field
            assert is_text or not field.identity


def test_each_heading_has_a_note_with_meaning_unit_and_words(
    made: tuple[list[str], Any],
) -> None:
    for tab in _record_tabs(made[1]):
        for _, cell, field in _columns(tab):
            note = cell.comment.text
            assert field.meaning[1:] in note
            assert not field.unit or f"Unit: {field.unit}" in note
            assert all(word in note for word in field.codes)
            assert ("Needed in every row" in note) == field.is_required


def test_heading_row_and_first_column_stay_in_sight(
    made: tuple[list[str], Any],
) -> None:
    for tab in _record_tabs(made[1]):
        assert tab.freeze_panes == "B2"


def test_folded_columns_are_outlined_and_closed(made: tuple[list[str], Any]) -> None:
    kinds, workbook = made
    for plan in tabs(kinds):
        tab = workbook[plan.sheet]
        assert tab.sheet_format.outlineLevelCol == 1
        for number, column in enumerate(plan.columns, start=1):
            look = tab.column_dimensions[get_column_letter(number)]
            assert bool(look.hidden) == column.is_folded
            assert look.outlineLevel == int(column.is_folded)
            assert look.width > len(column.field.field)
            assert not column.folds or look.collapsed


def test_it_prints_landscape_on_a4_with_the_headings_repeated(
    made: tuple[list[str], Any],
) -> None:
    """ECMA-376 part 1, 18.3.1.63: paper size 9 is A4."""
    for tab in made[1]:
        if not tab.title.startswith("_"):
            assert tab.page_setup.orientation == "landscape"
            assert tab.page_setup.paperSize == 9
            assert "practice numbers" in tab.oddFooter.left.text
    for tab in _record_tabs(made[1]):
        assert tab.print_title_rows == "$1:$1"


def test_read_me_says_what_to_fill_in_six_short_sentences(
    made: tuple[list[str], Any],
) -> None:
    kinds, workbook = made
    texts = [
        str(cell.value) for row in workbook["read me"] for cell in row if cell.value
    ]
    sentences = [text for text in texts if re.match(r"\d\.  ", text)]
    assert len(sentences) == 6
    assert all(len(sentence.split()) <= 20 for sentence in sentences)
    words = " ".join(sentences)
    assert "contains practice numbers: keep on the clinic's own computer" in words
    assert "weeks before surgery" in words
    assert "may stay empty" in words
    assert all(tab.sheet in texts for tab in tabs(kinds))
    together = {kind.replace("_", " ") for kind in kinds}
    assert together <= set(texts)
    needed = {tab.sheet for tab in tabs(kinds) if tab.is_needed}
    joined = {sheet for text in texts for sheet in text.split(" + ")}
    assert needed <= joined


def test_example_shows_each_sheet_with_rows_a_person_could_have_written(
    made: tuple[list[str], Any],
) -> None:
    kinds, workbook = made
    lines = [[cell.value for cell in row] for row in workbook["example"]]
    assert "never loaded" in lines[0][0]
    for plan in tabs(kinds):
        top = next(at for at, line in enumerate(lines) if line[0] == plan.sheet)
        headings = [name for name in lines[top + 1] if name]
        assert headings == [c.field.field for c in plan.columns if not c.is_folded]
        assert workbook["example"].cell(row=top + 1, column=1).font.bold
        for down, written in enumerate(example_rows(plan.sheet), start=2):
            shown = dict(zip(headings, lines[top + down], strict=False))
            for field in load.fields(plan.sheet):
                if field.field in shown:
                    expected = written.get(field.field)
                    assert _same(field, shown[field.field], expected), field
            required = [field for field in load.fields(plan.sheet) if field.is_required]
            assert all(shown[field.field] is not None for field in required)


def _same(field: load.Field, shown: Any, written: str | None) -> bool:
    if written is None:
        return shown is None
    as_kind: dict[str, Callable[[str], Any]] = {
        "number": float,
        "whole": int,
        "date": datetime.fromisoformat,
    }
    return bool(shown == as_kind.get(field.kind, str)(written))


def test_a_row_filled_in_by_a_person_is_read_back_by_another_reader(
    tmp_path: Path,
) -> None:
    """What calamine, a reader that shares no code with the writer, finds."""
    path = tmp_path / "Aufzeichnungen der Klinik.xlsx"
    write_template(path, ["cast", "follow_up"])
    workbook = load_workbook(path)
    tab = workbook["cases"]
    written = {"case_id": "0148", "surgery_date": date(2025, 3, 4), "guidance": "pilot"}
    for cell in tab[1]:
        tab.cell(row=2, column=cell.column, value=written.get(cell.value))
    workbook.save(path)
    headings, row = (
        CalamineWorkbook.from_path(path).get_sheet_by_name("cases").to_python()
    )
    found = {
        name: value for name, value in zip(headings, row, strict=True) if value != ""
    }
    assert found == written
