"""The starting workbook: which tabs and columns it has, and what its example says."""

from __future__ import annotations

import subprocess
import sys
from datetime import date
from itertools import pairwise
from math import acos, asin, atan, degrees
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import FolderNotEmpty, UserError
from pipeline.records import template
from pipeline.records.template_plan import columns, example_rows, record_kinds, tabs
from pipeline.reference import load

KIND_ROWS = load.rows("record_kinds")
SHEETS_WITH_EXAMPLES = load.sheets()


# --- which tabs ---------------------------------------------------------------


def test_the_five_record_kinds_can_be_asked_for() -> None:
    assert record_kinds() == ("cast", "films", "ready", "coordinates", "follow_up")


def test_every_record_sheet_is_reached_by_some_record_kind() -> None:
    assert {row["sheet"] for row in KIND_ROWS} == set(load.sheets())


def test_a_kind_names_each_sheet_once_and_only_fields_that_exist() -> None:
    named = [(row["record_kind"], row["sheet"]) for row in KIND_ROWS]
    assert len(named) == len(set(named))
    for row in KIND_ROWS:
        known = {field.field for field in load.fields(row["sheet"])}
        everyday = row["everyday"].split("|")
        assert set(everyday) <= known, row
        assert len(everyday) == len(set(everyday)), row
        assert row["is_needed"] in {"yes", ""}
        assert row["meaning"]
        assert not row["meaning"].endswith(".")


def test_a_tab_has_the_same_place_whoever_asks_for_it() -> None:
    """So that workbooks of different clinics look alike."""
    place: dict[str, set[str]] = {}
    for row in KIND_ROWS:
        place.setdefault(row["sheet"], set()).add(row["order"])
    assert all(len(orders) == 1 for orders in place.values())
    assert len(place) == len({next(iter(orders)) for orders in place.values()})


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        (["cast"], ["cases", "guides", "cast_readings", "pair_readings"]),
        (["films"], ["cases", "films", "pair_readings"]),
        (["ready"], ["cases", "deviations"]),
        (["coordinates"], ["cases", "implants", "landmarks"]),
        (
            ["follow_up"],
            ["cases", "numbers", "dentures", "visits", "events", "treated"],
        ),
        (
            ["films", "cast", "films"],
            ["cases", "guides", "cast_readings", "films", "pair_readings"],
        ),
    ],
)
def test_only_the_tabs_asked_for_come_each_once(
    kinds: list[str], expected: list[str]
) -> None:
    assert [tab.sheet for tab in tabs(kinds)] == expected


def test_the_order_in_which_kinds_are_named_changes_nothing() -> None:
    assert tabs(["cast", "follow_up"]) == tabs(["follow_up", "cast"])


@pytest.mark.parametrize("kinds", [["casts"], ["cast", "x-ray"], []])
def test_an_unknown_kind_or_none_is_answered_with_the_kinds_there_are(
    kinds: list[str], tmp_path: Path
) -> None:
    target = tmp_path / "records.xlsx"
    with pytest.raises(UserError) as caught:
        template.write_template(target, kinds)
    assert all(kind in caught.value.hint for kind in record_kinds())
    assert not target.exists()


def test_a_workbook_that_is_already_there_is_never_overwritten(tmp_path: Path) -> None:
    target = tmp_path / "records.xlsx"
    target.write_bytes(b"filled in for a year")
    with pytest.raises(FolderNotEmpty):
        template.write_template(target, ["cast"])
    assert target.read_bytes() == b"filled in for a year"


@pytest.mark.parametrize(
    ("name", "is_skipped"),
    [
        ("read me", True),
        ("Read Me", True),
        (" EXAMPLE ", True),
        ("_lists", True),
        ("_my notes", True),
        ("cases", False),
        ("examples", False),
        ("readme", False),
        ("cast_readings", False),
    ],
)
def test_talk_is_told_from_records_by_the_tab_name(name: str, is_skipped: bool) -> None:
    assert template.is_skipped_tab(name) is is_skipped


def test_no_record_sheet_is_named_like_a_skipped_tab() -> None:
    assert template.SKIPPED_TABS == ("read me", "example")
    assert not any(template.is_skipped_tab(sheet) for sheet in load.sheets())


def test_asking_which_tabs_to_skip_needs_no_spreadsheet_library() -> None:
    code = "import sys, pipeline.records.template; print('openpyxl' in sys.modules)"
    answer = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert answer.stdout.strip() == "False"


# --- which columns ------------------------------------------------------------


@pytest.mark.parametrize("sheet", load.sheets())
def test_a_tab_has_every_field_of_its_sheet_once(sheet: str) -> None:
    placed = [column.field.field for column in columns(sheet, set())]
    assert sorted(placed) == sorted(field.field for field in load.fields(sheet))


@pytest.mark.parametrize("kind", record_kinds())
def test_required_columns_come_first_and_are_never_folded(kind: str) -> None:
    for tab in tabs([kind]):
        required = [column.field.is_required for column in tab.columns]
        assert required == sorted(required, reverse=True), tab.sheet
        assert not any(c.is_folded for c in tab.columns if c.field.is_required)


@pytest.mark.parametrize("kind", record_kinds())
def test_everyday_columns_are_in_sight(kind: str) -> None:
    folded = {
        (tab.sheet, column.field.field)
        for tab in tabs([kind])
        for column in tab.columns
        if column.is_folded
    }
    for row in KIND_ROWS:
        if row["record_kind"] == kind:
            everyday = {(row["sheet"], name) for name in row["everyday"].split("|")}
            assert not everyday & folded


@pytest.mark.parametrize(
    "kinds", [*([kind] for kind in record_kinds()), record_kinds()]
)
def test_each_fold_opens_one_group_of_columns(kinds: list[str]) -> None:
    """Neighbouring folds would be joined by the spreadsheet into one."""
    for tab in tabs(kinds):
        for left, right in pairwise(tab.columns):
            if right.is_folded:
                same = left.field.column_group == right.field.column_group
                assert same, (tab.sheet, right.field.field)
        announced = [name for column in tab.columns for name in column.folds]
        assert announced == [c.field.field for c in tab.columns if c.is_folded]
        assert not any(c.folds for c in tab.columns if c.is_folded)


@pytest.mark.parametrize("kind", record_kinds())
def test_a_person_first_sees_few_columns(kind: str) -> None:
    in_sight = {
        tab.sheet: sum(not column.is_folded for column in tab.columns)
        for tab in tabs([kind])
    }
    # Twelve coordinates are one record; a film needs its scale. The rest is short.
    assert in_sight.pop("implants", 0) <= 18
    assert in_sight.pop("films", 0) <= 14
    assert max(in_sight.values()) <= 12
    assert in_sight["cases"] * 3 < len(load.fields("cases"))


# --- what the example says ----------------------------------------------------


@pytest.mark.parametrize("sheet", SHEETS_WITH_EXAMPLES)
def test_example_rows_hold_allowed_words_right_kinds_and_all_required(
    sheet: str,
) -> None:
    rows = example_rows(sheet)
    assert 2 <= len(rows) <= 6
    fields = {field.field: field for field in load.fields(sheet)}
    for row in rows:
        assert set(row) <= set(fields)
        assert {name for name, field in fields.items() if field.is_required} <= set(row)
        for name, value in row.items():
            field = fields[name]
            if field.codes:
                assert value in field.codes
            elif field.kind == "date":
                assert (
                    date(2025, 1, 1) <= date.fromisoformat(value) <= date(2026, 12, 31)
                )
            elif field.kind == "number":
                assert np.isfinite(float(value))
            elif field.kind == "whole":
                assert int(value) >= 0


@pytest.mark.parametrize("sheet", SHEETS_WITH_EXAMPLES)
def test_example_rows_of_one_sheet_differ_in_their_key(sheet: str) -> None:
    keys = [field.field for field in load.fields(sheet) if field.is_key]
    rows = [tuple(row.get(key, "") for key in keys) for row in example_rows(sheet)]
    assert len(rows) == len(set(rows))


def test_every_example_value_is_seen_in_some_workbook() -> None:
    seen = {
        (tab.sheet, column.field.field)
        for kind in record_kinds()
        for tab in tabs([kind])
        for column in tab.columns
        if not column.is_folded
    }
    written = {(row["sheet"], row["field"]) for row in load.rows("example_rows")}
    assert written <= seen


def test_example_cases_are_the_cases_of_the_other_example_rows() -> None:
    cases = {row["case_id"] for row in example_rows("cases")}
    assert all(case.startswith("0") for case in cases)  # leading zeros must survive
    for sheet in load.sheets():
        assert {row.get("case_id", "0148") for row in example_rows(sheet)} <= cases


def test_one_example_case_is_still_being_planned() -> None:
    waiting = [row for row in example_rows("cases") if "surgery_date" not in row]
    assert [row["case_id"] for row in waiting] == ["0160"]
    states = {
        row["state"]
        for row in example_rows("cast_readings")
        if row["case_id"] == waiting[0]["case_id"]
    }
    assert states == {"planned"}


def _points(row: dict[str, str], state: str) -> tuple[np.ndarray, np.ndarray]:
    entry, apex = (
        np.array([float(row[f"{state}_{point}_{axis}_mm"]) for axis in "xyz"])
        for point in ("entry", "apex")
    )
    return entry, apex


def _lean_deg(row: dict[str, str]) -> tuple[float, float]:
    """Return the achieved lean toward the midline and forward, upper end, degrees."""
    entry, apex = _points(row, "achieved")
    up = entry - apex
    toward_midline = -up[0] if row["side"] == "left" else up[0]
    return degrees(atan(toward_midline / up[2])), degrees(atan(-up[1] / up[2]))


def _implant(case_id: str, side: str) -> dict[str, str]:
    (row,) = (
        row
        for row in example_rows("implants")
        if (row["case_id"], row["side"]) == (case_id, side)
    )
    return row


def test_example_sites_follow_both_habits() -> None:
    """8/8 mm and 11/11 mm from the midline: common practice, no source."""
    sites = {
        (row["case_id"], row["tooth"]): abs(float(row["planned_entry_x_mm"]))
        for row in example_rows("implants")
    }
    assert sites == {
        ("0148", "32"): 8,
        ("0148", "42"): 8,
        ("0152", "33"): 11,
        ("0152", "43"): 11,
    }


@pytest.mark.parametrize("sheet", ["implants", "deviations"])
def test_example_teeth_stand_on_the_side_named(sheet: str) -> None:
    """ISO 3950: quadrant 3 is the lower left, quadrant 4 the lower right."""
    for row in example_rows(sheet):
        assert row["side"] == {"3": "left", "4": "right"}[row["tooth"][0]]


@pytest.mark.parametrize("row", example_rows("implants"), ids=lambda row: row["tooth"])
def test_example_coordinates_lie_on_the_patients_side_and_keep_the_length(
    row: dict[str, str],
) -> None:
    """DICOM PS3.3 C.7.6.2.1.1: x grows toward the patient's left."""
    for state in ("planned", "achieved"):
        entry, apex = _points(row, state)
        assert (entry[0] > 0) == (row["side"] == "left")
        length = float(np.linalg.norm(apex - entry))
        assert length == pytest.approx(float(row["placed_length_mm"]), abs=0.02)
        assert apex[2] < entry[2]  # lower jaw: the tip lies below the head


def test_example_deviations_are_those_of_the_example_coordinates() -> None:
    """Worked out again here by the law of cosines, not by the pipeline."""
    for row in example_rows("deviations"):
        implant = _implant(row["case_id"], row["side"])
        entry, apex = _points(implant, "planned")
        entry_now, apex_now = _points(implant, "achieved")
        axis, axis_now = apex - entry, apex_now - entry_now
        cosine = axis @ axis_now / np.linalg.norm(axis) / np.linalg.norm(axis_now)
        worked = {
            "entry_3d_mm": np.linalg.norm(entry_now - entry),
            "apex_3d_mm": np.linalg.norm(apex_now - apex),
            "depth_mm": (entry_now - entry) @ axis / np.linalg.norm(axis),
            "angle_deg": degrees(acos(cosine)),
        }
        for name, value in worked.items():
            step = 0.05 if name == "angle_deg" else 0.005
            assert float(row[name]) == pytest.approx(value, abs=step + 1e-9), name


def test_example_readings_of_the_pair_agree_with_casts_films_and_coordinates() -> None:
    """Pins of length P, spacing E at the base and T at the tips: 2 asin((E-T)/2P)."""
    readings = {
        (row["case_id"], row["quantity"]): row for row in example_rows("pair_readings")
    }
    base, tip = (readings["0148", f"{end}_spacing"] for end in ("entry", "tip"))
    midline = sum(
        float(row["midline_mm"])
        for row in example_rows("cast_readings")
        if (row["case_id"], row["state"]) == ("0148", "achieved")
    )
    assert float(base["value"]) == midline
    gap = float(base["value"]) - float(tip["value"])
    from_pins = degrees(2 * asin(gap / (2 * float(base["pin_length_mm"]))))
    left, right = (_lean_deg(_implant("0148", side)) for side in ("left", "right"))
    assert from_pins == pytest.approx(left[0] + right[0], abs=0.1)

    left, right = (_lean_deg(_implant("0152", side)) for side in ("left", "right"))
    frontal, sagittal = (
        readings["0152", f"{view}_angle"] for view in ("frontal", "sagittal")
    )
    assert float(frontal["value"]) == pytest.approx(left[0] + right[0], abs=0.1)
    assert frontal["converging"] == "yes"
    assert float(sagittal["value"]) == pytest.approx(left[1] - right[1], abs=0.1)
    for row in example_rows("films"):
        if row["case_id"] == "0152":
            lean = {"left": left, "right": right}[row["side"]][0]
            assert float(row["tilt_deg"]) == pytest.approx(lean, abs=0.1)
