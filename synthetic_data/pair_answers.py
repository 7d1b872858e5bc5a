"""The known answers for the pairs, from each record that says something of a pair."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from math import hypot

from synthetic_data import geometry
from synthetic_data.answers import (
    cast_means,
    faulty_keys,
    held_implants,
    number,
    prefixed,
)
from synthetic_data.demo import Row, Sheet
from synthetic_data.faults import Fault
from synthetic_data.geometry import Figures

PINS, PHOTO, SURVEYOR = "callipers_on_pins", "photo", "surveyor"


def pair_answers(sheets: dict[str, Sheet], faults: list[Fault]) -> Iterator[Row]:
    """Yield one row for each case, basis and source; no row where a side is faulty."""
    yield from _from_coordinates(sheets["implants"], faults)
    yield from _from_cases(sheets["cases"], sheets["deviations"])
    yield from _from_casts(sheets["cast_readings"])
    yield from _from_pair_readings(sheets["pair_readings"], faults)


def _from_coordinates(implants: Sheet, faults: list[Fault]) -> Iterator[Row]:
    faulty = faulty_keys(faults, "implants")
    held = held_implants(implants)
    for case_id in dict.fromkeys(case_id for case_id, _ in held):
        keys = (case_id, "left"), (case_id, "right")
        if any(key in faulty or key not in held for key in keys):
            continue
        left, right = (held[key] for key in keys)
        planned = geometry.pair_state(left.planned, right.planned)
        achieved = geometry.pair_state(left.placed, right.placed)
        yield {
            "case_id": case_id,
            "basis": "coordinates",
            "achieved_source": left.source,
            **prefixed(planned, "planned"),
            **prefixed(achieved, "achieved"),
            **geometry.pair_change(planned, achieved),
        }


def _from_cases(cases: Sheet, deviations: Sheet) -> Iterator[Row]:
    source = {row["case_id"]: row["achieved_source"] for row in deviations}
    for row in cases:
        if row.get("achieved_pair_angle_deg") is not None:
            planned = number(row, "planned_pair_angle_deg")
            achieved = number(row, "achieved_pair_angle_deg")
            yield {
                "case_id": row["case_id"],
                "basis": "ready",
                "achieved_source": source[row["case_id"]],
                "planned_angle_deg": planned,
                "achieved_angle_deg": achieved,
                "angle_change_deg": achieved - planned,
            }


def _from_casts(cast_readings: Sheet) -> Iterator[Row]:
    means = cast_means(cast_readings)
    for case_id in dict.fromkeys(case_id for case_id, _, _ in means):
        if (case_id, "left", "achieved") not in means:
            continue
        (left, right), (planned_left, planned_right) = (
            [means[case_id, side, state][0] for side in ("left", "right")]
            for state in ("achieved", "planned")
        )
        yield {
            "case_id": case_id,
            "basis": "cast",
            "achieved_source": means[case_id, "left", "achieved"][3],
            "planned_left_midline_mm": planned_left,
            "planned_right_midline_mm": planned_right,
            "left_midline_mm": left,
            "right_midline_mm": right,
            "midline_asymmetry_mm": left - right,
            "planned_spacing_mm": planned_left + planned_right,
            "achieved_spacing_mm": left + right,
            "spacing_change_mm": left + right - planned_left - planned_right,
        }


def _from_pair_readings(pair_readings: Sheet, faults: list[Fault]) -> Iterator[Row]:
    """Yield the guide as made and the result, each beside the plan.

    A frontal angle is positive where the upper ends converge. Pins give spacings; the
    sagittal difference seen on a photograph corrects them and completes the angle.
    """
    faulty = [id(fault.row) for fault in faults if fault.sheet == "pair_readings"]
    states: dict[tuple[str, str], dict[tuple[str, str], Row]] = defaultdict(dict)
    for row in pair_readings:
        if id(row) not in faulty:
            key = str(row["case_id"]), str(row["state"])
            states[key][str(row["source"]), str(row["quantity"])] = row
    for (case_id, state), held in states.items():
        if state == "planned":
            continue
        planned = _pair_figures(states[case_id, "planned"], SURVEYOR)
        for source in (PINS, PHOTO) if state == "achieved" else (SURVEYOR,):
            figures = _pair_figures(held, source)
            if figures:
                yield {
                    "case_id": case_id,
                    "basis": "pair",
                    "achieved_source": source,
                    "state": state,
                    **prefixed(planned, "planned"),
                    **prefixed(figures, state),
                    **_changes(planned, figures),
                }


def _changes(planned: Figures, figures: Figures) -> Figures:
    """Return the changes from the plan that both states allow."""
    changes = {
        name: figures[f"{name}_deg"] - planned[f"{name}_deg"]
        for name in ("frontal_convergence", "sagittal_difference", "angle")
        if f"{name}_deg" in figures
    }
    shown = {f"{name}_change_deg": value for name, value in changes.items()}
    if "angle" in changes:
        planes = changes["frontal_convergence"], changes["sagittal_difference"]
        shown["pair_rotation_deg"] = hypot(*planes)
    return shown


def _pair_figures(held: dict[tuple[str, str], Row], source: str) -> Figures:
    figures: Figures = {}
    seen = PHOTO if source == PINS else source
    sagittal = held.get((seen, "sagittal_angle"))
    frontal: float | None = None
    if source == PINS:
        spacing, tip = (
            number(held[PINS, name], "value")
            for name in ("entry_spacing", "tip_spacing")
        )
        pin = number(held[PINS, "entry_spacing"], "pin_length_mm")
        lean = number(sagittal, "value") if sagittal else 0.0
        frontal = geometry.pins_convergence_deg(spacing, tip, pin, lean)
        figures["spacing_mm"] = spacing
        plain = geometry.pins_convergence_deg(spacing, tip, pin)
        figures["uncorrected_frontal_convergence_deg"] = plain
    elif (source, "frontal_angle") in held:
        row = held[source, "frontal_angle"]
        sign = -1 if row.get("converging") == "no" else 1
        frontal = sign * number(row, "value")
    if frontal is not None:
        figures["frontal_convergence_deg"] = frontal
    if sagittal is not None:
        difference = number(sagittal, "value")
        figures["sagittal_difference_deg"] = difference
        if frontal is not None:
            figures["angle_deg"] = geometry.angle_of_planes_deg(frontal, difference)
    return figures
