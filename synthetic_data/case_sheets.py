"""Write the sheets cases, implants and deviations as the clinic would."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from math import isnan
from typing import Any

import numpy as np

from synthetic_data import geometry
from synthetic_data.demo import (
    GUIDE_METHODS,
    LEVELS,
    SIDES,
    SUPERVISORS,
    DemoCase,
    Row,
    Value,
    day_of,
    rounded,
    stepped,
    workday,
)
from synthetic_data.draw_clinic import TEETH

CLINICS = ("Quillhaven", "Nether Ommering")
EXAMINERS = ("Möllvang", "Ristobel")
DRILL_SET_LASTS = 18
"""Operations after which the clinic takes a new set of drills."""

ABANDONED = "guide_abandoned"
TAKEN_OVER_BY = "Tormiddle"
GRADES = {"stud": ("light", "medium", "strong"), "ball": ("light", "medium")}
TUBES: dict[str, dict[str, Value]] = {
    "pilot": {
        "sleeve_bore_mm": 2.2,
        "drill_diameter_mm": 2.0,
        "sleeve_length_mm": 8.0,
        "sleeve_to_entry_mm": 3.0,
        "largest_drill_guided_mm": 2.0,
    },
    "full": {
        "sleeve_bore_mm": 3.6,
        "drill_diameter_mm": 3.5,
        "sleeve_length_mm": 5.0,
        "sleeve_to_entry_mm": 4.0,
        "largest_drill_guided_mm": 3.5,
    },
    "freehand": {},
}


def case_rows(case: DemoCase) -> Iterator[Row]:
    """Yield the one row of ``cases``."""
    facts, draws = case.facts, case.draws(1)
    operator, guidance = str(facts["operator"]), str(facts["guidance"])
    is_trainee = LEVELS[operator] in ("resident", "student")
    guided = guidance != "freehand"
    row: Row = {
        "case_id": case.case_id,
        "jaw": "lower",
        "setting": "patient",
        "clinic": CLINICS[int(draws.integers(4)) // 3],
        "planned_by": operator,
        "operator": operator,
        "operator_level": LEVELS[operator],
        "supervisor": SUPERVISORS[int(draws.integers(2))] if is_trainee else None,
        "guide_id": case.guide_id,
        "guide_lab": str(facts["guide_lab"]) or None,
        "guide_method": GUIDE_METHODS[guidance],
        "guide_support": "mucosa" if guided else "none",
        "guidance": guidance,
        "fixation_pins": _pins(guidance, draws),
        **TUBES[guidance],
        "bone_height_mm": rounded(draws.uniform(17, 31), 0),
        "mucosa_thickness_mm": stepped(draws.uniform(1.4, 3.2), 0.5),
        "plan_date": case.plan_date,
        "plan_version": "1",
        "film_check": "not_done",
        "attachment": str(facts["attachment"]),
        "logged_date": workday(case.plan_date + timedelta(days=1)),
    }
    if case.is_lab_guide:
        row |= _film_check(case, draws)
    if case.is_operated:
        row |= _surgery(case, draws) | _outcome(case, draws)
    yield row


def implant_rows(case: DemoCase) -> Iterator[Row]:
    """Yield a row of ``implants`` for each implant and reading of the case."""
    if case.facts["record"] != "coordinates":
        return
    for side in range(2):
        count = int(case.facts["count_readings"])
        is_placed = case.is_operated and not isnan(case.placed_length[side])
        for reading in range(count if is_placed else 1):
            yield _implant(case, side) | (
                _achieved(case, side, reading) if is_placed else _unplaced(case)
            )


def deviation_rows(case: DemoCase) -> Iterator[Row]:
    """Yield ready-made figures of the case, with their signs."""
    if case.facts["record"] != "ready" or not case.is_operated:
        return
    for side in range(2):
        figures = geometry.deviations(
            (case.planned[0][side], case.planned[1][side]),
            (case.read_entry[side, 0], case.read_apex[side, 0]),
            SIDES[side],
        )
        digits = {name: 1 if name.endswith("_deg") else 2 for name in figures}
        yield {
            "case_id": case.case_id,
            "side": SIDES[side],
            "tooth": _tooth(case, side),
            **{name: rounded(value, digits[name]) for name, value in figures.items()},
            "is_signed": "yes",
            "planned_length_mm": int(case.facts["planned_length_mm"]),
            "achieved_source": str(case.facts["achieved_source"]),
            "examiner": EXAMINERS[0],
        }


def _pins(guidance: str, draws: np.random.Generator) -> int | None:
    if guidance == "freehand":
        return None
    return 3 if guidance == "full" else int(draws.choice([0, 0, 2]))


def _tooth(case: DemoCase, side: int) -> str:
    return TEETH[int(case.facts["half_spacing_mm"])][side]


def _film_check(case: DemoCase, draws: np.random.Generator) -> Row:
    verdict = str(draws.choice(["accepted", "accepted", "changed", "not_done"]))
    if verdict == "not_done":
        return {"film_check": verdict}
    return {
        "film_check": verdict,
        "film_check_date": workday(case.plan_date - timedelta(days=3)),
        "plan_version": "2" if verdict == "changed" else "1",
    }


def _surgery(case: DemoCase, draws: np.random.Generator) -> Row:
    operator = str(case.facts["operator"])
    is_full = case.facts["guidance"] == "full"
    row: Row = {
        "surgery_date": case.surgery_date,
        "drill_set_uses": _uses_before(case),
        "role": "placed",
        "flap": str(draws.choice(["flapless", "punch"])) if is_full else "flap",
        "stages": 1 if is_full else int(draws.choice([1, 2])),
        "logged_date": workday(
            case.surgery_date + timedelta(days=int(draws.integers(0, 20)))
        ),
    }
    if LEVELS[operator] == "resident":
        row["training_year"] = case.surgery_date.year - 2022
    if case.facts["incident"] == ABANDONED:
        row |= {"role": "taken_over", "finished_by": TAKEN_OVER_BY}
    return row


def _uses_before(case: DemoCase) -> int:
    """Operations the drill set went through before; case numbers follow the days."""
    return (int(case.case_id.lstrip("K")) - 1) % DRILL_SET_LASTS


def _outcome(case: DemoCase, draws: np.random.Generator) -> Row:
    facts = case.facts
    grades = GRADES.get(str(facts["attachment"]), (None,))
    status = str(facts["exit_status"])
    row: Row = {
        "insert_grade": grades[int(draws.integers(len(grades)))],
        "delivery_date": day_of(facts["delivery_day"]),
        "last_observed_date": day_of(facts["last_day"]),
        "exit_status": "active" if status == "remade" else status,
    }
    if facts["record"] == "ready":
        entry, apex = case.read_entry[:, 0], case.read_apex[:, 0]
        row["planned_pair_angle_deg"] = _pair_angle(*case.planned)
        row["achieved_pair_angle_deg"] = _pair_angle(entry, apex)
    return row


def _pair_angle(entry: Any, apex: Any) -> float:
    return rounded(geometry.angle_deg(apex[0] - entry[0], apex[1] - entry[1]), 1)


def _implant(case: DemoCase, side: int) -> Row:
    length = int(case.facts["planned_length_mm"])
    return {
        "case_id": case.case_id,
        "side": SIDES[side],
        "tooth": _tooth(case, side),
        **_coordinates("planned", case.planned[0][side], case.planned[1][side]),
        "planned_reference": "platform",
        "planned_length_mm": length,
    }


def _unplaced(case: DemoCase) -> Row:
    if not case.is_operated:
        return {}
    return {"outcome": "not_placed", "guide_used": "partly"}


def _achieved(case: DemoCase, side: int, reading: int) -> Row:
    facts = case.facts
    source, incident = str(facts["achieved_source"]), str(facts["incident"])
    days = 12 if source == "cbct" else 62
    row: Row = {
        **_coordinates(
            "achieved", case.read_entry[side, reading], case.read_apex[side, reading]
        ),
        "achieved_source": source,
        "achieved_reference": "platform",
        "placed_length_mm": int(case.placed_length[side]),
        "diameter_mm": 4.0 if facts["guidance"] != "full" else 3.5,
        "measured_date": workday(
            case.surgery_date + timedelta(days=days + 7 * reading)
        ),
        "examiner": EXAMINERS[reading % 2],
        "blinded": "yes" if reading else "no",
        "reading": reading + 1,
        "outcome": "placed",
        "guide_used": "as_planned" if facts["guidance"] != "freehand" else None,
    }
    if incident == ABANDONED:
        row["guide_used"] = "abandoned"
    if incident == "deliberate_change" and SIDES[side] == "right":
        row["deliberate_change"] = "ridge narrow at the planned site"
    return row


def _coordinates(state: str, entry: Any, apex: Any) -> Row:
    return {
        f"{state}_{name}_{axis}_mm": rounded(point[number], 2)
        for name, point in (("entry", entry), ("apex", apex))
        for number, axis in enumerate("xyz")
    }
