"""The ten pair modes: from modes to two implants, and back from the points.

An implant is its entry and apex in millimetres, in the jaw's right-handed axes: x to
the patient's left, y backward, z up. Arrays hold the left implant first:
``(cases, 2, ..)``. The leans are those of the occlusal end h = apex -> entry:
frontal atan2(h.left, h.up), sagittal atan2(h.back, h.up), in radians.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from synthetic_data.truths import MODES

Array = NDArray[np.float64]
LEFT, RIGHT = 0, 1
HALVES = np.array([0.5, -0.5])
"""Share of the difference left - right that each side takes."""


def points(middle: Array, leans: Array, length: Array) -> tuple[Array, Array]:
    """Return entries and apices.

    Args:
        middle: middle of each axis, mm, (.., 3).
        leans: frontal and sagittal lean, radians, (.., 2).
        length: implant length, mm, (..).

    Returns:
        Entries and apices, mm, each (.., 3).
    """
    slopes = np.tan(leans)
    occlusal = np.concatenate([slopes, np.ones_like(slopes[..., :1])], axis=-1)
    occlusal /= np.linalg.norm(occlusal, axis=-1, keepdims=True)
    half = 0.5 * length[..., None] * occlusal
    return middle + half, middle - half


def middles_and_leans(entry: Array, apex: Array) -> tuple[Array, Array]:
    """Return the middle of each axis (mm) and its two leans (radians)."""
    occlusal = entry - apex
    leans = np.arctan2(occlusal[..., :2], occlusal[..., 2:])
    return 0.5 * (entry + apex), leans


def from_modes(modes: Array, length: Array, spacing: Array) -> tuple[Array, Array]:
    """Return each implant's displacement and change of lean for given pair modes.

    Args:
        modes: the ten modes in the order of ``MODES``, (cases, 10); mm and radians.
        length: mean planned length L of the pair, mm, (cases,).
        spacing: planned distance W of the entries, mm, (cases,).

    Returns:
        Displacement of the axis middle, mm, (cases, 2, 3), and change of the frontal
        and sagittal lean, radians, (cases, 2, 2).
    """
    m = dict(zip(MODES, modes.T, strict=True))
    l2, w2 = length**2, spacing**2
    mean_lean = m["roll"] + w2 / (l2 + w2) * m["contradiction"]
    slope = m["roll"] - l2 / (l2 + w2) * m["contradiction"]
    shift = np.stack([m["shift_left"], m["shift_back"], m["shift_up"]], axis=-1)
    apart = np.stack([m["spacing"], spacing * m["yaw"], -spacing * slope], axis=-1)
    lean = np.stack([mean_lean, -m["pitch"]], axis=-1)
    lean_apart = -np.stack(
        [m["frontal_convergence"], m["sagittal_difference"]], axis=-1
    )
    return (
        shift[:, None, :] + HALVES[:, None] * apart[:, None, :],
        lean[:, None, :] + HALVES[:, None] * lean_apart[:, None, :],
    )


def to_modes(
    planned: tuple[Array, Array], achieved: tuple[Array, Array]
) -> dict[str, Array]:
    """Return the ten pair modes of planned and achieved points.

    Args:
        planned: planned entries and apices, mm, each (cases, 2, 3).
        achieved: achieved entries and apices.

    Returns:
        Mode -> one value a case; mm for shifts and spacing, radians else.
    """
    planned_middle, planned_lean = middles_and_leans(*planned)
    achieved_middle, achieved_lean = middles_and_leans(*achieved)
    place, lean = achieved_middle - planned_middle, achieved_lean - planned_lean
    length = np.linalg.norm(planned[0] - planned[1], axis=-1).mean(axis=-1)
    spacing = np.linalg.norm(planned[0][:, LEFT] - planned[0][:, RIGHT], axis=-1)
    shift, apart = place.mean(axis=1), place[:, LEFT] - place[:, RIGHT]
    tilt, tilt_apart = lean.mean(axis=1), lean[:, LEFT] - lean[:, RIGHT]
    slope = -apart[:, 2] / spacing
    l2, w2 = length**2, spacing**2
    values = (
        *shift.T,
        (l2 * tilt[:, 0] + w2 * slope) / (l2 + w2),
        -tilt[:, 1],
        apart[:, 1] / spacing,
        apart[:, 0],
        -tilt_apart[:, 0],
        -tilt_apart[:, 1],
        tilt[:, 0] - slope,
    )
    return dict(zip(MODES, values, strict=True))
