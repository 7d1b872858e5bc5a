"""How far a drill can tilt in the hole that guides it, and what that comes to at the implant.

The drill of diameter d touches the rim of a hole of bore D and length l at both ends when
``D cos T - l sin T = d``; that T is the largest tilt, whatever the shift. It bounds, it is
no standard deviation, and it is against the hole, not against the plan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

MEAN_OF_PAIR = 128 / (45 * np.pi)
"""Mean angle between two drills, in units of T, when each axis lies anywhere within T:
the mean distance of two points of a disc of radius 1 (a standard result of geometric
probability)."""


@dataclass(frozen=True, slots=True)
class Play:
    """The largest tilt and how far it reaches, one value a hole.

    Attributes:
        tilt_deg: largest tilt T, shape (n,); NaN where the bore is not larger than the
            drill, or a size is missing.
        has_play: the bore is larger than the drill; False where they are equal or the
            drill is larger ("no play by size"), or a size is missing.
        pair_deg: largest angle between two drills of the same guide, 2 T.
        mean_pair_deg: mean angle between them if each tilts evenly within T.
    """

    tilt_deg: Floats
    has_play: NDArray[np.bool_]
    pair_deg: Floats
    mean_pair_deg: Floats


def play(bore_mm: ArrayLike, hole_length_mm: ArrayLike, drill_mm: ArrayLike) -> Play:
    """Return the largest tilt of a drill in its hole.

    ``D cos T - l sin T = R cos(T + phi)`` with R = hypot(D, l) and phi = atan2(l, D), so T
    is the difference of two angles whose cosines are d/R and D/R. Its tangent is written
    with D - d as a factor, so that a small play keeps its digits.

    Args:
        bore_mm: inner diameter D of the hole, shape (n,).
        hole_length_mm: its length l.
        drill_mm: diameter d of the drill.
    """
    bore, length, drill = np.broadcast_arrays(
        *(
            np.asarray(size, dtype=np.float64)
            for size in (bore_mm, hole_length_mm, drill_mm)
        )
    )
    has_play = (drill > 0) & (length > 0) & (bore > drill)
    tilt = np.full(bore.shape, np.nan)
    wide, deep, thin = bore[has_play], length[has_play], drill[has_play]
    gap = (wide - thin) * (wide + thin)
    rest = np.sqrt(gap + deep**2)
    # rest * wide - deep * thin, without the cancellation
    across = gap * (wide**2 + deep**2) / (rest * wide + deep * thin)
    tilt[has_play] = np.arctan2(across, thin * wide + rest * deep)
    tilt_deg = np.degrees(tilt)
    return Play(tilt_deg, has_play, 2 * tilt_deg, MEAN_OF_PAIR * tilt_deg)


def reach_mm(
    tilt_deg: ArrayLike, hole_length_mm: ArrayLike, beyond_mm: ArrayLike
) -> Floats:
    """Return how far sideways the tilt reaches, turned about the middle of the hole.

    Args:
        tilt_deg: tilt, shape (n,).
        hole_length_mm: length of the hole.
        beyond_mm: distance below the hole: to the entry, or to the entry and the length
            of the implant for its apex.

    Returns:
        ``(length / 2 + beyond) tan(tilt)`` in millimetres; NaN where one is missing.
    """
    length, beyond = np.asarray(hole_length_mm), np.asarray(beyond_mm)
    reach: Floats = (length / 2 + beyond) * np.tan(np.radians(np.asarray(tilt_deg)))
    return reach
