"""Published per-implant tables say what their papers print, before and after turning."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest

from pipeline.reference import load
from pipeline.reference.lint import sd_divisor
from tests.published import open_tables

# Onclin et al. 2020, doi 10.1186/s40729-020-00221-x: mean and sd of 23 implants as
# printed, with the digits they were printed with.
PRINTED = {
    "angular_deviation_deg": ("7.24", "3.39"),
    "global_deviation_mm": ("1.1", "0.5"),
    "lateral_deviation_mm": ("0.8", "0.5"),
    "depth_deviation_mm": ("0.6", "0.4"),
}


def column(name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in open_tables.upper_jaw_rows()])


def sheet(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def digits(text: str) -> int:
    return len(text.partition(".")[2])


@pytest.mark.parametrize("name", PRINTED)
def test_the_rows_give_the_mean_the_paper_prints(name: str) -> None:
    mean, _ = PRINTED[name]
    assert f"{column(name).mean():.{digits(mean)}f}" == mean


@pytest.mark.parametrize(
    ("name", "divisor"),
    [
        ("angular_deviation_deg", "n"),
        ("global_deviation_mm", "either"),
        ("lateral_deviation_mm", "either"),
        ("depth_deviation_mm", "either"),
    ],
)
def test_the_printed_sd_of_the_angle_was_made_with_n(name: str, divisor: str) -> None:
    """Where one decimal leaves a choice, either divisor fits; the angle tells."""
    printed = PRINTED[name][1]
    assert (
        sd_divisor(
            list(column(name)),
            float(printed),
            sd_digits=digits(printed),
            row_digits=1,
        )
        == divisor
    )


def test_the_rows_have_these_ranges() -> None:
    """No range is printed with the table; these hold the rows still."""
    ranges = {name: (column(name).min(), column(name).max()) for name in PRINTED}
    assert ranges == {
        "angular_deviation_deg": (0.6, 13.0),
        "global_deviation_mm": (0.4, 2.6),
        "lateral_deviation_mm": (0.2, 2.6),
        "depth_deviation_mm": (0.1, 1.8),
    }


def test_one_row_breaks_global_squared_is_lateral_and_depth_squared() -> None:
    """All figures are rounded to 0.1, so each side is an interval; one pair misses."""
    rows = open_tables.upper_jaw_rows()
    whole = column("global_deviation_mm")
    lateral, depth = column("lateral_deviation_mm"), column("depth_deviation_mm")
    low = np.hypot(lateral - 0.05, depth - 0.05)
    high = np.hypot(lateral + 0.05, depth + 0.05)
    breaks = (whole + 0.05 < low) | (whole - 0.05 > high)
    where = [
        (row["patient_no"], row["implant_fdi"])
        for row, is_break in zip(rows, breaks, strict=True)
        if is_break
    ]
    assert where == [("8", "23")]


def test_the_deviations_sheet_holds_the_23_placed_implants_as_printed() -> None:
    rows = sheet(open_tables.upper_jaw_deviations())
    assert len(rows) == 23
    assert len({(row["case_id"], row["tooth"]) for row in rows}) == 23
    assert rows[0] == {
        "case_id": "upper-01",
        "tooth": "13",
        "entry_3d_mm": "1.0",
        "entry_lateral_mm": "0.8",
        "depth_mm": "0.6",
        "angle_deg": "5.0",
        "is_signed": "no",
        "planned_length_mm": "15",
        "achieved_source": "cbct",
    }


def test_the_cases_sheet_holds_eleven_upper_jaws() -> None:
    rows = sheet(open_tables.upper_jaw_cases())
    assert [row["case_id"] for row in rows] == [f"upper-{n:02d}" for n in range(1, 12)]
    assert {row["jaw"] for row in rows} == {"upper"}


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("deviations", open_tables.upper_jaw_deviations()),
        ("cases", open_tables.upper_jaw_cases()),
        ("implants", open_tables.paired_axes_implants([])),
    ],
)
def test_headings_and_codes_are_those_of_the_record_sheets(
    name: str, text: str
) -> None:
    fields = {field.field: field for field in load.fields(name)}
    reader = csv.DictReader(io.StringIO(text))
    assert set(reader.fieldnames or ()) <= set(fields)
    for row in reader:
        for heading, value in row.items():
            codes = fields[heading].codes
            assert not codes or value in codes


def test_a_point_to_the_right_and_front_turns_to_minus_left_and_minus_back() -> None:
    assert open_tables.in_our_frame("8.25", "-9.5", "-31.75") == (
        "-8.25",
        "9.5",
        "-31.75",
    )


def invented_axis(rater: str) -> dict[str, str]:
    numbers = iter(range(1, 13))
    return {
        "subject": "sub-001",
        "rater": rater,
        "side": "right",
        **{
            f"{point}_{axis}": str(next(numbers))
            for point in open_tables.POINTS
            for axis in "xyz"
        },
    }


def test_each_rater_is_a_reading_of_its_own_and_one_rater_alone_is_reading_one() -> (
    None
):
    rows = [invented_axis(rater) for rater in open_tables.RATERS]
    every = sheet(open_tables.paired_axes_implants(rows))
    assert [row["reading"] for row in every] == ["1", "2", "3", "4", "5"]
    third = sheet(open_tables.paired_axes_implants(rows, "R3"))
    assert [(row["examiner"], row["reading"]) for row in third] == [("R3", "1")]
    assert third[0]["planned_entry_x_mm"] == "-1.0"
    assert third[0]["achieved_apex_y_mm"] == "-11.0"
    assert third[0]["achieved_apex_z_mm"] == "12"


@pytest.fixture
def axes() -> Path:
    path = open_tables.paired_axes_path()
    if path is None:
        pytest.skip(f"{open_tables.AXES_PLACE} names no table of paired axes")
    return path


def distances(text: str, side: str, end: str) -> np.ndarray:
    rows = [row for row in sheet(text) if row["side"] == side]
    planned, achieved = (
        np.array([[float(row[f"{state}_{end}_{a}_mm"]) for a in "xyz"] for row in rows])
        for state in ("planned", "achieved")
    )
    return np.linalg.norm(achieved - planned, axis=1)


@pytest.mark.parametrize("printed", open_tables.landmark_errors())
def test_turned_axes_give_the_printed_distance_of_every_rater(
    axes: Path, printed: dict[str, str]
) -> None:
    """Source: greydongilmore/afids-clinical, workbook "Error calc.xlsx", sheet AFLE."""
    rows = open_tables.paired_axes_rows(axes)
    for rater in open_tables.RATERS:
        text = open_tables.paired_axes_implants(rows, rater)
        found = distances(text, printed["side"], printed["end"])
        assert len(found) == 39
        assert found.mean() == pytest.approx(float(printed[f"{rater}_mm"]), abs=1e-6)
    text = open_tables.paired_axes_implants(rows)
    found = distances(text, printed["side"], printed["end"])
    assert found.mean() == pytest.approx(float(printed["mean_mm"]), abs=1e-6)
    assert found.std(ddof=1) == pytest.approx(float(printed["sd_mm"]), abs=1e-6)


def test_the_left_axis_lies_left_of_the_right_one_with_the_apex_below(
    axes: Path,
) -> None:
    """Our frame: x to the patient's left, z up; the lines run down as implants do."""
    text = open_tables.paired_axes_implants(open_tables.paired_axes_rows(axes), "R1")
    places: dict[str, dict[str, float]] = {}
    for row in sheet(text):
        sides = places.setdefault(row["case_id"], {})
        sides[row["side"]] = float(row["planned_entry_x_mm"])
        assert float(row["planned_apex_z_mm"]) < float(row["planned_entry_z_mm"])
    assert len(places) == 39
    assert all(sides["left"] > sides["right"] for sides in places.values())
