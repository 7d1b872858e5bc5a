"""Every planted fault is where the table of faults says, and looks as it says."""

from __future__ import annotations

import csv
from datetime import datetime
from typing import Any

import numpy as np
import pytest
from openpyxl import load_workbook

from pipeline.bundled import folder
from synthetic_data.faults import plant
from synthetic_data.generate import demo_sheets
from synthetic_data.readme import refreshed
from synthetic_data.truths import DEFAULT

HOME = folder("synthetic_data")
KINDS = {
    "sides_exchanged": 2,
    "entry_apex_exchanged": 1,
    "centimetres": 1,
    "duplicate_row": 1,
    "not_a_number": 1,
    "unknown_code": 1,
    "visit_before_delivery": 1,
}


@pytest.fixture(scope="module")
def faults() -> list[dict[str, str]]:
    path = HOME / "expected" / "faults.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@pytest.fixture(scope="module")
def tabs() -> dict[str, list[dict[str, Any]]]:
    """Rows of every tab; row 2 of the spreadsheet comes first."""
    workbook = load_workbook(HOME / "clinic" / "overdentures.xlsx")
    found = {}
    for tab in workbook:
        headings, *rows = tab.iter_rows(values_only=True)
        found[tab.title] = [dict(zip(headings, row, strict=True)) for row in rows]
    return found


def rows_of(
    faults: list[dict[str, str]], tabs: dict[str, list[dict[str, Any]]], kind: str
) -> list[dict[str, Any]]:
    chosen = [fault for fault in faults if fault["kind"] == kind]
    rows = [tabs[fault["sheet"]][int(fault["row"]) - 2] for fault in chosen]
    for fault, row in zip(chosen, rows, strict=True):
        assert row["case_id"] == fault["case_id"]
        assert all(name in row for name in fault["column"].split("|") if name)
    return rows


def points(row: dict[str, Any], state: str) -> np.ndarray:
    return np.array(
        [
            [row[f"{state}_{end}_{axis}_mm"] for axis in "xyz"]
            for end in ("entry", "apex")
        ]
    )


def test_the_table_lists_each_kind_as_often_as_it_was_planted(
    faults: list[dict[str, str]],
) -> None:
    kinds = [fault["kind"] for fault in faults]
    assert {kind: kinds.count(kind) for kind in kinds} == KINDS


def test_exchanged_sides_lie_across_the_midline(
    faults: list[dict[str, str]], tabs: dict[str, list[dict[str, Any]]]
) -> None:
    left, right = rows_of(faults, tabs, "sides_exchanged")
    assert points(left, "planned")[0, 0] > 0 > points(left, "achieved")[0, 0]
    assert points(right, "planned")[0, 0] < 0 < points(right, "achieved")[0, 0]


def test_exchanged_ends_put_the_apex_above_the_entry(
    faults: list[dict[str, str]], tabs: dict[str, list[dict[str, Any]]]
) -> None:
    (row,) = rows_of(faults, tabs, "entry_apex_exchanged")
    entry, apex = points(row, "achieved")
    assert apex[2] > entry[2]


def test_centimetres_show_in_the_length_alone(
    faults: list[dict[str, str]], tabs: dict[str, list[dict[str, Any]]]
) -> None:
    (row,) = rows_of(faults, tabs, "centimetres")
    for state in ("planned", "achieved"):
        entry, apex = points(row, state)
        assert np.linalg.norm(apex - entry) == pytest.approx(1.2, abs=0.003)
    assert row["planned_length_mm"] == 12


def test_the_duplicate_is_the_row_above_it(
    faults: list[dict[str, str]], tabs: dict[str, list[dict[str, Any]]]
) -> None:
    (row,) = rows_of(faults, tabs, "duplicate_row")
    place = next(i for i, other in enumerate(tabs["implants"]) if other is row)
    assert tabs["implants"][place - 1] == row


def test_words_and_dates_are_wrong_as_told(
    faults: list[dict[str, str]], tabs: dict[str, list[dict[str, Any]]]
) -> None:
    (reading,) = rows_of(faults, tabs, "not_a_number")
    assert reading["value"] == "3.2 approx"
    (event,) = rows_of(faults, tabs, "unknown_code")
    assert event["event"] == "ring changed"
    (visit,) = rows_of(faults, tabs, "visit_before_delivery")
    (denture,) = [r for r in tabs["dentures"] if r["case_id"] == visit["case_id"]]
    assert isinstance(visit["visit_date"], datetime)
    assert visit["visit_date"] < denture["delivery_date"]


def test_every_other_implant_in_coordinates_is_sound(
    faults: list[dict[str, str]], tabs: dict[str, list[dict[str, Any]]]
) -> None:
    """Sides, ends and lengths are right in every row that is not in the table."""
    wrong = {int(f["row"]) - 2 for f in faults if f["sheet"] == "implants"}
    for place, row in enumerate(tabs["implants"]):
        if place in wrong:
            continue
        sign = 1 if row["side"] == "left" else -1
        states = ["planned"] + ["achieved"] * (row["achieved_source"] is not None)
        for state in states:
            label = "planned" if state == "planned" else "placed"
            entry, apex = points(row, state)
            length = np.linalg.norm(apex - entry)
            assert sign * entry[0] > 3
            assert entry[2] > apex[2]
            assert length == pytest.approx(row[f"{label}_length_mm"], abs=0.03)


def test_only_the_harm_case_is_much_deeper_than_planned(
    tabs: dict[str, list[dict[str, Any]]],
) -> None:
    with (HOME / "expected" / "implants.csv").open(encoding="utf-8") as handle:
        deep = {
            (row["case_id"], row["side"])
            for row in csv.DictReader(handle)
            if row["depth_mm"] and float(row["depth_mm"]) > 2
        }
    (event,) = [r for r in tabs["events"] if r["event"] == "altered_sensation"]
    assert deep == {(event["case_id"], event["side"])}
    assert event["resolved_date"] is None


def test_the_single_incidents_are_in_the_sheets(
    tabs: dict[str, list[dict[str, Any]]],
) -> None:
    implants = tabs["implants"]
    abandoned = {r["case_id"] for r in implants if r["guide_used"] == "abandoned"}
    assert len(abandoned) == 1
    (case,) = [r for r in tabs["cases"] if r["case_id"] in abandoned]
    assert case["finished_by"] != case["operator"]
    assert len([r for r in implants if r["deliberate_change"]]) == 1
    (missing,) = [r for r in implants if r["outcome"] == "not_placed"]
    assert missing["achieved_entry_x_mm"] is None
    shorter = [
        r
        for r in implants
        if r["placed_length_mm"] and r["placed_length_mm"] < r["planned_length_mm"]
    ]
    assert len(shorter) == 1


def test_a_fault_that_finds_no_row_is_said() -> None:
    sheets = demo_sheets()[0]
    sheets["implants"] = []
    with pytest.raises(LookupError, match="no row of case"):
        plant(sheets)


def test_the_readme_tables_are_current(faults: list[dict[str, str]]) -> None:
    text = (HOME / "README.md").read_text(encoding="utf-8")
    assert refreshed(text, DEFAULT, faults) == text
    for truth, *_ in DEFAULT.rows():
        assert truth.partition(" ")[0] in text
