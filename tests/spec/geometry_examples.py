"""Examples of checks of implants, deviations, casts, pairs and whole cases."""

from __future__ import annotations

from typing import Any

from tests.integration.staged_tables import implant
from tests.spec.check_examples import SURGERY, Example, Row, after, one, row

POINTS = [f"{point}_{axis}_mm" for point in ("entry", "apex") for axis in "xyz"]


def moved(side: str, **by: float) -> dict[str, Any]:
    """The cells of a good implant whose achieved points are all moved by x, y, z."""
    shifts = {f"achieved_{p}": by.get(p[-4], 0) for p in POINTS}
    return {n: c + shifts[n] if n in shifts else c for n, c in implant(side).items()}


def only_planned(side: str) -> dict[str, Any]:
    """The cells of an implant that is not placed yet."""
    cells = implant(side) | {"placed_length_mm": ""}
    return {n: c for n, c in cells.items() if not n.startswith("achieved")}


def plan_again() -> dict[str, Any]:
    """A result that is the plan, exported twice."""
    cells = implant("left")
    return cells | {f"achieved_{p}": cells[f"planned_{p}"] for p in POINTS}


def exchanged(state: str) -> dict[str, Any]:
    """A good implant whose entry and apex are exchanged in one state."""
    cells = implant("left")
    other = {p: p.replace("entry", "-").replace("apex", "entry") for p in POINTS}
    source = {p: o.replace("-", "apex") for p, o in other.items()}
    return cells | {f"{state}_{p}": cells[f"{state}_{source[p]}"] for p in POINTS}


def in_centimetres(state: str, **more: Any) -> dict[str, Any]:
    """A good implant with one state in centimetres."""
    cells = implant("left")
    return cells | {f"{state}_{p}": cells[f"{state}_{p}"] / 10 for p in POINTS} | more


def both(**changed: dict[str, Any]) -> tuple[Row, ...]:
    """Both implants of a pair, each as given or good."""
    sides = ("left", "right")
    return tuple(("implants", changed.get(side, implant(side))) for side in sides)


def sites(sheet: str) -> tuple[Example, ...]:
    """What both sheets of single implants say about a site."""
    return (
        Example(
            f"{sheet}-tooth-in-other-jaw",
            (row("cases"), row(sheet, tooth="33")),
            (row("cases"), row(sheet, tooth="22")),
            "Row 2: the tooth number belongs to the other jaw than the case.",
        ),
        one(
            f"{sheet}-site-missing",
            sheet,
            {"side": "", "tooth": "33"},
            {"side": "", "tooth": ""},
            "nothing says on which side the implant stands.",
        ),
        Example(
            f"{sheet}-same-implant-twice",
            (row(sheet, reading="1"), row(sheet, reading="2")),
            (row(sheet, reading=""), row(sheet, reading="1")),
            "Row 2: 2 rows are about one implant, source, examiner and measurement"
            " number.",
        ),
    )


COORDINATES = (
    *sites("implants"),
    one(
        "implants-planned-length",
        "implants",
        {"planned_length_mm": 10.2},
        in_centimetres("planned"),
        "the length from planned entry to planned apex differs by -9 mm from the planned"
        " length on the label.",
    ),
    one(
        "implants-achieved-axis-zero",
        "implants",
        {},
        {
            f"achieved_apex_{a}_mm": implant("left")[f"achieved_entry_{a}_mm"]
            for a in "xyz"
        },
        "achieved entry and achieved apex are the same point, so there is no axis.",
    ),
    one(
        "implants-planned-axis-size",
        "implants",
        {"planned_reference": "mucosa", "planned_length_mm": 7},
        in_centimetres("planned", planned_reference="mucosa"),
        "from planned entry to planned apex is 1 mm; 3 to 40 mm is possible.",
    ),
    one(
        "implants-achieved-axis-size",
        "implants",
        {"achieved_reference": "pin_tip", "placed_length_mm": 7},
        in_centimetres("achieved", achieved_reference="pin_tip"),
        "from achieved entry to achieved apex is 1 mm; 3 to 40 mm is possible.",
    ),
    one(
        "implants-planned-upside-down",
        "implants",
        {},
        exchanged("planned"),
        "the planned apex lies 10 mm on the mouth's side of its entry.",
    ),
    one(
        "implants-achieved-upside-down",
        "implants",
        {},
        exchanged("achieved"),
        "the achieved apex lies 10 mm on the mouth's side of its entry.",
    ),
    one(
        "implants-axis-turned",
        "implants",
        {},
        exchanged("achieved"),
        "planned and achieved axis point opposite ways (177.64 degrees apart).",
    ),
    one(
        "implants-entry-far",
        "implants",
        moved("left", y=8),
        moved("left", y=12),
        "the entry lies 12.31 mm from the plan. Possible, but check.",
    ),
    one(
        "implants-angle-large",
        "implants",
        {},
        {"achieved_apex_x_mm": 15.5, "achieved_apex_z_mm": -7.3},
        "the axis lies 44.6 degrees from the plan. Possible, but check.",
    ),
    one(
        "implants-result-is-plan",
        "implants",
        {},
        plan_again(),
        "the achieved coordinates equal the planned ones to the last digit.",
    ),
    one(
        "implants-coordinate-size",
        "implants",
        {},
        moved("left", y=4000),
        "a coordinate is 4000.4 mm from the origin.",
    ),
    after(
        "implants-measured-before-surgery",
        "implants",
        "measured_date",
        (SURGERY, "2025-02-22"),
        "the result was measured 10 day(s) before the surgery.",
    ),
)


AS_PLACED = {"entry_3d_mm": "0.6", "angle_deg": "2.4"}
"""The figures of the good implant, so that both sheets say the same."""


def file_of(field: str, values: str) -> tuple[Row, ...]:
    """One file of deviations, a case a value, with no other figure."""
    alone = {name: "" for name in ("entry_3d_mm", "angle_deg") if name != field}
    return tuple(
        row(
            "deviations",
            **alone,
            case_id=f"{field} {values} {number}",
            **{field: value},
        )
        for number, value in enumerate(values.split())
    )


READY_FIGURES = (
    *sites("deviations"),
    one(
        "deviations-parts",
        "deviations",
        {"entry_3d_mm": "1.17", "entry_lateral_mm": "1.00", "depth_mm": "-0.61"},
        {"entry_3d_mm": "1.20", "entry_lateral_mm": "0.60", "depth_mm": "0.21"},
        "the parts do not add up: the distance at the entry differs by 0.55 mm from what"
        " its sideways and depth parts give.",
    ),
    one(
        "deviations-all-zero",
        "deviations",
        {"angle_deg": "0"},
        {"entry_3d_mm": "0.0", "angle_deg": "0"},
        "distance and angle are all exactly 0: the result equals the plan to the last"
        " digit.",
    ),
    Example(
        "deviations-depth-unsigned",
        file_of("depth_mm", "0.3 -0.4 0.5 0.2 0.4 0.6 0.1 0.3"),
        file_of("depth_mm", "0.3 0.4 0.5 0.2 0.4 0.6 0.1 0.3"),
        "No depth in this file is below 0, so deeper and shallower cannot be told apart.",
    ),
    Example(
        "deviations-angle-radians",
        file_of("angle_deg", "3.1 0.4 5.2 2.0 4.4 1.6 3.1 2.3"),
        file_of("angle_deg", ".05 .01 .09 .03 .08 .02 .05 .04"),
        "The largest angle in this file is 0.09: the angles look like radians.",
    ),
)


def reading(quantity: str, value: str, **more: str) -> Row:
    return row("pair_readings", quantity=quantity, value=value, **more)


CASTS_AND_PINS = (
    Example(
        "cast-readings-before-surgery",
        (row("cases"), row("cast_readings", measured_date="2025-01-10")),
        (
            row("cases"),
            row("cast_readings", state="achieved", measured_date="2025-01-10"),
        ),
        "Row 2: the cast of the result was measured 53 day(s) before the surgery.",
    ),
    Example(
        "cast-readings-same-cast",
        (
            row("cast_readings", cast_id="first"),
            row("cast_readings", state="achieved", cast_id="second"),
        ),
        (
            row("cast_readings", cast_id="third"),
            row("cast_readings", state="achieved", cast_id="third"),
        ),
        "Row 3: plan and result carry the same cast number.",
    ),
    after(
        "pair-readings-before-surgery",
        "pair_readings",
        "measured_date",
        (SURGERY, "2025-03-02"),
        "the result was measured 2 day(s) before the surgery.",
    ),
    Example(
        "pair-readings-angle",
        (reading("sagittal_angle", "-4"),),
        (reading("angle_3d", "86"),),
        "Row 2: the angle between the two implants reads 86 degrees; 0 to 60 is"
        " possible.",
    ),
    Example(
        "pair-readings-entry-spacing",
        (reading("entry_spacing", "16"),),
        (reading("entry_spacing", "1.6"),),
        "Row 2: the two implants are 1.6 mm apart; 5 to 60 mm is possible.",
    ),
    Example(
        "pair-readings-tip-spacing",
        (reading("tip_spacing", "15", pin_length_mm="20"),),
        (reading("tip_spacing", "150", pin_length_mm="20"),),
        "Row 2: the two pin tips are 150 mm apart; 0 to 100 mm is possible.",
    ),
    Example(
        "pair-readings-pin-missing",
        (
            reading("entry_spacing", "16", pin_length_mm="20"),
            reading("tip_spacing", "15"),
        ),
        (reading("tip_spacing", "15"), reading("entry_spacing", "16")),
        "Row 2: a spacing of the pin tips gives no angle without the length of the pins.",
    ),
)

BESIDE = moved("left", x=0.01) | {"site": "left_distal"}
"""Another implant on the left."""

PAIRS_AND_CASES = (
    Example(
        "pair-planned-sides",
        (("implants", only_planned("left")), ("implants", only_planned("right"))),
        (
            ("implants", only_planned("left") | {"side": "right"}),
            ("implants", only_planned("right") | {"side": "left"}),
        ),
        "In the plan, the left implant does not stand to the patient's left of the right"
        " one (-16 mm to the left of it).",
    ),
    Example(
        "pair-achieved-sides",
        both(),
        both(left=moved("left", x=-16), right=moved("right", x=16)),
        "In the result, the left implant does not stand to the patient's left of the"
        " right one (-16 mm to the left of it).",
    ),
    Example(
        "pair-not-one-frame",
        (
            ("implants", moved("left", y=40) | {"achieved_frame": "scan"}),
            ("implants", moved("right", y=40) | {"achieved_frame": "scan"}),
        ),
        both(left=moved("left", y=40), right=moved("right", y=40)),
        "Both implants lie at least 40.3 mm off the same way: plan and result are not in"
        " one frame.",
    ),
    Example(
        "case-tooth-on-two-sides",
        (row("implants", tooth="B"), row("deviations", tooth="B", **AS_PLACED)),
        (row("implants", tooth="B"), row("deviations", tooth="B", side="right")),
        "One tooth number of this case is called left on one row and right on another.",
    ),
    Example(
        "case-two-teeth-on-a-side",
        (row("implants", tooth="33"), row("deviations", tooth="33", **AS_PLACED)),
        (row("implants", tooth="33"), row("deviations", tooth="32")),
        "The implant on one side of this case goes by two tooth numbers on different"
        " sheets.",
    ),
    Example(
        "case-both-on-one-side",
        both(),
        (row("implants", site="left"), row("implants", site="left_distal")),
        "More than one implant of the pair stands on one side of this case and none on"
        " the other.",
    ),
    Example(
        "case-more-than-a-pair",
        (*both(), ("implants", BESIDE | {"part": "added"})),
        (*both(), ("implants", BESIDE)),
        "More than one implant of the pair stands on one side of this case, so it has no"
        " figures of a pair.",
    ),
)

GEOMETRY = (*COORDINATES, *READY_FIGURES, *CASTS_AND_PINS, *PAIRS_AND_CASES)
