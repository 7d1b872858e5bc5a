"""Faults of ready-made figures, of readings on casts and of pairs."""

from __future__ import annotations

from math import radians, sin

import numpy as np

from tests.benchmarks.fault_kinds import Draws, Kind, kind, number, pick, points
from tests.benchmarks.fault_records import Cells, Records


def figures(records: Records) -> list[Cells]:
    return records["deviations"]


def bound(cells: Cells) -> float:
    """How far the end of the implant moves against its head by the angle."""
    length = number(cells, "planned_length_mm")
    return 2 * length * sin(radians(number(cells, "angle_deg")) / 2)


@kind(
    "impossible_triple",
    "ready",
    "stop",
    ("0.15 mm beyond what is possible", "0.5 mm", "2 mm"),
    "deviations-impossible-triple",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    cells = pick(figures(records), draws)
    by = (0.15, 0.5, 2.0)[strength]
    apex = number(cells, "entry_3d_mm") + bound(cells) + by
    cells["apex_3d_mm"] = repr(round(apex, 2))


@kind(
    "parts_do_not_add",
    "ready",
    "hold",
    ("0.2 mm", "0.5 mm", "1.5 mm"),
    "deviations-parts deviations-part-beyond-whole",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    cells = pick(figures(records), draws)
    by = (0.2, 0.5, 1.5)[strength]
    cells["entry_3d_mm"] = repr(round(number(cells, "entry_3d_mm") + by, 2))
    cells["apex_3d_mm"] = repr(round(number(cells, "apex_3d_mm") + by, 2))


@kind(
    "tilts_do_not_make_the_angle",
    "ready",
    "hold",
    ("2 degrees", "4 degrees", "10 degrees"),
    "deviations-tilts-against-angle",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    cells = pick(figures(records), draws)
    angle = number(cells, "angle_deg")
    for name, share in (("frontal", 0.6), ("sagittal", 0.8)):
        value = share * (1.1 * angle + (2, 4, 10)[strength])
        cells[f"{name}_tilt_change_deg"] = repr(round(value, 1))


@kind(
    "size_with_a_sign",
    "ready",
    "stop",
    ("the angle", "the distance at the entry", "every size"),
    "deviations-*-negative",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    names = (
        ("angle_deg",),
        ("entry_3d_mm",),
        ("angle_deg", "entry_3d_mm", "apex_3d_mm"),
    )
    cells = pick(figures(records), draws)
    for name in names[strength]:
        cells[name] = "-" + cells[name]


@kind(
    "all_zero",
    "ready",
    "stop",
    ("0", "0.0", "0.00"),
    "deviations-all-zero",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    cells = pick(figures(records), draws)
    for name in [n for n in cells if n.endswith(("_mm", "_deg")) and "length" not in n]:
        cells[name] = ("0", "0.0", "0.00")[strength]


@kind(
    "figure_too_large",
    "ready",
    "hold",
    ("a point lost: times 10", "times 100", "times 1000"),
    "deviations-*-large deviations-impossible-triple deviations-parts",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    cells = pick(figures(records), draws)
    value = number(cells, "angle_deg") * (10, 100, 1000)[strength]
    cells["angle_deg"] = repr(round(value, 1))


def against_points(
    name: str, change: object, strengths: tuple[str, str, str], checks: str
) -> None:
    """Register a ready figure beside the coordinates it was once made from."""

    def plant(records: Records, strength: int, draws: Draws) -> None:
        cells = pick(records["implants"], draws)
        planned, achieved = (points(cells, state) for state in ("planned", "achieved"))
        axes = [found[1] - found[0] for found in (planned, achieved)]
        units = [axis / np.linalg.norm(axis) for axis in axes]
        off = achieved[0] - planned[0]
        true = {
            "entry_3d_mm": float(np.linalg.norm(off)),
            "depth_mm": float(off @ units[0]),
            "angle_deg": float(
                np.degrees(np.arccos(np.clip(units[0] @ units[1], -1, 1)))
            ),
        }
        said = true | change(true, strength)  # type: ignore[operator]
        row = {
            n: repr(round(float(v), 1 if n.endswith("deg") else 2))
            for n, v in said.items()
        }
        records["deviations"] = [
            {"case_id": cells["case_id"], "side": cells["side"], **row}
        ]

    kind(name, "coordinates", "hold", strengths, checks)(plant)


against_points(
    "stale_angle",
    lambda true, s: {"angle_deg": true["angle_deg"] + (1.2, 2.5, 6.0)[s]},
    ("1.2 degrees off", "2.5 degrees", "6 degrees"),
    "deviations-angle-against-points",
)
against_points(
    "stale_distance",
    lambda true, s: {"entry_3d_mm": true["entry_3d_mm"] + (0.6, 1.2, 3.0)[s]},
    ("0.6 mm off", "1.2 mm", "3 mm"),
    "deviations-entry-against-points",
)
against_points(
    "depth_sign_reversed",
    lambda true, s: {
        "entry_3d_mm": max(true["entry_3d_mm"], abs(true["depth_mm"])),
        "depth_mm": -true["depth_mm"]
        - np.copysign((0.6, 1.2, 2.4)[s], true["depth_mm"]),
    },
    ("0.6 mm off and more", "1.2 mm and more", "2.4 mm and more"),
    "deviations-depth-against-points",
)


@kind(
    "pair_angle_against_points",
    "coordinates",
    "hold",
    ("1.8 degrees off", "4 degrees", "10 degrees"),
    "cases-achieved-angle-against-points",
)
def _(records: Records, strength: int, _: Draws) -> None:
    ends = [points(cells, "achieved") for cells in records["implants"]]
    units = [(e[1] - e[0]) / np.linalg.norm(e[1] - e[0]) for e in ends]
    angle = float(np.degrees(np.arccos(np.clip(units[0] @ units[1], -1, 1))))
    said = angle + (1.8, 4.0, 10.0)[strength]
    records["cases"][0]["achieved_pair_angle_deg"] = repr(round(said, 1))


def of_file(file: list[Records]) -> list[Cells]:
    return [cells for records in file for cells in figures(records)]


RUNS = ("6 rows", "8 rows", "12 rows")


def pulled_down(name: str, field: str, check: str, step: float) -> None:
    def plant(file: list[Records], strength: int, _: Draws) -> None:
        rows = of_file(file)[4 : 4 + (6, 8, 12)[strength]]
        first = number(rows[0], field)
        for place, cells in enumerate(rows):
            cells[field] = repr(round(first + step * place, 2))

    kind(name, "ready", "hold", RUNS, check, is_of_file=True)(plant)


pulled_down("angles_pulled_down", "angle_deg", "deviations-angle-series", 0.1)
pulled_down("angles_repeated", "angle_deg", "deviations-angle-series", 0.0)
pulled_down("distances_pulled_down", "entry_3d_mm", "deviations-entry-series", 0.1)


@kind(
    "figures_copied_from_another_case",
    "ready",
    "hold",
    ("the left implant", "the right implant", "both"),
    "deviations-copied-figures",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    del file[2:]
    for side in ((0,), (1,), (0, 1))[strength]:
        one, other = (figures(records)[side] for records in file)
        for name, value in one.items():
            if name.endswith(("_mm", "_deg")):
                other[name] = value


@kind(
    "row_of_totals",
    "ready",
    "hold",
    ("a mean without a side", "a mean with a side", "a sum with a side"),
    "deviations-summary-row deviations-site-missing",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    rows = of_file(file)
    total: Cells = {"case_id": rows[0]["case_id"] + " Mean"}
    for name in ("entry_3d_mm", "entry_lateral_mm", "apex_3d_mm", "angle_deg"):
        values = [number(cells, name) for cells in rows]
        value = sum(values) if strength == 2 else float(np.mean(values))
        total[name] = repr(round(value, 2))
    if strength:
        total["side"] = "left"
    file[-1]["deviations"].append(total)


@kind(
    "angles_in_radians",
    "ready",
    "warn",
    ("5 cases in the file", "12 cases", "30 cases"),
    "deviations-angle-radians",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    del file[(5, 12, 30)[strength] :]
    for cells in of_file(file):
        cells["angle_deg"] = repr(round(radians(number(cells, "angle_deg")), 4))


@kind(
    "depth_without_sign",
    "ready",
    "warn",
    ("5 cases in the file", "12 cases", "30 cases"),
    "deviations-depth-unsigned",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    del file[(5, 12, 30)[strength] :]
    for cells in of_file(file):
        cells["depth_mm"] = cells["depth_mm"].lstrip("-")
        cells.pop("is_signed")


@kind(
    "angles_rounded",
    "ready",
    "warn",
    ("5 cases in the file", "12 cases", "30 cases"),
    "deviations-angle-step",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    del file[(5, 12, 30)[strength] :]
    for cells in of_file(file):
        cells["angle_deg"] = repr(round(number(cells, "angle_deg")))


@kind(
    "distances_rounded",
    "ready",
    "warn",
    ("5 cases in the file", "12 cases", "30 cases"),
    "deviations-entry-step",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    del file[(5, 12, 30)[strength] :]
    for cells in of_file(file):
        cells["entry_3d_mm"] = repr(round(2 * number(cells, "entry_3d_mm")) / 2)


@kind(
    "zero_for_not_measured",
    "ready",
    "warn",
    ("10 percent of the rows", "25 percent", "50 percent"),
    "deviations-zero-share",
    is_of_file=True,
)
def _(file: list[Records], strength: int, draws: Draws) -> None:
    rows = of_file(file)
    for place in draws.permutation(len(rows))[
        : int((0.1, 0.25, 0.5)[strength] * len(rows))
    ]:
        for name in ("apex_3d_mm", "apex_lateral_mm"):
            rows[place][name] = "0"
        rows[place]["angle_deg"] = "0"


@kind(
    "constant_depth",
    "ready",
    "warn",
    ("1.5 mm deeper in all", "2 mm", "3 mm"),
    "deviations-constant-depth",
    is_of_file=True,
)
def _(file: list[Records], strength: int, draws: Draws) -> None:
    for cells in of_file(file):
        depth = (1.5, 2.0, 3.0)[strength] + draws.normal(0, 0.2)
        cells["depth_mm"] = repr(round(depth, 2))
        lateral = number(cells, "entry_lateral_mm")
        cells["entry_3d_mm"] = repr(round(float(np.hypot(depth, lateral)), 2))


def casts(records: Records, state: str = "achieved") -> list[Cells]:
    return [cells for cells in records["cast_readings"] if cells["state"] == state]


@kind(
    "cast_distance_with_sign",
    "cast",
    "stop",
    ("the left site", "the right site", "both"),
    "cast-readings-midline-negative",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in casts(records)[slice(*((0, 1), (1, 2), (0, 2))[strength])]:
        cells["midline_mm"] = "-" + cells["midline_mm"]


@kind(
    "cast_other_unit",
    "cast",
    "hold",
    ("centimetres", "inches", "a point lost: times 10"),
    "cast-readings-midline",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in casts(records):
        value = number(cells, "midline_mm") / (10, 25.4, 0.1)[strength]
        cells["midline_mm"] = repr(round(value, 2))


@kind(
    "pads_exchanged",
    "cast",
    "hold",
    ("the left site", "the right site", "both"),
    "cast-readings-pads-exchanged",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in casts(records)[slice(*((0, 1), (1, 2), (0, 2))[strength])]:
        left, right = cells["left_pad_mm"], cells["right_pad_mm"]
        cells["left_pad_mm"], cells["right_pad_mm"] = right, left


@kind(
    "result_read_on_the_plans_cast",
    "cast",
    "warn",
    ("the left site", "the right site", "both"),
    "cast-readings-same-cast",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in casts(records)[slice(*((0, 1), (1, 2), (0, 2))[strength])]:
        cells["cast_id"] = casts(records, "planned")[0]["cast_id"]


def readings(records: Records, *quantities: str) -> list[Cells]:
    return [
        cells
        for cells in records["pair_readings"]
        if cells["quantity"] in quantities and cells["state"] == "achieved"
    ]


@kind(
    "pair_angle_too_large",
    "pair",
    "hold",
    ("65 degrees", "90 degrees", "450 degrees"),
    "pair-readings-angle",
)
def _(records: Records, strength: int, _: Draws) -> None:
    cells = readings(records, "frontal_angle", "sagittal_angle")[0]
    cells["value"] = ("65", "90", "450")[strength]


@kind(
    "pair_spacing_other_unit",
    "pair",
    "hold",
    ("centimetres", "inches", "a point lost: times 10"),
    "pair-readings-entry-spacing pair-readings-tip-spacing",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in readings(records, "entry_spacing", "tip_spacing"):
        value = number(cells, "value") / (10, 25.4, 0.1)[strength]
        cells["value"] = repr(round(value, 2))


@kind(
    "pin_length_missing",
    "pair",
    "hold",
    ("empty", "a word", "a dash"),
    "pair-readings-pin-missing",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in readings(records, "entry_spacing", "tip_spacing"):
        cells["pin_length_mm"] = ("", "twenty", "-")[strength]


@kind(
    "angle_of_one_plane_as_angle_in_space",
    "pair",
    "warn",
    ("a photograph", "a panoramic film", "a lateral film"),
    "pair-readings-angle-in-space",
)
def _(records: Records, strength: int, _: Draws) -> None:
    cells = readings(records, "frontal_angle")[0]
    cells["quantity"] = "angle_3d"
    cells["source"] = ("photo", "panoramic", "lateral_skull")[strength]


__all__ = ["Kind"]
