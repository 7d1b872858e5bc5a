"""The known answers: what an audit of these records has to find.

Figures are computed from the records as written, with the plain vector formulas of
geometry.py; columns named ``true_`` are what was planted, before any reading.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from synthetic_data import geometry
from synthetic_data.demo import SIDES, DemoCase, Row, Sheet
from synthetic_data.faults import Fault
from synthetic_data.geometry import Figures, Points
from synthetic_data.modes import Array

TRUE_FIGURES = (
    "entry_3d_mm",
    "entry_lateral_mm",
    "depth_mm",
    "apex_3d_mm",
    "angle_deg",
    "mesial_mm",
    "facial_mm",
    "up_mm",
    "frontal_tilt_change_deg",
    "sagittal_tilt_change_deg",
)
READY_FIGURES = (
    "entry_3d_mm",
    "entry_lateral_mm",
    "depth_mm",
    "apex_3d_mm",
    "apex_lateral_mm",
    "angle_deg",
    "mesial_mm",
    "facial_mm",
    "frontal_tilt_change_deg",
    "sagittal_tilt_change_deg",
)
SOURCE_OF_TOOL = {"ruler": "cast_ruler", "callipers": "cast_callipers"}
LENGTH_TOLERANCE_MM = 0.1

Key = tuple[str, str]
"""Case number and side."""


@dataclass(frozen=True)
class Held:
    """An implant as its readings give it.

    Attributes:
        planned: planned entry and apex, mm.
        placed: achieved entry and apex, mm.
        compared: the same, the apex at the length it is compared with the plan.
        source: what it was read from.
        count_readings: how many readings were averaged.
        is_length_substituted: whether ``compared`` differs from ``placed``.
    """

    planned: Points
    placed: Points
    compared: Points
    source: str
    count_readings: int
    is_length_substituted: bool


def number(row: Row, field: str) -> float:
    """Return a cell that has to hold a number."""
    value = row[field]
    if not isinstance(value, (int, float)):
        message = f"{field} is not a number"
        raise TypeError(message)
    return float(value)


def points_in(row: Row, state: str) -> Points:
    """Return entry and apex of one state as written in a row of ``implants``."""
    entry, apex = (
        np.array([number(row, f"{state}_{point}_{axis}_mm") for axis in "xyz"])
        for point in ("entry", "apex")
    )
    return entry, apex


def faulty_keys(faults: list[Fault], sheet: str) -> set[Key]:
    """Return the implants of a sheet that carry a planted fault."""
    return {
        (str(fault.row["case_id"]), str(fault.row.get("side")))
        for fault in faults
        if fault.sheet == sheet
    }


def held_implants(implants: Sheet) -> dict[Key, Held]:
    """Return every implant with achieved coordinates, its readings averaged.

    Entries and unit axes are averaged, the mean axis brought back to length 1; the
    apex lies the mean length along it. Where the lengths on the labels differ by a
    tenth of a millimetre or more, it is compared with the plan at the planned length.
    """
    grouped: dict[Key, Sheet] = defaultdict(list)
    for row in implants:
        if row.get("achieved_source") is not None:
            grouped[str(row["case_id"]), str(row["side"])].append(row)
    return {key: _held(rows) for key, rows in grouped.items()}


def implant_answers(
    sheets: dict[str, Sheet], cases: list[DemoCase], faults: list[Fault]
) -> Iterator[Row]:
    """Yield one row for each placed implant and the record that holds it."""
    faulty = faulty_keys(faults, "implants")
    computed: dict[Key, Row] = {}
    for key, held in held_implants(sheets["implants"]).items():
        row: Row = {"basis": "coordinates", "achieved_source": held.source}
        row["count_readings"] = held.count_readings
        row["is_length_substituted"] = "yes" if held.is_length_substituted else "no"
        if key not in faulty:
            row |= geometry.implant_figures(held.planned, held.compared, key[1])
        computed[key] = row
    for one in sheets["deviations"]:
        key = (str(one["case_id"]), str(one["side"]))
        figures: Row = {name: one[name] for name in READY_FIGURES}
        computed[key] = figures | {
            "basis": "ready",
            "achieved_source": one["achieved_source"],
            "count_readings": 1,
        }
    computed |= _cast_answers(sheets["cast_readings"])
    for case in cases:
        for side in range(2):
            if case.is_operated and not np.isnan(case.placed_length[side]):
                key = (case.case_id, SIDES[side])
                yield {
                    "case_id": key[0],
                    "side": key[1],
                    "has_fault": "yes" if key in faulty else "no",
                    **computed[key],
                    **_true_figures(case, side),
                }


def reading_answers(implants: Sheet, faults: list[Fault]) -> Iterator[Row]:
    """Yield the figures of each single reading of the implants read more than once."""
    faulty = faulty_keys(faults, "implants")
    for row in implants:
        key = (str(row["case_id"]), str(row["side"]))
        if row.get("achieved_source") is None or key in faulty:
            continue
        held = _held([row])
        yield {
            "case_id": key[0],
            "side": key[1],
            "achieved_source": held.source,
            "examiner": row["examiner"],
            "reading": row["reading"],
            **geometry.implant_figures(held.planned, held.compared, key[1]),
        }


def _held(rows: Sheet) -> Held:
    states = [points_in(row, "achieved") for row in rows]
    axes = [geometry.unit(apex - entry) for entry, apex in states]
    entry: Array = np.mean([entry for entry, _ in states], axis=0)
    axis = geometry.unit(np.mean(axes, axis=0))
    planned = points_in(rows[0], "planned")
    length = float(np.mean([np.linalg.norm(apex - entry) for entry, apex in states]))
    labels = number(rows[0], "planned_length_mm"), number(rows[0], "placed_length_mm")
    differs = abs(labels[0] - labels[1]) >= LENGTH_TOLERANCE_MM
    compared = geometry.distance(*planned) if differs else length
    return Held(
        planned=planned,
        placed=(entry, entry + length * axis),
        compared=(entry, entry + compared * axis),
        source=str(rows[0]["achieved_source"]),
        count_readings=len(rows),
        is_length_substituted=differs,
    )


def _true_figures(case: DemoCase, side: int) -> Row:
    planned = case.planned[0][side], case.planned[1][side]
    achieved = case.true[0][side], case.true[1][side]
    figures = geometry.implant_figures(planned, achieved, SIDES[side])
    return {f"true_{name}": figures[name] for name in TRUE_FIGURES}


def _cast_answers(cast_readings: Sheet) -> dict[Key, Row]:
    """Return shifts read on casts: readings of one state are averaged first."""
    means = cast_means(cast_readings)
    answers: dict[Key, Row] = {}
    for (case_id, side, state), (midline, crest, count, source) in means.items():
        if state == "achieved":
            plan = means[case_id, side, "planned"]
            answers[case_id, side] = {
                "basis": "cast",
                "achieved_source": source,
                "count_readings": count,
                "mesial_mm": plan[0] - midline,
                "facial_mm": crest - plan[1],
            }
    return answers


def cast_means(
    cast_readings: Sheet,
) -> dict[tuple[str, str, str], tuple[float, float, int, str]]:
    """Return mean midline distance and crest offset by case, side and state."""
    grouped: dict[tuple[str, str, str], Sheet] = defaultdict(list)
    for row in cast_readings:
        key = str(row["case_id"]), str(row["side"]), str(row["state"])
        grouped[key].append(row)
    return {
        key: (
            float(np.mean([number(row, "midline_mm") for row in rows])),
            float(np.mean([number(row, "crest_offset_mm") for row in rows])),
            len(rows),
            SOURCE_OF_TOOL[str(rows[0]["tool"])],
        )
        for key, rows in grouped.items()
    }


def prefixed(figures: Figures, state: str) -> Row:
    """Return figures under their names in that state."""
    return {f"{state}_{name}": value for name, value in figures.items()}
