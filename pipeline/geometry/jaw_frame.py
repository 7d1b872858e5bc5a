"""The jaw's own directions: left, backward and up, from landmarks of the plan.

x runs from the right to the left retromolar pad, y backward, z up, right-handed; the
origin lies at the midline. Where up points is taken from the first of five bases that
the case allows, because they do not mean the same: the occlusal plane starts about the
middle of the pads and runs forward parallel to the mean ridge, while the crest at the
midline lies below it, so a plane through pads and crest biases every forward lean
(6 mm of height over 45 mm: 7.6 degrees).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.geometry.registration import Flags, Floats

SURVEYOR: Final = "surveyor"
OCCLUSAL_PLANE: Final = "occlusal_plane"
MEAN_RIDGE: Final = "mean_ridge"
PAD_TO_CREST: Final = "pad_to_crest"
PLAN_FRAME: Final = "plan_frame"

BASES: Final = (SURVEYOR, OCCLUSAL_PLANE, MEAN_RIDGE, PAD_TO_CREST, PLAN_FRAME)
"""In the order in which they are preferred."""

FEWEST_CREST_POINTS: Final = 4
LEAST_REACH_MM: Final = 10.0
"""Pads closer together, or a front point less far ahead of them, give no direction."""

LEAST_RIDGE_SPREAD_MM: Final = 5.0
LEAST_RIDGE_ELONGATION: Final = 2.0
"""Seen from the side the crest points must lie along a line: at least so far spread
along it (root mean square), and so many times farther than across it."""

Points = Floats


@dataclass(frozen=True, slots=True)
class JawFrames:
    """The frames of n jaws, in the plan's coordinates.

    Attributes:
        basis: (n,) what up is taken from, one of ``BASES``.
        axes: (n, 3, 3), rows left, back, up as unit vectors.
        origin: (n, 3) mm: the midline; else the middle between the pads; else zero.
        is_midline_known: (n,) whether the origin lies at the midline.
        pad_line_back_mm: (n,) how far the line through the pads lies behind the origin;
            NaN where no pads are held or the frame does not rest on them.
        up_lean_deg: (n,) angle between up and the plan's own z; 0 for ``plan_frame``.
    """

    basis: NDArray[np.str_]
    axes: Floats
    origin: Floats
    is_midline_known: Flags
    pad_line_back_mm: Floats
    up_lean_deg: Floats

    def inside(self, points: Floats) -> Floats:
        """Return points (n, k, 3) of the plan in the jaw's own coordinates."""
        off = points - self.origin[:, None, :]
        found: Floats = np.einsum("nai,nki->nka", self.axes, off)
        return found


@dataclass(frozen=True, slots=True)
class JawLandmarks:
    """Landmarks of n jaws in the plan's coordinates, mm; NaN where not held.

    Attributes:
        left_pad: (n, 3) centre of the left retromolar pad.
        right_pad: (n, 3) centre of the right one.
        midline: (n, 3) the crest at the midline.
        plane_front: (n, 3) a point of the planned occlusal plane at the midline.
        crest: (n, k, 3) points along the crest, in any order.
        is_surveyor: (n,) whether the plan's z is the surveyor's spindle.
    """

    left_pad: Points
    right_pad: Points
    midline: Points
    plane_front: Points
    crest: Points
    is_surveyor: Flags


def jaw_frames(marks: JawLandmarks) -> JawFrames:
    """Give each jaw its frame, on the first basis its landmarks allow."""
    count = len(marks.left_pad)
    across = marks.left_pad - marks.right_pad
    pad_middle = (marks.left_pad + marks.right_pad) / 2
    left = _unit(across, least=LEAST_REACH_MM)
    occlusal = _forward(marks.plane_front - pad_middle, left)
    ridge = _ridge_forward(marks.crest, pad_middle, left)
    crest = _forward(marks.midline - pad_middle, left)
    spindle = _spindle_forward(left, marks.is_surveyor)
    chosen = np.full(count, PLAN_FRAME, dtype="<U14")
    axes = np.broadcast_to(np.eye(3), (count, 3, 3)).copy()
    for basis, ahead in (
        (PAD_TO_CREST, crest),
        (MEAN_RIDGE, ridge),
        (OCCLUSAL_PLANE, occlusal),
        (SURVEYOR, spindle),
    ):  # the preferred one comes last and so stays
        there = _is_held(ahead)
        chosen[there] = basis
        to_left = _spindle_left(left) if basis == SURVEYOR else left
        axes[there] = _axes(to_left, ahead)[there]
    return _frames(marks, chosen, axes, pad_middle)


def _spindle_left(left: Floats) -> Floats:
    """Return the pads' direction square to the plan's z; the plan's x without pads."""
    flat = left * [1.0, 1.0, 0.0]
    flat = _unit(flat, least=1e-6)
    return np.where(_is_held(flat)[:, None], flat, [1.0, 0.0, 0.0])


def _spindle_forward(left: Floats, is_surveyor: Flags) -> Floats:
    """Return the direction forward when up is the plan's z, NaN for other plans."""
    ahead = np.cross(_spindle_left(left), [0.0, 0.0, 1.0])
    return np.where(np.asarray(is_surveyor, bool)[:, None], ahead, np.nan)


def _forward(to_front: Floats, left: Floats) -> Floats:
    """Return the unit vector forward, square to the pad line; NaN where too short."""
    along = np.einsum("ni,ni->n", to_front, left)
    return _unit(to_front - along[:, None] * left, least=LEAST_REACH_MM)


def _ridge_forward(crest: Floats, pad_middle: Floats, left: Floats) -> Floats:
    """Return the direction of the crest seen from the side, pointing forward.

    It is the line of least squared distance to the crest points in the plane square to
    the pad line (their first principal component there), so it does not depend on the
    coordinates they came in.
    """
    there = _is_held(crest)
    count = there.sum(axis=1)
    points = np.where(there[..., None], crest, 0.0)
    centre = points.sum(axis=1) / np.maximum(count, 1)[:, None]
    off = np.where(there[..., None], points - centre[:, None, :], 0.0)
    safe_left = np.where(_is_held(left)[:, None], left, 0.0)
    along = np.einsum("nmi,ni->nm", off, safe_left)
    off = off - along[..., None] * safe_left[:, None, :]
    moments, directions = np.linalg.eigh(np.einsum("nmi,nmj->nij", off, off))
    spread = np.sqrt(np.maximum(moments, 0) / np.maximum(count, 1)[:, None])
    is_a_line = (spread[:, 2] >= LEAST_RIDGE_SPREAD_MM) & (
        spread[:, 2] >= LEAST_RIDGE_ELONGATION * spread[:, 1]
    )
    ahead = directions[:, :, 2]
    is_backward = np.einsum("ni,ni->n", ahead, centre - pad_middle) < 0
    ahead = np.where(is_backward[:, None], -ahead, ahead)
    is_usable = is_a_line & (count >= FEWEST_CREST_POINTS) & _is_held(left)
    return np.where(is_usable[:, None], ahead, np.nan)


def _axes(left: Floats, ahead: Floats) -> Floats:
    """Return rows left, back, up; the three are square to each other."""
    back = -ahead
    return np.stack([left, back, np.cross(left, back)], axis=1)


def _frames(
    marks: JawLandmarks, basis: NDArray[np.str_], axes: Floats, pad_middle: Floats
) -> JawFrames:
    midline = np.where(
        _is_held(marks.midline)[:, None], marks.midline, marks.plane_front
    )
    is_midline_known = _is_held(midline)
    rests_on_pads = _is_held(pad_middle) & (basis != PLAN_FRAME)
    fallback = np.where(rests_on_pads[:, None], pad_middle, 0.0)
    origin = np.where(is_midline_known[:, None], midline, fallback)
    behind = np.einsum("ni,ni->n", axes[:, 1], pad_middle - origin)
    return JawFrames(
        basis=basis,
        axes=axes,
        origin=origin,
        is_midline_known=is_midline_known,
        pad_line_back_mm=np.where(rests_on_pads, behind, np.nan),
        up_lean_deg=np.degrees(
            np.arctan2(np.hypot(axes[:, 2, 0], axes[:, 2, 1]), axes[:, 2, 2])
        ),
    )


def _is_held(points: Floats) -> Flags:
    """Return where the whole point (..., 3) is held."""
    return np.asarray(np.isfinite(points).all(axis=-1), bool)


def _unit(vectors: Floats, *, least: float) -> Floats:
    """Return unit vectors; NaN where the vector is shorter than ``least``."""
    length = np.linalg.norm(vectors, axis=1)
    with np.errstate(invalid="ignore"):
        long_enough = np.where(length >= least, length, np.nan)
    unit: Floats = vectors / long_enough[:, None]
    return unit
