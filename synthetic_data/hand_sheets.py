"""Write what is read by hand: casts by ruler, pins, photographs, and lab slips."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import numpy as np

from synthetic_data import geometry
from synthetic_data.case_sheets import ABANDONED, EXAMINERS, TUBES
from synthetic_data.demo import (
    LEVELS,
    SIDES,
    DemoCase,
    Row,
    rounded,
    stepped,
    workday,
)
from synthetic_data.modes import Array
from synthetic_data.truths import CastTruth, Truths

PADS = np.array([[24.0, 41.0, 6.0], [-24.0, 41.0, 6.0]])
"""Centres of the retromolar pads in the jaw's axes, mm: left, right."""

PLANNED_CREST_OFFSET_MM = 0.5
TECHNICIANS = {"Umberhollow bench": "Perrishand", "Tinsmoor casting": "Audlemoss"}


def cast_rows(case: DemoCase, truths: Truths) -> Iterator[Row]:
    """Yield the ruler readings of a case whose sites were read on the cast."""
    if case.facts["record"] != "cast":
        return
    yield from _cast_state(case, truths.cast, "planned", case.planned[0], 1)
    if case.is_operated:
        for reading in range(1, int(case.facts["count_readings"]) + 1):
            yield from _cast_state(case, truths.cast, "achieved", case.true[0], reading)


def pair_rows(case: DemoCase, truths: Truths) -> Iterator[Row]:
    """Yield readings that belong to the pair: plan, guide as made, result."""
    kind = str(case.facts["pair_record"])
    if not kind:
        return
    for quantity in ("frontal_angle", "sagittal_angle"):
        yield _pair(case, "planned", quantity, "surveyor") | {"value": 0}
    draws = case.draws(2)
    if kind in ("guide", "both"):
        yield from _guide_pair(case, truths.cast, draws)
    if kind in ("achieved", "both"):
        yield from _achieved_pair(case, truths.cast, draws)


def guide_rows(case: DemoCase, truths: Truths) -> Iterator[Row]:
    """Yield the lab slips of the case's guides."""
    if case.guide_id is None:
        return
    draws, facts = case.draws(3), case.facts
    slot = int(facts["slot"])
    if case.is_lab_guide:
        yield _slip(case, "radiographic") | {"guide_id": f"X{slot + 400}"}
        yield _slip(case, "surgical") | _lab_details(case, truths, draws)
    else:
        yield _slip(case, "surgical") | {
            "material_lot": f"P-{case.plan_date:%y%m}",
            "covers_pads": "yes",
            "hole_kind": "tube",
        }


def _cast_state(
    case: DemoCase, truth: CastTruth, state: str, entry: Array, reading: int
) -> Iterator[Row]:
    draws = case.draws(10 + reading if state == "achieved" else 10)
    is_plan = state == "planned"
    mark = 0.0 if is_plan else draws.normal(0, truth.midline_mark_sd_mm)
    day = (
        case.plan_date
        if is_plan
        else workday(case.surgery_date + timedelta(days=60 + 7 * reading))
    )
    for side in range(2):
        sign = 1 if side == 0 else -1
        slip = 0.0 if is_plan else 1.0
        noise = slip * draws.normal(0, truth.ruler_sd_mm, 2)
        forward = case.planned[0][side][1] - entry[side][1]
        row: Row = {
            "case_id": case.case_id,
            "side": SIDES[side],
            "state": state,
            "midline_mm": stepped(
                sign * (entry[side][0] - mark) + noise[0], truth.ruler_step_mm
            ),
            "midline_how": "across",
            "crest_offset_mm": stepped(
                PLANNED_CREST_OFFSET_MM + forward + noise[1], truth.ruler_step_mm
            ),
            "tool": "ruler",
            "resolution_mm": truth.ruler_step_mm,
            "cast_id": f"C{int(case.facts['slot']) + (200 if is_plan else 600)}",
            "examiner": EXAMINERS[1],
            "reading": reading,
            "measured_date": day,
        }
        if case.facts["has_pad_distances"]:
            row |= _pad_distances(entry[side], truth, draws)
        yield row


def _pad_distances(site: Array, truth: CastTruth, draws: np.random.Generator) -> Row:
    left, right = (
        geometry.distance(site, pad) + draws.normal(0, truth.ruler_sd_mm)
        for pad in PADS
    )
    between = geometry.distance(PADS[0], PADS[1])
    step = truth.ruler_step_mm
    return {
        "left_pad_mm": stepped(left, step),
        "right_pad_mm": stepped(right, step),
        "between_pads_mm": stepped(between, step),
    }


def _pair(case: DemoCase, state: str, quantity: str, source: str) -> Row:
    days = {"planned": 0, "guide": 9}
    day = (
        case.plan_date + timedelta(days=days[state])
        if state in days
        else case.surgery_date + timedelta(days=68)
    )
    return {
        "case_id": case.case_id,
        "state": state,
        "quantity": quantity,
        "source": source,
        "examiner": EXAMINERS[1],
        "reading": 1,
        "measured_date": workday(day),
    }


def _frontal(value: float, digits: int = 1) -> Row:
    """Return a frontal angle: its size, and which way it leans."""
    shown = rounded(value, digits)
    if shown == 0:
        return {"value": 0}
    return {"value": abs(shown), "converging": "yes" if shown > 0 else "no"}


def _guide_pair(
    case: DemoCase, truth: CastTruth, draws: np.random.Generator
) -> Iterator[Row]:
    sd = truth.guide_reading_sd_deg
    frontal, sagittal = (
        float(case.facts[f"shared_{mode}_deg"]) + draws.normal(0, sd)
        for mode in ("frontal_convergence", "sagittal_difference")
    )
    yield _pair(case, "guide", "frontal_angle", "surveyor") | _frontal(frontal)
    yield _pair(case, "guide", "sagittal_angle", "surveyor") | {
        "value": rounded(sagittal, 1)
    }


def _achieved_pair(
    case: DemoCase, truth: CastTruth, draws: np.random.Generator
) -> Iterator[Row]:
    entry, apex = case.true
    ends = [
        geometry.unit(top - bottom) for top, bottom in zip(entry, apex, strict=True)
    ]
    tips = [
        top + truth.pin_length_mm * end for top, end in zip(entry, ends, strict=True)
    ]
    spacings = {
        "entry_spacing": geometry.distance(entry[0], entry[1]),
        "tip_spacing": geometry.distance(tips[0], tips[1]),
    }
    for quantity, spacing in spacings.items():
        read = spacing + draws.normal(0, truth.callipers_sd_mm)
        yield _pair(case, "achieved", quantity, "callipers_on_pins") | {
            "value": stepped(read, truth.callipers_step_mm),
            "pin_length_mm": truth.pin_length_mm,
        }
    state = geometry.pair_state((entry[0], apex[0]), (entry[1], apex[1]))
    frontal, sagittal = (
        state[f"{name}_deg"] + draws.normal(0, truth.photo_sd_deg)
        for name in ("frontal_convergence", "sagittal_difference")
    )
    camera: Row = {"camera_distance_mm": 500}
    yield _pair(case, "achieved", "frontal_angle", "photo") | _frontal(frontal) | camera
    if case.facts["has_sagittal_photo"]:
        yield (
            _pair(case, "achieved", "sagittal_angle", "photo")
            | camera
            | {"value": rounded(sagittal, 1)}
        )


def _slip(case: DemoCase, kind: str) -> Row:
    facts = case.facts
    lab = str(facts["guide_lab"])
    is_surgical = kind == "surgical"
    days = 8 if is_surgical else -10
    row: Row = {
        "guide_id": case.guide_id,
        "case_id": case.case_id,
        "job_no": f"J{int(facts['slot']) + 3100}-{2 if is_surgical else 1}",
        "kind": kind,
        "made_date": workday(case.plan_date + timedelta(days=days)),
        "maker": TECHNICIANS.get(lab, str(facts["operator"])),
        "maker_level": (
            "technician" if lab in TECHNICIANS else LEVELS[str(facts["operator"])]
        ),
        "lab": lab,
        "method": "surveyor" if case.is_lab_guide else "printed",
    }
    if is_surgical and case.is_operated:
        is_left = facts["incident"] == ABANDONED
        row |= {"used": "abandoned" if is_left else "as_planned", "fit": "full"}
        if is_left:
            row |= {"fit": "rocks", "reason": "rocked on the left after the flap"}
    if is_surgical:
        row |= _hole(case)
    return row


def _hole(case: DemoCase) -> Row:
    tube: dict[str, Any] = TUBES[str(case.facts["guidance"])]
    return {
        "hole_kind": "tube",
        "hole_diameter_mm": tube["sleeve_bore_mm"],
        "hole_length_mm": tube["sleeve_length_mm"],
        "hole_to_tissue_mm": 1.0,
        "drill_diameter_mm": tube["drill_diameter_mm"],
        "largest_drill_guided_mm": tube["largest_drill_guided_mm"],
    }


def _lab_details(case: DemoCase, truths: Truths, draws: np.random.Generator) -> Row:
    is_bad = bool(case.facts["is_bad_batch"])
    lot = f"R-{case.plan_date:%y}{'02' if case.plan_date.month < 7 else '08'}"
    fit = str(draws.choice(["full", "full", "full", "gap"]))
    row: Row = {
        "material_lot": truths.batch.material_lot if is_bad else lot,
        "cast_id": f"C{int(case.facts['slot']) + 200}",
        "remount_marks": str(draws.choice(["yes", "yes", "no"])),
        "undercuts_blocked": str(draws.choice(["yes", "yes", "yes", "no"])),
        "covers_pads": "yes",
    }
    if case.is_operated and case.facts["incident"] != ABANDONED:
        row |= {"fit": fit, "seat_rechecked_after_pins": "no"}
    return row
