"""How plausible the planned and achieved points of two implants are, many cases at once.

Plausible means: no limit of the checks is broken. How far plan and result lie apart is
one number, the misfit, so that candidate mends of a case can be set against each other:
the mean over both implants of (entry / limit)^2 + (angle / limit)^2, with the limits
beyond which a check asks whether the two belong together. Below about 1 the case is
possible; guided placement (1 to 2 mm, 3 to 4 degrees) lies near 0.04.

Frame: x to the patient's left, y backward, z up, mm. Arrays hold the left implant first,
and of each implant the entry before the apex.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.geometry.registration import Flags, Floats

LEFT, RIGHT = 0, 1
ENTRY, APEX = 0, 1


@dataclass(frozen=True, slots=True)
class Pairs:
    """Planned and achieved points of n cases; NaN where something is not known.

    Attributes:
        planned: (n, 2, 2, 3) mm.
        achieved: (n, 2, 2, 3) mm, in the plan's coordinates where ``is_one_frame``.
        planned_label_mm: (n, 2) length of the planned implant as recorded.
        placed_label_mm: (n, 2) length of the placed implant as recorded.
        is_lower: (n,) lower jaw, where the apex lies below the entry.
        is_one_frame: (n,) whether plan and result can be set against each other.
        rotation: (n, 3, 3) of a known motion that brought the result here; NaN or
            None where none is known.
        shift: (n, 3) mm, of the same motion.
    """

    planned: Floats
    achieved: Floats
    planned_label_mm: Floats
    placed_label_mm: Floats
    is_lower: Flags
    is_one_frame: Flags
    rotation: Floats | None = None
    shift: Floats | None = None

    def __len__(self) -> int:
        """Return the number of cases."""
        return len(self.planned)

    def only(self, which: Flags | slice) -> Pairs:
        """Return some of the cases."""
        return Pairs(
            self.planned[which],
            self.achieved[which],
            self.planned_label_mm[which],
            self.placed_label_mm[which],
            self.is_lower[which],
            self.is_one_frame[which],
            None if self.rotation is None else self.rotation[which],
            None if self.shift is None else self.shift[which],
        )

    def with_points(self, planned: Floats, achieved: Floats) -> Pairs:
        """Return the same cases with other points."""
        return Pairs(
            planned,
            achieved,
            self.planned_label_mm,
            self.placed_label_mm,
            self.is_lower,
            self.is_one_frame,
            self.rotation,
            self.shift,
        )


@dataclass(frozen=True, slots=True)
class Limits:
    """What passes the checks; each figure is that of a row of the check tables.

    Attributes:
        entry_mm: largest distance at the entry.
        angle_deg: largest angle between planned and achieved axis.
        planned_length_mm: largest difference of a planned axis from its label.
        achieved_length_mm: the same of an achieved axis, whose ends are picked.
        axis_mm: shortest and longest axis where there is no label.
        spacing_mm: smallest and largest distance of the two entries.
        side_mm: how far the left entry stands to the left of the right one at least.
    """

    entry_mm: float
    angle_deg: float
    planned_length_mm: float
    achieved_length_mm: float
    axis_mm: tuple[float, float]
    spacing_mm: tuple[float, float]
    side_mm: float


@dataclass(frozen=True, slots=True)
class Judged:
    """How plausible each of n cases is.

    Attributes:
        entry_mm: (n, 2) distance between planned and achieved entry; NaN unknown.
        angle_deg: (n, 2) angle between planned and achieved axis, 0 to 180.
        count_broken: (n,) limits that are broken.
        count_lengths_broken: (n,) of these, lengths and spacings.
        misfit: (n,) see the module; 0 where nothing can be compared.
    """

    entry_mm: Floats
    angle_deg: Floats
    count_broken: Floats
    count_lengths_broken: Floats
    misfit: Floats

    @property
    def is_plausible(self) -> Flags:
        """Where no limit is broken."""
        return self.count_broken == 0


def judged(pairs: Pairs, limits: Limits) -> Judged:
    """Judge cases as they stand."""
    one_frame = pairs.is_one_frame[:, None]
    planned_axis, achieved_axis = axes(pairs.planned), axes(pairs.achieved)
    apart = pairs.achieved[:, :, ENTRY] - pairs.planned[:, :, ENTRY]
    entry = np.where(one_frame, _norm(apart), np.nan)
    angle = np.where(one_frame, _angle_deg(planned_axis, achieved_axis), np.nan)
    lengths = _broken_lengths(pairs, limits)
    with np.errstate(invalid="ignore"):
        broken = (
            lengths
            + _count(entry > limits.entry_mm)
            + _count(angle > limits.angle_deg)
            + _broken_places(pairs.planned, pairs.is_lower, limits)
            + pairs.is_one_frame
            * _broken_places(pairs.achieved, pairs.is_lower, limits)
        )
    parts = (entry / limits.entry_mm) ** 2 + (angle / limits.angle_deg) ** 2
    return Judged(entry, angle, broken, lengths, _mean_known(parts))


def axes(points: Floats) -> Floats:
    """Return the vectors from entry to apex, (n, 2, 3)."""
    along: Floats = points[:, :, APEX] - points[:, :, ENTRY]
    return along


def lean_forward_deg(points: Floats, is_lower: Flags) -> Floats:
    """Return (n,) the mean lean of both implants seen from the side, forward positive.

    The lean is that of the occlusal end, as in ``measured.implants``.
    """
    occlusal = -axes(points)
    upward = np.where(is_lower, 1.0, -1.0)[:, None]
    lean = np.degrees(np.arctan2(-occlusal[..., 1], upward * occlusal[..., 2]))
    found = _mean_known(lean)
    return np.where(np.isnan(lean).all(axis=1), np.nan, found)


def largest(values: Floats) -> Floats:
    """Return the larger of both implants; NaN where neither is known."""
    known = np.where(np.isnan(values), -np.inf, values).max(axis=1)
    return np.where(np.isfinite(known), known, np.nan)


def _broken_lengths(pairs: Pairs, limits: Limits) -> Floats:
    """Count axes that are not as long as they should be, and pairs not as wide."""
    placed = np.where(
        np.isnan(pairs.placed_label_mm), pairs.planned_label_mm, pairs.placed_label_mm
    )
    broken = np.zeros(len(pairs))
    for points, label, most in (
        (pairs.planned, pairs.planned_label_mm, limits.planned_length_mm),
        (pairs.achieved, placed, limits.achieved_length_mm),
    ):
        length = _norm(axes(points))
        spacing = _norm(points[:, LEFT, ENTRY] - points[:, RIGHT, ENTRY])
        with np.errstate(invalid="ignore"):
            off_label = np.abs(length - label) > most
            out_of_range = _outside(length, limits.axis_mm)
            broken += _count(np.where(np.isnan(label), out_of_range, off_label))
            broken += _outside(spacing, limits.spacing_mm)
    return broken


def _broken_places(points: Floats, is_lower: Flags, limits: Limits) -> Floats:
    """Count apices on the mouth's side of their entry, and sides that are exchanged."""
    upward = np.where(is_lower, 1.0, -1.0)[:, None]
    with np.errstate(invalid="ignore"):
        upside_down = upward * axes(points)[..., 2] > 0
        left_of_right = points[:, LEFT, ENTRY, 0] - points[:, RIGHT, ENTRY, 0]
        return _count(upside_down) + (left_of_right < limits.side_mm)


def _outside(values: Floats, limits: tuple[float, float]) -> Flags:
    outside: Flags = (values < limits[0]) | (values > limits[1])
    return outside


def _count(flags: Flags) -> Floats:
    return flags.sum(axis=1).astype(np.float64)


def _mean_known(values: Floats) -> Floats:
    """Return the mean over both implants of what is known; 0 where nothing is."""
    known = ~np.isnan(values)
    total = np.where(known, values, 0.0).sum(axis=1)
    mean: Floats = total / np.maximum(known.sum(axis=1), 1)
    return mean


def _norm(vectors: Floats) -> Floats:
    length: Floats = np.sqrt(np.einsum("...i,...i->...", vectors, vectors))
    return length


def _angle_deg(one: Floats, other: Floats) -> Floats:
    """Return the angle between vectors, exact near 0 and 180; NaN for length 0."""
    (ux, uy, uz), (vx, vy, vz) = (np.moveaxis(axis, -1, 0) for axis in (one, other))
    squared = (
        (uy * vz - uz * vy) ** 2 + (uz * vx - ux * vz) ** 2 + (ux * vy - uy * vx) ** 2
    )
    dot = ux * vx + uy * vy + uz * vz
    angle = np.degrees(np.arctan2(np.sqrt(squared), dot))
    return np.where((_norm(one) > 0) & (_norm(other) > 0), angle, np.nan)
