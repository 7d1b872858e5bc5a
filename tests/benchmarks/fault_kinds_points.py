"""Faults of coordinates: ends, sides, axes, units, frames, and what no mend undoes."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.fault_kinds import (
    STATES,
    Array,
    Draws,
    change,
    exchange,
    kind,
    names_of,
    pick,
    points,
    put_points,
)
from tests.benchmarks.fault_records import Records

RESULT, PLAN = ("achieved",), ("planned",)
ONE_TWO = ("the left implant", "the right implant", "both")
WIDTHS = ("sites 6 mm from the midline", "8 mm", "11 mm")
HALF_WIDTHS = (6.0, 8.0, 11.0)
ORIGINS = ("origin in the jaw", "origin 20 mm off", "origin 60 mm off")
FAR = (0.0, 20.0, 60.0)
UNITS = ("centimetres", "inches", "metres")
FACTORS = (10.0, 25.4, 1000.0)
TIMES = ("10", "25.4", "1000")
IN_THE_JAW = "a change of sign of 1.5 to 3 mm is smaller than an error of placing"


def sides(records: Records) -> list[dict[str, str]]:
    """The rows of both implants, left first."""
    return sorted(records["implants"], key=lambda cells: cells["side"])


def some(strength: int) -> tuple[int, ...]:
    """Which implants: left, right, both."""
    return ((0,), (1,), (0, 1))[strength]


def ends(records: Records, strength: int, states: tuple[str, ...]) -> None:
    for side in some(strength):
        change(sides(records)[side], states, lambda found: found[::-1])


def ends_mends(state: str) -> tuple[str, str, str]:
    return tuple(f"{state}_ends_{side}" for side in ("left", "right", "both"))  # type: ignore[return-value]


@kind(
    "entry_apex_exchanged_result",
    "coordinates",
    "stop",
    ONE_TWO,
    "implants-achieved-upside-down",
    mends=ends_mends("achieved"),
)
def _(records: Records, strength: int, _: Draws) -> None:
    ends(records, strength, RESULT)


@kind(
    "entry_apex_exchanged_plan",
    "coordinates",
    "stop",
    ONE_TWO,
    "implants-planned-upside-down",
    mends=ends_mends("planned"),
)
def _(records: Records, strength: int, _: Draws) -> None:
    ends(records, strength, PLAN)


@kind(
    "entry_apex_exchanged_everywhere",
    "coordinates",
    "stop",
    ONE_TWO,
    "implants-*-upside-down",
    mends=ends_mends("both"),
)
def _(records: Records, strength: int, _: Draws) -> None:
    ends(records, strength, STATES)


def set_apart(records: Records, half_width: float) -> None:
    """Move both sites, plan and result, to a distance from the midline."""
    for cells in sides(records):
        entry = points(cells, "planned")[0]
        by = np.array([np.sign(entry[0]) * half_width - entry[0], 0, 0])
        change(cells, STATES, lambda found, by=by: found + by)


def sites(records: Records, strength: int, states: tuple[str, ...]) -> None:
    set_apart(records, HALF_WIDTHS[strength])
    left, right = sides(records)
    for state in states:
        exchange(left, right, names_of(state))


@kind(
    "sides_exchanged_result",
    "coordinates",
    "stop",
    WIDTHS,
    "pair-achieved-sides",
    mends="achieved_sites",
)
def _(records: Records, strength: int, _: Draws) -> None:
    sites(records, strength, RESULT)


@kind(
    "sides_exchanged_plan",
    "coordinates",
    "stop",
    WIDTHS,
    "pair-planned-sides",
    mends="planned_sites",
)
def _(records: Records, strength: int, _: Draws) -> None:
    sites(records, strength, PLAN)


@kind(
    "sides_exchanged_everywhere",
    "coordinates",
    "stop",
    WIDTHS,
    "pair-*-sides",
    mends="both_sites",
)
def _(records: Records, strength: int, _: Draws) -> None:
    sites(records, strength, STATES)


def with_signs(
    records: Records,
    strength: int,
    states: tuple[str, ...],
    signs: tuple[int, int, int],
) -> None:
    """Change signs of coordinates that are counted from an origin some way off."""
    off = np.array([FAR[strength] / 10, -FAR[strength], FAR[strength] / 4])
    for cells in sides(records):
        change(cells, STATES, lambda found: found + off)
        change(cells, states, lambda found: found * np.array(signs))


@kind(
    "other_axes_result",
    "coordinates",
    "stop",
    ORIGINS,
    "pair-achieved-sides",
    mends="achieved_axes",
)
def _(records: Records, strength: int, _: Draws) -> None:
    with_signs(records, strength, RESULT, (-1, -1, 1))


@kind(
    "other_axes_everywhere",
    "coordinates",
    "stop",
    ORIGINS,
    "pair-*-sides",
    mends="both_axes",
)
def _(records: Records, strength: int, _: Draws) -> None:
    with_signs(records, strength, STATES, (-1, -1, 1))


@kind(
    "mirrored_left_right",
    "coordinates",
    "stop",
    ORIGINS,
    "pair-achieved-sides",
    mends="achieved_mirror_x",
)
def _(records: Records, strength: int, _: Draws) -> None:
    with_signs(records, strength, RESULT, (-1, 1, 1))


@kind(
    "mirrored_forward_back",
    "coordinates",
    "hold",
    ORIGINS,
    "implants-entry-far",
    mends="achieved_mirror_y",
    why_unseen=(IN_THE_JAW, "", ""),
)
def _(records: Records, strength: int, _: Draws) -> None:
    with_signs(records, strength, RESULT, (1, -1, 1))


@kind(
    "height_counted_downward",
    "coordinates",
    "stop",
    ORIGINS,
    "implants-achieved-upside-down",
    mends="achieved_mirror_z",
)
def _(records: Records, strength: int, _: Draws) -> None:
    with_signs(records, strength, RESULT, (1, 1, -1))


def in_other_unit(found: Array, strength: int) -> Array:
    return found / FACTORS[strength]


def unit_mends(state: str, side: str) -> tuple[str, str, str]:
    return tuple(f"{state}_scale_{side}_{times}" for times in TIMES)  # type: ignore[return-value]


@kind(
    "other_unit_everywhere",
    "coordinates",
    "stop",
    UNITS,
    "implants-planned-length implants-achieved-length",
    mends=unit_mends("both", "both"),
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in sides(records):
        for state in STATES:
            put_points(cells, state, in_other_unit(points(cells, state), strength), 6)


@kind(
    "other_unit_one_row",
    "coordinates",
    "stop",
    UNITS,
    "implants-planned-length implants-achieved-length",
    mends=unit_mends("both", "left"),
)
def _(records: Records, strength: int, _: Draws) -> None:
    for state in STATES:
        cells = sides(records)[0]
        put_points(cells, state, in_other_unit(points(cells, state), strength), 6)


@kind(
    "other_unit_result",
    "coordinates",
    "stop",
    UNITS,
    "implants-achieved-length",
    mends=unit_mends("achieved", "both"),
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in sides(records):
        found = in_other_unit(points(cells, "achieved"), strength)
        put_points(cells, "achieved", found, 6)


@kind(
    "other_unit_without_label",
    "coordinates",
    "stop",
    UNITS,
    "implants-*-axis-size pair-*-spacing",
    mends=unit_mends("both", "both"),
)
def _(records: Records, strength: int, _: Draws) -> None:
    for cells in sides(records):
        cells.pop("planned_length_mm")
        cells.pop("placed_length_mm")
        for state in STATES:
            put_points(cells, state, in_other_unit(points(cells, state), strength), 6)


@kind(
    "plan_and_result_exchanged",
    "coordinates",
    "stop",
    ("an implant 0.5 mm shorter placed", "2 mm", "4 mm"),
    "implants-planned-length implants-achieved-length",
    mends="both_states",
)
def _(records: Records, strength: int, _: Draws) -> None:
    shorter = (0.5, 2, 4)[strength]
    for cells in sides(records):
        entry, apex = points(cells, "achieved")
        length = float(cells["planned_length_mm"])
        axis = (apex - entry) / np.linalg.norm(apex - entry)
        put_points(
            cells, "achieved", np.array([entry, entry + axis * (length - shorter)])
        )
        cells["placed_length_mm"] = repr(length - shorter)
        planned, achieved = (points(cells, state) for state in STATES)
        put_points(cells, "planned", achieved)
        put_points(cells, "achieved", planned)


@kind(
    "upright_plan_exchanged_with_result",
    "coordinates",
    "hold",
    ("result leans 1 degree", "2 degrees", "4 degrees"),
    "pair-result-upright",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    """Plan and result exchanged, with the same labels: only an upright plan tells."""
    lean = np.radians((1, 2, 4)[strength])
    for cells in sides(records):
        length = float(cells["planned_length_mm"])
        entry, placed = points(cells, "planned")[0], points(cells, "achieved")[0]
        turn = draws.uniform(0, 2 * np.pi)
        axis = np.array(
            [np.sin(lean) * np.cos(turn), np.sin(lean) * np.sin(turn), -np.cos(lean)]
        )
        put_points(cells, "achieved", np.array([entry, entry - [0, 0, length]]))
        put_points(cells, "planned", np.array([placed, placed + length * axis]))


@kind(
    "frames_apart",
    "coordinates",
    "hold",
    ("17 mm", "30 mm", "80 mm"),
    "pair-not-one-frame implants-entry-far",
    mends="achieved_shift",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    way = draws.normal(size=3)
    # not along the line through both sites, where a shift looks like exchanged sides
    way[0] *= 0.3
    by = (17, 30, 80)[strength] * way / np.linalg.norm(way)
    for cells in sides(records):
        change(cells, RESULT, lambda found: found + by)


@kind(
    "one_implant_far_off",
    "coordinates",
    "hold",
    ("11 mm", "15 mm", "40 mm"),
    "implants-entry-far",
    mends="none",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    way = draws.normal(size=3)
    by = (11, 15, 40)[strength] * way / np.linalg.norm(way)
    change(pick(sides(records), draws), RESULT, lambda found: found + by)


@kind(
    "one_implant_leaning_far",
    "coordinates",
    "hold",
    ("32 degrees", "40 degrees", "70 degrees"),
    "implants-angle-large",
    mends="none",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    lean = np.radians((32, 40, 70)[strength])
    turn = draws.uniform(0, 2 * np.pi)
    axis = [np.sin(lean) * np.cos(turn), np.sin(lean) * np.sin(turn), -np.cos(lean)]
    cells = pick(sides(records), draws)
    entry, apex = points(cells, "achieved")
    length = np.linalg.norm(apex - entry)
    put_points(cells, "achieved", np.array([entry, entry + length * np.array(axis)]))


@kind(
    "other_patient",
    "coordinates",
    "hold",
    ("sites 3 mm farther out", "5 mm farther out", "8 mm farther out"),
    "pair-spacing-changed implants-entry-far",
    why_unseen=(
        "two implants 3 mm farther out each could have been placed so",
        "",
        "",
    ),
)
def _(records: Records, strength: int, _: Draws) -> None:
    """The result of a patient whose sites lie elsewhere."""
    out = (3.0, 5.0, 8.0)[strength]
    for cells, sign in zip(sides(records), (1, -1), strict=True):
        by = np.array([sign * out, 0, 0])
        change(cells, RESULT, lambda found, by=by: found + by)


@kind(
    "wrong_label",
    "coordinates",
    "stop",
    ("0.25 mm", "1 mm", "4 mm"),
    "implants-planned-length implants-achieved-length",
    mends="none",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    cells = pick(sides(records), draws)
    for name in ("planned_length_mm", "placed_length_mm"):
        cells[name] = repr(float(cells[name]) + (0.25, 1.0, 4.0)[strength])


@kind(
    "one_coordinate_mistyped",
    "coordinates",
    "stop",
    ("a point lost: times 10", "times 100", "times 1000"),
    "implants-achieved-length implants-coordinate-size",
    mends="none",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    cells = pick(sides(records), draws)
    value = float(cells["achieved_apex_z_mm"]) * (10, 100, 1000)[strength]
    cells["achieved_apex_z_mm"] = repr(round(value, 2))


@kind(
    "result_is_plan",
    "coordinates",
    "stop",
    ("the left implant", "the right implant", "both"),
    "implants-result-is-plan",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for side in some(strength):
        cells = sides(records)[side]
        put_points(cells, "achieved", points(cells, "planned"), 2)
        for there, here in zip(names_of("planned"), names_of("achieved"), strict=True):
            cells[here] = cells[there]


@kind(
    "axis_of_no_length",
    "coordinates",
    "stop",
    ("the left implant", "the right implant", "both"),
    "implants-achieved-axis-zero",
)
def _(records: Records, strength: int, _: Draws) -> None:
    for side in some(strength):
        change(sides(records)[side], RESULT, lambda found: found[[0, 0]])


@kind(
    "reading_copied",
    "coordinates",
    "hold",
    ("of the left implant", "of the right implant", "of both"),
    "implants-reading-repeated",
)
def _(records: Records, strength: int, _: Draws) -> None:
    rows = sides(records)
    again = [{**rows[side], "reading": "2"} for side in some(strength)]
    records["implants"] = [*rows, *again]


@kind(
    "film_mirrored",
    "coordinates",
    "warn",
    ("6 degrees apart", "10 degrees apart", "16 degrees apart"),
    "films-mirrored",
)
def _(records: Records, strength: int, draws: Draws) -> None:
    """A film from the front whose leans are read on the wrong sides."""
    half = np.radians((3.0, 5.0, 8.0)[strength])
    read = []
    for cells, sign in zip(sides(records), (1, -1), strict=True):
        entry, _ = points(cells, "achieved")
        length = float(cells["planned_length_mm"])
        axis = np.array([np.sin(half), 0, -np.cos(half)])
        put_points(cells, "achieved", np.array([entry, entry + length * axis]))
        read.append(sign * np.degrees(half) + draws.normal(0, 1))
    records["films"] = [
        {
            "case_id": cells["case_id"],
            "side": cells["side"],
            "state": "achieved",
            "view": "frontal",
            "film_kind": "pa_skull",
            "angle_reference": "marker",
            "tilt_deg": repr(round(float(lean), 1)),
        }
        for cells, lean in zip(sides(records), reversed(read), strict=True)
    ]


@kind(
    "other_length_placed",
    "coordinates",
    "warn",
    ("0.5 mm", "2 mm", "4 mm"),
    "implants-other-length-placed",
)
def _(records: Records, strength: int, _: Draws) -> None:
    cells = sides(records)[0]
    shorter = (0.5, 2.0, 4.0)[strength]
    entry, apex = points(cells, "achieved")
    length = float(cells["planned_length_mm"])
    axis = (apex - entry) / np.linalg.norm(apex - entry)
    put_points(cells, "achieved", np.array([entry, entry + axis * (length - shorter)]))
    cells["placed_length_mm"] = repr(length - shorter)


@kind(
    "other_reference_point",
    "coordinates",
    "warn",
    ("1.5 mm deeper in all", "2 mm", "3 mm"),
    "implants-constant-depth",
    is_of_file=True,
)
def _(file: list[Records], strength: int, draws: Draws) -> None:
    by = (1.5, 2.0, 3.0)[strength]
    for records in file:
        for cells in sides(records):
            entry, apex = points(cells, "planned")
            axis = (apex - entry) / np.linalg.norm(apex - entry)
            slip = axis * (by + draws.normal(0, 0.2)) + np.array(
                [*draws.normal(0, 0.8, 2), 0]
            )
            put_points(cells, "achieved", np.array([entry, apex]) + slip)


@kind(
    "rounded_to_halves",
    "coordinates",
    "warn",
    ("10 cases in the file", "20 cases", "30 cases"),
    "implants-coordinate-step",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    del file[(10, 20, 30)[strength] :]
    for records in file:
        for cells in sides(records):
            for name in names_of("achieved")[:3]:
                cells[name] = repr(round(2 * float(cells[name])) / 2)


@kind(
    "result_copied_from_another_case",
    "coordinates",
    "hold",
    ("the left implant", "the right implant", "both"),
    "implants-copied-result",
    is_of_file=True,
)
def _(file: list[Records], strength: int, _: Draws) -> None:
    del file[2:]
    for side in some(strength):
        one, other = (sides(records)[side] for records in file)
        for name in (*names_of("achieved"), *names_of("planned"), "planned_length_mm"):
            other[name] = one[name]
        other["placed_length_mm"] = one["placed_length_mm"]
