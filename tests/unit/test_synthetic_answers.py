"""The known answers agree with a calculation that shares nothing with them.

Points are read back from the committed workbook; turns and angles are scipy's.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from openpyxl import load_workbook
from scipy.spatial.distance import cdist
from scipy.spatial.transform import Rotation

from pipeline.bundled import folder
from synthetic_data import geometry

HOME = folder("synthetic_data")
CLOSE = {"abs": 1e-9, "rel": 0}
UP = [0.0, 0.0, 1.0]


def answers(name: str) -> list[dict[str, str]]:
    path = HOME / "expected" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def tab(name: str) -> list[dict[str, Any]]:
    workbook = load_workbook(HOME / "clinic" / "overdentures.xlsx", read_only=True)
    try:
        headings, *rows = workbook[name].iter_rows(values_only=True)
    finally:
        workbook.close()
    return [dict(zip(headings, row, strict=True)) for row in rows]


@dataclass(frozen=True)
class Implant:
    """Planned, placed and compared entry and apex of one implant, mm."""

    side: str
    planned: np.ndarray
    placed: np.ndarray
    achieved: np.ndarray


@pytest.fixture(scope="module")
def readings() -> dict[tuple[str, str], list[dict[str, Any]]]:
    found: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in tab("implants"):
        if row["achieved_source"] is not None:
            found.setdefault((row["case_id"], row["side"]), []).append(row)
    return found


def points(row: dict[str, Any], state: str) -> np.ndarray:
    return np.array(
        [
            [row[f"{state}_{end}_{axis}_mm"] for axis in "xyz"]
            for end in ("entry", "apex")
        ]
    )


def implant(rows: list[dict[str, Any]]) -> Implant:
    """Average the readings: entries, unit axes, lengths."""
    read = np.stack([points(row, "achieved") for row in rows])
    lengths = np.linalg.norm(read[:, 1] - read[:, 0], axis=1)
    mean_axis = ((read[:, 1] - read[:, 0]) / lengths[:, None]).mean(axis=0)
    mean_axis /= np.sqrt(mean_axis @ mean_axis)
    planned = points(rows[0], "planned")
    entry = read[:, 0].mean(axis=0)
    placed = np.stack([entry, entry + lengths.mean() * mean_axis])
    length = lengths.mean()
    if rows[0]["planned_length_mm"] != rows[0]["placed_length_mm"]:
        length = np.linalg.norm(planned[1] - planned[0])
    achieved = np.stack([entry, entry + length * mean_axis])
    return Implant(str(rows[0]["side"]), planned, placed, achieved)


def axis(ends: np.ndarray) -> np.ndarray:
    direction: np.ndarray = ends[1] - ends[0]
    return direction / np.sqrt(direction @ direction)


def upright(direction: np.ndarray) -> Rotation:
    """Return the shortest turn that brings a direction upright."""
    return Rotation.align_vectors([UP], [direction])[0]


def angle_between(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.degrees(Rotation.align_vectors([one], [other])[0].magnitude()))


def lean(direction: np.ndarray, side: str) -> tuple[float, float]:
    """Frontal lean toward the midline and sagittal lean forward, by complex angles."""
    toward = {"left": -1, "right": 1}[side] * direction[0]
    return (
        float(np.angle(complex(direction[2], toward), deg=True)),
        float(np.angle(complex(direction[2], -direction[1]), deg=True)),
    )


def figures(one: Implant) -> dict[str, float]:
    """Compute an implant's figures in a frame turned onto its planned axis."""
    into = upright(axis(one.planned))
    entry, apex = into.apply(one.achieved - one.planned)
    before = lean(-axis(one.planned), one.side)
    after = lean(-axis(one.achieved), one.side)
    shift = one.achieved[0] - one.planned[0]
    return {
        "entry_3d_mm": float(cdist(one.planned[:1], one.achieved[:1])[0, 0]),
        "entry_lateral_mm": float(np.hypot(entry[0], entry[1])),
        "depth_mm": entry[2],
        "apex_3d_mm": float(cdist(one.planned[1:], one.achieved[1:])[0, 0]),
        "apex_lateral_mm": float(np.hypot(apex[0], apex[1])),
        "apex_depth_mm": apex[2],
        "angle_deg": angle_between(axis(one.planned), axis(one.achieved)),
        "mesial_mm": abs(one.planned[0, 0]) - abs(one.achieved[0, 0]),
        "facial_mm": -shift[1],
        "up_mm": shift[2],
        "planned_frontal_tilt_deg": before[0],
        "achieved_frontal_tilt_deg": after[0],
        "frontal_tilt_change_deg": after[0] - before[0],
        "planned_sagittal_tilt_deg": before[1],
        "achieved_sagittal_tilt_deg": after[1],
        "sagittal_tilt_change_deg": after[1] - before[1],
    }


def test_implants_in_coordinates_agree_with_scipy(
    readings: dict[tuple[str, str], list[dict[str, Any]]],
) -> None:
    rows = [r for r in answers("implants") if r["basis"] == "coordinates"]
    clean = [row for row in rows if row["has_fault"] == "no"]
    assert len(rows) == 47
    assert len(clean) == 42
    for row in clean:
        read = readings[row["case_id"], row["side"]]
        assert int(row["count_readings"]) == len(read)
        for name, value in figures(implant(read)).items():
            assert float(row[name]) == pytest.approx(value, **CLOSE), name


def test_single_readings_agree_with_scipy(
    readings: dict[tuple[str, str], list[dict[str, Any]]],
) -> None:
    rows = answers("readings")
    assert len(rows) == 62
    for row in rows:
        read = readings[row["case_id"], row["side"]][int(row["reading"]) - 1]
        for name, value in figures(implant([read])).items():
            assert float(row[name]) == pytest.approx(value, **CLOSE), name


def pairs_of(basis: str) -> Iterator[dict[str, str]]:
    yield from (row for row in answers("pairs") if row["basis"] == basis)


def test_pairs_in_coordinates_agree_with_scipy(
    readings: dict[tuple[str, str], list[dict[str, Any]]],
) -> None:
    rows = list(pairs_of("coordinates"))
    assert len(rows) == 19
    for row in rows:
        left, right = (
            implant(readings[row["case_id"], side]) for side in ("left", "right")
        )
        for state, held_as in (("planned", "planned"), ("achieved", "placed")):
            ends = getattr(left, held_as), getattr(right, held_as)
            for name, value in pair_figures(*ends).items():
                held = float(row[f"{state}_{name}"])
                assert held == pytest.approx(value, **CLOSE), name
        change = [
            float(row[f"{name}_change_deg"])
            for name in ("frontal_convergence", "sagittal_difference")
        ]
        assert float(row["pair_rotation_deg"]) == pytest.approx(
            abs(complex(*change)), **CLOSE
        )


def pair_figures(left: np.ndarray, right: np.ndarray) -> dict[str, float]:
    leans = lean(-axis(left), "left"), lean(-axis(right), "right")
    distances = cdist(left, right)
    return {
        "angle_deg": angle_between(axis(left), axis(right)),
        "frontal_convergence_deg": leans[0][0] + leans[1][0],
        "sagittal_difference_deg": leans[0][1] - leans[1][1],
        "spacing_mm": distances[0, 0],
        "apex_spacing_mm": distances[1, 1],
        "left_entry_right_apex_mm": distances[0, 1],
        "right_entry_left_apex_mm": distances[1, 0],
    }


def test_a_pairs_own_figures_survive_any_rigid_motion() -> None:
    """Angle, spacings and own-frame leans need no superimposition."""
    rng = np.random.default_rng(9)
    left = np.array([[8.0, 1.5, 0.0], [7.5, 1.0, -10.0]])
    right = np.array([[-8.2, 1.4, 0.3], [-9.0, 2.2, -9.7]])
    before = geometry.pair_state(tuple(left), tuple(right))
    turn, shift = Rotation.random(rng=rng), rng.normal(0, 30, 3)
    moved = [tuple(turn.apply(ends) + shift) for ends in (left, right)]
    after = geometry.pair_state(moved[0], moved[1])
    free = [name for name in before if name.startswith("own_") or name.endswith("mm")]
    for name in ("angle_deg", *free):
        assert after[name] == pytest.approx(before[name], **CLOSE), name


def test_ready_figures_are_the_answers_as_written() -> None:
    path = HOME / "clinic" / "ready_figures.csv"
    with path.open(encoding="cp1252", newline="") as handle:
        written = {
            (row["case_id"], row["side"]): row
            for row in csv.DictReader(handle, delimiter=";")
        }
    rows = [row for row in answers("implants") if row["basis"] == "ready"]
    assert len(rows) == len(written) == 20
    for row in rows:
        read = written[row["case_id"], row["side"]]
        for name in ("entry_3d_mm", "depth_mm", "apex_3d_mm", "angle_deg", "mesial_mm"):
            assert float(row[name]) == float(read[name].replace(",", "."))
        assert row["up_mm"] == ""


def test_ready_figures_are_possible() -> None:
    """Written parts add up within rounding: 3-D^2 = lateral^2 + depth^2."""
    for row in answers("implants"):
        if row["basis"] == "ready":
            parts = np.hypot(float(row["entry_lateral_mm"]), float(row["depth_mm"]))
            assert float(row["entry_3d_mm"]) == pytest.approx(parts, abs=0.015)


def test_cast_answers_are_differences_of_ruler_readings() -> None:
    rows = [row for row in answers("implants") if row["basis"] == "cast"]
    assert len(rows) == 28
    read = tab("cast_readings")
    for row in rows:
        means = {
            state: [
                np.mean(
                    [
                        r[field]
                        for r in read
                        if (r["case_id"], r["side"], r["state"])
                        == (row["case_id"], row["side"], state)
                    ]
                )
                for field in ("midline_mm", "crest_offset_mm")
            ]
            for state in ("planned", "achieved")
        }
        toward = means["planned"][0] - means["achieved"][0]
        forward = means["achieved"][1] - means["planned"][1]
        assert float(row["mesial_mm"]) == pytest.approx(toward, **CLOSE)
        assert float(row["facial_mm"]) == pytest.approx(forward, **CLOSE)
        assert row["depth_mm"] == row["entry_3d_mm"] == row["angle_deg"] == ""


def test_pad_distances_and_the_midline_mark_place_a_site_alike() -> None:
    """Three pad distances place a site across the jaw as the midline mark does.

    x = (right^2 - left^2) / 2B, as of any point with two known distances; half a
    millimetre of ruler step leaves about 0.7 mm either way, the mark 0.4 mm more.
    """
    checked = 0
    for row in tab("cast_readings"):
        if row["left_pad_mm"] is not None:
            across = (row["right_pad_mm"] ** 2 - row["left_pad_mm"] ** 2) / (
                2 * row["between_pads_mm"]
            )
            assert abs(abs(across) - row["midline_mm"]) < 2.2
            assert (across > 0) == (row["side"] == "left")
            checked += 1
    assert checked == 16


def test_pin_answers_follow_from_the_pin_readings() -> None:
    """Convergence by 2 asin((entry - tip)/2P), the sagittal part taken off first."""
    read = {
        (r["case_id"], r["state"], r["source"], r["quantity"]): r["value"]
        for r in tab("pair_readings")
    }
    rows = [r for r in pairs_of("pair") if r["achieved_source"] == "callipers_on_pins"]
    assert len(rows) == 12
    for row in rows:
        case = row["case_id"]
        entry, tip = (
            read[case, "achieved", "callipers_on_pins", f"{end}_spacing"]
            for end in ("entry", "tip")
        )
        sagittal = read.get((case, "achieved", "photo", "sagittal_angle"))
        plain = 2 * np.degrees(np.arcsin((entry - tip) / 40))
        held = float(row["achieved_uncorrected_frontal_convergence_deg"])
        assert held == pytest.approx(plain, **CLOSE)
        across = tip
        if sagittal is not None:
            across = np.sqrt(tip**2 - (20 * np.sin(np.radians(sagittal))) ** 2)
        expected = 2 * np.degrees(np.arcsin((entry - across) / 40))
        assert float(row["achieved_frontal_convergence_deg"]) == pytest.approx(
            expected, **CLOSE
        )


@pytest.mark.parametrize("convergence", [-8.0, 0.0, 3.0, 10.0, 20.0])
def test_pins_made_by_turning_read_their_convergence(convergence: float) -> None:
    """Two pins of 20 mm, 16 mm apart, each turned by half the convergence."""
    half = Rotation.from_euler("y", convergence / 2, degrees=True).apply(UP)
    left, right = np.array([8.0, 0, 0]), np.array([-8.0, 0, 0])
    tips = left + 20 * half * [-1, 1, 1], right + 20 * half
    tip_spacing = np.linalg.norm(tips[0] - tips[1])
    read = geometry.pins_convergence_deg(16.0, float(tip_spacing), 20.0)
    assert read == pytest.approx(convergence, abs=1e-9)


def test_a_sagittal_difference_no_longer_fakes_convergence() -> None:
    """Six degrees fore and aft on 20 mm pins, 16 mm apart: -0.39 without correction.

    The value is arithmetic, worked by hand: tips part to sqrt(16^2 + 2.09^2).
    """
    apart = 20 * np.sin(np.radians(6))
    tip = float(np.hypot(16, apart))
    assert geometry.pins_convergence_deg(16, tip, 20) == pytest.approx(-0.39, abs=0.005)
    assert geometry.pins_convergence_deg(16, tip, 20, 6) == pytest.approx(0, abs=1e-9)


def test_angles_of_two_planes_combine_to_the_angle_in_space() -> None:
    axis_in_space = np.array([np.tan(np.radians(7)), np.tan(np.radians(3)), 1])
    expected = angle_between(np.array(UP), axis_in_space)
    assert geometry.angle_of_planes_deg(7, 3) == pytest.approx(expected, abs=1e-9)


def test_true_figures_stand_beside_every_placed_implant() -> None:
    rows = answers("implants")
    assert len({(row["case_id"], row["side"]) for row in rows}) == len(rows) == 95
    for row in rows:
        parts = np.hypot(
            float(row["true_entry_lateral_mm"]), float(row["true_depth_mm"])
        )
        assert float(row["true_entry_3d_mm"]) == pytest.approx(parts, abs=1e-9)


def test_readings_stay_near_the_truth() -> None:
    """A figure as read is off by reading alone: within five times its error."""
    limits = {"scan_body": (0.08, 0.4), "cbct": (0.20, 0.7)}
    for row in answers("implants"):
        if row["basis"] == "coordinates" and row["has_fault"] == "no":
            place, turn = limits[row["achieved_source"]]
            # an entry is half an implant away from where the lean is read
            entry_sd = np.hypot(place, 6 * np.radians(turn))
            gap = abs(float(row["mesial_mm"]) - float(row["true_mesial_mm"]))
            assert gap < 5 * entry_sd
            gap = abs(
                float(row["frontal_tilt_change_deg"])
                - float(row["true_frontal_tilt_change_deg"])
            )
            assert gap < 5 * turn
