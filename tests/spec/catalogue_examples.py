"""Examples of checks that set figures, rows and files against each other."""

from __future__ import annotations

from typing import Any

from tests.integration.staged_tables import implant
from tests.spec.check_examples import SURGERY, Example, Row, one, row
from tests.spec.geometry_examples import both, moved


def files(sheet: str, field: str, values: str, **more: Any) -> tuple[Row, ...]:
    """One file with a case a value, and no other figure."""
    alone = {"entry_3d_mm": "", "angle_deg": ""} if sheet == "deviations" else {}
    return tuple(
        row(
            sheet,
            **{**alone, **more, field: value, "case_id": f"{field} {values} {number}"},
        )
        for number, value in enumerate(values.split())
    )


def series(field: str, values: str) -> tuple[Row, ...]:
    """Rows of one file, one figure each under the other."""
    return files("deviations", field, values)


FIGURES = (
    one(
        "deviations-impossible-triple",
        "deviations",
        # 2 * 12 * sin(2 degrees) = 0.84, and 1.9 - 1.2 = 0.7 lies below it
        {"apex_3d_mm": "1.9", "angle_deg": "4.0", "planned_length_mm": "12"},
        {
            "entry_3d_mm": "0.5",
            "apex_3d_mm": "2.9",
            "angle_deg": "2.1",
            "planned_length_mm": "12",
        },
        # 2.4 - 2 * 12 * sin(1.05 degrees) - 2 * 0.1 - 12 * 0.05 * pi / 180 = 1.75
        "distance at the entry, distance at the apex and angle cannot all be right for an"
        " implant of this length; they miss by 1.75 mm.",
    ),
    one(
        "deviations-part-beyond-whole",
        "deviations",
        {"mesial_mm": "-1.1"},
        {"mesial_mm": "-1.9"},
        "a part of a distance is 0.6 mm larger than the distance itself.",
    ),
    one(
        "deviations-tilts-against-angle",
        "deviations",
        {"frontal_tilt_change_deg": "2.1", "sagittal_tilt_change_deg": "-2.8"},
        {"frontal_tilt_change_deg": "6.0", "sagittal_tilt_change_deg": "2.5"},
        # sqrt(36 + 6.25) = 6.5; 6.5 - 3.5 - 0.1 - 0.35 = 2.55
        "the changes of lean, seen from the front and from the side, do not make the"
        " angle; they miss by 2.55 degrees.",
    ),
    Example(
        "deviations-angle-series",
        series("angle_deg", "3.1 3.3 3.5 3.7 3.9 4.2 4.4"),
        series("angle_deg", "3.1 3.3 3.5 3.7 3.9 4.1 5.5"),
        "Row 2: the angle is one of six or more, row after row, that stay the same or"
        " change in equal steps.",
    ),
    Example(
        "deviations-entry-series",
        series("entry_3d_mm", "1.3 1.3 1.3 1.3 1.3 1.4 0.9"),
        series("entry_3d_mm", "1.3 1.3 1.3 1.3 1.3 1.3 0.9"),
        "Row 2: the distance at the entry is one of six or more, row after row, that stay"
        " the same or change in equal steps.",
    ),
    Example(
        "deviations-summary-row",
        (*series("entry_3d_mm", "1.1 0.7 1.4 2.2"),),
        (
            *(
                row("deviations", case_id=f"total {n}", entry_3d_mm=e, angle_deg=a)
                for n, (e, a) in enumerate(
                    [("1.1", "2.5"), ("0.7", "4.1"), ("1.5", "3.0"), ("1.1", "3.2")]
                )
            ),
        ),
        "Row 5: its figures are the mean, or the sum, of all the others in this file.",
    ),
)


def as_written(entry: str, angle: str, **more: str) -> Row:
    return row("deviations", entry_3d_mm=entry, angle_deg=angle, **more)


POINTS = (
    Example(
        "deviations-angle-against-points",
        # the coordinates of the good implant: 0.62 mm and 2.36 degrees
        (("implants", implant("left")), as_written("0.62", "2.4")),
        (("implants", implant("left")), as_written("0.62", "5.4")),
        "Row 2: the angle in this sheet differs by 2.99 degrees from that of the"
        " coordinates of the same implant.",
    ),
    Example(
        "deviations-entry-against-points",
        (("implants", implant("left")), as_written("0.6", "2.4")),
        (("implants", implant("left")), as_written("1.62", "2.4")),
        "Row 2: the distance at the entry in this sheet differs by 1 mm from that of the"
        " coordinates of the same implant.",
    ),
    Example(
        "deviations-depth-against-points",
        (("implants", moved("left", z=-1)), as_written("1.3", "2.4", depth_mm="1.2")),
        (("implants", moved("left", z=-1)), as_written("1.3", "2.4", depth_mm="-1.2")),
        "Row 2: the depth in this sheet differs by 2.35 mm from that of the coordinates"
        " of the same implant.",
    ),
    Example(
        "cases-planned-angle-against-points",
        (row("cases", planned_pair_angle_deg="0"), *both()),
        (row("cases", planned_pair_angle_deg="7"), *both()),
        "Row 2: the planned angle between the two implants differs by 6.5 degrees from"
        " that of their coordinates.",
    ),
    Example(
        "cases-achieved-angle-against-points",
        (row("cases", achieved_pair_angle_deg="0.2"), *both()),
        (row("cases", achieved_pair_angle_deg="7.0"), *both()),
        "Row 2: the achieved angle between the two implants differs by 6.5 degrees from"
        " that of their coordinates.",
    ),
)


def copied() -> tuple[Row, ...]:
    """Two cases whose result is the same, on plans that are the same as well."""
    fine = {
        n: f"{c + 0.017:.3f}" if n.startswith("achieved") else c
        for n, c in implant("left").items()
    }
    return tuple(("implants", fine | {"case_id": f"copied {n}"}) for n in range(2))


def apart() -> tuple[Row, ...]:
    return tuple(
        ("implants", moved("left", y=0.01 * n) | {"case_id": f"apart {n}"})
        for n in range(2)
    )


def figures_alike(last: str) -> tuple[Row, ...]:
    return tuple(
        row(
            "deviations",
            case_id=f"alike {last} {number}",
            entry_3d_mm="1.23",
            apex_3d_mm="1.87",
            angle_deg=angle,
        )
        for number, angle in enumerate(("3.42", last))
    )


def read_twice(x: str) -> tuple[Row, ...]:
    """One implant in hundredths, read a second time; x of its entry then."""
    fine = {
        n: f"{c:.2f}" if n.startswith("achieved_") else c
        for n, c in moved("left", x=0.01, y=0.01, z=0.01).items()
    }
    return (
        ("implants", fine | {"reading": 1}),
        ("implants", fine | {"reading": 2, "achieved_entry_x_mm": x}),
    )


COPIES = (
    Example(
        "implants-reading-repeated",
        read_twice("8.53"),
        read_twice("8.51"),
        "Row 3: this reading repeats another one of the same implant, to the last digit.",
    ),
    Example(
        "implants-copied-result",
        apart(),
        copied(),
        "Row 2: the result of 2 implants of this file is the very same, to the last digit.",
    ),
    Example(
        "deviations-copied-figures",
        figures_alike("3.43"),
        figures_alike("3.42"),
        "Row 2: 2 implants of this file have the very same figures, to the last digit.",
    ),
)

UPRIGHT = {"achieved_apex_x_mm": 8.5, "achieved_apex_y_mm": 0.3}
LEANING = {"planned_apex_x_mm": -8.4, "planned_length_mm": ""}

PAIRS = (
    one(
        "implants-other-length-placed",
        "implants",
        {},
        {"placed_length_mm": "", "planned_length_mm": 10} | {"placed_length_mm": 10.2},
        "the implant placed is 0.2 mm longer or shorter than planned.",
    ),
    Example(
        "pair-planned-spacing",
        both(),
        (
            ("implants", implant("left", planned_entry_x_mm=1, planned_apex_x_mm=1)),
            ("implants", implant("right", planned_entry_x_mm=-1, planned_apex_x_mm=-1)),
        ),
        "In the plan, the two entries are 2 mm apart; 5 to 60 mm is possible.",
    ),
    Example(
        "pair-achieved-spacing",
        both(left=moved("left", x=2)),
        (
            ("implants", moved("left", x=-6.5)),
            ("implants", moved("right", x=6.5)),
        ),
        "In the result, the two entries are 3 mm apart; 5 to 60 mm is possible.",
    ),
    Example(
        "pair-spacing-changed",
        both(left=moved("left", x=4), right=moved("right", x=-4)),
        both(left=moved("left", x=6), right=moved("right", x=-6)),
        "The two implants stand 12 mm nearer or farther apart than planned. Possible, but"
        " check.",
    ),
    Example(
        "pair-result-upright",
        (
            ("implants", implant("left", **UPRIGHT, placed_length_mm="")),
            (
                "implants",
                implant("right", achieved_apex_x_mm=-7.5, achieved_apex_y_mm=0.3),
            ),
        ),
        (
            ("implants", implant("left", **UPRIGHT)),
            (
                "implants",
                implant(
                    "right",
                    planned_apex_x_mm=-8.4,
                    achieved_apex_x_mm=-7.5,
                    achieved_apex_y_mm=0.3,
                ),
            ),
        ),
        "In the result both implants stand exactly upright, to the last digit, while the"
        " plan leans 2.29 degrees: plan and result look exchanged.",
    ),
)


def placed_at(values: str) -> tuple[Row, ...]:
    """A file of results whose entries stand at these coordinates, a case each."""
    return tuple(
        (
            "implants",
            moved("left", x=float(value) - 8.5, y=0.2 + 0.5 * number, z=0.2)
            | {"case_id": f"at {values} {number}"},
        )
        for number, value in enumerate(values.split())
    )


def all_deeper(scatter: float) -> tuple[Row, ...]:
    """A file of results that all lie about 1.8 mm deeper."""
    return tuple(
        (
            "implants",
            moved("left", x=0.01 * number, z=-1.6 + scatter * (number % 3 - 1))
            | {"case_id": f"deeper {scatter} {number}"},
        )
        for number in range(9)
    )


def sizes(first: str) -> tuple[Row, ...]:
    """A file of three sizes a row; the first three apex distances are as given."""
    return tuple(
        row(
            "deviations",
            case_id=f"size {first} {n}",
            entry_3d_mm=f"{1.1 + 0.03 * n**1.5:.2f}",
            apex_3d_mm=first if n < 3 else f"{1.6 + 0.05 * n**1.5:.2f}",
            angle_deg=f"{2.3 + 0.07 * n**1.5:.2f}",
        )
        for n in range(8)
    )


def cast_file(values: str) -> tuple[Row, ...]:
    return files(
        "cast_readings", "midline_mm", values, state="achieved", resolution_mm="0.1"
    )


def merged(blank: int) -> tuple[Row, ...]:
    return tuple(
        (
            "implants",
            moved("left" if n % 2 else "right", y=0.003 * n)
            | {
                "case_id": f"merged {blank} {n // 2}" if n % 2 == 0 or not blank else ""
            },
        )
        for n in range(6)
    )


SETS = (
    Example(
        "deviations-angle-step",
        files("deviations", "angle_deg", "3 4 2 5 3.5 6 2 4"),
        files("deviations", "angle_deg", "3 4 2 5 3 6 2 4"),
        "All angles in this file are whole degrees: they look rounded.",
    ),
    Example(
        "deviations-entry-step",
        files("deviations", "entry_3d_mm", "1.5 2 1 0.5 1.1 2 1.5 1"),
        files("deviations", "entry_3d_mm", "1.5 2 1 0.5 1 2 1.5 1"),
        "All distances at the entry in this file stand on steps of 0.5 mm: they look"
        " rounded.",
    ),
    Example(
        "deviations-zero-share",
        sizes("1.6"),
        sizes("0"),
        "12.5 percent of the sizes in this file are exactly 0: a 0 may stand for not"
        " measured.",
    ),
    Example(
        "deviations-constant-depth",
        files("deviations", "depth_mm", "0.9 -0.5 1.1 0.2 -0.8 0.6 0.7 -0.3"),
        files(
            "deviations",
            "depth_mm",
            "1.9 1.7 1.8 1.6 2.0 1.8 1.9 1.7",
            entry_3d_mm="2.3",
        ),
        "All depths in this file lie about 1.8 mm off the same way: plan and result may"
        " have different reference points.",
    ),
    Example(
        "implants-coordinate-step",
        placed_at("8.5 9 8 8.5 7.9 8 8.5 9"),
        placed_at("8.5 9 8 8.5 7.5 8 8.5 9"),
        "All achieved entries in this file stand on steps of 0.5 mm: they look rounded.",
    ),
    Example(
        "implants-constant-depth",
        all_deeper(1.4),
        all_deeper(0.1),
        "All results in this file lie about 1.8 mm deeper or shallower than planned, the"
        " same way: plan and result may have different reference points.",
    ),
    Example(
        "implants-without-case",
        merged(0),
        merged(1),
        "50 percent of the rows of this file have no case number: cells may have been"
        " merged.",
    ),
    Example(
        "cast-readings-finer-than-read",
        cast_file("8 8.5 7.5 8 8.4 9 8 7.5"),
        cast_file("8 8.5 7.5 8 8.5 9 8 7.5"),
        "The results in this file stand on steps 5 times as coarse as the resolution it"
        " states.",
    ),
    Example(
        "events-without-side",
        tuple(
            row("events", event="insert_lost", side="left", case_id=f"sided {n}")
            for n in range(8)
        ),
        tuple(
            row("events", event="insert_lost", case_id=f"unsided {n}") for n in range(8)
        ),
        "100 percent of the events of parts beside one implant do not say on which side.",
    ),
    Example(
        "events-without-reason",
        tuple(
            row("events", reason="wear", side="left", case_id=f"why {n}")
            for n in range(8)
        ),
        tuple(row("events", side="left", case_id=f"no why {n}") for n in range(8)),
        "100 percent of the inserts that were renewed do not say why.",
    ),
)

DELIVERED = "2024-06-01"


def dated(**days: str) -> tuple[Row, ...]:
    return (row("cases", **days),)


CASES = (
    Example(
        "cases-other-date-base",
        dated(plan_date="2025-01-20"),
        dated(plan_date="2025-01-20", surgery_date="2021-03-03"),
        "Row 2: the days of this case lie four years and a day apart the wrong way round:"
        " a workbook that counts from 1904 was copied into one that counts from 1900.",
    ),
    Example(
        "cases-logged-late",
        dated(logged_date="2025-03-20"),
        dated(logged_date="2025-06-06"),
        "Row 2: the case was logged 94 days after the surgery.",
    ),
    Example(
        "cases-same-patient-same-day",
        (
            row("cases", case_id="one jaw", patient_id="p1", jaw="lower"),
            row("cases", case_id="other jaw", patient_id="p1", jaw="upper"),
        ),
        (
            row("cases", case_id="number", patient_id="p2"),
            row("cases", case_id="other number", patient_id="p2"),
        ),
        "Row 2: 2 cases are of one patient, one jaw and one day of surgery.",
    ),
    Example(
        "cases-second-surgery",
        (row("cases", case_id="first", patient_id="p3"),),
        (
            row("cases", case_id="second", patient_id="p4", surgery_date="2025-11-04"),
            row("cases", case_id="before", patient_id="p4"),
        ),
        "Row 2: the same jaw of this patient was operated before; the second surgery may"
        " replace an implant or correct the first.",
    ),
    Example(
        "case-implant-alone",
        both(),
        (row("implants"),),
        "Only one of the two implants of this case has a row.",
    ),
    Example(
        "case-us-numbers",
        (
            row("cases"),
            row("deviations", tooth="33", side=""),
            row("deviations", tooth="43", side=""),
        ),
        (
            row("cases"),
            row("deviations", tooth="22", side=""),
            row("deviations", tooth="27", side=""),
        ),
        "Both tooth numbers of this case lie in the upper left as FDI numbers; as American"
        " numbers they are a lower pair: 22 to 24 are 33 to 31, 25 to 27 are 41 to 43.",
    ),
)


def listed(*numbers: str, **more: str) -> tuple[Row, ...]:
    return tuple(row("cases", case_id=number, **more) for number in numbers)


NUMBERS = (
    Example(
        "case-number-rounded",
        listed("120000417331"),
        (*listed("1.2E+11"), row("implants", case_id="1.2E+11")),
        "The number of this case stands in E-notation: a spreadsheet has rounded it, and"
        " patients with near numbers have become one.",
    ),
    Example(
        "case-number-short-of-zeros",
        listed("00417", "00418"),
        (*listed("00431"), row("implants", case_id="431")),
        "Another case of this audit has the same number but for leading zeros: one of the"
        " two has lost them.",
    ),
    Example(
        "cases-numbers-absent",
        listed(*(f"G{n}" for n in range(11, 20))),
        listed(*(f"H{n}" for n in range(11, 23) if n not in (12, 15))),
        "2 case number(s) are absent between the first and the last in this file.",
    ),
    Example(
        "cases-names-alike",
        (
            row("cases", case_id="by one", operator="Quarrowe"),
            row("cases", case_id="by another", operator="Tormiddle"),
        ),
        (
            row("cases", case_id="spelled", operator="Dr. Fennimoss"),
            row("cases", case_id="otherwise", operator="fennimos"),
        ),
        "2 people in this file have names that differ in a title, a dot or one letter:"
        " they may be one person.",
    ),
)

FOLLOWED_UP = (
    Example(
        "case-not-seen-again",
        (row("cases", delivery_date="2025-05-02"), row("visits")),
        dated(delivery_date="2025-05-02"),
        "This case was delivered more than a year ago, and nothing says that the patient"
        " has been seen since: how it fares is unknown, which is not the same as well.",
    ),
    Example(
        "case-no-start",
        (row("cases", delivery_date="2025-06-01"), row("events")),
        (row("cases"), row("events")),
        "Something happened to the denture of this case, and no day of delivery says since"
        " when it was worn: no rate can be made.",
    ),
    Example(
        "case-remade-once-more",
        (
            row("dentures"),
            row("dentures", denture_no="2", delivery_date="2025-09-01"),
            row("events", event="denture_remade"),
        ),
        (row("dentures"), row("events", event="denture_remade")),
        "A denture of this case was remade, and the sheet dentures has no row for the new"
        " one: its time would be counted to the old one.",
    ),
    Example(
        "events-same-day",
        (row("events", side="left"), row("events", side="right")),
        (row("events", side="left"), row("events", side="right"), row("events")),
        "Row 2: the same event stands 3 times on one day for one denture.",
    ),
    Example(
        "events-kind-of-attachment",
        (
            row("dentures", attachment="stud"),
            row(
                "dentures",
                denture_no="2",
                delivery_date="2025-10-01",
                attachment="magnet",
            ),
            row("events", event="insert_renewed"),
            row("events", event="magnet_detached", event_date="2025-11-01"),
            row("events", event="screw_loose", event_date="2025-11-01"),
        ),
        (
            row("cases", delivery_date="2025-06-01", attachment="magnet"),
            row("events", event="insert_renewed"),
        ),
        "Row 2: this cannot happen to the kind of attachment of the denture.",
    ),
    Example(
        "events-after-last-observed",
        (
            row(
                "cases",
                delivery_date="2025-06-01",
                last_observed_date="2025-09-01",
                exit_status="remade",
            ),
            row("events"),
            row("events", event_date="2025-11-01"),
        ),
        (
            row("cases", delivery_date="2025-06-01", last_observed_date="2025-08-30"),
            row("events"),
        ),
        "Row 2: the event lies 2 day(s) after the last day the patient was observed.",
    ),
)


def guide(check: str, says: str, good: dict[str, Any], bad: dict[str, Any]) -> Example:
    return one(f"guides-{check}", "guides", good, bad, says)


def possible(field: str, value: str, low: str, high: str, unit: str = " mm") -> str:
    return f"{field} reads {value}{unit}; {low} to {high} is possible."


GUIDES = (
    guide("step", possible("step", "0", "1", "20", ""), {"step": 1}, {"step": 0}),
    guide(
        "made-day",
        "made_date is 1900-01-01; a day from 1980-01-01 to 2026-06-30 is possible.",
        {"made_date": SURGERY},
        {"made_date": "1900-01-01"},
    ),
    Example(
        "guides-made-before-plan",
        (
            row("cases", case_id="made after", plan_date="2025-02-01"),
            row("guides", case_id="made after", made_date="2025-02-09"),
        ),
        (
            row("cases", case_id="made before", plan_date="2025-02-01"),
            row("guides", case_id="made before", made_date="2025-01-28"),
        ),
        "Row 2: the surgical guide was made 4 day(s) before the plan was settled.",
    ),
    Example(
        "guides-job-unknown",
        (row("numbers", job_no="J-1"), row("guides", job_no="J-1")),
        (row("guides", job_no="J-2"),),
        "Row 2: the job number of this slip leads to no case; the slip is not used.",
    ),
    Example(
        "guides-job-of-several",
        (
            row("numbers", case_id="of job 3", job_no="J-3"),
            row("guides", job_no="J-3"),
        ),
        (
            row("numbers", case_id="of job 4", job_no="J-4"),
            row("numbers", case_id="of job 4 too", job_no="J-4"),
            row("guides", job_no="J-4"),
        ),
        "Row 2: the job number of this slip belongs to more than one case, so nobody"
        " can tell whose guide it is.",
    ),
    *(
        guide(
            check,
            possible(field, wrong, low, high),
            {field: right},
            {field: wrong},
        )
        for check, field, right, wrong, low, high in (
            ("hole-diameter", "hole_diameter_mm", "2.2", "22", "0.5", "10"),
            ("hole-length", "hole_length_mm", "8", "80", "1", "30"),
            ("hole-to-tissue", "hole_to_tissue_mm", "1", "-1", "0", "20"),
            ("drill-diameter", "drill_diameter_mm", "2", "20", "0.5", "8"),
            (
                "largest-drill-guided",
                "largest_drill_guided_mm",
                "3.5",
                "35",
                "0.5",
                "8",
            ),
        )
    ),
    guide(
        "hole-below-drill",
        "the drill is 0.2 mm wider than the hole it goes through.",
        {"hole_diameter_mm": "2.0", "drill_diameter_mm": "2.0"},
        {"hole_diameter_mm": "2.0", "drill_diameter_mm": "2.2"},
    ),
    guide(
        "fixation-pins",
        possible("fixation_pins", "33", "0", "10", ""),
        {"fixation_pins": 3},
        {"fixation_pins": 33},
    ),
)


def on_film(left: str, right: str) -> tuple[Row, ...]:
    """A pair that leans 7.4 degrees to the right, and a film of it from the front."""
    leaning = both(
        left=moved("left") | {"achieved_apex_x_mm": 9.8, "placed_length_mm": 10.08},
        right=moved("right") | {"achieved_apex_x_mm": -6.2, "placed_length_mm": 10.08},
    )
    seen = {"state": "achieved", "film_kind": "pa_skull", "angle_reference": "marker"}
    return (
        *leaning,
        row("films", side="left", tilt_deg=left, **seen),
        row("films", side="right", tilt_deg=right, **seen),
    )


PINS = (
    Example(
        "films-mirrored",
        on_film("6", "-8"),
        on_film("-8", "6"),
        # lean atan(1.3 / 10) = 7.41: 15.41 + 13.41 this way, 0.59 + 1.41 the other way
        "On a film from the front left and right look exchanged: the other way round, its"
        " two leans lie 26.81 degrees closer to those of the coordinates.",
    ),
    Example(
        "pair-readings-angle-in-space",
        (row("pair_readings", source="surveyor"),),
        (row("pair_readings", source="photo"),),
        "Row 2: one film or photograph shows one plane; its angle is at least the angle in"
        " space, and not that angle.",
    ),
)

CATALOGUE = (
    *FIGURES,
    *POINTS,
    *COPIES,
    *PAIRS,
    *SETS,
    *CASES,
    *NUMBERS,
    *FOLLOWED_UP,
    *GUIDES,
    *PINS,
)
