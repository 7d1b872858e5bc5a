"""The figures of one implant and of one pair, in plain vector arithmetic.

These are the known answers' own formulas: they share no code with what measures an
audit. Frame: x to the patient's left, y backward, z up; lower jaw. An axis runs from
entry to apex; its occlusal end is the opposite direction.
"""

from __future__ import annotations

from math import asin, atan, atan2, degrees, hypot, radians, sin, sqrt, tan

import numpy as np

from synthetic_data.modes import Array

Points = tuple[Array, Array]
"""Entry and apex of one implant, mm, each (3,)."""

Figures = dict[str, float]


def unit(vector: Array) -> Array:
    """Return the vector scaled to length 1."""
    return vector / np.linalg.norm(vector)


def distance(one: Array, other: Array) -> float:
    """Return the distance between two points."""
    return float(np.linalg.norm(one - other))


def angle_deg(one: Array, other: Array) -> float:
    """Return the angle between two directions, 0 to 180 degrees."""
    return degrees(atan2(float(np.linalg.norm(np.cross(one, other))), one @ other))


def mesial_sign(side: str) -> int:
    """Return which way along x the midline lies: -1 from the left, +1 from the right."""
    return -1 if side == "left" else 1


def tilts_deg(axis: Array, side: str) -> tuple[float, float]:
    """Return the frontal (toward the midline) and sagittal (forward) lean."""
    left, back, up = -axis
    return (
        degrees(atan2(mesial_sign(side) * left, up)),
        degrees(atan2(-back, up)),
    )


def deviations(planned: Points, achieved: Points, side: str) -> Figures:
    """Return what a ``deviations`` sheet holds of one implant.

    Args:
        planned: planned entry and apex.
        achieved: achieved entry and apex.
        side: left or right.
    """
    axis = unit(planned[1] - planned[0])
    placed = unit(achieved[1] - achieved[0])
    at_entry, at_apex = achieved[0] - planned[0], achieved[1] - planned[1]
    before, after = tilts_deg(axis, side), tilts_deg(placed, side)
    return {
        "entry_3d_mm": distance(achieved[0], planned[0]),
        "entry_lateral_mm": float(np.linalg.norm(np.cross(at_entry, axis))),
        "depth_mm": float(at_entry @ axis),
        "apex_3d_mm": distance(achieved[1], planned[1]),
        "apex_lateral_mm": float(np.linalg.norm(np.cross(at_apex, axis))),
        "angle_deg": angle_deg(axis, placed),
        "mesial_mm": mesial_sign(side) * float(at_entry[0]),
        "facial_mm": -float(at_entry[1]),
        "frontal_tilt_change_deg": after[0] - before[0],
        "sagittal_tilt_change_deg": after[1] - before[1],
    }


def implant_figures(planned: Points, achieved: Points, side: str) -> Figures:
    """Return all figures of one implant held in coordinates."""
    figures = deviations(planned, achieved, side)
    axis = unit(planned[1] - planned[0])
    before = tilts_deg(planned[1] - planned[0], side)
    after = tilts_deg(achieved[1] - achieved[0], side)
    return figures | {
        "apex_depth_mm": float((achieved[1] - planned[1]) @ axis),
        "up_mm": float(achieved[0][2] - planned[0][2]),
        "planned_frontal_tilt_deg": before[0],
        "achieved_frontal_tilt_deg": after[0],
        "planned_sagittal_tilt_deg": before[1],
        "achieved_sagittal_tilt_deg": after[1],
    }


def pair_state(left: Points, right: Points) -> Figures:
    """Return the figures of two implants in one state, without their prefix."""
    left_axis, right_axis = unit(left[1] - left[0]), unit(right[1] - right[0])
    left_tilt, right_tilt = tilts_deg(left_axis, "left"), tilts_deg(right_axis, "right")
    own = _own_frame(left, right)
    return {
        "angle_deg": angle_deg(left_axis, right_axis),
        "frontal_convergence_deg": left_tilt[0] + right_tilt[0],
        "sagittal_difference_deg": left_tilt[1] - right_tilt[1],
        "own_frontal_convergence_deg": own[0],
        "own_sagittal_difference_deg": own[1],
        "spacing_mm": distance(left[0], right[0]),
        "apex_spacing_mm": distance(left[1], right[1]),
        "left_entry_right_apex_mm": distance(left[0], right[1]),
        "right_entry_left_apex_mm": distance(right[0], left[1]),
    }


def _own_frame(left: Points, right: Points) -> tuple[float, float]:
    """Return convergence and sagittal difference in the frame of the pair itself.

    Its x runs from the right entry to the left one, its z is the mean occlusal
    direction square to x: no superimposition is needed.
    """
    ends = unit(left[0] - left[1]), unit(right[0] - right[1])
    x = unit(left[0] - right[0])
    mean = ends[0] + ends[1]
    z = unit(mean - (mean @ x) * x)
    frame = np.stack([x, np.cross(z, x), z])
    left_tilt, right_tilt = (tilts_deg(-(frame @ end), "left") for end in ends)
    return left_tilt[0] - right_tilt[0], left_tilt[1] - right_tilt[1]


def pair_change(planned: Figures, achieved: Figures) -> Figures:
    """Return what changed between two states, and the pair's rotation."""
    frontal = achieved["frontal_convergence_deg"] - planned["frontal_convergence_deg"]
    sagittal = achieved["sagittal_difference_deg"] - planned["sagittal_difference_deg"]
    return {
        "angle_change_deg": achieved["angle_deg"] - planned["angle_deg"],
        "frontal_convergence_change_deg": frontal,
        "sagittal_difference_change_deg": sagittal,
        "pair_rotation_deg": hypot(frontal, sagittal),
        "spacing_change_mm": achieved["spacing_mm"] - planned["spacing_mm"],
    }


def pins_convergence_deg(
    entry_spacing: float,
    tip_spacing: float,
    pin_length: float,
    sagittal_difference_deg: float = 0.0,
) -> float:
    """Return the frontal convergence of two equal pins from their spacings.

    2 asin((entry - tip) / 2P). A sagittal difference s between the pins also parts
    their tips, by P sin s, so where it is known it is taken off first.
    """
    fore_and_aft = pin_length * sin(radians(sagittal_difference_deg))
    tip = sqrt(tip_spacing**2 - fore_and_aft**2)
    return degrees(2 * asin((entry_spacing - tip) / (2 * pin_length)))


def angle_of_planes_deg(frontal_deg: float, sagittal_deg: float) -> float:
    """Return the angle between two axes from its two plane parts."""
    return degrees(atan(hypot(tan(radians(frontal_deg)), tan(radians(sagittal_deg)))))
